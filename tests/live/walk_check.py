# SPDX-License-Identifier: MIT
"""The guided walk from its first question to a complete record, with the virtual rig's recordings: stopped and gone on
with after every step, with wrong files, a clipped recording, lost samples, and Ctrl-C.

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


def walk(program, folder, answers, status):
    done = subprocess.run([program, "walk", "job.json"], cwd=folder, input="".join(f"{line}\n" for line in answers),
                          capture_output=True, text=True)
    assert done.returncode == status, (answers, done)
    return done.stdout


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


def check_interrupt(program, folder):
    """Ctrl-C while it waits for an answer ends it at once, and nothing is lost."""
    before = (folder / "job.json").read_text()
    waiting = subprocess.Popen([program, "walk", "job.json"], cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True)
    while not waiting.stdout.readline().startswith("Answer in a line"):
        assert waiting.poll() is None
    time.sleep(0.3)
    waiting.send_signal(signal.SIGINT)
    waiting.communicate(timeout=20)
    assert waiting.returncode == 130, waiting.returncode
    assert (folder / "job.json").read_text() == before


def main(program):
    with tempfile.TemporaryDirectory(prefix="railtap-walk-") as name:
        folder = pathlib.Path(name)
        subprocess.run([program, "demo", str(folder / "demo")], check=True, capture_output=True)
        found = json.loads((folder / "demo" / "results" / "setup.json").read_text())
        captures = folder / "demo" / "captures"
        calibration, unit = found["calibration"], found["head_unit"]

        # Nothing answered: nothing done. Safety comes before anything else.
        out = told(walk(program, folder, [], 1))
        for words in ("battery's negative terminal", "airbag", "neither terminal is ground", "voice coils"):
            assert words in out, (words, out)
        assert not (folder / "job.json").exists()

        # Safety, and facts with mistakes in them; then the end of the input.
        out = told(walk(program, folder, ["", "fine", "1.2%+5, average, 400Hz", "", "front", "front, 55W, 4ohm, 60 apples",
                                          "front, 55W, 4ohm, 60W", "rear, 55W, 4ohm, 60W", "bass, 280W, 2ohm, 300W, bass", ""], 1))
        assert out.count("That will not do") == 4 and "railtap walk job.json" in out, out
        assert steps(folder) == ["safety", "facts"]
        check_interrupt(program, folder)

        # Calibration: a file that is not there, one with steps, one that lost samples, then the right one.
        reading = f"{calibration['reading_v']:.2f}V"
        lost = folder / "lost.wav"
        shutil.copy(captures / "calibration.wav", lost)
        lose_samples(lost)
        out = told(walk(program, folder, [reading, "none.wav", reading, captures / "head-unit-volume.wav", "much",
                                          captures / "calibration.wav", reading, lost, reading,
                                          captures / "calibration.wav", "q"], 1))
        assert out.count("Not yet:") == 4 and "no such file" in out and "samples were lost" in out, out
        assert steps(folder)[-1] == "calibration", out
        full_scale = [entry for entry in record(folder)["entries"] if entry["kind"] == "calibration"]
        assert len(full_scale) == 1
        assert abs(full_scale[0]["result"]["volts_per_full_scale"] / calibration["volts_per_full_scale"] - 1) < 1e-6

        # The head unit: not a turn of the volume, a wrong number of steps, then right.
        first = 24  # three fifths of 40, where the demo begins
        turn = captures / "head-unit-volume.wav"
        out = told(walk(program, folder, [first, 40, captures / "front-silence.wav", first + 1, 40, turn, first, 40, turn, "q"], 1))
        assert out.count("Not yet:") == 2 and "17 steady steps in it, not 16" in out, out
        assert f"The highest clean volume is {unit['highest_clean_step']}" in out, out

        # Gains: a clipped recording, the wrong tone, one off the target, then right; for each what to do.
        out = told(walk(program, folder, [captures / "front-found.wav", captures / "bass-set.wav", captures / "front-turn-2.wav",
                                          captures / "front-set.wav", captures / "front-set.wav", captures / "front-silence.wav"], 1))
        for words in ("is clipped", "turn the gain down", "a tone of 50 Hz, not of 1 kHz", "the target is 14.83 V",
                      "turn the gain down by 0.29 dB", "is not silent", "On target.", "Hiss:"):
            assert words in out, (words, out)
        assert steps(folder)[-2:] == ["gain front", "silence front"], steps(folder)

        # The rest in one go.
        out = told(walk(program, folder, [captures / f"{control}-{what}.wav" for control in ("rear", "bass")
                                          for what in ("set", "silence")], 0))
        assert "Done: head unit at volume 36" in out and "loudspeakers go back on" in out, out
        entries = record(folder)["entries"]
        kinds = [(entry["kind"], entry["subject"], entry["stage"]) for entry in entries if entry["kind"] != "walk"]
        expected = [("calibration", "", "source"), ("onset", "head unit", "source")]
        for control in ("front", "rear", "bass"):
            expected += [(kind, control, "amplifier") for kind in ("target", "analysis", "analysis")]
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


if __name__ == "__main__":
    main(sys.argv[1])
