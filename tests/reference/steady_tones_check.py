#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The stepped bass track through filters designed and applied by SciPy, through a cubic law and over a rail, with noise,
pauses and a wrong clock.

Sources: scipy.signal (butter, freqs, resample_poly); the peaking equaliser of R. Bristow-Johnson's "Cookbook formulae for
audio equalizer biquad filter coefficients"; a sine of peak A through x - a·x³ has a fundamental of A - 3/4·a·A³ and a third
harmonic of a·A³/4 (trigonometry); the third octaves of ISO 266:1997, table 1.
"""
import pathlib
import sys
import tempfile

import numpy
import outside
import response_check
from scipy import signal

TONES_HZ = [20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200]
PLAYED_DBFS, NOISE_DBFS, FULL_SCALE_V = -20.0, -80.0, 40.0
# 2 s of noise at that level: 8.7 dB·10^(-58/20)/√96000 at the deepest tone that is compared, far below this.
LEVEL_DB = 0.02
DEEPEST_DB = -38

FILTERS = [
    ("bass boost 45 Hz", response_check.peaking(45, 1.2, 6), ("peaking", 45, 6)),
    ("low-pass 80 Hz, 24 dB/octave", response_check.butterworth(4, 80, "low"), ("low-pass", 80, None)),
    ("high-pass 40 Hz, 12 dB/octave", response_check.butterworth(2, 40, "high"), ("high-pass", 40, None)),
]
CLOCKS = [(1, 1), (201, 200), (199, 200)]


def recorded(folder, samples, generator, clock=(1, 1)):
    """With a pause in front, a wrong clock, and noise."""
    samples = numpy.concatenate([numpy.zeros(77777), samples, numpy.zeros(outside.RATE)])
    if clock != (1, 1):
        samples = signal.resample_poly(samples, *clock)
    noise = 10 ** (NOISE_DBFS / 20) / numpy.sqrt(2) * generator.standard_normal(len(samples))
    return outside.write_wav(folder / "recorded.wav", samples + noise)


def verified(program, file):
    document = outside.run_json(program, "verify", file, "--volts-full-scale", f"{FULL_SCALE_V}V")
    return document["channels"][0]["steady_tones"]


def check_filter(checks, program, folder, track, case, clock, generator):
    name, filter_, (kind, hz, gain) = case
    file = recorded(folder, response_check.filtered(track, ("", filter_)), generator, clock)
    found = verified(program, file)
    label = f"{name}, clock {100 * (clock[0] / clock[1] - 1):+.1f} %"
    checks.equal(f"{label}: tones", [tone["played_hz"] for tone in found["tones"]], TONES_HZ)
    _, h = signal.freqs(*filter_, 2 * numpy.pi * numpy.array(TONES_HZ))
    truth = 20 * numpy.log10(numpy.abs(h))
    errors, volts = [], []
    for tone, true_db in zip(found["tones"], truth):
        if true_db < DEEPEST_DB:
            continue
        errors.append(abs(tone["response_db"] - true_db))
        true_v = FULL_SCALE_V / numpy.sqrt(2) * 10 ** ((PLAYED_DBFS + true_db) / 20)
        volts.append(abs(outside.db(tone["level_v"] / true_v)))
    checks.at_most(f"{label}: largest error of the response", max(errors), LEVEL_DB, "dB")
    checks.at_most(f"{label}: largest error in volts", max(volts), LEVEL_DB, "dB")
    frequency = [abs(t["frequency_hz"] * clock[0] / clock[1] / t["played_hz"] - 1) for t in found["tones"]]
    checks.at_most(f"{label}: largest error of a frequency", 100 * max(frequency), 0.01, "%")
    checks.equal(f"{label}: kind", [f["kind"] for f in found["filters"]], [kind])
    if found["filters"]:
        checks.within_relative(f"{label}: frequency", found["filters"][0]["frequency_hz"], hz * clock[1] / clock[0], 0.02, "Hz")
        if gain is not None:
            checks.within(f"{label}: gain", found["filters"][0]["gain_db"], gain, 0.2, "dB")


def check_distortion(checks, program, folder, track, generator):
    peak = 10 ** (PLAYED_DBFS / 20)
    cubic = 4 * 0.003 / peak ** 2
    found = verified(program, recorded(folder, track - cubic * track ** 3, generator))
    third = cubic * peak ** 2 / 4 / (1 - 0.75 * cubic * peak ** 2)
    for tone in found["tones"]:
        checks.within_relative(f"cubic law: THD at {tone['played_hz']} Hz", tone["thd_percent"], 100 * third, 0.02)
    found = verified(program, recorded(folder, numpy.clip(track, -0.8 * peak, 1), generator))
    for tone in found["tones"]:
        label = f"negative rail at 0.8: {tone['played_hz']} Hz"
        checks.equal(f"{label}: verdict", tone["verdict"], "clipped")
        checks.within(f"{label}: overdrive", tone["overdrive_negative_db"], -outside.db(0.8), 0.05, "dB")
        checks.equal(f"{label}: other rail", tone["overdrive_positive_db"], None)


def main(program):
    checks = outside.Checks("SciPy's filters, applied to the stepped bass track; trigonometry")
    generator = numpy.random.default_rng(3)
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        outside.run(program, "tones", folder / "kit", "--tone", "stepped-bass", "--rate", outside.RATE, "--bits", "24")
        track = response_check.read_track(next((folder / "kit").glob("*_stepped-bass.wav")))
        for case in FILTERS:
            for clock in CLOCKS:
                check_filter(checks, program, folder, track, case, clock, generator)
        check_distortion(checks, program, folder, track, generator)
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
