#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Runs every fuzzer on its corpus and beyond: fuzz_run.py FOLDER_OF_FUZZERS SECONDS|replay [JOBS]

With a number, for so many seconds each. With `replay`, on every input of the corpus once and on a fixed number of inputs that
follow from a fixed seed, the same ones every time.

The corpus is corpus.txt, the files of testsignals/, and sound files that are made here; what a run finds beyond it is
dropped. A finding is left in the folder of the fuzzers and makes the exit status 1; make it a case of the corpus when it is
mended.
"""
import ast
import concurrent.futures
import math
import pathlib
import re
import struct
import subprocess
import sys
import tempfile

FOLDER = pathlib.Path(__file__).resolve().parent
TEST_SIGNALS = FOLDER.parent.parent / "testsignals"
# Longer inputs find nothing that shorter ones do not, and are slower.
LONGEST = {"units": 64, "command_line": 512, "kept_files": 4096, "sound_file": 8192, "played_track": 128}
# Inputs of a replay: about half a minute's work of one processor in all. The corpus is among them.
REPLAYED = {"units": 20_000, "command_line": 2000, "kept_files": 1000, "sound_file": 150, "played_track": 60}


def listed_inputs(fuzzer):
    """Name and bytes of what is listed in the corpus."""
    for line in (FOLDER / "corpus.txt").read_text().splitlines():
        if line.startswith(f"{fuzzer} "):
            _, name, written = line.split(" ", 2)
            yield name, ast.literal_eval(written)


def kept_files():
    """The files that the program carries, each behind the letter that says what it is; remarks and what is too long left out."""
    for letter, name in ("k", "kit"), ("r", "camper_van"), ("s", "system"):
        lines = (TEST_SIGNALS / f"{name}.toml").read_text().splitlines(keepends=True)
        text = "".join(line for line in lines if not line.startswith("#"))
        yield name, (letter + text)[:LONGEST["kept_files"]].rpartition("\n\n")[0].encode() + b"\n"


def sound_file(samples, form="<h", channels=1, rate_hz=8000):
    """A WAV file (RIFF, Multimedia Programming Interface 1.0, 1991): samples in frames, as `form` of the module struct writes one."""
    data = b"".join(struct.pack(form, sample) for sample in samples)
    size = struct.calcsize(form)
    tag = 3 if form == "<f" else 1  # IEEE floating point, or PCM
    layout = struct.pack("<HHIIHH", tag, channels, rate_hz, rate_hz * size * channels % 2**32, size * channels, 8 * size)
    chunks = b"WAVEfmt " + struct.pack("<I", len(layout)) + layout + b"data" + struct.pack("<I", len(data)) + data
    return b"RIFF" + struct.pack("<I", len(chunks)) + chunks


def sound_files():
    """Recordings of 0.1 to 0.2 s: clean, clipped, silent, coarse, with what is no number, at rates that nobody has."""
    sine = [0.5 * math.sin(2 * math.pi * 997 * frame / 8000) for frame in range(1600)]
    right = [0.5 * math.sin(2 * math.pi * 441 * frame / 8000) for frame in range(900)]
    coded = [round(32767 * sample) for sample in sine]
    clipped = [max(-13107, min(13107, code)) for code in coded]
    yield "clean", sound_file(coded)
    yield "clipped", sound_file(clipped)
    yield "silence", sound_file([0] * 1600)
    yield "stereo", sound_file([round(32767 * sample) for frame in zip(sine, right) for sample in frame], channels=2)
    yield "eight", sound_file([128 + round(127 * sample) for sample in sine], form="<B")
    yield "float", sound_file(sine[:800], form="<f")
    yield "nan", sound_file(sine[:400] + [math.nan, math.inf] + sine[402:800], form="<f")
    yield "rate_of_64_hz", sound_file(coded, rate_hz=64)
    yield "absurd_rate", sound_file(coded, rate_hz=0x65746E69)


def lay_out(fuzzer, folder):
    """The fuzzer's corpus in a folder of files, as it wants it; how many there are."""
    made = {"kept_files": kept_files, "sound_file": sound_files}.get(fuzzer, list)
    inputs = [*listed_inputs(fuzzer), *made()]
    assert inputs, f"{fuzzer} has no corpus"
    for name, content in inputs:
        (folder / name).write_bytes(content)
    return len(inputs)


def run(fuzzer, how_long):
    """Executions, and the log if it found something or did not get through its corpus."""
    name = fuzzer.name.removeprefix("fuzz_")
    limit = [f"-runs={REPLAYED[name]}", "-seed=1"] if how_long == "replay" else [f"-max_total_time={how_long}"]
    with tempfile.TemporaryDirectory() as grown, tempfile.TemporaryDirectory() as corpus:
        inputs = lay_out(name, pathlib.Path(corpus))
        done = subprocess.run(
            [fuzzer.resolve(), *limit, f"-max_len={LONGEST[name]}", "-timeout=20", "-rss_limit_mb=2048", "-print_final_stats=1",
             "-verbosity=1", f"-artifact_prefix={fuzzer.resolve().parent}/{name}-", grown, corpus],
            capture_output=True, text=True, errors="replace")
    executions = re.search(r"number_of_executed_units: (\d+)", done.stderr)
    executions = int(executions[1]) if executions else 0
    return name, executions, None if done.returncode == 0 and executions >= inputs else done.stderr[-6000:]


def main(folder, how_long, jobs=2):
    fuzzers = sorted(path for path in pathlib.Path(folder).glob("fuzz_*") if path.suffix == "")
    assert {path.name.removeprefix("fuzz_") for path in fuzzers} == set(LONGEST), f"not all fuzzers are in {folder}"
    with concurrent.futures.ThreadPoolExecutor(int(jobs)) as pool:
        results = list(pool.map(lambda fuzzer: run(fuzzer, how_long), fuzzers))
    for name, executions, log in results:
        print(f"{name}: {executions} executions, {'a finding:' if log else 'no finding'}")
        if log:
            print(log)
    total = sum(executions for _, executions, _ in results)
    print(f"{total} executions in all")
    least = 50 if how_long == "replay" else 100
    assert all(executions >= least for _, executions, _ in results), "a fuzzer hardly ran"
    return 1 if any(log for _, _, log in results) else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
