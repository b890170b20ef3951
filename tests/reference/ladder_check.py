#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Level ladders that are not whole, built and clipped by SciPy: which step is which, its volts, what is missing, the onset.

Sources: a sine of peak A cut at c just touches the cut where A = c (trigonometry); the level of each step is the RMS of its
Fourier series (numpy.fft of one cycle) up to 20 kHz behind a coupling of first order, jf/(jf + fc); band limiting by
scipy.signal.resample_poly; a step is a number of decibels, 20·lg of the ratio (IEC 60027-3).
"""
import pathlib
import sys
import tempfile

import numpy
import outside
from scipy import signal

RAISED = 8
FULL_SCALE_V = 40.0
COUPLING_HZ = 4.0
NOISE_DBFS = -72.0
STEPS, FIRST_DBFS, RISE_DB = 25, -24.0, 1.0
RAIL_DBFS = -7.37
SCALE = 0.8
VOLTS_PERCENT = 0.5
ONSET_DB = 0.03

# What is done to each ladder; seconds count from the ladder's start.
CASES = [
    ("whole", {}),
    ("pauses of 0.25 s", {"pause": 0.25}),
    ("pauses of uneven length", {"pause": 0.2, "uneven": 0.1}),
    ("steps of 80 ms", {"dwell": 0.08}),
    ("steps of 80 ms with pauses of 80 ms", {"dwell": 0.08, "pause": 0.08}),
    ("late start", {"late": 2.83}),
    ("early stop", {"stop": 10.3}),
    ("late start of steps of 80 ms", {"dwell": 0.08, "late": 0.53}),
    ("silent for good amid a step", {"mute": 9.8}),
    ("silent for good where a step begins", {"mute": 9.5}),
    ("silent for good, pauses", {"pause": 0.15, "mute": 12.58}),
    ("silent for good, steps of 80 ms", {"dwell": 0.08, "mute": 1.57}),
    ("a step is silent", {"hole": 6}),
    ("a step is cut out", {"cut": 6}),
    ("a step is cut out, pauses, silent for good", {"cut": 6, "pause": 0.15, "mute": 11.95}),
    ("late start, a step is silent", {"late": 1.2, "hole": 9}),
    ("neither start nor end", {"late": 2.83, "stop": 10.7}),
    ("late start, then silent for good amid a step", {"late": 1.2, "mute": 9.8}),
    ("50 Hz, pauses, silent for good", {"hz": 50.0, "dwell": 0.25, "pause": 0.1, "mute": 6.4}),
]


class Ladder:
    """One ladder as it was played, and where its steps lie in the recording."""

    def __init__(self, hz=997.0, dwell=0.5, pause=0.0, uneven=0.0, late=None, stop=None, mute=None, hole=None, cut=None):
        self.hz, self.generator = hz, numpy.random.default_rng(20)
        lead = 1.0
        at, pieces, self.steps, phase = lead, [numpy.zeros(int(lead * outside.RATE * RAISED))], [], 0.0
        for index in range(STEPS):
            if index == cut:
                continue
            gap = pause + self.generator.uniform(-uneven, uneven)
            count, silent = (round(seconds * outside.RATE * RAISED) for seconds in (dwell, gap))
            angle = phase + 2 * numpy.pi * hz / (outside.RATE * RAISED) * numpy.arange(count)
            phase += 2 * numpy.pi * hz / (outside.RATE * RAISED) * count
            peak = 0.0 if index == hole else 10 ** ((FIRST_DBFS + RISE_DB * index) / 20)
            pieces += [peak * numpy.sin(angle), numpy.zeros(silent)]
            if index != hole:
                self.steps.append((index + 1, at, at + dwell))
            at += dwell + gap
        pieces.append(numpy.zeros(int((1.0 + (4.0 if mute else 0.0)) * outside.RATE * RAISED)))
        self.samples = self.recorded(numpy.concatenate(pieces), lead, mute)
        first = 0.0 if late is None else lead + late
        end = len(self.samples) / outside.RATE if stop is None else lead + stop
        self.samples = self.samples[int(first * outside.RATE):int(end * outside.RATE)]
        heard = end if mute is None else lead + mute
        self.silent_s = None if mute is None else lead + mute - first
        self.steps = [(index, a - first, min(b, heard) - first) for index, a, b in self.steps if b > first and a < heard]
        self.whole = [index for index, a, b in self.steps if a >= 0 and b - a > dwell - 1e-6]

    def recorded(self, samples, lead, mute):
        rail = 10 ** (RAIL_DBFS / 20)
        clipped = SCALE * numpy.clip(samples, -rail, rail)
        if mute is not None:
            clipped[int((lead + mute) * outside.RATE * RAISED):] = 0.0
        low = signal.resample_poly(clipped, 1, RAISED)
        b, a = signal.bilinear([1, 0], [1, 2 * numpy.pi * COUPLING_HZ], outside.RATE)
        noise = 10 ** (NOISE_DBFS / 20) / numpy.sqrt(2) * self.generator.standard_normal(len(low))
        return signal.lfilter(b, a, low) + noise

    def level_v(self, index):
        """RMS volts of a step, from the Fourier series of one cycle."""
        count = 1 << 16
        peak, rail = 10 ** ((FIRST_DBFS + RISE_DB * (index - 1)) / 20), 10 ** (RAIL_DBFS / 20)
        cycle = SCALE * numpy.clip(peak * numpy.sin(2 * numpy.pi * numpy.arange(count) / count), -rail, rail)
        orders = numpy.arange(1, int(20000 / self.hz) + 1)
        amplitudes = 2 * numpy.abs(numpy.fft.rfft(cycle)[orders]) / count
        amplitudes = amplitudes * numpy.abs(1j * orders * self.hz / (1j * orders * self.hz + COUPLING_HZ))
        return FULL_SCALE_V * numpy.sqrt(numpy.sum(amplitudes ** 2) / 2)


def check_steps(checks, name, ladder, channel, unknown):
    """Each step that was found lies in the one it is said to be, and has its volts."""
    found = channel["steps"]
    true = {index: (a, b) for index, a, b in ladder.steps}
    middle = 0.5 * (found[0]["start_s"] + found[0]["end_s"])
    first = next(index for index, a, b in ladder.steps if a <= middle < b)
    shift = first - found[0]["index"] if unknown else 0
    worst, wrong = 0.0, []
    for step in found:
        index = step["index"] + shift
        middle = 0.5 * (step["start_s"] + step["end_s"])
        if index not in true or not true[index][0] <= middle <= true[index][1]:
            wrong.append(step["index"])
            continue
        worst = max(worst, abs(100 * (step["level_v"] / ladder.level_v(index) - 1)))
    checks.equal(f"{name}: steps in a wrong place", wrong, [])
    checks.equal(f"{name}: whole steps that are not found",
                 sorted(set(ladder.whole) - {step["index"] + shift for step in found}), [])
    checks.within(f"{name}: volts of {len(found)} steps, worst", worst, 0.0, VOLTS_PERCENT, "%")


def check_onset(checks, name, channel, unknown):
    flat = channel["onset"]["flat_top"]
    true_v = FULL_SCALE_V * SCALE * 10 ** (RAIL_DBFS / 20) / numpy.sqrt(2)
    checks.within(f"{name}: onset re the rail", 20 * numpy.log10(flat["level_v"] / true_v), 0.0, ONSET_DB, "dB")
    if unknown:
        checks.equal(f"{name}: input levels", flat["input_dbfs"], None)
    else:
        checks.within(f"{name}: onset, input", flat["input_dbfs"], RAIL_DBFS, ONSET_DB, "dBFS")


def check_silence(checks, name, ladder, channel):
    silent = channel["went_silent"]
    if ladder.silent_s is None:
        return checks.equal(f"{name}: went silent", silent, None)
    # The last edge of a tone is known to a frame of 10 ms; in a pause, the tone was over before.
    last = max(b for _, _, b in ladder.steps)
    checks.within(f"{name}: went silent at", silent["at_s"], last, 0.015, "s")
    measured = [step for step in channel["steps"] if step["index"] <= silent["after_step"]]
    checks.equal(f"{name}: volts when it went silent", silent["level_v"], measured[-1]["level_v"])


def check_missing(checks, name, ladder, channel):
    found = {step["index"] for step in channel["steps"]}
    checks.equal(f"{name}: what is missing", [step["index"] for step in channel["missing_steps"]],
                 [index for index in range(1, STEPS + 1) if index not in found])


def check_undescribed(checks, program, folder):
    """Nothing is told of the ladder, and it is recorded with silence before and behind it."""
    for label, damage in (("not described", {}), ("not described, silent for good amid a step", {"mute": 11.3})):
        ladder = Ladder(**damage)
        file = outside.write_wav(folder / "ladder.wav", ladder.samples)
        channel = outside.run_json(program, "onset", file, "--volts-full-scale", f"{FULL_SCALE_V}V")["channels"][0]
        checks.equal(f"{label}: found by", channel["ladder"]["found_by"], "levels")
        checks.within(f"{label}: rise", channel["ladder"]["rise_db"], RISE_DB, 0.02, "dB")
        check_steps(checks, label, ladder, channel, True)
        check_onset(checks, label, channel, True)
        check_silence(checks, label, ladder, channel)


def check_input(checks, program, folder):
    """The recording's own full scale, reached before anything else clips."""
    generator = numpy.random.default_rng(21)
    for gain_db in (2.3, 5.6, 9.1):
        count = int(0.4 * outside.RATE)
        tone = numpy.sin(2 * numpy.pi * 997.0 / outside.RATE * numpy.arange(STEPS * count))
        peaks = numpy.repeat(10 ** ((FIRST_DBFS + gain_db + RISE_DB * numpy.arange(STEPS)) / 20), count)
        silence = numpy.zeros(outside.RATE)
        samples = numpy.concatenate([silence, peaks * tone, silence])
        samples = samples + 1e-4 * generator.standard_normal(len(samples))
        file = outside.write_wav(folder / "input.wav", numpy.clip(samples, -1, 1 - 2 ** -23))
        channel = outside.run_json(program, "onset", file, "--from", f"{FIRST_DBFS}dB", "--to", "0dB", "--step", "1dB",
                                   "--volts-full-scale", f"{FULL_SCALE_V}V")["channels"][0]
        found = channel["input_onset"]
        label = f"recording input, {gain_db} dB over"
        checks.equal(f"{label}: verdict", channel["verdict"], "input-overload")
        checks.within(f"{label}: input", found["input_dbfs"], -gain_db, ONSET_DB, "dBFS")
        checks.within(f"{label}: volts", 100 * (found["level_v"] / (FULL_SCALE_V / numpy.sqrt(2)) - 1), 0.0, VOLTS_PERCENT, "%")
        checks.equal(f"{label}: first step over it", found["step"], int(numpy.ceil(-gain_db - FIRST_DBFS)) + 1)


def main(program):
    checks = outside.Checks("levels of Fourier series of clipped sines, numpy.fft, and band limiting of scipy.signal")
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for label, damage in CASES:
            ladder = Ladder(**damage)
            file = outside.write_wav(folder / "ladder.wav", ladder.samples)
            channel = outside.run_json(program, "onset", file, "--from", f"{FIRST_DBFS}dB", "--to", "0dB", "--step",
                                       f"{RISE_DB}dB", "--volts-full-scale", f"{FULL_SCALE_V}V")["channels"][0]
            unknown = channel["ladder"]["numbered_by"] == "unknown"
            checks.equal(f"{label}: numbering is not known", unknown,
                         "late" in damage and ("stop" in damage or "mute" in damage))
            check_steps(checks, label, ladder, channel, unknown)
            check_onset(checks, label, channel, unknown)
            check_silence(checks, label, ladder, channel)
            if not unknown:
                check_missing(checks, label, ladder, channel)
        check_undescribed(checks, program, folder)
        check_input(checks, program, folder)
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
