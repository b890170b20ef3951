#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The tap's resistors against the lists of preferred values.

Source: IEC 60063, series E12, E24 and E96 (a printed copy of the lists; one stored copy has 4.2 for 4.3, which is wrong).
"""
import sys

import outside

E12 = "10 12 15 18 22 27 33 39 47 56 68 82"
E24 = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"
E96 = ("100 102 105 107 110 113 115 118 121 124 127 130 133 137 140 143 147 150 154 158 162 165 169 174 178 182 187 191 "
       "196 200 205 210 215 221 226 232 237 243 249 255 261 267 274 280 287 294 301 309 316 324 332 340 348 357 365 374 "
       "383 392 402 412 422 432 442 453 464 475 487 499 511 523 536 549 562 576 590 604 619 634 649 665 681 698 715 732 "
       "750 768 787 806 825 845 866 887 909 931 953 976")
SERIES = {"E12": E12.split(), "E24": E24.split(), "E96": E96.split()}
SIZES = {"E12": 12, "E24": 24, "E96": 96}


def digits(ohms, count):
    """The first digits of a value that has no more than these: 9100 is 91, and 9150 is none of two digits."""
    text = f"{ohms:.6e}"
    mantissa = text.split("e")[0].replace(".", "")
    return mantissa[:count] if not mantissa[count:].strip("0") else None


def main(program):
    checks = outside.Checks("IEC 60063, lists of preferred values")
    for series, values in SERIES.items():
        checks.equal(f"size of {series}", len(set(values)), SIZES[series])
        used = set()
        for volts in (1.5, 2.7, 4.1, 6.3, 9.7, 14.8, 23.7, 33.0, 48.0, 71.0):
            for full_scale in ("0.3V", "0.5V", "1V", "1.4V"):
                document = outside.run_json(program, "attenuator", "--max-voltage", f"{volts}V", "--input-full-scale",
                                            full_scale, "--series", series)
                for key in ("series_each_ohm", "shunt_ohm"):
                    used.add(document[key])
        width = len(values[0])
        strange = sorted(ohms for ohms in used if digits(ohms, width) not in values)
        checks.equal(f"values outside of {series} among {len(used)} that were chosen", strange, [])
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
