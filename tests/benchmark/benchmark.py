#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Speed and memory, measured against the least that the job takes and against the usual ways of doing it.

Every program gets the same file, already in the system's cache; the best of three runs counts.
"""
import os
import pathlib
import shutil
import struct
import subprocess
import sys

import numpy

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "live"))

import outside

RATE, CHANNELS, BYTES = 48000, 2, 3
RUNS = 3
RATIO_LIMIT, MEMORY_LIMIT_MB = 1.25, 25


def write_long_tone(path, seconds):
    """A 997 Hz tone, 24 bit, dithered: one second of it again and again, as 997 Hz comes round in a second."""
    generator = numpy.random.default_rng(7)
    code = 2.0 ** -23
    dither = (generator.random((RATE, CHANNELS)) - generator.random((RATE, CHANNELS))) * code
    second = outside.sine(997, -6).reshape(-1, 1) + dither
    outside.write_wav(path, second)
    raw = path.read_bytes()
    data = raw[44:]
    size = len(data) * seconds
    with open(path, "wb") as file:
        file.write(raw[:4] + struct.pack("<I", size + 36) + raw[8:40] + struct.pack("<I", size))
        for _ in range(seconds):
            file.write(data)
    return path


class Stopwatch:
    """Seconds and peak memory in MB of a command, the best of a few runs."""

    def __init__(self, measure):
        self.measure = measure

    def once(self, command):
        done = subprocess.run([self.measure, *map(str, command)], stdout=subprocess.DEVNULL,
                              stderr=subprocess.PIPE, text=True)
        assert done.returncode in (0, 1), f"{command}: exit {done.returncode}\n{done.stderr}"
        seconds, memory = done.stderr.strip().splitlines()[-1].split()
        return float(seconds), float(memory)

    def best(self, command, runs=RUNS, prepare=lambda: None):
        results = []
        for _ in range(runs):
            prepare()
            results.append(self.once(command))
        return min(seconds for seconds, _ in results), max(memory for _, memory in results)


def row(what, seconds, memory, note=""):
    print(f"  {what:<44} {seconds:8.3f} s {memory:8.1f} MB  {note}")


def reading(watch, railtap, read_loop, folder):
    minute = write_long_tone(folder / "minute.wav", 60)
    hour = write_long_tone(folder / "hour.wav", 3600)
    print(f"one hour, stereo, 48 kHz, 24 bit ({hour.stat().st_size / 1e9:.2f} GB)")
    bare, bare_memory = watch.best([read_loop, hour])
    ours, memory = watch.best([railtap, "analyze", hour, "--json"])
    row("bare libsndfile read loop", bare, bare_memory)
    row("railtap analyze", ours, memory, f"{ours / bare:.2f} times the bare loop (limit {RATIO_LIMIT})")
    short, short_memory = watch.best([railtap, "analyze", minute, "--json"])
    row("railtap analyze, one minute of it", short, short_memory, f"limit {MEMORY_LIMIT_MB} MB at any length")
    lengths(watch, railtap, folder)
    script = pathlib.Path(__file__).with_name("numpy_frames.py")
    usual, usual_memory = watch.best(["/usr/bin/python3", script, hour], runs=1)
    row("NumPy, 8192-sample frames half overlapped", usual, usual_memory,
        f"{usual / ours:.0f} times railtap's time")


def lengths(watch, railtap, folder):
    """Time and memory as the file grows; the long file's pages may not all fit the system's cache."""
    for minutes in (10, 180):
        file = write_long_tone(folder / "length.wav", 60 * minutes)
        seconds, memory = watch.best([railtap, "analyze", file, "--json"], runs=2)
        row(f"railtap analyze, {minutes} minutes", seconds, memory)
        file.unlink()


def judging(judge_second):
    print("one second of stereo, clipped on both rails, 60 dB S/N, from samples to verdicts, one core")
    for line in subprocess.run([judge_second], capture_output=True, text=True, check=True).stdout.splitlines():
        hertz, median, fast, clipped, channels = line.split()
        assert clipped == channels, f"{clipped} of {channels} channels were called clipped"
        print(f"  {hertz:>5} Hz: median {median} ms, fastest tenth under {fast} ms  (limit 5 ms)")


def ladder(watch, railtap, folder):
    """A ladder of 1 dB steps, clipped, as `onset` gets it."""
    watch.once([railtap, "tones", folder / "ladder", "--tone", "ladder-1khz"])
    made = next((folder / "ladder").glob("*.wav"))
    seconds, memory = watch.best([railtap, "onset", made, "--json"])
    print("the kit's 1 kHz level ladder")
    row("railtap onset", seconds, memory)


def live(railtap, folder):
    """What watching costs, and how soon the figure is on the screen (the tests' own code)."""
    import resource
    import watch_check
    print("watching two channels at 48 kHz")
    file = folder / "watched.wav"
    outside.write_wav(file, numpy.repeat(numpy.clip(outside.sine(997, -6, 60.0), -0.45, 0.45).reshape(-1, 1), 2, axis=1))
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([railtap, "watch", file, "--fast", "--json", "--every", "25ms"], stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(f"  processor time, clipped tone, 40 readings a second: {100 * used / 60:.1f} % of one core  (limit 5 %)")
    delays = sorted(1000 * delay for delay in watch_check.steps_to_screen(railtap, 10))
    print(f"  from a step of level to the screen: median {delays[len(delays) // 2]:.0f} ms, longest {delays[-1]:.0f} ms  (limit 150 ms)")


def writing(watch, railtap, folder):
    """Tones against SoX writing the same, and against writing the same bytes with no arithmetic at all."""
    def fresh():
        shutil.rmtree(folder / "tones", ignore_errors=True)
        (folder / "tones").mkdir()
    minutes = 30
    print(f"a 997 Hz sine at -20 dBFS, {minutes} minutes, stereo, 48 kHz, 24 bit, dithered")
    ours, memory = watch.best([railtap, "tones", folder / "tones/kit", "--sine", "997Hz", "--level", "-20dBFS",
                               "--seconds", f"{minutes * 60}s", "--rate", "48kHz", "--bits", "24"], prepare=fresh)
    made = next((folder / "tones/kit").glob("*.wav"))
    made.rename(folder / "made.wav")
    row("railtap tones --sine", ours, memory)
    theirs, their_memory = watch.best(["/usr/bin/sox", "-r48000", "-c2", "-n", "-b24", folder / "tones/sox.wav", "synth",
                                       minutes * 60, "sine", 997, "gain", -20], prepare=fresh)
    row("sox synth sine", theirs, their_memory, f"{theirs / ours:.1f} times railtap's time")
    copy, copy_memory = watch.best(["/usr/bin/cp", folder / "made.wav", folder / "tones/copy.wav"], prepare=fresh)
    row("cp of that file", copy, copy_memory, "the disk alone")
    kit, memory = watch.best([railtap, "tones", folder / "tones/kit"], prepare=fresh)
    size = sum(path.stat().st_size for path in (folder / "tones/kit").iterdir()) / 1e6
    row(f"railtap tones, the whole kit ({size:.0f} MB)", kit, memory, f"{size / kit:.0f} MB/s")


def main(railtap, read_loop, measure, judge_second, folder):
    folder = pathlib.Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    busy = os.getloadavg()[0]
    if busy > 0.5:
        print(f"other work is going on here (load {busy:.1f}): the times below are too long, and ratios are off")
    try:
        reading(Stopwatch(measure), railtap, read_loop, folder)
        judging(judge_second)
        ladder(Stopwatch(measure), railtap, folder)
        live(railtap, folder)
        writing(Stopwatch(measure), railtap, folder)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main(*sys.argv[1:])
