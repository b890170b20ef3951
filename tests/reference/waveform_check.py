#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Distortion of waves whose harmonics are known in closed form.

Source: Fourier series of the square (48.34 % of the fundamental in all), the triangle (12.12 %) and the clipped
sine, cut at 20 kHz or half the sampling rate, whichever is lower. The clipped sine's coefficients, for a sine
of peak 1 cut at ±c with t = asin c:
  b1 = (2/π)(t + c·√(1−c²)),  bn = (4/π)[n·sin(nt)·cos t − cos(nt)·sin t]/[n(n²−1)],  n = 3, 5, 7, …
"""
import math
import pathlib
import sys
import tempfile

import numpy

import outside

BAND_HIGH_HZ = 20000
POINTS = 0.01  # percentage points


def square(order):
    return 1 / order if order % 2 else 0.0


def triangle(order):
    return (-1) ** ((order - 1) // 2) / order ** 2 if order % 2 else 0.0


def clipped(overdrive_db):
    c = 10 ** (-overdrive_db / 20)
    t = math.asin(c)

    def coefficient(n):
        if n == 1:
            return 2 / math.pi * (t + c * math.cos(t))
        if n % 2 == 0:
            return 0.0
        return 4 / math.pi * (n * math.sin(n * t) * math.cos(t) - math.cos(n * t) * math.sin(t)) / (n * (n * n - 1))
    return coefficient


def series(coefficient, hz, peak, seconds, rate):
    """The wave and its coefficients, scaled to a fundamental of that peak."""
    orders = [n for n in range(1, int(BAND_HIGH_HZ / hz) + 1) if n * hz < min(BAND_HIGH_HZ, rate / 2)]
    t = numpy.arange(round(seconds * rate)) / rate
    scale = peak / coefficient(1)
    values = {n: scale * coefficient(n) for n in orders if coefficient(n) != 0.0}
    return sum(a * numpy.sin(2 * math.pi * n * hz * t) for n, a in values.items()), values


def check_wave(checks, program, path, name, coefficient, hz, rate=48000):
    wave, values = series(coefficient, hz, 0.5, 2.0, rate)
    outside.write_wav(path, wave, rate, "float64")
    channel = outside.analyze(program, path)[0]
    over_fundamental = math.sqrt(sum(a * a for n, a in values.items() if n > 1)) / values[1]
    over_total = over_fundamental / math.sqrt(1 + over_fundamental ** 2)
    name = f"{name}, {hz:g} Hz"
    checks.within(f"THD of {name}", channel["thd_percent"], 100 * over_fundamental, POINTS, "points")
    checks.within(f"THD+N of {name}", channel["thdn_percent"], 100 * over_total, POINTS, "points")
    for harmonic in channel["harmonics"]:
        order = harmonic["order"]
        if order in values:
            checks.within(f"harmonic {order} of {name}", harmonic["level_db"],
                          outside.db(abs(values[order] / values[1])), 0.01, "dB")
        elif harmonic["level_db"] is not None:
            checks.at_most(f"harmonic {order} of {name}", harmonic["level_db"], -120, "dB")
    return channel


def main(program):
    checks = outside.Checks("closed forms: Fourier series of square, triangle and clipped sine")
    # The series itself is checked against the printed sums before it is used.
    for name, coefficient, printed in (("square", square, 48.342585), ("triangle", triangle, 12.115293)):
        total = 100 * math.sqrt(sum(coefficient(n) ** 2 for n in range(3, 200001, 2)))
        checks.within(f"sum of the {name}'s series", total, printed, 0.001, "%")
    checks.within("clipped by 1 dB, series to order 20",
                  100 * math.sqrt(sum(clipped(1)(n) ** 2 for n in range(3, 21))) / clipped(1)(1),
                  100 * 0.0462253 / math.sqrt(1 - 0.0462253 ** 2), 0.0002, "%")
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "wave.wav"
        for hz in (50, 997):
            check_wave(checks, program, path, "square", square, hz)
            check_wave(checks, program, path, "triangle", triangle, hz)
        check_wave(checks, program, path, "square", square, 1000, rate=96000)
        for overdrive in (0.05, 0.25, 1.0, 3.0, 6.0):
            channel = check_wave(checks, program, path, f"sine clipped by {overdrive} dB", clipped(overdrive), 50)
            for rail in ("positive", "negative"):
                checks.within(f"overdrive of the {rail} rail", channel["flat_top"][f"overdrive_{rail}_db"],
                              overdrive, 0.02, "dB")
            checks.equal("flat-topping is seen", channel["flat_top"]["present"], True)
            checks.equal("verdict", channel["verdict"], "clipped")
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
