# SPDX-License-Identifier: MIT
"""The walk's rehearsal on a virtual car, in a terminal of a given size: every fault found and corrected in words; with a
kill at every prompt; with hostile names; no screen longer than 24 lines.

What is to come out is that the car has no fault left, and that kills change nothing of it.
"""
import html
import json
import pathlib
import re
import subprocess
import sys
import tempfile

from prompted import Prompted

OWN_CAR = pathlib.Path(__file__).resolve().parents[2] / "testsignals" / "camper_van.toml"
MOST_LINES = 24  # of an old terminal
OUTPUTS = ("front left", "front right", "rear left", "rear right", "bass")


class Person:
    """Reads a screen as somebody at the car would, and says what to answer."""

    def __init__(self):
        self.tried = {}

    def going_round(self, words):
        """Whether the same was read too often: what was answered changes nothing."""
        self.tried[words] = self.tried.get(words, 0) + 1
        return self.tried[words] > 2

    def once(self, step, text):
        """Whether this was not said yet in this step."""
        new = (step, text) not in self.tried
        self.tried[(step, text)] = True
        return new

    def answer(self, words):
        step = re.search(r"Step \d+(?: of \d+)?: (.*?) (?:REHEARSAL|Not yet|Right|Connect|Leave|Virtual|Tone|From|Dis|The|Once|Going|Set)", words)
        step = step.group(1) if step else ""
        if "Enter shows the rest" in words or "Then press Enter" in words or "Enter if that is" in words:
            return ""
        if "Not yet:" in words or "Doubtful:" in words:
            mended = self.mended(words, step)
            if mended is not None:
                return mended
        if "The meter's reading" in words:
            if self.once(step, "louder"):
                return "turn the volume up 20"
            return re.search(r"The meter shows ([\d.]+ [mu]?V)", words).group(1)
        if "At which volume will the recording begin?" in words:
            if self.once(step, "softer"):
                return "volume 24"
            return "24"
        if "Enter for 40, the highest" in words:
            return ""
        if step.startswith("Wiring") and self.once(step, "volume"):
            return f"volume {self.volume(words)}"
        if "Enter records" in words:
            return ""
        raise AssertionError(f"no answer to: {words}")

    @staticmethod
    def volume(words):
        told = re.search(r"head unit at volume (\d+)", words)
        return told.group(1) if told else "36"

    @staticmethod
    def mended(words, step):
        control = step.split(" of ")[-1]
        why = words.split("Not yet:")[-1]
        output = re.search("(" + "|".join(OUTPUTS) + ") ?:", why)
        way = re.search(r"turn the gain (up|down) by ([\d.]+) dB", why)
        if way:
            return f"turn the gain of {control} {way.group(1)} by {way.group(2)} dB"
        for sign, mend in ((": clipped:", f"gain {control} -6 dB"), ("are swapped", f"exchange {control}"), ("boost", f"boost off {control}"),
                           ("ass on at", f"filter off {control}"), ("high-pass", f"filter off {control}"),
                           ("hum", "unplug the charger"), ("um at", "unplug the charger"),
                           ("level", "level control off"), ("steady", "level control off")):
            if sign in why:
                return mend
        if output and "inverted" in why:
            return f"reverse {output.group(1)}"
        if output and "silent" in why:
            return f"connect {output.group(1)}"
        return None


def rehearse(program, folder, seed, columns=80, rows=24, kill=False, most=200):
    """To the end; with `kill`, killed and begun again at every prompt. Gives what the record says of it, and all screens."""
    arguments = [program, "walk", "job.json", "--rig", "--seed", str(seed)]
    person, screens = Person(), []
    asked = Prompted(arguments, folder, columns, rows)
    for _ in range(most):
        if not asked.until_prompt():
            break
        assert asked.lines() <= MOST_LINES, (asked.lines(), asked.screen)
        if kill:
            before = asked.words()
            asked.kill()
            asked = Prompted(arguments, folder, columns, rows)
            assert asked.until_prompt()
            assert asked.lines() <= MOST_LINES, (asked.lines(), asked.screen)
            title = re.search(r"Step \d+", before).group(0)
            question = before[:-2].rsplit("(", 1)[0][-40:]
            assert title in asked.words() and question in asked.words(), (before, asked.screen)
            words = before
        else:
            words = asked.words()
        screens.append(words)
        if person.going_round(re.sub(r"-\d+\.wav", "", words)):
            asked.kill()
            raise AssertionError(f"nothing helps: {words}")
        asked.answer(person.answer(words))
    assert asked.status == 0, (asked.status, screens[-3:], asked.screen)
    screens.append(asked.words())
    return json.loads((folder / "job.json").read_text()), screens


def check_found(program, folder, seed, kinds, **how):
    """Every fault of this seed is found; record and sheet say so, and that it was a rehearsal."""
    record, screens = rehearse(program, folder, seed, **how)
    rehearsal = record["rehearsal"]
    assert rehearsal["seed"] == seed and rehearsal["car"] == "camper van", rehearsal
    assert sorted(fault["kind"] for fault in rehearsal["faults"]) == sorted(kinds), rehearsal
    assert all(fault["found"] for fault in rehearsal["faults"]), rehearsal
    assert f"seed {seed}" in screens[0] and screens[-1].count(": corrected.") == len(kinds), screens[-1]
    sheet = (folder / "job-sheet.html").read_text()
    assert sheet.count("REHEARSAL") >= 2 and sheet.count("</bdi>: corrected.") == len(kinds)
    for fault in rehearsal["faults"]:
        assert html.escape(fault["words"], quote=False).split("'")[0] in sheet, fault


def check_kept_apart(program, folder):
    """A rehearsal's record is no job's, and the other way round; a seed that is not given is drawn, and told."""
    def walk(*options, answers=("q",)):
        done = subprocess.run([program, "walk", *options], cwd=folder, input="".join(f"{answer}\n" for answer in answers), text=True,
                              capture_output=True)
        return done.returncode, done.stdout + done.stderr

    status, out = walk("--rig")
    assert status == 1 and "walk rehearsal.json --rig" in out, out
    seed = json.loads((folder / "rehearsal.json").read_text())["rehearsal"]["seed"]
    assert seed > 0 and f"seed {seed}" in " ".join(out.split()), (seed, out)
    status, out = walk("rehearsal.json")
    assert status == 2 and "the record of a rehearsal" in out, out
    status, out = walk("--rig", "--seed", str(seed + 1))
    assert status == 2 and f"begun with seed {seed}" in out, out
    # It goes on with the car that it was begun with, and with no other.
    (folder / "own.toml").write_bytes(OWN_CAR.read_bytes())
    assert walk("own.json", "--rig", "--description", "own.toml", "--seed", "0")[0] == 1
    assert json.loads((folder / "own.json").read_text())["rehearsal"]["description"] == "own.toml"
    assert walk("own.json", "--rig")[0] == 1
    status, out = walk("--rig", "--description", "own.toml")
    assert status == 2 and "begun with the camper van" in out, out
    # Where nothing can be kept, nothing goes on.
    status, out = walk("nowhere/job.json", answers=("", "q"))
    assert status == 2 and "nowhere" in out, out
    assert walk("job.json", answers=("", "q"))[0] == 1
    status, out = walk("job.json", "--rig")
    assert status == 2 and "the record of a real job" in out, out
    # Words that are no words of the car's, and places that are not there.
    status, out = walk("--rig", answers=("", "", "gain middle +2 dB", "gain front 2 dB", "exchange", "reverse middle", "volume x up", "volume 99",
                                         "exchange bass", "gain front 200%", "q"))
    out = " ".join(out.split())
    for words in ("there is no gain control 'middle'; there is front, rear, bass", "does not say how far, or which way", "there is no output 'middle'",
                  "The volume is at 40, the end of its travel.", "it has one input only"):
        assert words in out, (words, out)


def main(program, check):
    with tempfile.TemporaryDirectory(prefix="railtap-rehearsal-") as name:
        folder = pathlib.Path(name)
        if check == "found":
            check_kept_apart(program, folder)
            (folder / "car").mkdir()
            check_found(program, folder / "car", 7, ["inverted", "gain", "level-control"])
        else:
            check_found(program, folder, 17, ["swapped", "gain", "hum"], columns=120, rows=40, kill=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
