#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Levels and peaks against SoX on the same files.

Source: `sox FILE -n stats`, "RMS lev dB" and "Pk lev dB". SoX refers RMS to a full-scale square wave; this
program, as AES17, to a full-scale sine, which is 3.0103 dB lower.
"""
import math
import pathlib
import re
import subprocess
import sys
import tempfile

import outside

SINE_REFERENCE_DB = 10 * math.log10(2)
SOX_DIGITS_DB = 0.006  # it prints two digits after the point


def sox_stats(path):
    text = subprocess.run(["sox", str(path), "-n", "stats"], capture_output=True, text=True, check=True).stderr

    def figures(label):
        return [float(word) for word in re.search(rf"^{label}\s+(.*)$", text, re.MULTILINE)[1].split()]
    # Two channels or more: "Overall" comes first.
    rms, peak = figures("RMS lev dB"), figures("Pk lev dB")
    return (rms[1:], peak[1:]) if len(rms) > 1 else (rms, peak)



def files(folder):
    """Files of SoX's own making: mono and stereo, three rates, WAV, FLAC and AIFF."""
    recipes = {
        "low.wav": ("-r48000 -c1 -n -b24", "synth 4 sine 50 gain -6"),
        "mid.flac": ("-r44100 -c1 -n -b16", "synth 4 sine 997 gain -20"),
        "high.aiff": ("-r96000 -c1 -n -b24", "synth 4 sine 8000 gain -3"),
        "pair.wav": ("-r48000 -c2 -n -b24", "synth 4 sine 1000 sine 1000 gain -12 remix 1 2v0.5"),
    }
    for name, (form, effects) in recipes.items():
        path = folder / name
        subprocess.run(["sox", "-D", "-R", *form.split(), str(path), *effects.split()], check=True)
        yield path


def main(program):
    checks = outside.Checks("SoX: sox FILE -n stats", outside.LIBRARIES)
    with tempfile.TemporaryDirectory() as folder:
        for path in files(pathlib.Path(folder)):
            rms, peak = sox_stats(path)
            channels = outside.analyze(program, path)
            checks.equal(f"channels of {path.name}", len(channels), len(rms))
            for number, channel in enumerate(channels):
                where = f"{path.name}, channel {number + 1}"
                checks.within(f"RMS of {where}", channel["level_dbfs"], rms[number] + SINE_REFERENCE_DB,
                              SOX_DIGITS_DB, "dB")
                checks.within(f"peak of {where}", channel["peak_dbfs"], peak[number], SOX_DIGITS_DB, "dB")
                checks.within(f"crest factor of {where}", channel["crest_factor_db"], peak[number] - rms[number],
                              2 * SOX_DIGITS_DB, "dB")
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
