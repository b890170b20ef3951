# SPDX-License-Identifier: MIT
"""The guided walk from its first question to a complete record, with the virtual rig's recordings: stopped and gone on
with after every step, with wrong files, a clipped recording, lost samples, and Ctrl-C; once with everything typed, once
with a described system.

What is to come out is what the demo found on the same rig by itself.
"""
import json
import pathlib
import shutil
import signal
import subprocess
import sys
import tempfile
import time

import scipy.io.wavfile

import outside


# The demo's recordings of the verification track in which nothing is wrong.
WIRED = {"front": "verify-corrected", "rear": "verify-corrected", "bass": "verify-found"}


def walk(program, folder, answers, status, *options):
    done = subprocess.run([program, "walk", "job.json", *map(str, options)], cwd=folder,
                          input="".join(f"{line}\n" for line in answers), capture_output=True, text=True)
    assert done.returncode == status, (answers, done)
    return done.stdout if status != 2 else done.stderr


def record(folder):
    return json.loads((folder / "job.json").read_text())


def steps(folder):
    return [entry["result"]["step"] for entry in record(folder)["entries"] if entry["kind"] == "walk"]


def told(text):
    """As one line, wherever it was broken."""
    return " ".join(text.split())


def lose_samples(path):
    """A sidecar as `capture` leaves one where samples were lost."""
    pathlib.Path(f"{path}.json").write_text(json.dumps({
        "schema": "railtap.capture/1", "complete": True, "ended_by": "duration", "device": {"name": "in", "host": "x"},
        "sample_rate_hz": 48000, "frames": 1, "lost_frames": 480, "driver_overflows": 0,
        "gaps": [{"at_s": 0.5, "lost_frames": 480}]}))


def muted(folder, path, after_s):
    """The recording with its output silent from a moment on: nothing but the recorder's own noise, 100 dB lower."""
    rate, codes = scipy.io.wavfile.read(path)
    samples = codes / 2.0**31  # 24 bits are read into the upper ones of 32
    samples[int(after_s * rate):] *= 1e-5
    return outside.write_wav(folder / f"muted-{path.name}", samples, rate)


def check_interrupt(program, folder):
    """Ctrl-C while it waits for an answer ends it at once, and nothing is lost."""
    before = (folder / "job.json").read_text()
    waiting = subprocess.Popen([program, "walk", "job.json"], cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True)
    while not waiting.stdout.readline().startswith("Step 3"):
        assert waiting.poll() is None
    time.sleep(0.3)
    waiting.send_signal(signal.SIGINT)
    waiting.communicate(timeout=20)
    assert waiting.returncode == 130, waiting.returncode
    assert (folder / "job.json").read_text() == before


def describe_van(program, folder):
    """The starter file with the tones that the demo played, the tap that it recorded through, and one thing left out."""
    file = folder / "van.toml"
    subprocess.run([program, "system", str(file)], check=True, capture_output=True)
    text = file.read_text()
    for control in ("front", "rear"):
        text = text.replace(f'control = "{control}"', f'control = "{control}"\ntone = "1kHz"')
    assert text.count('control = "rear"') == 2 and text.count('speaker = "door speaker"') == 4
    head, tail = text.split('name = "rear left"')
    text = head + 'name = "rear left"' + tail.replace('speaker = "door speaker"', 'speaker = "rear speaker"')
    text += '\n[[speaker]]\nname = "rear speaker"\nimpedance = "4ohm"\n'
    # 1 V peak at full scale and 47 : 1, the input's 10 kohm in parallel: 2·20.909/(1 ∥ 10) = 46.
    text = text.replace('full_scale = "1V" ', 'full_scale = "0.70711V" ')
    text += '\n[attenuator]\nseries_each = "20.909kohm"\nshunt = "1kohm"\nbridge_tied = true\n'
    file.write_text(text)
    return file


def channel_answers(captures, *controls):
    """Of the controls in turn; where the gain stands is left blank."""
    return [answer for control in controls
            for answer in (captures / f"{control}-{WIRED[control]}.wav", captures / f"{control}-set.wav", "", captures / f"{control}-silence.wav")]


def check_described(program, folder, captures, found):
    """With --system only what the description leaves out is asked; targets are the plan's, the tap is held against the
    reading, and the record goes on without the file."""
    folder.mkdir()
    van = describe_van(program, folder)
    options = ("--system", van.name)
    plan = json.loads(subprocess.run([program, "plan", str(van), "--json"], capture_output=True, text=True).stdout)
    targets = {channel["control"]: channel["target_v"] for channel in plan["channels"]}

    out = told(walk(program, folder, ["", "", "sixty", "60W", "q"], 1, *options))
    for words in ("front (front left, front right): 14.83 V, set with 1 kHz", "- bass: 23.66 V, set with 50 Hz",
                  "tap: 20.91 kohm in each leg, 1 kohm across the input", "average-responding, 40 Hz to 400 Hz",
                  "Continuous rating of all speakers on one output of rear", f"{program} walk job.json --system van.toml"):
        assert words in out, (words, out)
    assert "if not, q, and correct the file" in out, out
    # The walk finds the head unit's clean output itself.
    for words in ("put it into the file as clean_output", "Your meter", "Amplifier channels behind", "through your tap", "speakers on one output of front"):
        assert words not in out, (words, out)
    assert out.count("Not yet:") == 1 and steps(folder) == ["safety", "facts"], out
    assert record(folder)["system"]["name"] == "camper van" and record(folder)["name"] == "camper van"

    # Another description in the middle of the job is refused; the same one, and none, go on.
    whole = van.read_text()
    van.write_text(whole.replace('rated_power = "280W"', 'rated_power = "200W"'))
    assert "has changed since" in walk(program, folder, ["q"], 2, *options)
    van.write_text(whole)
    walk(program, folder, ["q"], 1, *options)
    van.unlink()

    # A slipped digit in the reading is seen against the tap; the second time it is right.
    reading = found["calibration"]["reading_v"]
    calibration = captures / "calibration.wav"
    out = told(walk(program, folder, [f"{10 * reading:.1f}V", calibration, "", f"{reading:.2f}V", calibration, "q"], 1))
    assert out.count("Doubtful: By the tap's parts, digital full scale is 47.00 V peak; this is +20.1 dB") == 1, out
    calibrated = [entry["result"] for entry in record(folder)["entries"] if entry["kind"] == "calibration"]
    assert len(calibrated) == 1 and calibrated[0]["plausible"] is True, calibrated

    # Enter stands for the described highest volume, and no higher one is taken.
    turn = captures / "head-unit-volume.wav"
    out = told(walk(program, folder, [41, 24, 41, 24, "", turn, "q"], 1))
    for words in ("highest volume is 40", "described with 40 steps, so it cannot end at 41", "it begins at 24, so it cannot end at 24"):
        assert words in out, (words, out)
    assert f"The highest clean volume is {found['head_unit']['highest_clean_step']}" in out, out

    out = told(walk(program, folder, channel_answers(captures, "front", "rear", "bass"), 0))
    assert "(high-pass off, bass boost off)" in out and "front right: 14." in out and "channel" not in out.lower() and "Done: head unit at volume 36" in out, out
    reached = {entry["subject"]: entry["result"]["target_v"] for entry in record(folder)["entries"]
               if entry["kind"] == "target"}
    assert set(reached) == {"front", "rear", "bass"}
    for control, volts in reached.items():
        assert abs(volts / targets[control] - 1) < 1e-9, (control, volts, targets)


def main(program):
    with tempfile.TemporaryDirectory(prefix="railtap-walk-") as name:
        folder = pathlib.Path(name)
        outside.demo(program, folder / "demo")
        found = json.loads((folder / "demo" / "results" / "setup.json").read_text())
        captures = folder / "demo" / "captures"
        calibration, unit = found["calibration"], found["head_unit"]

        # Nothing answered: nothing done. Safety comes before anything else.
        out = told(walk(program, folder, [], 1))
        for words in ("battery's negative terminal", "airbag", "neither terminal is ground", "voice coils"):
            assert words in out, (words, out)
        assert not (folder / "job.json").exists()

        # Safety, and facts with mistakes in them; then the end of the input.
        out = told(walk(program, folder, ["", "fine", "1.2%+5, average, 400Hz", "", "front", "front, 55W, 4ohm, 60 apples", "front, 1,200W, 4ohm, 60W", "fr\x1b[31mont, 55W, 4ohm, 60W",
                                          "front, 55W, 4ohm, 60W", "rear, 55W, 4ohm, 60W", "rear, 50W, 4ohm, 60W", "bass, 280W, 2ohm, 300W, bass", "", "21ohm", ""],
                          1))
        assert out.count("Not yet:") == 8 and "has a comma inside a number" in out and "characters that cannot be shown" in out, out
        assert "there is a gain control 'rear' already" in out and "railtap walk job.json" in out, out
        assert steps(folder) == ["safety", "facts"]
        check_interrupt(program, folder)

        # Calibration: a file that is not there, one with steps, one that lost samples, then the right one.
        reading = f"{calibration['reading_v']:.2f}V"
        lost = folder / "lost.wav"
        shutil.copy(captures / "calibration.wav", lost)
        lose_samples(lost)
        out = told(walk(program, folder, ["", "much", "-1V", reading, "4.2VAC", "none.wav", captures / "head-unit-volume.wav", lost,
                                          captures / "calibration.wav", "q"], 1))
        assert out.count("Not yet:") == 7 and "'4.2VAC' is a reading, and a recording is asked for here" in out and "no such file" in out and "samples were lost" in out, out
        assert steps(folder)[-1] == "calibration", out
        full_scale = [entry for entry in record(folder)["entries"] if entry["kind"] == "calibration"]
        assert len(full_scale) == 1
        assert abs(full_scale[0]["result"]["volts_per_full_scale"] / calibration["volts_per_full_scale"] - 1) < 1e-6

        # The head unit: not a turn of the volume, a wrong number of steps, then right.
        first = 24  # three fifths of 40, where the demo begins
        turn = captures / "head-unit-volume.wav"
        out = told(walk(program, folder, ["many", first, 40, captures / "front-silence.wav", "b", "b", first + 1, 40, turn, "r", first, 40, muted(folder, turn, 9.2), turn, "q"], 1))
        assert "went silent after volume 36 and stayed so" in out, out
        assert out.count("Not yet:") == 4 and "17 steady steps in it, not 16" in out and "level by itself" in out and "Set the volume to 24" in out, out
        assert f"The highest clean volume is {unit['highest_clean_step']}" in out, out

        # Wiring: swapped pairs, another track, then right.
        out = told(walk(program, folder, [captures / "front-verify-found.wav", captures / "front-set.wav", captures / f"front-{WIRED['front']}.wav", "q"], 1))
        for words in ("Left and right are swapped", "put it right and record it again", "no verification track", "No fault in the wiring."):
            assert words in out, (words, out)

        # Gains: a clipped recording, the wrong tone, one off the target, then right; for each what to do.
        out = told(walk(program, folder, [captures / "front-found.wav", muted(folder, captures / "front-set.wav", 1.4), captures / "bass-set.wav", captures / "front-turn-2.wav",
                                          captures / "front-set.wav", "high", "10 o'clock", captures / "front-set.wav", captures / "front-silence.wav"], 1))
        for words in ("channel 1: clipped: the tops are flat", "turn down by 8.89 dB", "went silent after 1.4 s and stayed so", "a tone of 50 Hz, not of 1 kHz", "the target is 14.83 V",
                      "turn the gain down by 0.29 dB", "'high' is no position", "On target.", "Hiss:"):
            assert words in out, (words, out)
        assert steps(folder)[-2:] == ["gain front", "silence front"], steps(folder)

        # The rest in one go.
        out = told(walk(program, folder, channel_answers(captures, "rear", "bass"), 0))
        assert "Done: head unit at volume 36" in out and "speakers go back on" in out, out
        entries = record(folder)["entries"]
        kinds = [(entry["kind"], entry["subject"], entry["stage"]) for entry in entries if entry["kind"] != "walk"]
        expected = [("calibration", "", "source"), ("onset", "head unit", "source")]
        for control in ("front", "rear", "bass"):
            expected += [(kind, control, "amplifier") for kind in ("verification", "target", "analysis", "analysis")]
        expected.insert(5, ("note", "front", ""))
        assert "gain at 10 o'clock" in [entry["note"] for entry in entries], entries
        assert "gain at 10 o" in (folder / "job-sheet.html").read_text()
        assert kinds == expected, kinds
        reached = {(channel["control"], number): channel["reached_v"] for control in ("front", "rear", "bass") for number, channel
                   in enumerate((one for one in found["channels"] if one["control"] == control), 1)}
        for entry in entries:
            if entry["kind"] != "analysis" or entry["note"] == "silence":
                continue
            for channel in entry["result"]["channels"]:
                volts = reached[(entry["subject"], channel["channel"])]
                assert abs(channel["level_v"] / volts - 1) < 1e-3, (entry["subject"], channel["level_v"], volts)
        # Once complete, it says so again and changes nothing.
        before = (folder / "job.json").read_text()
        assert "Done:" in walk(program, folder, [], 0) and (folder / "job.json").read_text() == before
        print(f"{len(entries)} entries")
        check_described(program, folder / "described", captures, found)


if __name__ == "__main__":
    main(sys.argv[1])
