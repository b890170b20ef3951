#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Target voltages against a printed table.

Source: P = V²/R, as gain-setting tables print it (50 W into 4 ohm: 14.14 V); volts RMS to three places.
"""
import math
import sys

import outside

PRINTED_V = {  # watts: volts at 1, 2, 4 and 8 ohm
    10: (3.162, 4.472, 6.325, 8.944), 15: (3.873, 5.477, 7.746, 10.954), 18: (4.243, 6.000, 8.485, 12.000),
    25: (5.000, 7.071, 10.000, 14.142), 50: (7.071, 10.000, 14.142, 20.000), 75: (8.660, 12.247, 17.321, 24.495),
    100: (10.000, 14.142, 20.000, 28.284), 150: (12.247, 17.321, 24.495, 34.641),
    200: (14.142, 20.000, 28.284, 40.000), 300: (17.321, 24.495, 34.641, 48.990),
    500: (22.361, 31.623, 44.721, 63.246), 1000: (31.623, 44.721, 63.246, 89.443)}
ROUNDING_V = 0.0005001


def main(program):
    checks = outside.Checks("printed tables of V = sqrt(P·R)")
    for watts, row in PRINTED_V.items():
        for ohms, volts in zip((1, 2, 4, 8), row):
            document = outside.run_json(program, "target", "--power", f"{watts}W", "--load", f"{ohms}ohm")
            name = f"{watts} W into {ohms} ohm"
            checks.within(f"volts for {name}", document["target_v"], volts, ROUNDING_V, "V")
            checks.within_relative(f"peak volts for {name}", document["target_v_peak"],
                                   document["target_v"] * math.sqrt(2), 1e-6, "V")
            checks.within_relative(f"amperes for {name}", document["current_a"], document["target_v"] / ohms, 1e-6)
    # A reading of half the voltage is a quarter of the power, 6.0206 dB short.
    document = outside.run_json(program, "target", "--power", "50W", "--load", "4ohm", "--reading",
                                f"{math.sqrt(200) / 2:.9f}V")
    checks.within("change from half the voltage", document["change_db"], 20 * math.log10(2), 1e-3, "dB")
    checks.equal("direction from half the voltage", document["direction"], "raise")
    checks.within("power of the reading", document["reading_power_w"], 12.5, 1e-3, "W")
    document = outside.run_json(program, "target", "--power", "55W", "--load", "4ohm", "--speaker-power", "30W")
    checks.equal("the lower rating counts", document["limited_by"], "speaker")
    checks.within("volts for the speaker's 30 W", document["target_v"], 10.954, ROUNDING_V, "V")
    document = outside.run_json(program, "target", "--power", "75W", "--load", "4ohm", "--supply", "13.6V")
    checks.equal("the supply counts", document["limited_by"], "supply")
    checks.within("volts for 75 W at 13.6 V", document["target_v"], 17.321 * 13.6 / 14.4, ROUNDING_V, "V")
    document = outside.run_json(program, "target", "--power", "50W", "--load", "4ohm", "--source", "0.5V",
                                "--sensitivity", "1V")
    checks.equal("the head unit counts", document["limited_by"], "head-unit")
    checks.within("volts from half the input", document["target_v"], 7.071, ROUNDING_V, "V")
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
