#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The sound interface's own figures against a chain made with SciPy and NumPy.

Sources: scipy.signal.butter (first-order high-pass, its response by scipy.signal.freqz); IEC 61672-1 A-weighting of white
noise, integrated here; a sine through y + a·y² has a second harmonic of a·A/2 (trigonometry).
"""
import math
import pathlib
import sys
import tempfile

import numpy
import scipy.io.wavfile
import scipy.signal

import outside

RATE = 48000
GAIN, CORNER_HZ, SQUARE, NOISE_DBFS = 0.8, 4.0, 1e-3, -90.0
TONE_PEAK = GAIN * 10 ** (-3 / 20)


def a_weighting(hz):
    """IEC 61672-1:2013, Annex E.4, relative to 1 kHz."""
    def raw(f):
        return (12194.217 ** 2 * f ** 4 / ((f ** 2 + 20.598997 ** 2) * (f ** 2 + 12194.217 ** 2)
                * numpy.sqrt((f ** 2 + 107.65265 ** 2) * (f ** 2 + 737.86223 ** 2))))
    return raw(hz) / raw(1000.0)


def in_band_db(weights):
    """White noise to half the rate, from 20 Hz to 20 kHz, weighted."""
    hz = numpy.arange(20.0, 20000.0)
    return 10 * math.log10(numpy.sum(weights(hz) ** 2) / (RATE / 2))


def capture(program, folder):
    """The kit's track through gain, coupling, a square law and noise."""
    outside.run(program, "tones", folder / "kit", "--tone", "loopback", "--bits", "24", "--rate", RATE)
    rate, codes = scipy.io.wavfile.read(next((folder / "kit").glob("*.wav")))
    assert rate == RATE
    track = numpy.concatenate([numpy.zeros(20000), codes[:, 0] / 2.0 ** 31, numpy.zeros(20000)])
    b, a = scipy.signal.butter(1, CORNER_HZ, "high", fs=RATE)
    out = GAIN * scipy.signal.lfilter(b, a, track)
    out = out + SQUARE * out ** 2
    noise = numpy.random.default_rng(1).normal(0.0, 10 ** (NOISE_DBFS / 20) / math.sqrt(2), len(out))
    return outside.write_wav(folder / "loop.wav", out + noise, RATE, "32"), (b, a)


def check_figures(checks, found, filter_):
    checks.equal("schema", found["schema"], "railtap.loopback/1")
    checks.within("tone", found["level_dbfs"], outside.db(TONE_PEAK), 0.001, "dB")
    noise = NOISE_DBFS + in_band_db(numpy.ones_like)
    tone_db = outside.db(TONE_PEAK)
    thdn = math.hypot(SQUARE * TONE_PEAK / 2, 10 ** ((noise - tone_db) / 20))
    checks.within_relative("THD+N", found["thdn_percent"], 100 * thdn, 0.01)
    # Five seconds of noise: 4.34 dB/√(19980·4.4), fifty times over.
    checks.within("noise", found["noise_dbfs"], noise, 0.1, "dB")
    checks.within("noise, A-weighted", found["noise_a_dbfs"], NOISE_DBFS + in_band_db(a_weighting), 0.15, "dB")
    checks.within_relative("coupling corner", found["coupling_corner_hz"], CORNER_HZ, 0.02)
    points = {point["frequency_hz"]: point["magnitude_db"] for point in found["response"]}
    inside = [hz for hz in points if 10.0 <= hz <= 15000.0]
    assert len(inside) > 200, len(points)
    _, true = scipy.signal.freqz(*filter_, worN=inside, fs=RATE)
    errors = [abs(points[hz] - outside.db(GAIN) - outside.db(abs(h))) for hz, h in zip(inside, true)]
    checks.at_most("response, worst error from 10 Hz to 15 kHz", max(errors), 0.02, "dB")


def check_use(checks, program, folder, interface):
    """In `analyze` and `watch` a tone that is as clean as the interface is not called cleaner; in `calibrate` the
    coupling's share is put back."""
    own = outside.sine(1000, outside.db(TONE_PEAK), 3)
    b, a = scipy.signal.butter(1, CORNER_HZ, "high", fs=RATE)
    for name, samples, above in (("own", own + SQUARE * own ** 2, False), ("worse", own + 3 * SQUARE * own ** 2, True)):
        samples = samples + outside.band_noise(1.0, 23999.0, NOISE_DBFS, 3)
        file = outside.write_wav(folder / f"{name}.wav", samples, RATE, "32")
        channel = outside.run_json(program, "analyze", file, "--interface", interface)["channels"][0]
        checks.equal(f"{name}: THD+N not above the interface's own", "thdn" in channel["not_above_interface"], not above)
        text = outside.run(program, "analyze", file, "--interface", interface).stdout
        words = next(line for line in text.splitlines() if "THD+N" in line)
        checks.equal(f"{name}: in words", "not above the interface's own" in words, not above)
        line = outside.run(program, "watch", file, "--fast", "--plain", "--interface", interface).stdout.splitlines()[-1]
        checks.equal(f"{name}: watched", "not above the interface's own" in line, not above)
        plain = outside.analyze(program, file)[0]
        checks.equal(f"{name}: without the file nothing is said", plain["not_above_interface"], None)
    tone = scipy.signal.lfilter(b, a, outside.sine(50, -20, 6))[3 * RATE:]
    file = outside.write_wav(folder / "tone.wav", tone, RATE, "32")
    found = outside.run_json(program, "calibrate", file, "--reading", "1V", "--interface", interface)
    # 1 V RMS is −20 dBFS: full scale is 10·√2 V peak, whatever the coupling takes.
    checks.within("calibrated at 50 Hz", outside.db(found["volts_per_full_scale"] / (10 * math.sqrt(2))), 0.0, 0.002, "dB")
    checks.within("correction", found["coupling_correction_db"], 10 * math.log10(1 + (CORNER_HZ / 50) ** 2), 0.002, "dB")


def check_refusals(checks, program, folder):
    silent = outside.write_wav(folder / "silent.wav", numpy.zeros(3 * RATE), RATE, "24")
    done = outside.run(program, "loopback", silent, statuses=(2,))
    checks.equal("no track in it", "the loop-back track's tone is not in it" in done.stderr, True)
    rate, codes = scipy.io.wavfile.read(next((folder / "kit").glob("*.wav")))
    loud = numpy.clip(2.0 * codes[:, 0] / 2.0 ** 31, -1.0, 1.0 - 2.0 ** -23)
    done = outside.run(program, "loopback", outside.write_wav(folder / "loud.wav", loud, RATE, "24"), statuses=(2,))
    checks.equal("overloaded", "lower the output's volume" in done.stderr, True)
    check_interrupted_sweep(program, folder, codes[:, 0] / 2.0 ** 31)


def check_interrupted_sweep(program, folder, track):
    """A millisecond that was played late is refused, and so are ten that were lost, wherever it is from 50 Hz on; a steep
    filter, which only falls, is not."""
    sweep = len(track) - 28 * RATE  # 20 s of sweep and 8 s of silence end the track
    for seconds in (8, 12, 17):
        at = sweep + seconds * RATE
        for what, samples in (("late", numpy.concatenate([track[:at], numpy.zeros(48), track[at:]])),
                              ("lost", numpy.concatenate([track[:at], track[at + 480:]]))):
            file = outside.write_wav(folder / "hole.wav", samples, RATE, "24")
            done = outside.run(program, "loopback", file, statuses=(2,))
            assert "the sweep was interrupted or processed" in done.stderr, (what, seconds, done)
    steep = scipy.signal.sosfilt(scipy.signal.butter(4, 120.0, "high", fs=RATE, output="sos"), track)
    found = outside.run_json(program, "loopback", outside.write_wav(folder / "steep.wav", steep, RATE, "24"))
    assert found["coupling_corner_hz"] is None, found["coupling_corner_hz"]


def main(program):
    checks = outside.Checks("SciPy's filters, IEC 61672-1:2013 Annex E.4, trigonometry")
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        file, filter_ = capture(program, folder)
        interface = folder / "interface.json"
        found = outside.run_json(program, "loopback", file, "--output", interface)
        check_figures(checks, found, filter_)
        check_use(checks, program, folder, interface)
        check_refusals(checks, program, folder)
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
