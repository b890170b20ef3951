#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Cables of the plan against wire tables: diameters, resistances, voltage drops, losses to a speaker.

Sources: ASTM B258, table of diameters in mils (from memory; 4/0 is 460 and number 36 is 5 by definition). Ohms per
1000 ft at 20 °C: the wire table of the HyperPhysics pages, after Floyd, Electric Circuit Fundamentals, 2nd ed. Volts
lost in 1000 ft of two wires: a wire maker's published table for irrigation cable; 18 AWG pair: a worked example of a
maker of cameras' supplies. Loss to a speaker: 20·log10(RL/(RL + R)), closed form, with the published ohms.
"""
import math
import pathlib
import sys
import tempfile

import outside

MILS = {"4/0": 460.0, "3/0": 409.6, "2/0": 364.8, "1/0": 324.9, "1": 289.3, "2": 257.6, "3": 229.4, "4": 204.3,
        "5": 181.9, "6": 162.0, "8": 128.5, "10": 101.9, "12": 80.8, "14": 64.1, "16": 50.8, "18": 40.3, "20": 32.0}
OHM_PER_1000_FT = {"8": 0.6282, "10": 0.9989, "12": 1.588, "14": 2.525, "16": 4.016, "18": 6.385, "20": 10.15}
MAKER_V_AT_1_A = {"18": 12.78, "16": 8.04, "14": 5.05, "12": 3.17, "10": 1.99, "8": 1.26, "6": 0.81, "4": 0.51}
FOOT = 0.3048

SYSTEM = """schema = "railtap.system/1"
name = "cables"
[supply]
running = "{volts}V"
[[supply.feed]]
name = "main"
gauge = "{gauge}"
length = "{length}m"
[head_unit]
volume_steps = 30
outputs = ["left"]
[[speaker]]
name = "speaker"
impedance = "{load}ohm"
[[amplifier]]
name = "amplifier"
feed = "main"
sensitivity_low = "1V"
sensitivity_high = "12V"
efficiency = "100%"
regulated = true
[[amplifier.channel]]
name = "left"
rated_power = "{power}W"
rated_load = "{load}ohm"
speaker = "speaker"
inputs = ["left"]
cable = {{ gauge = "{gauge}", length = "{length}m" }}
"""


def planned(program, folder, gauge, feet, amperes=1.0, load=4.0):
    """The plan's feed and channel; at full efficiency, 14.4 W from 14.4 V are 1 A."""
    path = pathlib.Path(folder) / "system.toml"
    path.write_text(SYSTEM.format(volts=14.4, gauge=gauge, length=f"{feet * FOOT:.6f}", load=load, power=14.4 * amperes))
    document = outside.run_json(program, "plan", path)
    return document["supply"]["feeds"][0], document["channels"][0]


def diameters(checks, program, folder):
    for number, mils in MILS.items():
        feed, _ = planned(program, folder, f"{number}AWG", 10)
        found = math.sqrt(4 / math.pi * feed["area_mm2"]) / 0.0254
        checks.within(f"diameter of {number} AWG", found, mils, 0.0501, "mil: the table's last digit")


def resistances(checks, program, folder):
    for number, ohms in OHM_PER_1000_FT.items():
        feed, _ = planned(program, folder, f"{number} AWG", 50)
        checks.within_relative(f"1000 ft of {number} AWG", feed["resistance_ohm"] * 10, ohms, 4e-4,
                               "ohm: four digits, and the older 10.37 ohm cmil/ft")
    feed, _ = planned(program, folder, "1mm2", 50 / FOOT)  # 58 m of 1 mm2 have 1 ohm [IEC 60028]
    checks.within_relative("100 m of 1 mm2", feed["resistance_ohm"], 100 / 58, 2e-5, "ohm")


def drops(checks, program, folder):
    feed, _ = planned(program, folder, "18AWG", 100)
    checks.within("18 AWG pair, 1 A, 100 ft", feed["drop_v"], 1.27, 0.0101, "V: its digits and 0.6 % of stranding")
    checks.within("the worked example: 350 ft", feed["drop_v"] * 3.5, 4.445, 0.036, "V")
    for number, volts in MAKER_V_AT_1_A.items():
        feed, _ = planned(program, folder, f"{number}AWG", 100)
        checks.within("1 A, 1000 ft of two wires, " + number + " AWG", feed["drop_v"] * 10, volts,
                      0.005 + 0.025 * volts, "V: two digits, and stranded wire has up to 2 % more [ASTM B8]")
    feed, _ = planned(program, folder, "4AWG", 20, amperes=60.0)
    # 2 · 20 ft · 60 A · 0.2485 ohm/1000 ft [the usual formula 2·L·I·R/1000]
    checks.within("4 AWG, 60 A, 20 ft one way", feed["drop_v"], 2 * 20 * 60 * 0.2485 / 1000, 3e-4, "V")
    checks.within("its share of 14.4 V", feed["drop_percent"], 100 * 0.5964 / 14.4, 3e-3, "%")


def losses(checks, program, folder):
    for number in ("12", "14", "16", "18"):
        for feet in (10, 20):
            for load in (2.0, 4.0):
                _, channel = planned(program, folder, f"{number}AWG", feet, load=load)
                loop = 2 * feet * OHM_PER_1000_FT[number] / 1000
                checks.within(f"{feet} ft of {number} AWG to {load:g} ohm", channel["cable_loss_db"],
                              20 * math.log10(load / (load + loop)), 2e-4, "dB: four digits of the table")


def main(program):
    checks = outside.Checks("ASTM B258, published copper tables, worked examples of voltage drop")
    with tempfile.TemporaryDirectory() as folder:
        for part in (diameters, resistances, drops, losses):
            part(checks, program, folder)
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
