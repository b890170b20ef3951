#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Runs what the documents show: every line that starts with `$ ` in a console block, in order, in one folder for
each document, and compares what it prints with what stands there. A line that is only `…` stands for any lines.

With `examples` instead of a document it runs the examples on the help screens, which must work when pasted.
"""
import os
import pathlib
import re
import subprocess
import sys
import tempfile

import numpy

import documented
import outside


def pattern_of(expected):
    parts = []
    for line in expected.split("\n"):
        parts.append(r"(?:.*\n)*?" if line.strip() == "…" else re.escape(line.rstrip()) + r"[ ]*\n")
    return re.compile("".join(parts))


def shell(command, folder, program):
    environment = dict(os.environ, PATH=f"{pathlib.Path(program).resolve().parent}:{os.environ['PATH']}", NO_COLOR="1",
                       COLUMNS="80")
    return subprocess.run(["sh", "-c", command], cwd=folder, env=environment, text=True, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                          stderr=subprocess.STDOUT)


def check_document(program, document):
    made = 0
    with tempfile.TemporaryDirectory() as folder:
        for command, expected in documented.sessions(document.read_text()):
            done = shell(command, folder, program)
            assert done.returncode in (0, 1), f"{document.name}: {command}: exit {done.returncode}\n{done.stdout}"
            if expected:
                assert pattern_of(expected).fullmatch(done.stdout.strip("\n") + "\n"), (
                    f"{document.name}: `{command}` prints\n{done.stdout}\nand not, as it says there,\n{expected}")
            made += 1
            print(f"{document.name}: {command}")
    return made


def examples(program, command):
    text = outside.run(program, command, "--help", statuses=(0,)).stdout
    after = re.split(r"^Examples?:.*\n", text, flags=re.MULTILINE)
    assert len(after) == 2, f"{command} --help shows no example"
    for line in re.sub(r"\\\n\s*", "", after[1]).split("\n"):
        if line.strip().startswith("railtap "):
            yield line.strip()


def check_examples(program):
    listed = outside.run(program, "--help", statuses=(0,)).stdout.split("Subcommands:")[1]
    made = 0
    for command in re.findall(r"^  ([a-z]+) ", listed, re.MULTILINE):
        with tempfile.TemporaryDirectory() as folder:
            # Recordings that the examples name: clean tones of a few volts through a tap.
            outside.write_wav(pathlib.Path(folder) / "capture.wav", outside.sine(997, -20, 3))
            outside.write_wav(pathlib.Path(folder) / "tone.wav", outside.sine(200, -20, 3))
            clipped = numpy.clip(outside.sine(997, -6, 3), -0.4, 0.4)
            outside.write_wav(pathlib.Path(folder) / "clipped.wav", clipped)
            outside.write_wav(pathlib.Path(folder) / "attenuated.wav", clipped / 2)
            outside.write_wav(pathlib.Path(folder) / "damaged.wav", outside.sine(997, -20, 21))
            outside.write_music(pathlib.Path(folder))
            ladder = outside.stepped_tone(997, -40)
            for name, rail in (("ladder.wav", 0.2), ("headunit.wav", 0.9), ("amplifier.wav", 0.2)):
                outside.write_wav(pathlib.Path(folder) / name, numpy.clip(0.8 * ladder, -rail, rail))
            for name in ("job.json", "earlier.json"):
                (pathlib.Path(folder) / name).write_text(
                    '{"schema": "railtap.record/1", "name": "van", "created": "", "system": null, "entries": []}')
            for line in examples(program, command):
                done = shell(line, folder, program)
                # A build machine has no sound input; then `capture` can only say so.
                without_input = command == "capture" and "there is no audio input" in done.stdout + (done.stderr or "")
                assert done.returncode in (0, 1) or without_input, f"{line}: exit {done.returncode}\n{done.stdout}"
                made += 1
                print(f"{command} --help: {line}")
    return made


def main(program, *documents):
    made = sum(check_examples(program) if document == "examples" else check_document(program, pathlib.Path(document))
               for document in documents)
    assert made, "nothing was run"
    print(f"{made} commands")


if __name__ == "__main__":
    main(*sys.argv[1:])
