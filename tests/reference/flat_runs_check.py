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
    for name, (number, run, samples) in CLIPPED.items():
        path = MUSIC / name
        channels, status = analyze(program, path)
        channel = channels[number - 1]
        assert counted(path, number) == (run, samples), (name, counted(path, number))
        assert reported(channel) == (run, samples), (name, reported(channel))
        assert channel["verdict"] == "input-overload", (name, channel["verdict"])
        assert channel["input_overload"]["present"] and status == 1, name
        assert channel["thdn_percent"] is None, name
    for path in [MUSIC / name for name in NOT_CLIPPED] + [SPEECH / name for name in SPOKEN]:
        channels, status = analyze(program, path)
        assert status == 0, (path.name, [c["verdict"] for c in channels])
        for number, channel in enumerate(channels, 1):
            assert reported(channel) == counted(path, number), path.name
            assert channel["verdict"] == "no-tone", (path.name, channel["verdict"])
            assert not channel["input_overload"]["present"], path.name
            assert not channel["flat_top"]["present"], path.name
            assert channel["thdn_percent"] is None, path.name
    print("flat runs: as counted, and clipped files told from clean ones")


if __name__ == "__main__":
    main(sys.argv[1])
