#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The points that pictures are drawn from, against waveforms whose every value is known, and the pictures as XML.

Source: a sine cut at its rails in closed form; its harmonics by the FFT of one cycle (NumPy); SVG 2, chapter 5.8
(title and desc) and WAI-ARIA 1.2 (img role) for the alternative text.
"""
import math
import pathlib
import sys
import tempfile
import xml.etree.ElementTree as xml

import numpy

import outside

SVG = "{http://www.w3.org/2000/svg}"
PEAK, HIGH, LOW = 0.8, 0.5, -0.6  # full scales: the sine, its rails
VOLTS = 40.0


def cut_sine(count):
    return numpy.clip(PEAK * numpy.sin(2 * math.pi * numpy.arange(count) / count), LOW, HIGH)


def capture(path, frequency):
    """Two seconds with -100 dBFS of noise, so that neighbouring samples are not the same code."""
    t = numpy.arange(2 * outside.RATE) / outside.RATE
    tone = numpy.clip(PEAK * numpy.sin(2 * math.pi * frequency * t + 0.3), LOW, HIGH)
    outside.write_wav(path, tone + outside.band_noise(20, 20000, -100, 2.0))


def check_cycle(checks, curves, mean):
    cycle = curves["cycle"]
    phase = numpy.radians(cycle["phase_deg"])
    truth = numpy.clip(PEAK * numpy.sin(phase), LOW, HIGH) - mean
    # A slice is 1/256 of a cycle wide; over a corner its mean cuts half a slice's rise off.
    checks.at_most("cycle, off the closed form at most, full scales",
                   float(numpy.max(numpy.abs(numpy.array(cycle["mean_full_scale"]) - truth))), 0.004)
    checks.within("positive rail", cycle["positive_rail_full_scale"], HIGH - mean, 1e-4, "full scales")
    checks.within("negative rail", cycle["negative_rail_full_scale"], LOW - mean, 1e-4, "full scales")
    checks.within("positive rail", cycle["positive_rail_v"], VOLTS * (HIGH - mean), 0.004, "V")
    sine = numpy.array(cycle["sine_full_scale"])
    checks.at_most("sine without the rails, off at most",
                   float(numpy.max(numpy.abs(sine - (PEAK * numpy.sin(phase) - mean)))), 2e-4)


def check_transfer(checks, curves, mean):
    transfer = curves["transfer"]
    truth = numpy.clip(PEAK * numpy.array(transfer["input_ratio"]), LOW, HIGH) - mean
    for side in ("rising", "falling"):
        off = numpy.max(numpy.abs(numpy.array(transfer[side + "_full_scale"]) - truth))
        checks.at_most(f"transfer curve while {side}, off at most", float(off), 0.004)


def check_spectrum(checks, curves, frequency):
    spectrum = curves["spectrum"]
    hz, level = numpy.array(spectrum["frequency_hz"]), numpy.array(spectrum["level_dbfs"])
    count = 65536
    phasors = 2 / count * numpy.abs(numpy.fft.rfft(cut_sine(count)))
    for order in (1, 2, 3, 5):
        near = numpy.abs(hz - order * frequency) <= spectrum["resolution_hz"]
        checks.within(f"level of harmonic {order}", float(numpy.max(level[near])), outside.db(phasors[order]), 0.02,
                      "dB")


def check_noise(checks, program, folder):
    """A clean tone in white noise: aliases of a cut one would fill the gaps between its lines."""
    file = outside.write_wav(folder / "clean.wav", outside.sine(997, -6, 2) + outside.band_noise(20, 20000, -80, 2))
    spectrum = outside.analyze(program, file, "--curves")[0]["curves"]["spectrum"]
    hz, level = numpy.array(spectrum["frequency_hz"]), numpy.array(spectrum["level_dbfs"])
    quiet = (hz > 100) & (hz < 900)
    # Mean power in a stretch: 10·lg of stretch over band. Of a few neighbours the highest is kept, which lifts the
    # median by some 1.5 dB.
    expected = -80 + 10 * math.log10(spectrum["resolution_hz"] / 19980)
    checks.within("noise beside the line, median", float(numpy.median(level[quiet])), expected + 1.5, 1.5, "dB")


def check_pictures(checks, program, file, folder):
    outside.run(program, "analyze", file, "--svg", folder / "all.svg")
    outside.run(program, "analyze", file, "--svg", folder / "each")
    for path in [folder / "all.svg", *sorted((folder / "each").glob("*.svg"))]:
        root = xml.parse(path).getroot()
        pictures = [e for e in root.iter(SVG + "svg") if e.get("role") == "img"]
        checks.equal(f"{path.name}: pictures", len(pictures), 3 if path.name == "all.svg" else 1)
        for picture in pictures:
            first, second = list(picture)[:2]
            checks.equal(f"{path.name}: name and description", (first.tag, second.tag), (SVG + "title", SVG + "desc"))
            checks.equal(f"{path.name}: they say something", min(len(first.text), len(second.text)) > 5, True)
        checks.equal(f"{path.name}: no script, no link", [e.tag for e in root.iter() if e.tag.rpartition("}")[2] in
                                                          ("script", "a", "image", "use", "foreignObject")], [])
    again = outside.run(program, "analyze", file, "--svg", folder / "all.svg", statuses=(2,))
    checks.equal("a second run overwrites nothing", "--force" in again.stderr, True)


def main(program):
    checks = outside.Checks(__doc__.partition("Source: ")[2].replace("\n", " "))
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        frequency, file = 997.0, folder / "cut.wav"
        capture(file, frequency)
        channel, = outside.analyze(program, file, "--curves", "--volts-full-scale", f"{VOLTS}V")
        mean = float(numpy.mean(cut_sine(65536)))
        check_cycle(checks, channel["curves"], mean)
        check_transfer(checks, channel["curves"], mean)
        check_spectrum(checks, channel["curves"], frequency)
        check_noise(checks, program, folder)
        plain, = outside.analyze(program, file)
        checks.equal("without --curves there are none", "curves" in plain, False)
        check_pictures(checks, program, file, folder)
    checks.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
