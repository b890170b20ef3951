#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Hiss of the verification track's silence against SciPy's A-weighting of the same samples.

Source: IEC 61672-1:2013, annex E (poles of the A-weighting), evaluated by scipy.signal.freqs_zpk over the
spectrum of the very samples; sound level by IEC 60268-5 (sensitivity at 2.83 V and 1 m).
"""
import math
import pathlib
import sys
import tempfile
import wave

import numpy
import outside
from scipy import signal

HISS_DB = 0.2
VOLTS_FULL_SCALE, SENSITIVITY_DB = 47, 89
POLES_HZ = [20.598997, 20.598997, 107.65265, 737.86223, 12194.217, 12194.217]


def weights(hz):
    zeros, poles = numpy.zeros(4), [-2 * math.pi * p for p in POLES_HZ]
    _, response = signal.freqs_zpk(zeros, poles, 1.0, worN=2 * math.pi * hz)
    _, at_1khz = signal.freqs_zpk(zeros, poles, 1.0, worN=[2 * math.pi * 1000.0])
    return numpy.abs(response / at_1khz[0]) ** 2


def a_weighted_dbfs(samples):
    """The mean square by Parseval, each line weighted; 0 dBFS is a full-scale sine."""
    hz = numpy.fft.rfftfreq(len(samples), 1 / outside.RATE)[1:]
    power = 2 * numpy.abs(numpy.fft.rfft(samples)[1:]) ** 2 / len(samples) ** 2
    return 10 * math.log10(2 * numpy.sum(weights(hz) * power))


def read_track(path):
    with wave.open(str(path)) as file:
        raw = numpy.frombuffer(file.readframes(file.getnframes()), "<i2").reshape(-1, 2)
    return raw[:, 0] / 2 ** 15


def main(program):
    checks = outside.Checks("SciPy's A-weighting (IEC 61672-1:2013, annex E) of the same file")
    with tempfile.TemporaryDirectory() as folder:
        outside.run(program, "tones", f"{folder}/kit", "--tone", "verify", "--rate", outside.RATE)
        track = read_track(next(pathlib.Path(folder, "kit").glob("*verify.wav")))
        seconds = len(track) / outside.RATE
        hiss = outside.band_noise(10, 23900, -70, seconds, seed=3)
        pink = numpy.cumsum(outside.band_noise(10, 23900, -70, seconds, seed=4)) / 40
        hum = sum(outside.sine(50 * k, -75 - 6 * k, seconds) for k in (1, 2, 3))
        whine = outside.sine(2160, -80, seconds)
        for name, noise in {"white": hiss, "brown": pink - pink.mean(), "white, hum and whine": hiss + hum + whine}.items():
            path = outside.write_wav(pathlib.Path(folder) / "recorded.wav", 0.5 * track + noise)
            document = outside.run_json(program, "verify", path, "--volts-full-scale", f"{VOLTS_FULL_SCALE}V",
                                        "--sensitivity", f"{SENSITIVITY_DB}dB")
            part = next(p for p in document["files"][0]["parts"] if p["kind"] == "silence")
            first, last = (round(part[key] * outside.RATE) for key in ("start_s", "end_s"))
            samples = (0.5 * track + noise)[first + 4800:last - 4800]
            expected = a_weighted_dbfs(samples)
            silence = document["channels"][0]["silence"]
            checks.within(f"{name}: A-weighted", silence["whole_a_dbfs"], expected, HISS_DB, "dB")
            volts = VOLTS_FULL_SCALE / math.sqrt(2) * 10 ** (expected / 20)
            checks.within_relative(f"{name}: volts", silence["whole_a_v"], volts, 0.023, "V")
            if name == "white":
                checks.within("hiss alone", silence["hiss_a_dbfs"], expected, HISS_DB, "dB")
                checks.within("sound level", silence["hiss_sound_level_dba"],
                              SENSITIVITY_DB + 20 * math.log10(volts / 2.83), HISS_DB, "dB(A)")
            if "hum" in name:
                kinds = {round(line["frequency_hz"]): line["kind"] for line in silence["lines"]}
                checks.equal("lines", (kinds.get(50), kinds.get(2160)), ("hum", "whine"))
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
