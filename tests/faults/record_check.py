#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""What a job record withstands: being killed while it is written, two writers at once, a full disk, damage.

An entry that the program has reported as written (exit status 0) is there afterwards, whatever happens next.
"""
import json
import random
import resource
import signal
import subprocess
import sys
import time

import numpy

import outside

KILLS = 100
WRITERS = 4
NOTES = 15  # of each writer


def note(program, record, text, **keywords):
    return subprocess.Popen([program, "record", str(record), "--note", text, "--json"], stdout=subprocess.DEVNULL,
                            stderr=subprocess.PIPE, text=True, **keywords)


def notes_of(record):
    return [entry["note"] for entry in json.loads(record.read_text())["entries"]]


def killed_at_random(program, folder):
    """Killed without warning at random moments of its work; the record is as long as a long job's."""
    record = folder / "job.json"
    filler = "x" * 100_000  # so that writing takes a while
    written, killed = [filler] * 10, 0
    for text in written:
        started = time.monotonic()
        assert note(program, record, text).wait(timeout=30) == 0
        usual = time.monotonic() - started
    chance = random.Random(5)
    for number in range(KILLS):
        child = note(program, record, f"note {number}" + filler[:1000])
        time.sleep(chance.uniform(0, 1.3 * usual))
        child.send_signal(signal.SIGKILL)
        status = child.wait(timeout=30)
        killed += status == -signal.SIGKILL
        found = notes_of(record)
        if status == 0:
            written.append(f"note {number}" + filler[:1000])
        elif len(found) > len(written):  # it was killed after its entry had its place
            written.append(f"note {number}" + filler[:1000])
        assert found == written, f"after kill {number}: {len(found)} entries, {len(written)} expected"
    assert killed > KILLS // 4, f"only {killed} of {KILLS} were caught at work"
    print(f"{killed} of {KILLS} killed at work, {len(written)} entries, none lost")


def several_writers(program, folder):
    record = folder / "job.json"
    running = [[f"{writer}-{number}" for number in range(NOTES)] for writer in range(WRITERS)]
    expected = sorted(text for texts in running for text in texts)
    while any(running):
        children = [note(program, record, texts.pop(0)) for texts in running if texts]
        for child in children:
            assert child.wait(timeout=60) == 0, child.stderr.read()
    assert sorted(notes_of(record)) == expected
    print(f"{WRITERS} writers at once, {len(expected)} entries")


def full_disk(program, folder):
    """A disk that fills up, as a limit on the size of a file."""
    record = folder / "job.json"
    assert note(program, record, "first" * 2000).wait(timeout=30) == 0
    before = record.read_bytes()

    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (8000, 8000))
    child = note(program, record, "second", preexec_fn=limit, restore_signals=False)
    assert child.wait(timeout=30) == 2
    assert record.read_bytes() == before
    left = [path.name for path in folder.iterdir() if path.name not in ("job.json", ".job.json.lock")]
    assert not left, left
    print(child.stderr.read().strip())


def damaged(program, folder):
    """Half a file, another file, a newer one: refused in a sentence, and left as they are."""
    record = folder / "job.json"
    assert note(program, record, "first").wait(timeout=30) == 0
    whole = record.read_text()
    texts = {"half": whole[:len(whole) // 2], "empty": "", "other": '{"schema": "railtap.analysis/1"}',
             "newer": whole.replace("record/1", "record/2"), "zeros": "\0" * 4096, "list": "[1, 2, 3]"}
    tone = outside.write_wav(folder / "tone.wav", outside.sine(997, -20))
    for name, text in texts.items():
        record.write_text(text)
        for arguments in (["record", record], ["record", record, "--note", "x"],
                          ["target", "--power", "55W", "--load", "4ohm", "--record", record],
                          ["analyze", tone, "--record", record]):
            done = outside.run(program, *arguments, statuses=(2,))
            lines = done.stderr.strip().splitlines()
            assert len(lines) == 1 and "job.json" in lines[0], done.stderr
            assert done.stdout == "", done.stdout
            assert record.read_text() == text
        print(f"{name}: {lines[0]}")


VERSION_1 = """{
"schema": "railtap.record/1",
"name": "van",
"created": "2026-11-25T16:10:00Z",
"system": {"name": "camper van"},
"entries": [
  {"time": "2026-11-25T16:10:00Z", "kind": "target", "subject": "front", "stage": "amplifier", "moment": "before",
   "calibration": null, "note": "as found", "result": {"schema": "railtap.target/1", "target_v": 14.832396974191326}},
  {"kind": "note", "note": "gain at a quarter"}
]
}
"""


def written_earlier(program, folder):
    """A record of version 1 as it was first written: it stays readable and can be added to, whatever comes after."""
    record = folder / "van.json"
    record.write_text(VERSION_1)
    before = json.loads(VERSION_1)
    assert note(program, record, "today").wait(timeout=30) == 0
    after = json.loads(record.read_text())
    assert after["entries"][:2] == before["entries"] and len(after["entries"]) == 3
    assert {key: after[key] for key in ("name", "created", "system")} == {
        key: before[key] for key in ("name", "created", "system")}
    print(outside.run(program, "record", record, statuses=(0,)).stdout)


def every_command_writes(program, folder):
    """What a command prints as JSON is what the record then holds; of an analysis also what is drawn of it."""
    record = folder / "job.json"
    tone = outside.write_wav(folder / "tone.wav", outside.sine(200, -20, 3))
    steps = [outside.sine(997, level, 0.5) for level in range(-20, 1)]
    ladder = outside.write_wav(folder / "ladder.wav", numpy.concatenate(steps) * 0.5)
    calls = {"analysis": ["analyze", tone, "--volts-full-scale", "40V", "--curves"],
             "onset": ["onset", ladder, "--volts-full-scale", "40V"],
             "calibration": ["calibrate", tone, "--reading", "2.828V"],
             "target": ["target", "--power", "55W", "--load", "4ohm"]}
    for kind, arguments in calls.items():
        printed = outside.run_json(program, *arguments, "--record", record, "--subject", "front left", "--stage",
                                   "amplifier", "--note", f"by {kind}")
        entry = json.loads(record.read_text())["entries"][-1]
        assert entry["kind"] == kind and entry["subject"] == "front left" and entry["stage"] == "amplifier", entry
        assert entry["note"] == f"by {kind}"
        assert entry["result"] == printed, kind
        wants_volts = kind in ("analysis", "onset")
        assert (entry["calibration"] or {}).get("volts_per_full_scale") == (40.0 if wants_volts else None), entry
        # and once more as text, where the record is the only JSON
        as_text = [word for word in arguments if word != "--curves"]
        outside.run(program, *as_text, "--record", record)
        assert json.loads(record.read_text())["entries"][-1]["result"] == printed, kind
    assert len(json.loads(record.read_text())["entries"]) == 2 * len(calls)
    print(outside.run(program, "record", record).stdout)


CASES = (killed_at_random, several_writers, full_disk, damaged, written_earlier, every_command_writes)

if __name__ == "__main__":
    outside.run_cases(CASES, sys.argv[1])
