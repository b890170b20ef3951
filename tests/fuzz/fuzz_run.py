#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Runs every fuzzer for some seconds each: fuzz_run.py FOLDER_OF_FUZZERS SECONDS [JOBS]

The corpus in the repository is read, never written; what a run finds beyond it is dropped. A finding is left in the
folder of the fuzzers and makes the exit status 1; make it a case of the corpus when it is mended.
"""
import concurrent.futures
import pathlib
import re
import subprocess
import sys
import tempfile

CORPUS = pathlib.Path(__file__).resolve().parent / "corpus"
# Longer inputs find nothing that shorter ones do not, and are slower.
LONGEST = {"units": 64, "command_line": 512, "kept_files": 4096, "sound_file": 8192, "played_track": 128}


def run(fuzzer, seconds):
    """Executions, and the log if it found something."""
    name = fuzzer.name.removeprefix("fuzz_")
    with tempfile.TemporaryDirectory() as grown:
        done = subprocess.run(
            [fuzzer.resolve(), f"-max_total_time={seconds}", f"-max_len={LONGEST[name]}", "-timeout=20", "-rss_limit_mb=2048",
             "-print_final_stats=1", "-verbosity=1", f"-artifact_prefix={fuzzer.resolve().parent}/{name}-", grown, CORPUS / name],
            capture_output=True, text=True, errors="replace")
    executions = re.search(r"number_of_executed_units: (\d+)", done.stderr)
    return name, int(executions[1]) if executions else 0, None if done.returncode == 0 else done.stderr[-6000:]


def main(folder, seconds, jobs=2):
    fuzzers = sorted(path for path in pathlib.Path(folder).glob("fuzz_*") if path.suffix == "")
    assert {path.name.removeprefix("fuzz_") for path in fuzzers} == set(LONGEST), f"not all fuzzers are in {folder}"
    with concurrent.futures.ThreadPoolExecutor(int(jobs)) as pool:
        results = list(pool.map(lambda fuzzer: run(fuzzer, seconds), fuzzers))
    for name, executions, log in results:
        print(f"{name}: {executions} executions, {'a finding:' if log else 'no finding'}")
        if log:
            print(log)
    total = sum(executions for _, executions, _ in results)
    print(f"{total} executions in all")
    assert all(executions > 100 for _, executions, _ in results), "a fuzzer hardly ran"
    return 1 if any(log for _, _, log in results) else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
