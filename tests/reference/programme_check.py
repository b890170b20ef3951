# SPDX-License-Identifier: MIT
"""Music that a chain clipped, and music that it did not: found alone, and with the track that was played.

Excerpts are mixed here from recordings of Debian's package sonic-pi-samples (CC0) and mastered in six ways, among them
limiters and soft clippers; half go through MP3 first. The chain is SciPy's: tone controls (shelving filters of R.
Bristow-Johnson's Audio EQ Cookbook, W3C Note 2021), rails at four times the sampling rate, a coupling (Butterworth of
first order), an anti-alias filter, noise, a clock that differs, and 24 bits. What is right is known from how it was made. Every third excerpt is recorded behind a
high-pass as well, as a door amplifier has it, with rails in front of it. Another third is recorded as a bass amplifier's
output: a low-pass (Butterworth, or two of them: S. Linkwitz, J. Audio Eng. Soc. 24 (1976), pp. 2-8), now and then a subsonic
high-pass, then the rails; and with rails in front of all that.

programme_check.py PROGRAM [EXCERPTS]: each excerpt is recorded twice, once clean and once clipped by 0.5 to 6 dB.
"""
import copy
import functools
import math
import pathlib
import shutil
import subprocess
import sys
import tempfile

import numpy as np
from scipy import ndimage, signal

import outside

MUSIC = pathlib.Path("/usr/share/sonic-pi/samples")
# These are clipped themselves (flat_runs_check.py).
LEFT_OUT = {"loop_amen_full", "drum_heavy_kick", "bd_klub", "elec_hollow_kick"}
TRACK_RATE = 44100
OVERSAMPLING = 4
FULL_SCALE_V = 40.0
MASTERINGS = ["none", "limiter", "fast limiter", "soft knee", "tanh", "cubic"]
OVERDRIVES_DB = [0.5, 1.0, 1.5, 2.0, 3.0, 4.5, 6.0]
# Less may not show in noise; what it finds of that is printed.
SURELY_FOUND_DB = 1.0
SECONDS = 8


@functools.lru_cache(64)
def sample(name):
    raw = subprocess.check_output(["sox", str(MUSIC / f"{name}.flac"), "-t", "raw", "-e", "float", "-b", "32",
                                   "-r", str(TRACK_RATE), "-c", "2", "-"], stderr=subprocess.DEVNULL)
    return np.frombuffer(raw, "<f4").reshape(-1, 2).astype(float)


def mixed(random):
    """A few samples, repeated at a beat or end to end, and now and then a bass of partials."""
    names = sorted(path.stem for path in MUSIC.glob("*.flac") if path.stem not in LEFT_OUT)
    count = SECONDS * TRACK_RATE
    out = np.zeros((count, 2))
    for _ in range(random.integers(3, 8)):
        x = sample(names[random.integers(len(names))])
        x = x / max(1e-3, np.abs(x).max()) * 10 ** (random.uniform(-14, 0) / 20)
        pan = random.uniform(0.3, 0.7)
        at = random.integers(0, count // 3)
        step = max(len(x), int(TRACK_RATE * random.uniform(0.2, 0.6)))
        while at < count:
            part = x[:count - at]
            out[at:at + len(part)] += part * [2 * pan, 2 * (1 - pan)]
            at += step
    if random.random() < 0.4:
        t = np.arange(count) / TRACK_RATE
        hz = random.uniform(40, 110)
        bass = sum(np.sin(2 * np.pi * hz * k * t + random.uniform(0, 6)) / k ** random.uniform(0.8, 2)
                   for k in range(1, random.integers(3, 9)))
        gate = signal.lfilter([0.001], [1, -0.999], 1.0 * (np.sin(2 * np.pi * random.uniform(0.5, 3) * t) > 0))
        out += 10 ** (random.uniform(-12, 0) / 20) * (bass * gate)[:, None] / np.abs(bass).max()
    return out / np.abs(out).max()


def released(gain, release_s):
    """Follows a gain down at once, and up slowly."""
    step = 1 - math.exp(-1 / (release_s * TRACK_RATE))
    out = np.empty_like(gain)
    state = 1.0
    for n, wanted in enumerate(gain):
        state = wanted if wanted < state else state + (wanted - state) * step
        out[n] = state
    return out


def limited(x, drive_db, look_ahead_s, release_s):
    x = x * 10 ** (drive_db / 20)
    gain = np.minimum(1, 1 / np.maximum(np.abs(x).max(1), 1e-9))
    ahead = int(look_ahead_s * TRACK_RATE)
    if ahead == 0:
        return x * released(gain, release_s)[:, None]
    gain = ndimage.uniform_filter1d(released(ndimage.minimum_filter1d(gain, 2 * ahead + 1), release_s), ahead)
    return x * gain[:, None]


def mastered(x, random, kind):
    drive = 10 ** (random.uniform(1, 8) / 20)
    if kind == "limiter":
        x = limited(x, random.uniform(3, 12), random.uniform(0.0005, 0.005), random.uniform(0.02, 0.3))
    elif kind == "fast limiter":
        x = limited(x, random.uniform(2, 9), 0, random.uniform(0.01, 0.2))
    elif kind == "soft knee":
        power = random.uniform(1.5, 3)
        x = drive * x / (1 + np.abs(drive * x) ** power) ** (1 / power)
    elif kind == "tanh":
        x = np.tanh(drive * x)
    elif kind == "cubic":
        x = np.clip(10 ** (random.uniform(0, 3) / 20) * x, -1.5, 1.5)
        x = x - 4 / 27 * x ** 3
    return x / np.abs(x).max() * 10 ** (random.uniform(-1, 0) / 20)


def shelf(hz, gain_db, rate, high):
    """Audio EQ Cookbook: low and high shelf, slope 1."""
    a, w = 10 ** (gain_db / 40), 2 * np.pi * hz / rate
    c, q, s = np.cos(w), np.sqrt(2 * a) * np.sin(w), -1 if high else 1
    b = [a * ((a + 1) - s * (a - 1) * c + q), s * 2 * a * ((a - 1) - s * (a + 1) * c), a * ((a + 1) - s * (a - 1) * c - q)]
    d = [(a + 1) + s * (a - 1) * c + q, -s * 2 * ((a - 1) + s * (a + 1) * c), (a + 1) + s * (a - 1) * c - q]
    return np.array(b) / d[0], np.array(d) / d[0]


def at_other_clock(x, rate, wanted, ppm):
    """x, eight times oversampled by its spectrum, read by cubic interpolation at another rate."""
    step = rate / wanted * (1 + ppm * 1e-6)
    place = np.arange(int((len(x) - 4) / step)) * step + 1
    n = place.astype(int)
    f = place - n
    a, b, c, d = x[n - 1], x[n], x[n + 1], x[n + 2]
    return b + f * (0.5 * (c - a) + f * (a - 2.5 * b + 2 * c - 0.5 * d + f * (0.5 * (d - a) + 1.5 * (b - c))))


def played(track, random):
    """A track as it reaches the rails, its peak 1, and what is true of it."""
    side = ["left", "right", "mono"][random.integers(3)]
    x = {"left": track[:, 0], "right": track[:, 1], "mono": track.mean(1)}[side]
    x = signal.resample(np.concatenate([x, np.zeros(4410)]), 8 * (len(x) + 4410))
    for high in (False, True):
        hz = random.uniform(3000, 8000) if high else random.uniform(80, 150)
        x = signal.lfilter(*shelf(hz, random.uniform(-6, 6), 8 * TRACK_RATE, high), x)
    ppm = random.uniform(-120, 120)
    x = at_other_clock(x, 8 * TRACK_RATE, OVERSAMPLING * outside.RATE, ppm)
    # Players and amplifiers have couplings in front of their rails as well (common practice): no offset reaches them.
    x = signal.lfilter(*signal.butter(1, 2 / (OVERSAMPLING * outside.RATE / 2), "high"), x)
    return x * random.choice([-1, 1]) / np.abs(x).max(), {"side": side, "ppm": ppm}


def recorded(x, random, overdrive_db, truth):
    """What is recorded behind the rails, and what is true of it."""
    rail = 1.0
    if overdrive_db is not None:
        rail = 10 ** (-overdrive_db / 20)
        x = np.clip(x, -rail, rail)
    level = 10 ** (random.uniform(-12, -2) / 20)
    x = np.concatenate([np.zeros(int(random.uniform(0.1, 0.9) * outside.RATE) * OVERSAMPLING), level * x])
    x = signal.lfilter(*signal.butter(1, random.uniform(0.5, 20) / (OVERSAMPLING * outside.RATE / 2), "high"), x)
    taps = signal.firwin(64 * OVERSAMPLING + 1, 0.476 * 2 / OVERSAMPLING, window=("kaiser", 9.0))
    y = signal.oaconvolve(x, taps)[::OVERSAMPLING]
    y = y + random.normal(size=len(y)) * 10 ** (random.uniform(-95, -60) / 20) / math.sqrt(2)
    return np.clip(y, -1, 1), dict(truth, rail_v=FULL_SCALE_V * level * rail)


def made_track(folder, random, number):
    x = mastered(mixed(random), random, MASTERINGS[number % len(MASTERINGS)])
    path = outside.write_wav(folder / "track.wav", x, TRACK_RATE, "16")
    if number % 2 == 0:
        return x, path
    # What is played is what the decoder gives, overs included.
    subprocess.run(["sox", "-D", str(path), "-C", "192", str(folder / "track.mp3")], check=True, stderr=subprocess.DEVNULL)
    raw = subprocess.check_output(["sox", str(folder / "track.mp3"), "-t", "raw", "-e", "float", "-b", "32", "-"],
                                  stderr=subprocess.DEVNULL)
    return np.frombuffer(raw, "<f4").reshape(-1, 2).astype(float), folder / "track.mp3"


def behind_a_filter(program, folder, at_rails, random, path, number):
    """What is said of an excerpt, not clipped and clipped by 2 dB, behind a high-pass of 12 or 24 dB an octave."""
    hz, order = random.uniform(60, 150), [2, 4][number % 2]
    high_pass = signal.butter(order, hz / (OVERSAMPLING * outside.RATE / 2), "high", output="sos")
    said = []
    for rail in (1.0, 10 ** (-2 / 20)):
        x = signal.sosfilt(high_pass, np.clip(at_rails, -rail, rail))
        recording, _ = recorded(x / np.abs(x).max(), copy.deepcopy(random), None, {})
        outside.write_wav(folder / "filtered.wav", recording)
        said.append(outside.analyze(program, folder / "filtered.wav", "--played", path)[0]["played"]["clipped"])
    return said


def bass_filter(random):
    """Second-order sections of a bass amplifier's filters."""
    hz, order = random.uniform(50, 120), random.choice([2, 4])
    sections = signal.butter(order, hz / (OVERSAMPLING * outside.RATE / 2), output="sos")
    if order == 2 and random.random() < 0.7:
        sections = np.concatenate([sections, sections])
    if random.random() < 0.5:
        subsonic = random.uniform(20, 30) / (OVERSAMPLING * outside.RATE / 2)
        sections = np.concatenate([sections, signal.butter(random.choice([2, 4]), subsonic, "high", output="sos")])
    return sections


def behind_a_low_pass(program, folder, at_rails, random, path, overdrive, truth):
    """What is told of an excerpt in the bass: not clipped, clipped behind the low-pass, clipped in front of it."""
    sections = bass_filter(random)
    bass = signal.sosfilt(sections, at_rails)
    rail = 10 ** (-overdrive / 20)
    in_front = signal.sosfilt(sections, np.clip(at_rails, -rail, rail))
    told = []
    for x, over in ((bass, None), (bass, overdrive), (in_front, None)):
        recording, true = recorded(x / np.abs(x).max(), copy.deepcopy(random), over, truth)
        noise = np.random.default_rng(len(told)).normal(size=len(recording)) * 10 ** (-80 / 20)
        outside.write_wav(folder / "bass.wav", recording + noise)
        options = ["--volts-full-scale", f"{FULL_SCALE_V}V", "--played", path]
        told.append((outside.analyze(program, folder / "bass.wav", *options)[0], true))
    return told


def analysed(program, recording, track):
    options = ["--volts-full-scale", f"{FULL_SCALE_V}V"]
    alone = outside.analyze(program, recording, *options)[0]
    return alone, outside.analyze(program, recording, "--played", track, *options)[0]


def rail_errors_db(channel, truth):
    return [outside.db(rail["peak_v"] / truth["rail_v"]) for rail in channel["played"]["rails"] if rail["peak_v"]]


def main(program, excerpts=24):
    if not MUSIC.is_dir():
        sys.exit("the package sonic-pi-samples is needed; setup.sh installs it")
    checks = outside.Checks("music made of Debian's sonic-pi-samples (CC0), mastered and clipped by SciPy", outside.RECORDINGS)
    kept = tempfile.TemporaryDirectory()
    false_alone, false_with, found_alone, found_with, wrong, missed = [], [], [], [], [], []
    called_clean, not_told = [], []
    bass_cut, bass_missed, bass_false, bass_wrong, bass_called_clean, bass_clean = 0, [], [], [], [], 0
    for number in range(excerpts):
        overdrive = OVERDRIVES_DB[number // len(MASTERINGS) % len(OVERDRIVES_DB)]
        random = np.random.default_rng(1000 + number)
        folder = pathlib.Path(kept.name) / str(number)
        folder.mkdir()
        track, path = made_track(folder, random, number)
        at_rails, truth = played(track, random)
        for clipped in (False, True):
            recording, truth = recorded(at_rails, copy.deepcopy(random), overdrive if clipped else None, truth)
            outside.write_wav(folder / "recording.wav", recording)
            alone, with_track = analysed(program, folder / "recording.wav", path)
            label = f"{number} ({MASTERINGS[number % len(MASTERINGS)]}, {overdrive if clipped else 0} dB)"
            says_alone, says = alone["verdict"] == "clipped", with_track["played"]["clipped"] is True
            if not clipped:
                false_alone += [label] * says_alone
                false_with += [label] * says
            elif overdrive >= SURELY_FOUND_DB:
                found_alone += [label] * says_alone
                (found_with if says else missed).append(label)
            if clipped and says:
                wrong += [f"{label}: {error:.2f} dB" for error in rail_errors_db(with_track, truth) if abs(error) > 0.3]
            if with_track["played"]["found"] and abs(with_track["played"]["clock_ppm"] - truth["ppm"]) > 1:
                wrong.append(f"{label}: clock {with_track['played']['clock_ppm']:.2f} instead of {truth['ppm']:.2f} ppm")
            print(label, says_alone, says, flush=True)
        if number % 3 == 0:
            clean, cut = behind_a_filter(program, folder, at_rails, random, path, number)
            called_clean += [number] * (cut is False)
            not_told += [number] * (clean is not False)
        elif number % 3 == 1:
            clean, cut, in_front = behind_a_low_pass(program, folder, at_rails, random, path, max(1.0, overdrive), truth)
            bass_cut += 1
            bass_missed += [number] * (cut[0]["played"]["clipped"] is not True)
            bass_false += [number] * (clean[0]["played"]["clipped"] is True)
            bass_clean += clean[0]["played"]["clipped"] is False
            bass_called_clean += [number] * (in_front[0]["played"]["clipped"] is False)
            bass_wrong += [f"{number}: {error:.2f} dB" for error in rail_errors_db(*cut) if abs(error) > 0.3]
            for channel, true in (clean, cut):
                if not channel["played"]["found"] or abs(channel["played"]["clock_ppm"] - true["ppm"]) > 2:
                    bass_wrong.append(f"{number}: track or clock")
        shutil.rmtree(folder)
    print(f"clipped by {SURELY_FOUND_DB:g} dB and more: {len(found_with)} found with the track, {len(found_alone)} without, missed {missed}")
    checks.equal("clean recordings called clipped, without the track", false_alone, [])
    checks.equal("clean recordings called clipped, with the track", false_with, [])
    checks.at_most(f"recordings clipped by {SURELY_FOUND_DB:g} dB and more that are missed with the track, share",
                   len(missed) / max(1, len(missed) + len(found_with)), 0.01)
    checks.equal("excerpts clipped by 2 dB in front of a high-pass and called not clipped", called_clean, [])
    checks.equal("clean excerpts behind a high-pass of which that is not told", not_told, [])
    checks.equal("rails off by more than 0.3 dB, clocks by more than 1 ppm", wrong, [])
    print(f"bass: {bass_cut - len(bass_missed)} of {bass_cut} clipped ones found, {bass_clean} of {bass_cut} clean ones told so")
    checks.at_most("bass recordings clipped by 1 dB and more that are missed with the track, share",
                   len(bass_missed) / max(1, bass_cut), 0.1)
    checks.equal("clean bass recordings called clipped", bass_false, [])
    checks.equal("excerpts clipped in front of a low-pass and called not clipped", bass_called_clean, [])
    checks.equal("bass rails off by more than 0.3 dB, tracks not found, clocks off by more than 2 ppm", bass_wrong, [])
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:3]))
