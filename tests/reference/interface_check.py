#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The sound interface's own response, taken out of a verification: two filters designed by SciPy in a row, the first the
interface's, which the loop-back track goes through alone; reported must be the second.

Source: scipy.signal (butter, freqs), analog filters applied to the spectrum; the shelf is (s·g + ω)/(s + ω).
"""
import json
import pathlib
import sys
import tempfile

import numpy
import outside
import response_check
from scipy import signal

NOISE_DBFS = -85.0
SNR_DB = 40  # how deep below the top the response is compared, in response_check


def shelf(hz, gain_db):
    """First order, `gain_db` above the corner."""
    w = 2 * numpy.pi * hz
    return [10 ** (gain_db / 20), w], [1, w]


def in_a_row(*filters):
    """The last is the one that varies least."""
    b, a = [1.0], [1.0]
    for more_b, more_a in filters:
        b, a = numpy.polymul(b, more_b), numpy.polymul(a, more_a)
    return b, a


# Interfaces: a headset socket with small coupling capacitors, and one whose response is tilted.
INTERFACES = [
    ("high-pass 25 Hz, 12 dB/octave", response_check.butterworth(2, 25, "high")),
    ("tilt of -4 dB, high-pass 20 Hz", in_a_row(shelf(1500, -4), response_check.butterworth(1, 20, "high"))),
]
SYSTEMS = [case for case in response_check.FILTERS
           if case[0] in ("high-pass 80 Hz, 12 dB/octave", "low-pass 3 kHz, 6 dB/octave", "bass boost 45 Hz",
                          "low-pass 80 Hz, 24 dB/octave")]


def recorded(folder, name, track, filter_, generator):
    samples = response_check.filtered(track, ("", filter_))
    noise = 10 ** (NOISE_DBFS / 20) / numpy.sqrt(2) * generator.standard_normal(len(samples))
    return outside.write_wav(folder / f"{name}.wav", samples + noise)


def relative_to_interface(channel, filter_):
    """What the interface has at 1 kHz stays in, as its gain does: the calibration's business."""
    _, at_1khz = signal.freqs(*filter_, [2 * numpy.pi * 1000])
    for point in channel["response"]["points"]:
        point["magnitude_db"] -= outside.db(abs(at_1khz[0]))


def check_system(checks, program, folder, tracks, own, case, generator):
    track = tracks["verify-bass" if response_check.is_bass(case) else "verify"]
    file = recorded(folder, "recorded", track, in_a_row(own[1], case[1]), generator)
    document = outside.run_json(program, "verify", file, "--interface", folder / "interface.json")
    label = f"{own[0]}; {case[0]}"
    channel = document["channels"][0]
    relative_to_interface(channel, own[1])
    response_check.check_points(checks, label, channel, case, SNR_DB)
    response_check.check_filter(checks, label, channel, case)
    checks.equal(f"{label}: named", pathlib.Path(document["interface"]).name, "interface.json")
    checks.equal(f"{label}: nothing speaks against it", document["warnings"], [])
    checks.equal(f"{label}: said to be taken out", channel["response"]["interface_taken_out"] is not None, True)
    return channel


def check_most(checks, program, folder, channel, own):
    """The largest part that was taken out, and that without the loop-back it is still in."""
    most = channel["response"]["interface_taken_out"]
    _, h = signal.freqs(*own[1], 2 * numpy.pi * numpy.array([most["frequency_hz"], 1000.0]))
    part = outside.db(abs(h[0] / h[1]))
    checks.within(f"{own[0]}: most that was taken out", most["magnitude_db"], part, 0.1, "dB")
    plain = outside.run_json(program, "verify", folder / "recorded.wav")["channels"][0]
    checks.equal(f"{own[0]}: nothing taken out without the loop-back", plain["response"]["interface_taken_out"], None)
    at = [{p["frequency_hz"]: p["magnitude_db"] for p in c["response"]["points"]} for c in (plain, channel)]
    hz = min(set(at[0]) & set(at[1]), key=lambda f: abs(f - most["frequency_hz"]))
    # `channel` had the interface's level at 1 kHz taken off for the comparison above.
    checks.within(f"{own[0]}: what is in without it", at[0][hz] - at[1][hz], outside.db(abs(h[0])), 0.1, "dB")


def check_warnings(checks, program, folder, file):
    """A loop-back at another rate, of another device, or without a response."""
    interface = json.loads((folder / "interface.json").read_text("utf-8"))
    other = folder / "other.json"
    other.write_text(json.dumps({**interface, "sample_rate_hz": 96000}), "utf-8")
    warnings = outside.run_json(program, "verify", file, "--interface", other)["warnings"]
    checks.equal("another rate is told", any("was measured at 96 kHz" in text for text in warnings), True)
    turned = interface["response"][::-1]
    for name, response in (("no response", []), ("falling frequencies", turned)):
        other.write_text(json.dumps({**interface, "response": response}), "utf-8")
        done = outside.run(program, "verify", file, "--interface", other, statuses=(2,))
        checks.equal(f"{name}: refused", "make it again with railtap loopback" in done.stderr, True)
    text = outside.run(program, "verify", file, "--interface", folder / "interface.json").stdout
    checks.equal("in words", "the interface's own taken out" in text, True)
    checks.equal("not in words without", "taken out" in outside.run(program, "verify", file).stdout, False)


def main(program):
    checks = outside.Checks("SciPy's filters, applied to the loop-back and to the verification track")
    generator = numpy.random.default_rng(11)
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        names = ("verify", "verify-bass", "loopback")
        outside.run(program, "tones", folder / "kit", *(word for track in names for word in ("--tone", track)),
                    "--rate", outside.RATE, "--bits", "24")
        tracks = {track: response_check.read_track(next((folder / "kit").glob(f"*_{track}.wav"))) for track in names}
        for own in INTERFACES:
            loop = recorded(folder, "loop", tracks["loopback"], own[1], generator)
            outside.run(program, "loopback", loop, "--output", folder / "interface.json", "--force")
            for case in SYSTEMS:
                channel = check_system(checks, program, folder, tracks, own, case, generator)
            check_most(checks, program, folder, channel, own)
        check_warnings(checks, program, folder, folder / "recorded.wav")
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
