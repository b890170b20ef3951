#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Runs every command that a document gives whole, in the order in which it stands there, in one folder for each document.

Those that record hear a sound server of the test's own, into which the track plays that the document asks for; those with a
screen get a terminal. What stands in console blocks is run by console_check.py, and compared with what it says there.
"""
import contextlib
import os
import pathlib
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time

import numpy

import documented
import outside
from null_sink import NullSink
from terminal import Terminal


def stepped(rail):
    """A volume that is turned up until the rail cuts the tone."""
    return numpy.clip(0.8 * outside.stepped_tone(1000, -30), -rail, rail)


def tracks(program, folder):
    """What the head unit plays: the kit, by the names of its tracks without their numbers."""
    outside.run(program, "tones", folder, statuses=(0,))
    return {path.stem.split("_", 1)[1]: path for path in sorted(pathlib.Path(folder).glob("*.wav"))}


def through_tap(track, *channels):
    """A recording of a track at half of full scale; of the given channels only."""
    remix = ["remix", *channels] if channels else []
    done = subprocess.run(["sox", str(track), "-r", str(outside.RATE), "-t", "f64", "-", *remix], capture_output=True, check=True)
    count = len(channels) or int(subprocess.run(["soxi", "-c", str(track)], capture_output=True, check=True).stdout)
    return 0.5 * numpy.frombuffer(done.stdout, "<f8").reshape(-1, count)


def lay_out(folder, kit):
    """The recordings that the documents name and that no command of theirs makes."""
    clipped = numpy.clip(outside.sine(1000, -6, 4), -0.4, 0.4)
    sound = {
        "front.wav": outside.sine(1000, -12, 10), "ladder.wav": through_tap(kit["ladder-1khz"]),
        "front-verify.wav": through_tap(kit["verify"]), "left-verify.wav": through_tap(kit["verify"], "1"),
        "right-verify.wav": through_tap(kit["verify"], "2"), "bass-verify.wav": through_tap(kit["verify-bass"]),
        "clipped.wav": clipped, "attenuated.wav": clipped / 2, "headunit.wav": stepped(0.7), "amplifier.wav": stepped(0.3),
        "both.wav": numpy.stack([stepped(0.7), stepped(0.3)], axis=1)}
    for name, samples in sound.items():
        outside.write_wav(folder / name, samples)
    outside.write_music(folder)
    (folder / "earlier.json").write_text(
        '{"schema": "railtap.record/1", "name": "van", "created": "", "system": null, "entries": []}')


class Bench:
    """A folder for a document, and what its commands need around them."""

    def __init__(self, program, folder, kit, sound):
        self.program, self.folder, self.kit, self.sound = pathlib.Path(program).resolve(), folder, kit, sound
        self.environment = dict(sound.environment, PATH=f"{self.program.parent}:{os.environ['PATH']}", NO_COLOR="1")
        lay_out(folder, kit)

    def run(self, command, statuses=(0, 1), **keywords):
        done = subprocess.run(["sh", "-c", command], cwd=self.folder, env=self.environment, text=True, capture_output=True, **keywords)
        assert done.returncode in statuses, f"`{command}`: exit {done.returncode}\n{done.stdout}{done.stderr}"
        return done.stdout

    @contextlib.contextmanager
    def playing(self, file):
        player = self.sound.play(file)
        try:
            yield
        finally:
            player.kill()
            player.wait()

    def over_and_over(self, track):
        """As long as a command may take."""
        subprocess.run(["sox", str(track), str(self.folder / "played.wav"), "gain", "-20", "repeat", "9"], check=True)
        return self.folder / "played.wav"

    def record_until_interrupt(self, command, track):
        """Until the track has been played, then Ctrl-C."""
        seconds = float(subprocess.run(["soxi", "-D", str(track)], capture_output=True, check=True).stdout)
        recording = subprocess.Popen(shlex.split(command), cwd=self.folder, env=self.environment, stdin=subprocess.DEVNULL,
                                     stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        time.sleep(1.0)
        with self.playing(track):
            time.sleep(seconds)
            recording.send_signal(signal.SIGINT)
            said, _ = recording.communicate(timeout=60)
        assert recording.returncode == 0, f"`{command}`: exit {recording.returncode}\n{said}"

    def show(self, command, text):
        """On a screen, until it shows the text; then `q`."""
        passed = {name: value for name, value in self.environment.items() if name.startswith(("PULSE", "ALSA", "XDG", "PATH", "HOME"))}
        with Terminal(100, 30, **passed) as terminal:
            terminal.run(f"cd {self.folder} && clear && {command}")
            terminal.wait_for(text)
            terminal.leave()

    def prepare(self, command):
        """Clears the way for what stands there as another way to the same file."""
        words = shlex.split(command)
        for option in ("--output", "--svg"):
            if option in words:
                (self.folder / words[words.index(option) + 1]).unlink(missing_ok=True)
        if words[1] == "sheet":
            (self.folder / "sheet.html").unlink(missing_ok=True)
        if "--compare-attenuation" in words:
            shutil.copy(self.folder / "clipped.wav", self.folder / words[2])
        if "--description" in words:
            source = pathlib.Path(__file__).resolve().parents[2] / "testsignals" / "camper_van.toml"
            shutil.copy(source, self.folder / words[words.index("--description") + 1])

    def do(self, command):
        self.prepare(command)
        words = shlex.split(command)
        if words[1] == "walk":
            self.run(command, input="q\n")
        elif words[1] == "watch" and "--rig" in words:
            self.show(command, "arrows: vol")
        elif words[1] == "watch":
            with self.playing(self.over_and_over(self.kit["setup-1khz-0db"])):
                self.show(command, "CLEAN")
        elif words[1] == "capture" and "--seconds" not in words:
            turned_up = outside.write_wav(self.folder / "turned.wav", stepped(0.5))
            self.record_until_interrupt(command, turned_up)
        elif words[1] in ("capture", "calibrate") and "--device" in words:
            with self.playing(self.over_and_over(self.kit["calibrate-100hz"])):
                self.run(command)
        else:
            self.run(command)


def check_document(program, document, kit, sound):
    made = 0
    with tempfile.TemporaryDirectory(prefix="railtap-guide-") as name:
        bench = Bench(program, pathlib.Path(name), kit, sound)
        for command in filter(documented.is_complete, documented.commands(document.read_text())):
            print(f"{document.name}: {command}", flush=True)
            bench.do(command)
            made += 1
    return made


def main(program, *documents):
    with tempfile.TemporaryDirectory(prefix="railtap-guide-kit-") as folder, NullSink() as sound:
        kit = tracks(program, pathlib.Path(folder) / "kit")
        made = sum(check_document(program, pathlib.Path(document), kit, sound) for document in documents)
    assert made > 20, made
    print(f"{made} commands")


if __name__ == "__main__":
    main(*sys.argv[1:])
