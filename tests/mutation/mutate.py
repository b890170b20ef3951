#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Breaks the measuring code in many small ways, one at a time, and sees whether the unit tests notice.

mutate.py [--jobs N] [--only TEXT] [--table FILE]

Works in a copy of the tree; takes about a minute for each mutation. A survivor, a mutation that does not compile and
one whose place is not found once are all failures: exit status 1.
"""
import argparse
import pathlib
import shutil
import subprocess
import sys
import tempfile
import tomllib

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parents[1]
LONGEST_RUN_S = 600  # a mutation that makes the tests run on for ever is noticed, too


def copy_tree(folder):
    for name in ("src", "tests", "testsignals", "docs"):
        shutil.copytree(ROOT / name, folder / name)
    for name in ("CMakeLists.txt", "README.md", "DEVELOPERS.md", "LICENSE"):
        shutil.copy2(ROOT / name, folder / name)


def build(folder, jobs):
    return subprocess.run(["cmake", "--build", folder / "build", "--parallel", str(jobs), "--target", "railtap_tests"],
                          capture_output=True, text=True)


def configure(folder):
    launcher = ["-DCMAKE_CXX_COMPILER_LAUNCHER=ccache"] if shutil.which("ccache") else []
    subprocess.run(["cmake", "-S", folder, "-B", folder / "build", "-G", "Ninja", "-DCMAKE_BUILD_TYPE=Release", *launcher],
                   check=True, stdout=subprocess.DEVNULL)


# Whole jobs on the rig, which take as long as all the others together: only what these leave is put to them.
WHOLE_JOBS = "demo:*,verify:*"


def tests_pass(folder):
    """And which test failed first."""
    passed, test = run_tests(folder, f"--test-case-exclude={WHOLE_JOBS}")
    return run_tests(folder, f"--test-case={WHOLE_JOBS}") if passed else (passed, test)


def run_tests(folder, choice):
    try:
        done = subprocess.run([folder / "build" / "railtap_tests", choice, "--abort-after=1", "--no-colors"],
                              capture_output=True, text=True, errors="replace", timeout=LONGEST_RUN_S, cwd=folder)
    except subprocess.TimeoutExpired:
        return False, "the tests did not end"
    if done.returncode == 0:
        return True, ""
    lines = done.stdout.splitlines()
    cases = [lines[i + 1] if i + 1 < len(lines) and lines[i].endswith(":") else lines[i]
             for i in range(len(lines)) if lines[i].startswith("TEST CASE:")]
    return False, cases[0].removeprefix("TEST CASE:").strip() if cases else f"exit status {done.returncode}"


def judge(folder, mutation, jobs):
    """One of: caught, survived, does not compile, not found once; and by which test."""
    path = folder / "src" / mutation["file"]
    text = path.read_text()
    if text.count(mutation["find"]) != 1:
        return "not found once", ""
    path.write_text(text.replace(mutation["find"], mutation["put"]))
    try:
        if build(folder, jobs).returncode != 0:
            return "does not compile", ""
        survived, test = tests_pass(folder)
        return ("survived" if survived else "caught"), test
    finally:
        path.write_text(text)


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--jobs", type=int, default=2)
    options.add_argument("--only", default="", help="mutations whose file or text contains this")
    options.add_argument("--table", type=pathlib.Path, help="write the outcome as a Markdown table")
    options = options.parse_args()
    every = tomllib.loads((HERE / "mutations.toml").read_text())["mutation"]
    chosen = [m for m in every if options.only in m["file"] + m["find"]]
    rows = []
    with tempfile.TemporaryDirectory(prefix="railtap-mutation-") as name:
        folder = pathlib.Path(name)
        copy_tree(folder)
        configure(folder)
        first = build(folder, options.jobs)
        assert first.returncode == 0, first.stdout[-3000:]
        passed, test = tests_pass(folder)
        assert passed, f"the tests fail without any mutation: {test}"
        for mutation in chosen:
            outcome, test = judge(folder, mutation, options.jobs)
            rows.append((mutation, outcome, test))
            print(f"{outcome}: {mutation['file']}: {mutation['find'].strip()} -> {mutation['put'].strip()}  [{test}]", flush=True)
    if options.table:
        lines = ["| file | instead of | this | outcome |", "| --- | --- | --- | --- |"]
        lines += [f"| {m['file']} | `{' '.join(m['find'].split())}` | `{' '.join(m['put'].split())}` | {outcome} |"
                  for m, outcome, _ in rows]
        options.table.write_text("\n".join(lines) + "\n")
    bad = [row for row in rows if row[1] != "caught"]
    print(f"{len(rows)} mutations, {len(rows) - len(bad)} caught")
    return 1 if bad or not rows else 0


if __name__ == "__main__":
    sys.exit(main())
