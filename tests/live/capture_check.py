# SPDX-License-Identifier: MIT
"""Recording through PortAudio from a sound server of the test's own: nothing lost, or else told.

What is played is noise that never repeats, so every sample that is recorded says where it belongs.
"""
import json
import os
import pathlib
import pty
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time

import numpy
from scipy.io import wavfile

from null_sink import NullSink

RATE = 48000
CODE = 2.0 ** -23
LOOK = 4096  # frames that are looked up at a time, until one is found


def noise(seconds, channels=2, peak=0.25):
    """24-bit codes that a float holds exactly, full scale 1."""
    random = numpy.random.default_rng(7)
    codes = random.integers(-int(peak / CODE), int(peak / CODE), (int(seconds * RATE), channels))
    return (codes * CODE).astype("<f4")


def read(file):
    """Samples of a WAV file as 24-bit codes in full scales, read by another program."""
    raw = subprocess.run(["sox", str(file), "-t", "f32", "-"], capture_output=True, check=True).stdout
    channels = int(subprocess.run(["soxi", "-c", str(file)], capture_output=True, check=True, text=True).stdout)
    return numpy.frombuffer(raw, "<f4").reshape(-1, channels)


def sidecar(file):
    return json.loads(pathlib.Path(f"{file}.json").read_text())


def keys_of(samples):
    """A whole number for each frame that, among minutes of noise, hardly another has: both 24-bit codes side by side."""
    codes = numpy.rint(samples[:, :2].astype(float) / CODE).astype(numpy.int64)
    return codes[:, 0] + (codes[:, 1] << 24)


def runs_of(recorded, played):
    """Where the recording follows what was played: (first frame, frames, place in what was played) of every run."""
    keys = keys_of(played)
    order = numpy.argsort(keys)
    runs = []
    i = 0
    while i < len(recorded):
        sought = keys_of(recorded[i:i + LOOK])
        found = order[numpy.minimum(numpy.searchsorted(keys, sought, sorter=order), len(keys) - 1)]
        known = keys[found] == sought
        if not known.any():
            i += len(sought)
            continue
        i, place = i + int(numpy.argmax(known)), int(found[numpy.argmax(known)])
        most = min(len(recorded) - i, len(played) - place)
        same = numpy.all(recorded[i:i + most, :2] == played[place:place + most], axis=1)
        length = most if same.all() else int(numpy.argmin(same))
        runs.append((i, length, place))
        i += max(length, 1)
    return runs


def level_dbfs(samples):
    """RMS re a full-scale sine [AES17]."""
    return 10.0 * numpy.log10(2.0 * numpy.mean(samples.astype(float) ** 2))


class Bench:
    """A sound server that plays noise, and a folder."""

    def __init__(self, program, seconds):
        self.program = program
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="railtap-capture-"))
        self.played = noise(seconds)
        wavfile.write(self.folder / "noise.wav", RATE, self.played)
        self.sound = NullSink()

    def start(self, name, *options, **keywords):
        return subprocess.Popen([self.program, "capture", str(self.folder / name), "--device", "pulse", "--rate", "48kHz",
                                 *options], env=self.sound.environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                text=True, **keywords)

    def play(self):
        return self.sound.play(self.folder / "noise.wav")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.sound.__exit__()
        subprocess.run(["rm", "-rf", str(self.folder)], check=True)


def wait_for_frames(file, least):
    """Until the file has grown to so many frames of 24 bits and two channels."""
    for _ in range(200):
        if file.exists() and file.stat().st_size >= 44 + 6 * least:
            return
        time.sleep(0.05)
    raise AssertionError(f"{file} did not grow to {least} frames")


def ended(process, status):
    out, err = process.communicate(timeout=30)
    assert process.returncode == status, f"exit {process.returncode}, expected {status}\n{out}{err}"
    return out, err


def check_whole(program, seconds=8.0):
    """No sample is lost or changed while every processor is busy."""
    with Bench(program, seconds + 8.0) as bench:
        bench.play()
        busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(os.cpu_count())]
        try:
            recording = bench.start("whole.wav", "--seconds", f"{seconds}s", "--json")
            out, _ = recording.communicate(timeout=seconds + 25.0)
        finally:
            for process in busy:
                process.kill()
        assert recording.returncode == 0, out
        document = json.loads(out)
        assert document == sidecar(bench.folder / "whole.wav")
        assert document["complete"] and document["ended_by"] == "duration" and document["gaps"] == [], document
        assert document["lost_frames"] == 0 and document["driver_overflows"] == 0, document
        assert document["bits_used"] == 24 and document["frames"] == round(seconds * RATE), document
        recorded = read(bench.folder / "whole.wav")
        runs = runs_of(recorded, bench.played)
        assert len(runs) == 1, runs
        first, length, place = runs[0]
        assert first < RATE and length == len(recorded) - first, (runs, len(recorded))
        peaks = 20.0 * numpy.log10(numpy.abs(recorded).max(axis=0))
        for channel, peak in zip(document["channels"], peaks):
            assert abs(channel["peak_dbfs"] - peak) < 0.001, (channel, peak)
        # What the program reads from its own recording is the level that was played.
        analysed = subprocess.run([program, "analyze", str(bench.folder / "whole.wav"), "--json"], capture_output=True,
                                  text=True)
        share = 10.0 * numpy.log10(length / len(recorded))  # silence in front of it, where there is some
        errors = []
        for channel in json.loads(analysed.stdout)["channels"]:
            played = bench.played[place:place + length, channel["channel"] - 1]
            errors.append(channel["level_dbfs"] - level_dbfs(played) - share)
        assert len(errors) == 2 and max(map(abs, errors)) < 0.01, errors
        print(f"{length} frames, every one as it was played; level off by {max(map(abs, errors)):.6f} dB; worst backlog "
              f"{document['worst_backlog_s']:.3f} s")


def check_killed(program):
    """kill -9 leaves a recording that is readable up to the last second, and a sidecar that says it was broken off."""
    with Bench(program, 20.0) as bench:
        bench.play()
        recording = bench.start("killed.wav")
        wait_for_frames(bench.folder / "killed.wav", 3 * RATE)
        bytes_there = (bench.folder / "killed.wav").stat().st_size
        recording.kill()
        recording.wait()
        recorded = read(bench.folder / "killed.wav")
        assert len(recorded) >= (bytes_there - 44) / 6 - RATE, (len(recorded), bytes_there)
        runs = runs_of(recorded, bench.played)
        assert len(runs) == 1 and runs[0][0] + runs[0][1] == len(recorded), runs
        document = sidecar(bench.folder / "killed.wav")
        assert document["complete"] is False and document["ended_by"] is None, document
        print(f"{len(recorded)} of {(bytes_there - 44) // 6} frames readable")
        # Another recording does not take its place unasked.
        _, err = ended(bench.start("killed.wav", "--seconds", "1s"), 2)
        assert "exists" in err, err
        assert len(read(bench.folder / "killed.wav")) == len(recorded)
        ended(bench.start("killed.wav", "--seconds", "1s", "--force"), 0)
        assert len(read(bench.folder / "killed.wav")) == RATE


def time_to_begin(bench, at_once):
    """Seconds until half of so many recordings that start together have begun."""
    started = time.monotonic()
    names = [f"first{number}.wav" for number in range(at_once)]
    recordings = [bench.start(name) for name in names]
    while sum((bench.folder / name).exists() for name in names) < at_once // 2:
        assert time.monotonic() < started + 60.0, "they do not begin"
        time.sleep(0.05)
    seconds = time.monotonic() - started
    for recording in recordings:
        recording.kill()
        recording.communicate()
    return seconds


def check_killed_often(program, kills=100, at_once=20):
    """A hundred times killed at random moments, from before the first sample on, about half after it: what is there is readable
    to its end and as it was played, and an earlier recording, also one whose name is wanted again, stays as it was."""
    chance = random.Random(3)
    with Bench(program, 20.0) as bench:
        earlier = bench.folder / "earlier.wav"
        ended(bench.start("earlier.wav", "--seconds", "1s"), 0)
        before = (earlier.read_bytes(), pathlib.Path(f"{earlier}.json").read_bytes())
        begun = seconds = 0
        latest_s = min(4.0 + 1.5 * time_to_begin(bench, at_once), 18.0)  # what is played lasts for 20 s
        for first in range(0, kills, at_once):
            player = bench.play()
            names = [f"killed{number}.wav" for number in range(first, first + at_once)]
            recordings = [(name, bench.start(name), time.monotonic() + chance.uniform(0.0, latest_s)) for name in names]
            refused = bench.start("earlier.wav")
            for name, recording, when in sorted(recordings, key=lambda one: one[2]):
                time.sleep(max(0.0, when - time.monotonic()))
                file = bench.folder / name
                there = file.stat().st_size if file.exists() else 0
                recording.kill()
                recording.wait()
                recording.communicate()
                if file.exists() and file.stat().st_size > 0:
                    begun += 1
                    seconds += check_broken_off(bench, file, there)
                else:
                    assert there == 0, (name, there)
            ended(refused, 2)
            player.kill()
            player.wait()
        assert before == (earlier.read_bytes(), pathlib.Path(f"{earlier}.json").read_bytes())
        assert begun > kills // 3, f"only {begun} of {kills} had begun"
        print(f"{kills} killed, {begun} of them with a file, {seconds:.1f} s recorded in all, every frame of it readable")


def check_broken_off(bench, file, bytes_there):
    """Seconds in a recording that was killed, of which so many bytes were there just before."""
    recorded = read(file)
    # All but the block of a tenth of a second whose header was not written yet.
    assert len(recorded) >= (bytes_there - 44) / 6 - 0.1 * RATE - 1, (file, len(recorded), bytes_there)
    beside = pathlib.Path(f"{file}.json")
    assert not beside.exists() or json.loads(beside.read_text())["complete"] is False, file
    runs = runs_of(recorded, bench.played) if len(recorded) else []
    assert len(runs) <= 1 and all(first + length == len(recorded) for first, length, _ in runs), (file, runs)
    return len(recorded) / RATE


FAKE_CLOCK = next(iter(sorted(pathlib.Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"))), None)


def check_clock(program):
    """The time of day set back and forward in the middle of a recording changes nothing but what `started` says."""
    assert FAKE_CLOCK, "Debian's package faketime is missing"
    with Bench(program, 30.0) as bench:
        shift = bench.folder / "shift"

        def set_clock(by):
            fresh = bench.folder / "fresh"
            fresh.write_text(by + "\n")
            fresh.rename(shift)
        fake = dict(LD_PRELOAD=str(FAKE_CLOCK), FAKETIME_TIMESTAMP_FILE=str(shift), FAKETIME_NO_CACHE="1",
                    DONT_FAKE_MONOTONIC="1", FAKETIME_DONT_FAKE_MONOTONIC="1", FAKETIME_DISABLE_SHM="1")
        set_clock("+400d")
        day = subprocess.run(["date", "+%Y"], env=dict(os.environ, **fake), capture_output=True, text=True).stdout
        bench.play()
        bench.sound.environment.update(fake)
        begun = time.monotonic()
        recording = bench.start("jumps.wav", "--seconds", "6s", "--json")
        for frames, by in ((RATE, "-2d"), (3 * RATE, "+30d"), (4 * RATE, "-3h")):
            wait_for_frames(bench.folder / "jumps.wav", frames)
            set_clock(by)
        out, _ = ended(recording, 0)
        took = time.monotonic() - begun
        document = json.loads(out)
        assert int(day) > time.gmtime().tm_year and document["started"].startswith(day.strip()), (day, document["started"])
        assert document["frames"] == 6 * RATE and document["gaps"] == [] and document["ended_by"] == "duration", document
        assert 5.5 < took < 30.0, took
        assert len(runs_of(read(bench.folder / "jumps.wav"), bench.played)) == 1
        print(f"6 s took {took:.1f} s by another clock, while this one jumped by months and hours")


def limit_file_size():
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_001, 1_000_001))


def check_disk_full(program):
    """A full disk ends the recording with an error; what was recorded until then is readable."""
    with Bench(program, 20.0) as bench:
        bench.play()
        small = bench.folder / "small"
        small.mkdir()
        mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(small)],
                                 capture_output=True).returncode == 0
        try:
            recording = bench.start("small/full.wav", preexec_fn=None if mounted else limit_file_size)
            out, err = ended(recording, 2)
            assert "disk is full" in err, err
            recorded = read(small / "full.wav")
            size = (small / "full.wav").stat().st_size
            assert (size - 44) % 6 == 0 and len(recorded) == (size - 44) // 6 > 2 * RATE, (size, len(recorded))
            runs = runs_of(recorded, bench.played)
            assert len(runs) == 1 and runs[0][0] + runs[0][1] == len(recorded), runs
            print(f"{'tmpfs of 1 MB' if mounted else 'file size limit'}: {len(recorded)} frames readable")
        finally:
            if mounted:
                subprocess.run(["umount", "-l", str(small)], check=True)


def stall(recording, seconds, then):
    recording.send_signal(signal.SIGSTOP)
    time.sleep(seconds)
    recording.send_signal(signal.SIGCONT)
    time.sleep(then)


def check_bridged(program):
    """Stalls that the sound server can bridge lose nothing, and are not reported as losses."""
    with Bench(program, 20.0) as bench:
        bench.play()
        recording = bench.start("bridged.wav", "--seconds", "6s", "--json")
        wait_for_frames(bench.folder / "bridged.wav", RATE)
        stall(recording, 1.5, 0.5)
        stall(recording, 1.0, 0.5)
        out, _ = ended(recording, 0)
        assert json.loads(out)["gaps"] == [], out
        assert len(runs_of(read(bench.folder / "bridged.wav"), bench.played)) == 1


def check_stalled(program):
    """Stalls that the sound server cannot bridge are found, and what they cost is counted."""
    stalls = 2
    with Bench(program, 25.0) as bench:
        bench.play()
        # With 32 channels the server's 4 MB last for 0.7 s.
        recording = bench.start("stalled.wav", "--seconds", "7s", "--json", "--channels", "32")
        wait_for_frames(bench.folder / "stalled.wav", 16 * RATE)
        for _ in range(stalls):
            stall(recording, 1.5, 2.0)
        out, _ = ended(recording, 1)
        gaps = json.loads(out)["gaps"]
        runs = [run for run in runs_of(read(bench.folder / "stalled.wav"), bench.played) if run[1] > RATE // 100]
        # The server drops what is oldest and what is newest, so a stall can leave two holes.
        holes = [(later[0], later[2] - (earlier[2] + earlier[1])) for earlier, later in zip(runs, runs[1:])]
        print("holes (frame, frames missing):", holes, "\nreported:", gaps)
        assert len(gaps) == stalls, gaps
        ends = [gap["at_frame"] for gap in gaps[1:]] + [len(bench.played)]
        for gap, end in zip(gaps, ends):
            # What was in the server's hands before the stall still comes, so the hole is later than its cause.
            missing = sum(frames for place, frames in holes if gap["at_frame"] <= place < end)
            assert missing > 0 and abs(missing - gap["lost_frames"]) < 0.02 * RATE, (gap, missing)
        assert json.loads(out)["lost_frames"] == sum(gap["lost_frames"] for gap in gaps)


def check_vanished(program):
    """An input that vanishes ends the recording with an error; the file is whole up to there."""
    with Bench(program, 20.0) as bench:
        bench.play()
        recording = bench.start("vanished.wav", "--json")
        wait_for_frames(bench.folder / "vanished.wav", 2 * RATE)
        bench.sound.end_server()
        out, err = ended(recording, 2)
        assert "vanished" in err, err
        document = json.loads(out)
        assert document["ended_by"] == "device-vanished" and document["complete"], document
        recorded = read(bench.folder / "vanished.wav")
        assert len(recorded) == document["frames"] >= 2 * RATE
        assert len(runs_of(recorded, bench.played)) == 1


def check_interrupted(program):
    """Ctrl-C ends a recording in good order; one that was to have a length says that it was broken off."""
    with Bench(program, 60.0) as bench:
        bench.play()
        for options, status in (((), 0), (("--seconds", "60s"), 130)):
            name = f"until{status}.wav"
            recording = bench.start(name, "--json", *options)
            wait_for_frames(bench.folder / name, RATE)
            recording.send_signal(signal.SIGINT)
            out, _ = ended(recording, status)
            document = json.loads(out)
            assert document["ended_by"] == "interrupt" and document["complete"], document
            recorded = read(bench.folder / name)
            assert len(recorded) == document["frames"]
            runs = runs_of(recorded, bench.played)
            assert len(runs) == 1, runs


def check_meter(program):
    """On a terminal a level line is written over and over, and says when the input clips; in a pipe there is none."""
    with Bench(program, 1.0) as bench:
        time_s = numpy.arange(60 * RATE) / RATE  # a busy computer starts the second recording late
        quiet = 0.1 * numpy.sin(2.0 * numpy.pi * 1000.0 * time_s)
        loud = numpy.where(time_s > 4.0, numpy.clip(20.0 * quiet, -1.0, 1.0), quiet)
        wavfile.write(bench.folder / "loud.wav", RATE, numpy.stack([quiet, loud], axis=1).astype("<f4"))
        bench.sound.play(bench.folder / "loud.wav")
        master, slave = pty.openpty()
        recording = subprocess.Popen([program, "capture", str(bench.folder / "meter.wav"), "--device", "pulse", "--seconds", "6s",
                                      "--json"], env=bench.sound.environment, stdout=subprocess.PIPE, stderr=slave, text=True)
        os.close(slave)
        shown = b""
        try:
            while block := os.read(master, 4096):
                shown += block
        except OSError:  # the other side is closed
            pass
        out = recording.communicate(timeout=20)[0]
        lines = shown.decode().split("\r")
        assert recording.returncode == 1, out
        assert len(lines) > 50 and sum("-20.0 dBFS" in line for line in lines) > 20, lines
        assert "CLIPPED" in lines[-2] + lines[-1] and "CLIPPED" not in lines[10], lines
        left, right = json.loads(out)["channels"]
        assert left["longest_run"] == 0 and right["longest_run"] > 10 and abs(right["peak_dbfs"]) < 0.001, (left, right)
        done = bench.start("piped.wav", "--seconds", "1s")
        _, err = ended(done, 1)
        assert err == "", err


def check_choice(program):
    """Devices are listed and chosen by number or name; what is not there is refused in one sentence."""
    with Bench(program, 1.0) as bench:
        def devices(*options):
            return subprocess.run([program, "devices", *options], env=bench.sound.environment, capture_output=True,
                                  text=True, check=True)
        inputs = json.loads(devices("--json").stdout)["inputs"]
        pulse = [device for device in inputs if device["name"] == "pulse"]
        assert len(pulse) == 1 and 48000 in pulse[0]["rates_hz"], inputs
        assert devices().stderr == ""
        for option, value, complaint in (("--device", "no such thing", "no audio input 'no such thing'"),
                                         ("--channels", "500", "channels, not 500"), ("--rate", "12", "12 Hz"),
                                         ("--bits", "20", "20 bits")):
            name = f"never-{option[2:]}.wav"
            done = subprocess.run([program, "capture", str(bench.folder / name), option, value], capture_output=True,
                                  env=bench.sound.environment, text=True)
            assert done.returncode == 2 and complaint in done.stderr, (option, done)
            assert not (bench.folder / name).exists()
        for wanted in (str(pulse[0]["number"]), "PULS"):
            name = f"by-{wanted}.wav"
            done = subprocess.run([program, "capture", str(bench.folder / name), "--device", wanted, "--seconds", "0.5s",
                                   "--json"], capture_output=True, env=bench.sound.environment, text=True)
            assert done.returncode == 0, done
            assert json.loads(done.stdout)["device"]["name"] == "pulse"


if __name__ == "__main__":
    globals()["check_" + sys.argv[2]](sys.argv[1], *map(float, sys.argv[3:]))
