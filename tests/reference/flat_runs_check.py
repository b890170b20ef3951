# SPDX-License-Identifier: MIT
"""Recordings that the distribution packages: runs at the peak, and what is said of them.

Speech and noise from alsa-utils; music and drums from sonic-pi-samples (CC0). How many samples sit at the
highest and lowest value, and the longest run of them, was counted once with libsndfile and NumPy, and is
counted here again with SoX's decoder; which files are clipped was seen in the waveforms.
"""
import json
import pathlib
import subprocess
import sys

import numpy as np

import outside

SPEECH = pathlib.Path("/usr/share/sounds/alsa")
MUSIC = pathlib.Path("/usr/share/sonic-pi/samples")

# file: channel, longest run at the peak, samples at both extremes
CLIPPED = {
    "loop_amen_full.flac": (1, 63, 2617),
    "drum_heavy_kick.flac": (1, 110, 264),
    "bd_klub.flac": (2, 28, 111),
    "elec_hollow_kick.flac": (1, 16, 27),
}
NOT_CLIPPED = [
    "loop_amen.flac", "loop_breakbeat.flac", "bass_hit_c.flac", "bd_tek.flac", "loop_mika.flac",
    "loop_safari.flac", "guit_e_fifths.flac", "guit_harmonics.flac", "ambi_choir.flac", "vinyl_hiss.flac",
]
SPOKEN = ["Front_Center.wav", "Front_Left.wav", "Rear_Right.wav", "Side_Left.wav", "Noise.wav"]


def analyze(program, path):
    done = subprocess.run([program, "analyze", "--json", path], capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), f"{path}: {done.stderr}"
    return json.loads(done.stdout)["channels"], done.returncode


def counted(path, channel):
    """Longest run and number of samples at the two extremes, counted without railtap."""
    channels = int(subprocess.check_output(["soxi", "-c", path]))
    raw = subprocess.check_output(["sox", path, "-t", "raw", "-e", "signed", "-b", "32", "-"])
    x = np.frombuffer(raw, dtype="<i4").reshape(-1, channels)[:, channel - 1]
    longest = samples = 0
    for extreme in (x.max(), x.min()):
        at = np.concatenate([[0], (x == extreme).astype(int), [0]])
        edges = np.diff(at)
        lengths = np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1)
        longest, samples = max(longest, lengths.max()), samples + lengths.sum()
    return int(longest), int(samples)


def reported(channel):
    sides = [side for side in channel["peak_runs"].values() if side]
    return max(side["longest_run"] for side in sides), sum(side["samples"] for side in sides)


def main(program):
    if not MUSIC.is_dir() or not SPEECH.is_dir():
        sys.exit("the packages sonic-pi-samples and alsa-utils are needed; setup.sh installs them")
    checks = outside.Checks("recordings of Debian's packages sonic-pi-samples (CC0) and alsa-utils, counted with SoX and NumPy",
                            outside.RECORDINGS)
    for name, (number, run, samples) in CLIPPED.items():
        check_clipped(checks, program, MUSIC / name, number, (run, samples))
    for path in [MUSIC / name for name in NOT_CLIPPED] + [SPEECH / name for name in SPOKEN]:
        check_clean(checks, program, path)
    checks.close()


def check_clipped(checks, program, path, number, expected):
    channels, status = analyze(program, path)
    channel = channels[number - 1]
    checks.equal(f"{path.name}: longest run and samples, counted here", counted(path, number), expected)
    checks.equal(f"{path.name}: longest run and samples, reported", reported(channel), expected)
    checks.equal(f"{path.name}: verdict and exit status", (channel["verdict"], status), ("input-overload", 1))
    checks.equal(f"{path.name}: overload present", channel["input_overload"]["present"], True)
    checks.equal(f"{path.name}: THD+N", channel["thdn_percent"], None)


def check_clean(checks, program, path):
    channels, status = analyze(program, path)
    checks.equal(f"{path.name}: exit status", status, 0)
    for number, channel in enumerate(channels, 1):
        name = f"{path.name}, channel {number}"
        checks.equal(f"{name}: longest run and samples", reported(channel), counted(path, number))
        checks.equal(f"{name}: verdict", channel["verdict"], "no-tone")
        checks.equal(f"{name}: overload, flat tops, THD+N",
                     (channel["input_overload"]["present"], channel["flat_top"]["present"], channel["thdn_percent"]),
                     (False, False, None))


if __name__ == "__main__":
    main(sys.argv[1])
