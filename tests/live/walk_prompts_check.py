# SPDX-License-Identifier: MIT
"""Every prompt of the walk, with the demo's recordings in a terminal: no screen is longer than 24 lines, a wrong answer is
refused at once, a kill loses nothing; back, leaving out with a reason, beginning again; hostile names in the system file.

What is to come out is the record of a walk that was answered without any of that.
"""
import json
import pathlib
import re
import subprocess
import sys
import tempfile

import outside
from prompted import Prompted

MOST_LINES = 24  # of an old terminal
WIRED = {"front": "verify-corrected", "rear": "verify-corrected", "bass": "verify-found"}


def right_answers(captures, reading):
    """Each prompt's, in order."""
    answers = ["", "1.2%+5, average, 400Hz", "front, 55W, 4ohm, 60W", "bass, 280W, 2ohm, 300W, bass", "", "33.23V",
               f"{reading:.2f}V", captures / "calibration.wav", "24", "40", captures / "head-unit-volume.wav"]
    for control in ("front", "bass"):
        answers += [captures / f"{control}-{WIRED[control]}.wav", captures / f"{control}-set.wav", "30 %", captures / f"{control}-silence.wav"]
    return answers


def kept(folder):
    """The record without the times."""
    record = json.loads((folder / "job.json").read_text())
    for entry in record["entries"]:
        del entry["time"]
        if entry["result"]:
            entry["result"].pop("date", None)
    return record["entries"]


def answered(program, folder, answers):
    done = subprocess.run([program, "walk", "job.json"], cwd=folder, text=True, capture_output=True,
                          input="".join(f"{answer}\n" for answer in answers))
    return done.returncode, re.sub(r"\s+", " ", done.stdout + done.stderr)


def question(screen):
    """Its last lines, without the keys."""
    return re.sub(r"\s+", " ", screen[:-2].rsplit("\n(", 1)[0])[-20:]


def check_prompts(program, captures, reading, size, folder):
    """At every prompt a wrong answer, then a kill, then the right answer."""
    columns, rows = size
    asked = Prompted([program, "walk", "job.json"], folder, columns, rows)
    longest = 0

    def next_prompt():
        nonlocal longest
        assert asked.until_prompt(), asked.screen
        longest = max(longest, asked.lines())
        assert asked.lines() <= MOST_LINES, (asked.lines(), asked.screen)

    for answer in right_answers(captures, reading):
        next_prompt()
        before = question(asked.screen)
        asked.answer("no such thing")
        next_prompt()
        assert "Not yet:" in asked.screen and question(asked.screen) == before, (before, asked.screen)
        asked.kill()
        asked = Prompted([program, "walk", "job.json"], folder, columns, rows)
        next_prompt()
        assert question(asked.screen) == before, (before, asked.screen)
        asked.answer(answer)
    assert not asked.until_prompt() and asked.status == 0, (asked.status, asked.screen)
    assert len(asked.screen.split("\n")) <= MOST_LINES
    return longest


def check_keys(program, captures, reading, folder):
    """Back within a step and over steps, leaving out, beginning again."""
    answers = right_answers(captures, reading)
    folder.mkdir()
    status, out = answered(program, folder, [*answers[:7], "b", "?", "4.99V", "r", "q"])
    assert status == 1 and "b goes back" in out and "The step from its beginning." in out, out
    # From the calibration's first question into the facts, which are asked anew.
    status, out = answered(program, folder, ["b", *answers[1:6], "b", "b", "b", "b", "b", "b", "", "q"])
    assert out.count("Step 2: Your system") >= 2 and "this is the first step" in out, out
    status, out = answered(program, folder, [*answers[1:8], "s", "", "b", "skip", "no tone at hand", *answers[11:], "q"])
    assert "a reason is needed" in out and "Skipped: no tone at hand." in out, out
    assert status == 1 and "Skipped: source, no tone at hand." in out and "Done, with steps skipped: " in out, out
    marks = [entry["result"] for entry in kept(folder) if entry["kind"] == "walk"]
    assert {"step": "source", "left_out": "no tone at hand"}.items() <= next(
        mark for mark in marks if mark["step"] == "source").items(), marks
    assert sum(mark.get("undone", False) for mark in marks) == 3, marks  # facts, facts, safety

    # Without a calibration no gain can be set; safety cannot be left out.
    folder = folder / "without"
    folder.mkdir()
    status, out = answered(program, folder, ["s", "skip it", *answers[:6], "skip no meter", "s", "no time", answers[11], answers[14], "q"])
    assert out.count("this step cannot be skipped") == 2, out
    assert "Gain of front is skipped: it needs 'calibration', which was skipped." in out, out
    assert (folder / ".job.json.walk").exists()
    (folder / ".job.json.walk").write_text('{"schema": "railtap.walk-draft/1"')
    status, out = answered(program, folder, ["q"])
    assert status == 2 and "remove that file" in out, out


HOSTILE = {"front left": "<b>\u202efront</b> & 'left'; rm -rf ~ `id` $(id)", "front right": "r" * 300, "rear": "\u00e4\u00f6 \U0001f697 " * 20,
           "door speaker": "--json\u2028-"}


def check_names(program, captures, reading, size, folder):
    """Names of any characters in the system file: nothing but text reaches the terminal, and no screen grows."""
    folder.mkdir()
    subprocess.run([program, "system", "van.toml"], cwd=folder, check=True, capture_output=True)
    text = (folder / "van.toml").read_text()
    for plain, hostile in HOSTILE.items():
        text = text.replace(f'"{plain}"', json.dumps(hostile, ensure_ascii=False))
    (folder / "van.toml").write_text(text)
    asked = Prompted([program, "walk", "a b'c.json", "--system", "van.toml"], folder, *size)
    for answer in ("", "", f"{reading:.2f}V", captures / "calibration.wav", "24", "", captures / "head-unit-volume.wav",
                   captures / "front-verify-found.wav"):
        assert asked.until_prompt() and asked.lines() <= MOST_LINES, (asked.lines(), asked.screen)
        while "Enter shows the rest" in asked.screen:
            asked.answer("")
            assert asked.until_prompt() and asked.lines() <= MOST_LINES, (asked.lines(), asked.screen)
        asked.answer(answer)
    assert asked.until_prompt()
    for forbidden in ("\x1b", "\u202e", "\u2028"):
        assert forbidden not in asked.screen, asked.screen
    assert "Left and right are swapped" in asked.words() and "r" * 60 not in asked.screen, asked.screen
    asked.answer("q")
    assert not asked.until_prompt()
    assert "walk 'a b'\\''c.json' --system van.toml" in asked.screen, asked.screen


def main(program, columns, rows):
    size = int(columns), int(rows)
    with tempfile.TemporaryDirectory(prefix="railtap-prompts-") as name:
        folder = pathlib.Path(name)
        outside.demo(program, folder / "demo")
        captures = folder / "demo" / "captures"
        reading = json.loads((folder / "demo" / "results" / "setup.json").read_text())["calibration"]["reading_v"]
        for part in ("plain", "killed"):
            (folder / part).mkdir()
        status, out = answered(program, folder / "plain", right_answers(captures, reading))
        assert status == 0, out
        longest = check_prompts(program, captures, reading, size, folder / "killed")
        assert kept(folder / "plain") == kept(folder / "killed")
        check_names(program, captures, reading, size, folder / "names")
        if size[0] == 80:
            check_keys(program, captures, reading, folder / "keys")
        print(f"{len(right_answers(captures, reading))} prompts, {longest} lines at most")


if __name__ == "__main__":
    main(*sys.argv[1:])
