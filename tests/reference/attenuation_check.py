#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Two recordings with different attenuation tell an amplifier that clips from a recording input that does.

Source: Ohm's law. A divider scales a waveform, so what was flat before it keeps its shape and its flat level falls
by the attenuation; a converter's limit lies behind it and stays at the same fraction of full scale. The waveforms
are made here, oversampled 16 times, filtered by SciPy (resample_poly), with noise.
"""
import pathlib
import sys
import tempfile

import numpy
import scipy.signal

import outside

HZ = 997
ATTENUATION_DB = 6.0
SEED = 7
RATE = outside.RATE


def tone(peak, rail=None, hz=HZ, seconds=2):
    over = 16
    time = numpy.arange(seconds * RATE * over) / (RATE * over)
    wave = peak * numpy.sin(2 * numpy.pi * hz * time)
    if rail is not None:
        wave = numpy.clip(wave, -rail, rail)
    return scipy.signal.resample_poly(wave, 1, over)


def noisy(wave, random):
    return wave + 1e-4 * random.standard_normal(len(wave))


def main(program):
    random = numpy.random.default_rng(SEED)
    less = 10 ** (-ATTENUATION_DB / 20)
    checks = outside.Checks(__doc__.strip().split("\n")[0])
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        file = {}

        def write(key, *channels):
            file[key] = outside.write_wav(folder / f"{key}.wav", numpy.column_stack(channels))

        amplifier = tone(0.8, 0.6)
        write("amplifier", noisy(amplifier, random))
        write("amplifier_less", noisy(less * amplifier, random))
        # The same amplifier, clean, into an input whose analog stage clips at 0.3.
        write("input", noisy(tone(0.8, 0.3), random))
        write("input_less", noisy(tone(0.8 * less, 0.3), random))
        write("input_gone", noisy(tone(0.35 * less, 0.3), random))
        write("input_slightly", noisy(tone(0.35, 0.3), random))
        # Digital full scale.
        write("full_scale", numpy.clip(noisy(tone(1.4), random), -1, 1 - 2 ** -23))
        write("full_scale_less", noisy(tone(1.4 * less), random))
        write("other_tone", noisy(tone(0.4, hz=400), random))
        write("other_level", noisy(0.3 * amplifier, random))
        write("noise", 0.01 * random.standard_normal(2 * RATE))
        write("stereo", noisy(amplifier, random), noisy(tone(0.3), random))
        write("stereo_less", noisy(less * amplifier, random), noisy(less * tone(0.3), random))
        write("half_silent", noisy(amplifier, random), noisy(0 * amplifier, random))
        write("half_silent_less", noisy(less * amplifier, random), noisy(0 * amplifier, random))

        def compare(first, second, decibels="6dB"):
            document = outside.run_json(program, "analyze", file[first], "--compare-attenuation", file[second],
                                        decibels)
            return document["channels"], document["compared_attenuation"]["channels"]

        def expect(first, second, verdict, source, moved=None):
            channels, compared = compare(first, second)
            checks.equal(f"{first}: verdict", channels[0]["verdict"], verdict)
            checks.equal(f"{first}: source", compared[0]["source"], source)
            if moved is not None:
                checks.within(f"{first}: flat level moved", compared[0]["flat_moved_db"], moved, 0.02, "dB")

        expect("amplifier", "amplifier_less", "clipped", "amplifier", -ATTENUATION_DB)
        expect("input", "input_less", "input-overload", "input", 0.0)
        expect("input_slightly", "input_gone", "input-overload", "input")
        expect("full_scale", "full_scale_less", "input-overload", "input")
        channels, compared = compare("stereo", "stereo_less")
        checks.equal("a clean channel has nothing to tell apart", [c["source"] for c in compared],
                     ["amplifier", "none"])
        checks.within("the clean channel's level", compared[1]["level_moved_db"], -ATTENUATION_DB, 0.01, "dB")
        channels, compared = compare("half_silent", "half_silent_less")
        checks.equal("a silent channel is said to be so", (compared[1]["source"], compared[1]["sentence"]),
                     (None, "Neither recording holds a steady tone."))

        def refused(first, second, decibels, *words):
            done = outside.run(program, "analyze", file[first], "--compare-attenuation", file[second], decibels,
                               statuses=(2,))
            for word in words:
                checks.equal(f"{first} against {second}, {decibels}: says `{word}`", word in done.stderr, True)
            checks.equal("and prints nothing else", done.stdout, "")

        refused("amplifier", "other_tone", "6dB", "997", "400", "same tone")
        refused("amplifier", "other_level", "6dB", "-10.4", "-6.00")
        refused("amplifier", "amplifier_less", "1.5dB", "-6.0", "-1.50")
        refused("amplifier", "stereo_less", "6dB", "1 and 2 channels")
        refused("amplifier", "noise", "6dB", "no steady tone")
        refused("amplifier", "amplifier_less", "0dB", "not an attenuation")
        refused("amplifier", "amplifier_less", "six", "--compare-attenuation")
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
