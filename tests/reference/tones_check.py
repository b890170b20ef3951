#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Test tones against SoX and against their formulas, evaluated here with NumPy.

Sources: `sox FILE -n stats` (levels, peaks); Farina 2000, paper 5093 (sweep); the definitions in testsignals/README.md.
A spectrum that leaves its mask is written beside the test as tones_mask.csv.
"""
import math
import pathlib
import re
import subprocess
import sys
import tempfile

import numpy
import scipy.io.wavfile
import scipy.signal

import outside

SINE_REFERENCE_DB = 10 * math.log10(2)
SOX_DIGITS_DB = 0.006  # it prints two digits after the point
TPDF_FLOOR_DBFS = -93.32  # 16 bit: 6.0206·16 + 1.7609 − 4.7712 dB below a full-scale sine


def sox_stats(path):
    """Overall RMS level re a full-scale sine, and peak, in dB."""
    text = subprocess.run(["sox", str(path), "-n", "stats"], capture_output=True, text=True, check=True).stderr

    def figure(label):
        return float(re.search(rf"^{label}\s+(\S+)", text, re.MULTILINE)[1])
    return figure("RMS lev dB") + SINE_REFERENCE_DB, figure("Pk lev dB")


def make(program, folder, *arguments):
    document = outside.run_json(program, "tones", folder, *arguments, statuses=(0,))
    return [(folder / track["file"], track) for track in document["tracks"]]


def kit_levels(checks, program, folder):
    """Level and peak of every sine of the kit, read by SoX."""
    for path, track in make(program, folder / "kit"):
        rms, peak = sox_stats(path)
        checks.at_most(f"{path.name}: SoX peak", peak, 0.0, "dBFS")
        if track["name"].startswith(("setup", "calibrate")):
            level = track["level_dbfs"]
            # Two fades of 10 to 25 ms in 60 s take up to 0.003 dB.
            checks.within(f"{path.name}: SoX RMS", rms, level, SOX_DIGITS_DB + 0.003, "dB")
            checks.within(f"{path.name}: SoX peak", peak, level, SOX_DIGITS_DB + 0.003, "dB")
        if track["name"] == "pink-noise":
            checks.within("pink noise: SoX RMS", rms, -20, SOX_DIGITS_DB + 0.05, "dB")
            pink_slope(checks, path)
        if track["name"] == "silence":
            checks.within("silence: SoX RMS", rms, TPDF_FLOOR_DBFS, 0.1, "dB")


def pink_slope(checks, path):
    """Power per third of an octave, from Welch's method: equal, and nothing outside 20 Hz to 19 kHz."""
    rate, codes = scipy.io.wavfile.read(path)
    frequency, density = scipy.signal.welch(codes[:, 0] / 32768, rate, nperseg=65536)
    bands = []
    for third in range(-10, 13):  # 100 Hz to 16 kHz
        centre = 1000 * 2 ** (third / 3)
        inside = (frequency >= centre * 2 ** (-1 / 6)) & (frequency < centre * 2 ** (1 / 6))
        # The sum over bins lacks up to half a bin at either edge; as a density it does not.
        bands.append(10 * math.log10(density[inside].mean() * centre))
    checks.within("pink noise: third-octave bands, highest over lowest", max(bands) - min(bands), 0, 0.6, "dB")
    above = density[frequency > 19500].max()
    floor = 2 * (2.0 ** -15) ** 2 / 4 / rate  # TPDF, one-sided
    checks.at_most("pink noise: above its band, over the dither", 10 * math.log10(above / floor), 2.0, "dB")


def masks(checks, program, folder):
    """64-bit tones: nothing but the line. 16-bit ones: nothing but the line and the dither."""
    for hertz in (40, 50, 100, 997, 1000, 6661.7):
        for rate in (44100, 48000, 88200, 96000):
            [(path, _)] = make(program, folder / f"{hertz}-{rate}", "--sine", f"{hertz}Hz", "--level", "0dBFS",
                               "--seconds", "4s", "--bits", "double", "--rate", f"{rate}Hz")
            found, samples = scipy.io.wavfile.read(path)
            assert found == rate
            checks.at_most(f"{hertz} Hz at {rate} Hz: highest sample", float(abs(samples).max()), 1 - 2 ** -25)
            inner = samples[rate // 2:-rate // 2, 0]
            window = scipy.signal.windows.kaiser(len(inner), 38)  # side lobes below −270 dB
            spectrum = abs(numpy.fft.rfft(inner * window)) / (window.sum() / 2)
            frequency = numpy.fft.rfftfreq(len(inner), 1 / rate)
            outside_line = abs(frequency - hertz) > 12
            level = 20 * numpy.log10(spectrum + 1e-30)
            worst = float(level[outside_line].max())
            if worst > -200:
                numpy.savetxt("tones_mask.csv", numpy.column_stack([frequency, level]), "%.4f,%.2f")
            checks.at_most(f"{hertz} Hz at {rate} Hz, 64 bit: outside ±12 Hz", worst, -200.0, "dBFS")
            checks.within(f"{hertz} Hz at {rate} Hz, 64 bit: on the line", float(level.max()), 0, 0.02, "dB")
    for bits, floor in ((16, TPDF_FLOOR_DBFS), (24, TPDF_FLOOR_DBFS - 8 * 20 * math.log10(2))):
        [(path, _)] = make(program, folder / f"{bits}", "--sine", "997Hz", "--level", "0dBFS", "--seconds", "6s",
                           "--bits", bits, "--rate", "48kHz")
        _, codes = scipy.io.wavfile.read(path)
        scale = 2.0 ** 31 if bits == 24 else 2.0 ** 15  # SciPy left-justifies 24 bit
        inner = codes[24000:-24000, 0] / scale
        t = numpy.arange(len(inner)) / 48000
        columns = numpy.column_stack([numpy.sin(2 * math.pi * 997 * t), numpy.cos(2 * math.pi * 997 * t),
                                      numpy.ones_like(t)])
        rest = inner - columns @ numpy.linalg.lstsq(columns, inner, rcond=None)[0]
        noise = 20 * math.log10(rest.std() * math.sqrt(2))
        checks.within(f"{bits} bit: all but the tone, level of TPDF dither", noise, floor, 0.1, "dB")
        highest = max(abs(int(codes.max())), abs(int(codes.min()))) * (2.0 ** -8 if bits == 24 else 1)
        checks.at_most(f"{bits} bit: highest code", highest, 2.0 ** (bits - 1) - 1)
        density = scipy.signal.welch(rest, 48000, nperseg=4096)[1][8:-8]
        checks.at_most(f"{bits} bit: highest bin of the noise over its mean", 10 * math.log10(density.max()
                       / density.mean()), 2.0, "dB")


def formulas(checks, program, folder):
    """Sweep, two tones, polarity and the pattern of the channels, sample by sample."""
    recipe = folder / "formulas.toml"
    recipe.write_text('''schema = "railtap.recipe/1"
[[track]]
name = "sweep"
part = [{ signal = "sweep", low_hz = 20, high_hz = 19000, level_dbfs = -6, length_s = 5 }]
[[track]]
name = "two"
part = [{ signal = "two-tone", first_hz = 60, second_hz = 7000, ratio = 4, level_dbfs = -6, length_s = 2 }]
[[track]]
name = "tips"
part = [{ signal = "polarity", frequency_hz = 500, level_dbfs = -12, length_s = 2 }]
[[track]]
name = "ladder"
part = [{ signal = "ladder", frequency_hz = 1000, start_dbfs = -20, stop_dbfs = 0, step_db = 2, dwell_s = 0.5 }]
[[track]]
name = "left"
part = [{ signal = "sine", frequency_hz = 440, level_dbfs = -9, length_s = 2, channels = "left" }]
''')
    rate = 48000
    written = {track["name"]: scipy.io.wavfile.read(path)[1] for path, track in make(
        program, folder / "formulas", "--recipe", recipe, "--bits", "double", "--rate", "48kHz")}

    def same(name, samples, expected, start, end):
        worst = float(abs(samples[start:end] - expected[start:end]).max())
        checks.at_most(f"{name}: largest difference from its formula", worst, 1e-9, "full scales")
    t = numpy.arange(5 * rate) / rate
    rise = 5 / math.log(950)
    same("sweep", written["sweep"][:, 0], 10 ** -0.3 * numpy.sin(2 * math.pi * 20 * rise * numpy.expm1(t / rise)),
         3000, 5 * rate - 3000)
    t = numpy.arange(2 * rate) / rate
    small = 10 ** -0.3 / math.sqrt(17)
    two = 4 * small * numpy.sin(2 * math.pi * 60 * t) + small * numpy.sin(2 * math.pi * 7000 * t)
    same("two tones", written["two"][:, 1], two, 1000, 2 * rate - 1000)
    amplitudes = numpy.array([1, 0.75, 0.5, 0.25])
    tips = sum(a * numpy.cos(2 * math.pi * 500 * k * t) for k, a in enumerate(amplitudes, 1))
    same("polarity", written["tips"][:, 0], tips * 10 ** -0.6 / math.sqrt((amplitudes ** 2).sum()), 500,
         2 * rate - 500)
    step = rate // 2
    for k in range(11):
        n = numpy.arange(k * step + 480, (k + 1) * step - 480)
        worst = abs(written["ladder"][n, 0] - 10 ** ((2 * k - 20) / 20) * numpy.sin(2 * math.pi * 1000 * n / rate)
                    * (1 - 2 ** -24)).max()
        checks.at_most(f"ladder: step {k}", float(worst), 1e-7, "full scales")
    checks.equal("left only: right channel", float(abs(written["left"][:, 1]).max()), 0.0)


def reproducible(checks, program, folder):
    for container in ("wav", "flac", "aiff", "mp3"):
        names = ("channels", "ladder-50hz-fine", "two-tone")
        options = [word for name in names for word in ("--tone", name)] + ["--container", container]
        first, second = (make(program, folder / f"{container}{n}", *options) for n in (1, 2))
        for (a, _), (b, _) in zip(first, second):
            checks.equal(f"{a.name}: the same bytes twice", a.read_bytes() == b.read_bytes(), True)


def mp3(checks, program, folder):
    """What MP3 does to a tone, by SoX's decoder and a least-squares fit here."""
    worst = -200.0
    for hertz in (50, 997, 1000):
        [(path, _)] = make(program, folder / f"{hertz}", "--sine", f"{hertz}Hz", "--level", "-1dBFS", "--seconds", "8s",
                           "--container", "mp3")
        decoded = folder / f"{hertz}.wav"
        subprocess.run(["sox", str(path), "-b", "32", "-e", "floating-point", str(decoded)], check=True,
                       capture_output=True)
        rate, samples = scipy.io.wavfile.read(decoded)
        inner = samples[rate:-rate, 0].astype(float)
        t = numpy.arange(len(inner)) / rate
        columns = numpy.column_stack([numpy.sin(2 * math.pi * hertz * t), numpy.cos(2 * math.pi * hertz * t)])
        rest = inner - columns @ numpy.linalg.lstsq(columns, inner, rcond=None)[0]
        worst = max(worst, 20 * math.log10(rest.std() / inner.std()))
    checks.within("MP3: THD+N of a decoded tone, the worst of three", worst, -82, 4, "dB")


def main(program):
    checks = outside.Checks("SoX, NumPy and SciPy", outside.LIBRARIES)
    with tempfile.TemporaryDirectory() as name:
        for part in (kit_levels, masks, formulas, reproducible, mp3):
            print(f"- {part.__name__}")
            folder = pathlib.Path(name) / part.__name__
            folder.mkdir()
            part(checks, program, folder)
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
