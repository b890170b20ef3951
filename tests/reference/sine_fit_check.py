#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Level and frequency against a window-free sine fit made by SciPy on the same files.

Source: the four-parameter least-squares sine fit of IEEE Std 1057, here scipy.optimize.least_squares.
"""
import math
import pathlib
import sys
import tempfile

import numpy
from scipy.io import wavfile
from scipy.optimize import least_squares

import outside


def samples_of(path):
    rate, data = wavfile.read(path)
    if data.dtype == numpy.int16:
        return rate, data / 2.0 ** 15
    if data.dtype == numpy.int32:  # SciPy reads 24 bits into the upper part of 32
        return rate, data / 2.0 ** 31
    return rate, data.astype(float)


def fit(samples, rate, start_hz):
    """Amplitude and frequency of the sine closest to the samples, DC fitted with it."""
    t = (numpy.arange(len(samples)) - len(samples) / 2) / rate

    def columns(hz):
        return numpy.column_stack([numpy.cos(2 * math.pi * hz * t), numpy.sin(2 * math.pi * hz * t),
                                   numpy.ones_like(t)])

    linear = numpy.linalg.lstsq(columns(start_hz), samples, rcond=None)[0]
    span = len(samples) / rate  # a change of frequency of 1/span moves the ends by half a turn: a natural unit

    def misfit(x):
        return columns(start_hz + x[3] / span) @ x[:3] - samples

    best = least_squares(misfit, [*linear, 0.0], method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    return math.hypot(best[0], best[1]), start_hz + best[3] / span


def cases():
    for rate in (8000, 44100, 48000, 96000, 192000):
        yield rate, "24", 997.0, -1.0, None, 1.0
    for hz in (20.0, 50.0, 99.7, 1000.0, 3150.5, 9973.3, 10000.0):
        yield 48000, "24", hz, -3.0, None, 1.0
    for encoding, level in (("16", -3.0), ("16", -40.0), ("24", -60.0), ("float32", -10.0), ("float64", 0.0)):
        yield 44100, encoding, 997.3, level, None, 1.0
    for hz in (40.0, 997.0, 6000.0):  # 60 dB signal to noise over one second
        yield 48000, "float64", hz, -6.0, -66.0, 1.0


def main(program):
    checks = outside.Checks("IEEE Std 1057 four-parameter sine fit, by SciPy on the same file", outside.LIBRARIES)
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "tone.wav"
        for rate, encoding, hz, level, noise, seconds in cases():
            signal = outside.sine(hz, level, seconds, rate)
            if noise is not None:
                signal = signal + outside.band_noise(0, rate / 2, noise, seconds, rate)
            outside.write_wav(path, signal, rate, encoding)
            amplitude, fitted_hz = fit(samples_of(path)[1], rate, hz * (1 + 1e-5))
            channel = outside.analyze(program, path)[0]
            name = f"{hz:g} Hz at {level:g} dBFS, {rate} Hz {encoding}" + (", 60 dB noise" if noise else "")
            checks.within(f"level of {name}", channel["level_dbfs"], outside.db(amplitude), 0.001, "dB")
            checks.within_relative(f"frequency of {name}", channel["frequency_hz"], fitted_hz, 1e-6, "Hz")
            checks.within_relative(f"true frequency of {name}", channel["frequency_hz"], hz, 1e-6, "Hz")
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
