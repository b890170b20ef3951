#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Memory that runs out at any moment, reads and writes that fail or move less than they were asked for.

Whatever fails, a command either does its work as if nothing had been, or says so in one sentence with exit status 2 and
leaves every file as it was. RAILTAP_FAILING_CALLS names the library that makes the calls fail.
"""
import os
import shutil
import subprocess
import sys

import numpy

import outside

TRIES = 40  # places at which a fault is tried, of each kind and command


def tree(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def with_fault(command, fault, number, counts=""):
    environment = dict(os.environ, LD_PRELOAD=os.environ["RAILTAP_FAILING_CALLS"])
    environment.update({f"RAILTAP_FAULT_{fault}": str(number)} if fault else {}, RAILTAP_FAULT_COUNTS=str(counts))
    return subprocess.run([*map(str, command)], capture_output=True, text=True, env=environment, timeout=120)


def places(count, tries=TRIES):
    """The first dozen calls, and others spread evenly over all of them."""
    spread = numpy.linspace(1, count, tries - 12).round().astype(int) if count > 12 else []
    return sorted({*range(1, min(count, 12) + 1), *(int(place) for place in spread)})


class Command:
    """A command; what it makes goes into a folder of its own."""

    def __init__(self, program, folder, *arguments):
        self.folder = folder / "out"
        self.folder.mkdir()
        self.line = [program, *arguments]
        self.name = arguments[0]

    def clear(self):
        for path in self.folder.iterdir():
            shutil.rmtree(path) if path.is_dir() else path.unlink()


def what_it_does(command):
    """Without a fault: the result, the files, and how many calls of each kind there were."""
    counts = command.folder.parent / "counts"
    command.clear()
    done = with_fault(command.line, "", 0, counts)
    assert done.returncode in (0, 1), f"{command.name}: {done.stderr}"
    allocations, reads, writes = map(int, counts.read_text().split())
    made = tree(command.folder)
    command.clear()
    return done, made, {"MEMORY": allocations, "MEMORY_FROM": allocations, "READ": reads, "WRITE": writes}


def check_outcome(command, where, done, usual, made):
    """\\returns whether the command did its work."""
    if done.returncode == usual.returncode:
        assert done.stdout == usual.stdout, f"{where}: other results than without the fault"
        assert tree(command.folder) == made, f"{where}: other files than without the fault"
        return True
    assert done.returncode == 2, f"{where}: exit {done.returncode}: {done.stderr}"
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1 and lines[0].startswith("railtap: ") and len(lines[0]) > 30, f"{where}: {lines}"
    assert "std::" not in lines[0], f"{where}: {lines}"
    # What is made last of all is the sentence that says so: by then the file is there, and whole.
    assert tree(command.folder) in ({}, made), f"{where}: left {sorted(tree(command.folder))}"
    return False


def try_faults(command, kinds):
    usual, made, counts = what_it_does(command)
    for kind in kinds:
        done_anyway = 0
        chosen = places(counts[kind])
        assert chosen, f"{command.name} has no call of the kind {kind}"
        for number in chosen:
            where = f"{command.name}, {kind} {number} of {counts[kind]}"
            done = with_fault(command.line, kind, number)
            done_anyway += check_outcome(command, where, done, usual, made)
            command.clear()
        refused = len(chosen) - done_anyway
        assert refused > 0 or kind == "READ", f"{command.name}: no fault of the kind {kind} was noticed"
        print(f"{command.name}: {kind}: {len(chosen)} faults, {refused} refused, {done_anyway} got over")
    for most_bytes in (1000, 7):
        where = f"{command.name}, {most_bytes} bytes at a time"
        done = with_fault(command.line, "SHORT", most_bytes)
        assert check_outcome(command, where, done, usual, made), f"{where}: {done.stderr}"
        command.clear()


def recording(folder):
    samples = numpy.concatenate([outside.sine(997, level, 0.6) for level in range(-20, -4)])
    samples = numpy.clip(samples, -0.3, 0.3)
    return outside.write_wav(folder / "recording.wav", samples, encoding="16")


def analysis(program, folder):
    try_faults(Command(program, folder, "analyze", recording(folder)), ("MEMORY", "MEMORY_FROM", "READ"))


def onset(program, folder):
    try_faults(Command(program, folder, "onset", recording(folder), "--json"), ("MEMORY", "MEMORY_FROM", "READ"))


def sheet(program, folder):
    record = folder / "job.json"
    outside.run(program, "target", "--power", "50W", "--load", "4ohm", "--record", record)
    command = Command(program, folder, "sheet", record, "--output", folder / "out" / "sheet.html")
    try_faults(command, ("MEMORY", "MEMORY_FROM", "READ", "WRITE"))


def tones(program, folder):
    for container in ("wav", "flac"):
        place = folder / container
        place.mkdir()
        command = Command(program, place, "tones", place / "out" / "kit", "--sine", "1kHz", "--seconds", "2s",
                          "--container", container)
        try_faults(command, ("MEMORY", "WRITE"))


def target(program, folder):
    try_faults(Command(program, folder, "target", "--power", "50W", "--load", "4ohm"), ("MEMORY", "MEMORY_FROM"))


def added_to_a_record(program, folder):
    """A record that is there already: whatever fails, it is the earlier one or holds the new note, whole."""
    record = folder / "job.json"
    outside.run(program, "target", "--power", "50W", "--load", "4ohm", "--record", record)
    earlier = record.read_bytes()
    line = [program, "record", record, "--note", "the seat is out"]
    counts = folder / "counts"
    with_fault(line, "", 0, counts)
    allocations, reads, writes = map(int, counts.read_text().split())
    later_length = len(record.read_bytes())
    added = refused = 0
    for kind, count in (("MEMORY", allocations), ("MEMORY_FROM", allocations), ("READ", reads), ("WRITE", writes)):
        for number in places(count):
            record.write_bytes(earlier)
            done = with_fault(line, kind, number)
            where = f"record, {kind} {number} of {count}"
            after = record.read_bytes()
            if done.returncode == 0:
                assert len(after) == later_length and b"the seat is out" in after, where
                added += 1
                continue
            assert done.returncode == 2 and len(done.stderr.strip().splitlines()) == 1, f"{where}: {done.stderr}"
            # After the rename, only what is printed can fail; then the note is there, and whole.
            assert after == earlier or len(after) == later_length, f"{where}: {len(after)} bytes"
            refused += 1
            left = [path.name for path in folder.iterdir() if path.name.startswith(".job")]
            assert not [name for name in left if "lock" not in name], f"{where}: left {left}"
    assert refused > 20
    print(f"record: {refused} faults refused, {added} got over")


CASES = (analysis, onset, tones, sheet, target, added_to_a_record)

if __name__ == "__main__":
    outside.run_cases(CASES, sys.argv[1])
