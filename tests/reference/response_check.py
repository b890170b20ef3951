#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The swept response against filters designed and applied by SciPy, with noise and a wrong clock.

Source: scipy.signal (butter, freqs, lp2lp, resample_poly), analog filters applied to the spectrum; Linkwitz-Riley as a Butterworth of half the
order twice [Linkwitz, J. Audio Eng. Soc. 24 (1976), p. 2]; the peaking equaliser of R. Bristow-Johnson's
"Cookbook formulae for audio equalizer biquad filter coefficients".
"""
import pathlib
import sys
import tempfile
import wave

import numpy
import outside
from scipy import fft, signal

LEVEL_DBFS = -15
RESPONSE_DB, CORNER = 0.1, 0.01
# How far below the filter's top the response is compared: at 20 dB of signal to noise, what is 20 dB down
# is as loud as the noise.
DEPTH_DB = {20: 10, 40: 25, 60: 40}
# The last third of an octave of the sweep at either end is its fade.
LOW_HZ, HIGH_HZ, BASS_HIGH_HZ = 25, 15000, 400


def butterworth(order, hz, kind):
    """Numerator and denominator of the analog filter."""
    return signal.butter(order, 2 * numpy.pi * hz, kind, analog=True)


def linkwitz_riley(order, hz, kind):
    b, a = butterworth(order // 2, hz, kind)
    return numpy.polymul(b, b), numpy.polymul(a, a)


def peaking(hz, q, gain_db):
    """The cookbook's analog prototype, (s² + s·A/Q + 1)/(s² + s/(A·Q) + 1)."""
    a = 10 ** (gain_db / 40)
    return signal.lp2lp([1, a / q, 1], [1, 1 / (a * q), 1], 2 * numpy.pi * hz)


# Name, filter, kind, family, dB per octave, frequency, gain.
FILTERS = [
    ("high-pass 80 Hz, 12 dB/octave", butterworth(2, 80, "high"), "high-pass", "butterworth", 12, 80, None),
    ("high-pass 120 Hz, 24 dB/octave", butterworth(4, 120, "high"), "high-pass", "butterworth", 24, 120, None),
    ("high-pass 60 Hz, 18 dB/octave", butterworth(3, 60, "high"), "high-pass", "butterworth", 18, 60, None),
    ("low-pass 3 kHz, 6 dB/octave", butterworth(1, 3000, "low"), "low-pass", "butterworth", 6, 3000, None),
    ("low-pass 80 Hz, 24 dB/octave", butterworth(4, 80, "low"), "low-pass", "butterworth", 24, 80, None),
    ("Linkwitz-Riley 2.5 kHz low", linkwitz_riley(4, 2500, "low"), "low-pass", "linkwitz-riley", 24, 2500, None),
    ("Linkwitz-Riley 90 Hz high", linkwitz_riley(4, 90, "high"), "high-pass", "linkwitz-riley", 24, 90, None),
    ("Linkwitz-Riley 100 Hz high", linkwitz_riley(2, 100, "high"), "high-pass", "linkwitz-riley", 12, 100, None),
    ("bass boost 45 Hz", peaking(45, 1.2, 6), "peaking", None, None, 45, 6),
    ("cut at 400 Hz", peaking(400, 4, -9), "peaking", None, None, 400, -9),
]


def read_track(path):
    with wave.open(str(path)) as file:
        raw = numpy.frombuffer(file.readframes(file.getnframes()), "u1").reshape(-1, file.getnchannels(), 3)
    codes = raw[:, 0, 0].astype(int) | raw[:, 0, 1].astype(int) << 8 | raw[:, 0, 2].astype(numpy.int8).astype(int) << 16
    return codes / 2 ** 23


def check_points(checks, label, channel, case, snr_db):
    high_hz = BASS_HIGH_HZ if is_bass(case) else HIGH_HZ
    points = [p for p in channel["response"]["points"] if LOW_HZ <= p["frequency_hz"] <= high_hz]
    hz = numpy.array([p["frequency_hz"] for p in points])
    _, response = signal.freqs(*case[1], 2 * numpy.pi * hz)
    truth = 20 * numpy.log10(numpy.abs(response))
    compared = truth > truth.max() - DEPTH_DB[snr_db]
    error = numpy.abs(numpy.array([p["magnitude_db"] for p in points]) - truth)[compared]
    checks.at_most(f"{label}: largest error at {compared.sum()} points", float(error.max()), RESPONSE_DB, "dB")


def check_filter(checks, label, channel, case):
    _, _, kind, family, slope, hz, gain = case
    found = channel["response"]["filters"]
    checks.equal(f"{label}: number of filters", len(found), 1)
    if not found:
        return
    checks.equal(f"{label}: kind", (found[0]["kind"], found[0]["family"], found[0]["slope_db_per_octave"]),
                 (kind, family, slope))
    checks.within_relative(f"{label}: frequency", found[0]["frequency_hz"], hz, CORNER, "Hz")
    if gain is not None:
        checks.within(f"{label}: gain", found[0]["gain_db"], gain, 0.1, "dB")


_spectra = {}  # of each track that was filtered, which is kept beside it


def spectrum_of(track, count):
    """Each track goes through several filters, and its transform takes as long as what is done with it."""
    known = _spectra.get(id(track))
    if known is None or known[0] is not track:
        known = _spectra[id(track)] = track, fft.rfft(track, count)
    return known[1]


def filtered(track, case):
    """The track through an analog filter: its spectrum times the filter's, with room for what rings."""
    with_room = len(track) + outside.RATE
    count = fft.next_fast_len(with_room, real=True)
    hz = fft.rfftfreq(count, 1 / outside.RATE)
    hz[0] = 1e-9
    _, response = signal.freqs(*case[1], 2 * numpy.pi * hz)
    return fft.irfft(spectrum_of(track, count) * response, count)[:with_room]


def verify(program, folder, track, case, snr_db, generator):
    recorded = filtered(track, case)
    noise_rms = 10 ** ((LEVEL_DBFS - snr_db) / 20) / numpy.sqrt(2)
    recorded = recorded + noise_rms * generator.standard_normal(len(recorded))
    path = outside.write_wav(pathlib.Path(folder) / "recorded.wav", recorded)
    return outside.run_json(program, "verify", path)["channels"][0]


def is_bass(case):
    """Behind such a low-pass only the bass track arrives."""
    return case[2] == "low-pass" and case[5] < 500


def main(program):
    checks = outside.Checks("SciPy's filters, applied to the verification track")
    generator = numpy.random.default_rng(7)
    with tempfile.TemporaryDirectory() as folder:
        outside.run(program, "tones", f"{folder}/kit", "--tone", "verify", "--tone", "verify-bass",
                    "--rate", outside.RATE, "--bits", "24")
        tracks = {name: read_track(next(pathlib.Path(folder, "kit").glob(f"*_{name}.wav")))
                  for name in ("verify", "verify-bass")}
        for case in FILTERS:
            track = tracks["verify-bass" if is_bass(case) else "verify"]
            for snr_db in DEPTH_DB:
                label = f"{case[0]}, {snr_db} dB"
                channel = verify(program, folder, track, case, snr_db, generator)
                check_points(checks, label, channel, case, snr_db)
                check_filter(checks, label, channel, case)
        for up, down in ((201, 200), (199, 200)):
            stretched = signal.resample_poly(tracks["verify"], up, down)
            label = f"{FILTERS[0][0]}, clock {100 * (up / down - 1):+.1f} %"
            channel = verify(program, folder, stretched, FILTERS[0], 40, generator)
            check_points(checks, label, channel, FILTERS[0], 40)
            check_filter(checks, label, channel, FILTERS[0])
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
