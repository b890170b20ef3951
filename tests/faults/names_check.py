#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Names that hold control characters: of files, and inside of files, through every command that prints them.

Whatever is printed, to a terminal or not, has them visible, as \\x1b, and commands nothing. Source of what a terminal
obeys: ECMA-48, 5.2 to 5.4 (C0 and C1), and Unicode 15, 23.2 (the direction of writing).
"""
import json
import os
import pathlib
import pty
import re
import subprocess
import sys

import outside

EVIL = "a\x1b]0;title\x07b\x1b[2J\x7fc\u009bd\u202ee\rf"
CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")
TOML = EVIL.encode("unicode_escape").decode().replace("\\x", "\\u00")
SYSTEM = """schema = "railtap.system/1"
name = "NAME"
[supply]
[[supply.feed]]
name = "NAME"
gauge = "16mm2"
length = "3m"
[head_unit]
name = "NAME"
volume_steps = 40
outputs = ["NAME"]
[[speaker]]
name = "NAME"
impedance = "4ohm"
[[amplifier]]
name = "NAME"
sensitivity_low = "1V"
sensitivity_high = "12V"
feed = "NAME"
switches = ["NAME"]
[[amplifier.channel]]
name = "NAME"
rated_power = "55W"
rated_load = "4ohm"
speaker = "NAME"
inputs = ["NAME"]
control = "NAME"
switches = ["NAME"]
""".replace("NAME", TOML)


def on_terminal(command, folder):
    """What a terminal gets of both streams; the line discipline's own CR LF is taken out."""
    reader, writer = pty.openpty()
    child = subprocess.Popen(command, cwd=folder, stdin=subprocess.DEVNULL, stdout=writer, stderr=writer)
    os.close(writer)
    got = b""
    while True:
        try:
            piece = os.read(reader, 65536)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        got += piece
    os.close(reader)
    return child.wait(timeout=60), got.replace(b"\r\n", b"\n")


def harmless(program, folder, *arguments, shows=True):
    command = [program, *arguments]
    piped = subprocess.run(command, cwd=folder, stdin=subprocess.DEVNULL, capture_output=True)
    for where, status, output in (("pipe", piped.returncode, piped.stdout + piped.stderr), ("terminal", *on_terminal(command, folder))):
        text = output.decode()  # that it is UTF-8 is tested, too
        assert status in (0, 1, 2), f"{arguments}: {status}"
        found = CONTROL.search(text)
        assert not found, f"{arguments} to a {where}: {text[max(0, found.start() - 60):found.start() + 20]!r}"
        assert not shows or "\\x1b" in text or "\\u001b" in text, f"{arguments} to a {where} does not show it: {text!r}"


def names_of_files(program, folder):
    recording = outside.write_wav(folder / (EVIL + ".wav"), outside.sine(997, -6)).name
    missing = EVIL + ".none"
    for command in ("analyze", "onset", "verify"):
        harmless(program, folder, command, recording)
        harmless(program, folder, command, missing)
    harmless(program, folder, "analyze", recording, "--json")
    harmless(program, folder, "analyze", recording, "--compare-attenuation", recording, "6dB")
    harmless(program, folder, "analyze", recording, "--calibration", missing)
    harmless(program, folder, "calibrate", recording, "--reading", "3.5V", shows=False)
    for command in (("calibrate", missing, "--reading", "3.5V"), ("loopback", missing), ("loopback", recording), ("plan", missing),
                    ("record", missing), ("sheet", missing), ("tones", missing + "/x/y"), ("demo", missing, "--rig", missing),
                    ("walk", missing, "--system", missing), ("watch", missing, "--plain"), ("system", missing + "/x/y"),
                    ("capture", missing), (EVIL,), ("analyze", EVIL, EVIL, EVIL), ("analyze", "--" + EVIL),
                    ("target", "--power", EVIL, "--load", "4ohm"), ("target", "--channel", EVIL + ":55W"),
                    ("attenuator", "--max-voltage", EVIL, "--input-full-scale", "1V"),
                    ("tones", "kit", "--tone", EVIL), ("capture", "x.wav", "--device", EVIL)):
        # Where there is no input, that is told first.
        harmless(program, folder, *command, shows=command[0] != "capture")
    harmless(program, folder, "target", "--channel", EVIL.replace(":", "") + ":55W:4ohm")
    harmless(program, folder, "target", "--channel", EVIL.replace(":", "") + ":55W:4ohm", "--json")


def names_in_files(program, folder):
    (folder / "system.toml").write_text(SYSTEM)
    for options in ((), ("--json",), ("--markdown",)):
        harmless(program, folder, "plan", "system.toml", *options)
    harmless(program, folder, "system", "system.toml", "--check")
    (folder / "key.toml").write_text(SYSTEM + f'"{TOML}" = 1\n')
    harmless(program, folder, "plan", "key.toml")
    (folder / "kind.toml").write_text(SYSTEM.replace('"4ohm"', f'"{TOML}"'))
    harmless(program, folder, "plan", "kind.toml")
    outside.run(program, "plan", folder / "system.toml", "--record", folder / "job.json")
    outside.run(program, "record", folder / "job.json", "--note", EVIL.replace("\r", ""), "--subject", EVIL.replace("\r", ""))
    harmless(program, folder, "record", "job.json")
    harmless(program, folder, "record", "job.json", "--json")
    rig = (pathlib.Path(__file__).parents[2] / "testsignals" / "camper_van.toml").read_text()
    (folder / "rig.toml").write_text(rig.replace('type = "average"', f'type = "{TOML}"'))
    harmless(program, folder, "demo", "out", "--rig", "rig.toml")
    kit = (pathlib.Path(__file__).parents[2] / "testsignals" / "kit.toml").read_text()
    (folder / "kit.toml").write_text(kit.replace('title = "railtap test tones"', f'title = "{TOML}"'))
    harmless(program, folder, "tones", "kit", "--list", "--recipe", "kit.toml")
    (folder / "tone.toml").write_text(kit.replace('name = "calibrate"', f'name = "{TOML}"'))
    harmless(program, folder, "tones", "kit", "--list", "--recipe", "tone.toml")


def bytes_that_are_no_text(program, folder):
    for name in (b"\x9b2J.wav", b"\xff\xfe\x1b.wav", b"\xe2\x82.wav"):
        done = subprocess.run([os.fsencode(program), b"analyze", name], cwd=folder, capture_output=True)
        assert done.returncode == 2 and b"\\x" in done.stderr, done.stderr
        assert not CONTROL.search(done.stderr.decode()), done.stderr


def one_line_stays_one(program, folder):
    """A line's end in a name makes no second line that could be taken for the program's own."""
    recording = outside.write_wav(folder / "a\n  Channel 1: CLEAN\n.wav", outside.sine(997, -6))
    done = outside.run(program, "analyze", recording, statuses=(0,))
    assert done.stdout.splitlines()[0].startswith(str(folder)) and "\\x0a" in done.stdout.splitlines()[0], done.stdout
    recording.unlink()
    done = outside.run(program, "analyze", recording, statuses=(2,))
    assert len(done.stderr.splitlines()) == 1, done.stderr


def standard_input(program, folder):
    """`-` is read where a file is read once, and refused in those words where not."""
    done = subprocess.run([program, "plan", "-", "--json"], input=SYSTEM, text=True, capture_output=True, cwd=folder)
    assert done.returncode == 0 and json.loads(done.stdout)["name"] == EVIL, done.stderr
    outside.write_wav(folder / "-", outside.sine(997, -6))
    outside.run(program, "analyze", "./-", cwd=folder, statuses=(0,))
    for command in (("analyze", "-"), ("onset", "-"), ("verify", "-"), ("loopback", "-"), ("calibrate", "-", "--reading", "3V")):
        done = outside.run(program, *command, cwd=folder, statuses=(2,))
        assert "standard input" in done.stderr, f"{command}: {done.stderr}"
        print(done.stderr.strip())
    for command in (("capture", "-"), ("system", "-", "--force"), ("walk", "-"), ("record", "-", "--note", "x")):
        done = subprocess.run([program, *command], input="", text=True, capture_output=True, cwd=folder, timeout=60)
        print(command, done.returncode, done.stderr.strip())
        assert done.returncode in (0, 2), done.stderr
    assert sorted(path.name for path in folder.iterdir()) == ["-"], list(folder.iterdir())


CASES = (names_of_files, names_in_files, bytes_that_are_no_text, one_line_stays_one, standard_input)

if __name__ == "__main__":
    outside.run_cases(CASES, sys.argv[1])
