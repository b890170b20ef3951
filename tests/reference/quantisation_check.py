#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""SINAD of an undithered, quantised sine.

Source: the textbook 6.02·N + 1.76 dB, exactly 20·log10(2)·N + 10·log10(1.5), for a full-scale sine over half
the sampling rate; from uniform rounding error, mean square q²/12.
"""
import math
import pathlib
import sys
import tempfile

import outside

BAND_LOW_HZ, BAND_HIGH_HZ = 20, 20000
# The rounding error is nearly but not exactly white: the share of it inside the band varies.
TOLERANCE_DB = 0.3


def expected_sinad(bits, level_dbfs, rate):
    in_band = (min(BAND_HIGH_HZ, rate / 2) - BAND_LOW_HZ) / (rate / 2)
    return 20 * math.log10(2) * bits + 10 * math.log10(1.5) + level_dbfs - 10 * math.log10(in_band)


def main(program):
    checks = outside.Checks("6.02·N + 1.76 dB")
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "tone.wav"
        for bits, rate, hz, level in ((8, 48000, 997, -0.5), (16, 44100, 997, -0.5), (16, 48000, 997, -0.5),
                                      (16, 48000, 1234.567, -6), (16, 96000, 997, -0.5), (24, 48000, 997, -0.5)):
            outside.write_wav(path, outside.sine(hz, level, 4, rate), rate, str(bits))
            channel = outside.analyze(program, path)[0]
            name = f"{bits} bit, {rate} Hz, {hz:g} Hz at {level:g} dBFS"
            expected = expected_sinad(bits, level, rate)
            checks.within(f"SINAD of {name}", channel["sinad_db"], expected, TOLERANCE_DB, "dB")
            checks.within(f"THD+N of {name}", channel["thdn_db"], -expected, TOLERANCE_DB, "dB")
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
