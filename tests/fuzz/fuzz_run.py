#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Runs every fuzzer on its corpus and beyond: fuzz_run.py FOLDER_OF_FUZZERS SECONDS|replay [JOBS]

With a number, for so many seconds each. With `replay`, on every input of the corpus once and on a fixed number of inputs that
follow from a fixed seed, the same ones every time.

The corpus in the repository is read, never written; what a run finds beyond it is dropped. A finding is left in the
folder of the fuzzers and makes the exit status 1; make it a case of the corpus when it is mended.
"""
import ast
import concurrent.futures
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

CORPUS = pathlib.Path(__file__).resolve().parent / "corpus"
# Longer inputs find nothing that shorter ones do not, and are slower.
LONGEST = {"units": 64, "command_line": 512, "kept_files": 4096, "sound_file": 8192, "played_track": 128}
# Inputs of a replay: about half a minute's work of one processor in all. The corpus is among them.
REPLAYED = {"units": 20_000, "command_line": 2000, "kept_files": 1000, "sound_file": 150, "played_track": 60}


def short_inputs(fuzzer):
    """Name and bytes of what has no file of its own."""
    for line in (CORPUS / "short_inputs.txt").read_text().splitlines():
        if line.startswith(f"{fuzzer} "):
            _, name, written = line.split(" ", 2)
            yield name, ast.literal_eval(written)


def lay_out(fuzzer, folder):
    """The fuzzer's corpus in a folder of files, as it wants it; how many there are."""
    if (CORPUS / fuzzer).is_dir():
        shutil.copytree(CORPUS / fuzzer, folder, dirs_exist_ok=True)
    for name, content in short_inputs(fuzzer):
        (folder / name).write_bytes(content)
    inputs = len(list(folder.iterdir()))
    assert inputs, f"{fuzzer} has no corpus"
    return inputs


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
