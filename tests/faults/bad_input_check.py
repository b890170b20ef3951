#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""What `analyze` does with files that are not what they should be.

Where nothing can be measured: one sentence on standard error, nothing on standard output, exit status 2.
"""
import json
import pathlib
import struct
import subprocess
import sys
import tempfile

import numpy

import outside


def refused(program, path, *must_say):
    """The sentence that a file is refused with."""
    done = outside.run(program, "analyze", path, statuses=(2,))
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, f"{path.name}: not one sentence on standard error: {lines}"
    assert lines[0].startswith("railtap: "), f"{path.name}: {lines[0]}"
    assert path.name in lines[0], f"{path.name}: the sentence does not name the file: {lines[0]}"
    assert done.stdout == "", f"{path.name}: something on standard output: {done.stdout}"
    for word in must_say:
        assert word in lines[0], f"{path.name}: the sentence does not say '{word}': {lines[0]}"
    print(f"{path.name}: {lines[0]}")
    return lines[0]


def verdicts(program, path, expected, statuses=(0, 1)):
    channels = outside.run_json(program, "analyze", path, statuses=statuses)["channels"]
    got = [channel["verdict"] for channel in channels]
    assert got == expected, f"{path.name}: verdicts {got}, expected {expected}"
    print(f"{path.name}: {got}")
    return channels


def with_sizes(path, riff_size, data_size):
    """Overwrites the two lengths in a WAV file's header."""
    raw = bytearray(path.read_bytes())
    raw[4:8] = struct.pack("<I", riff_size)
    at = raw.index(b"data") + 4
    raw[at:at + 4] = struct.pack("<I", data_size)
    path.write_bytes(raw)


def missing(program, folder):
    refused(program, folder / "missing.wav", "no such file")


def a_folder(program, folder):
    (folder / "folder.wav").mkdir()
    refused(program, folder / "folder.wav")


def empty(program, folder):
    (folder / "empty.wav").write_bytes(b"")
    refused(program, folder / "empty.wav", "empty")


def not_audio(program, folder):
    (folder / "letter.wav").write_text("Dear reader, this is not a recording.\n" * 100)
    refused(program, folder / "letter.wav")


def unreadable(program, folder):
    path = outside.write_wav(folder / "locked.wav", outside.sine(997, -6))
    path.chmod(0)
    command = [program, "analyze", str(path)]
    if outside.is_root():
        command = outside.as_nobody(command, folder)
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 2 and len(done.stderr.strip().splitlines()) == 1, (done.returncode, done.stderr)
    print(done.stderr.strip())


def sidecar_from_the_future(program, folder):
    """A newer version of the sidecar is refused, a date to come is told: one sentence each."""
    path = outside.write_wav(folder / "later.wav", outside.sine(997, -6))
    document = {"schema": "railtap.capture/1", "complete": True, "ended_by": "duration", "started": "2031-02-03T04:05:06+0100",
                "device": {"name": "in", "host": "x"}, "sample_rate_hz": 48000, "frames": 48000, "lost_frames": 0,
                "driver_overflows": 0, "gaps": []}
    beside = folder / "later.wav.json"
    beside.write_text(json.dumps(dict(document, started="9031-02-03T04:05:06+0100")))
    done = outside.run(program, "analyze", path, statuses=(0,))
    notes = done.stderr.strip().splitlines()
    assert len(notes) == 1 and "9031-02-03" in notes[0] and "in the future" in notes[0], notes
    beside.write_text(json.dumps(dict(document, started="2021-02-03T04:05:06+0100")))
    assert outside.run(program, "analyze", path, statuses=(0,)).stderr == ""
    for started in ("soon", "", None, 7, "2021-99-99T00:00:00+0000"):
        beside.write_text(json.dumps(dict(document, started=started)))
        outside.run(program, "analyze", path, statuses=(0,))
    beside.write_text(json.dumps(dict(document, schema="railtap.capture/2")))
    refused(program, path, "railtap.capture/2", "newer railtap")


def no_samples(program, folder):
    outside.write_wav(folder / "nothing.wav", numpy.zeros((0, 2)))
    refused(program, folder / "nothing.wav")


def interrupted_before_its_length(program, folder):
    path = outside.write_wav(folder / "interrupted.wav", outside.sine(997, -6, 2))
    for promised in (0, 4800):
        with_sizes(path, 36 + promised, promised)
        read = json.loads(outside.run(program, "analyze", path, "--json", statuses=(0,)).stdout)
        assert read["channels"][0]["verdict"] == "clean" and read["file"]["duration_s"] == 2.0, read
        assert any("the file holds 2.0 s of sound, as when a recorder is interrupted" in w for w in read["warnings"]), read
    # What a chunk says, or zeros up to a whole block of the disk, is no sound.
    sound = path.read_bytes()[: 44 + 3 * 96000]
    for behind in (b"LIST" + struct.pack("<I", 100000) + b"x" * 100000, bytes(100000)):
        path.write_bytes(sound + behind)
        with_sizes(path, 36 + 3 * 96000, 3 * 96000)
        read = json.loads(outside.run(program, "analyze", path, "--json", statuses=(0,)).stdout)
        assert not read["warnings"] and read["file"]["frames"] == 96000, read
    # Nothing but zeros behind a length of 0: there is no sound to read.
    path.write_bytes(sound[:44] + bytes(100000))
    with_sizes(path, 36, 0)
    refused(program, path, "recorder is interrupted", "--ignore-length")


def truncated_wav(program, folder):
    """The header promises four seconds; the copy stopped after one and a half."""
    path = outside.write_wav(folder / "cut.wav", outside.sine(997, -6, 4))
    raw = path.read_bytes()
    path.write_bytes(raw[: len(raw) * 3 // 8])
    refused(program, path, "cut short", "--part 0s..1.4s")
    whole = json.loads(outside.run(program, "analyze", path, "--part", "0.2s..1.2s", "--json", statuses=(0,)).stdout)
    assert whole["channels"][0]["verdict"] == "clean", whole
    assert any("cut short" in warning for warning in whole["warnings"]), whole


def truncated_flac(program, folder):
    path = folder / "cut.flac"
    subprocess.run(["sox", "-R", "-r48000", "-c2", "-n", "-b24", path, "synth", "6", "pinknoise"], check=True)
    raw = path.read_bytes()
    path.write_bytes(raw[: len(raw) // 2])
    refused(program, path)


def cut_in_the_header(program, folder):
    path = outside.write_wav(folder / "head.wav", outside.sine(997, -6))
    path.write_bytes(path.read_bytes()[:30])
    refused(program, path)


def four_gigabyte_header(program, folder):
    """Recorders that stream write the largest length there is, and some never come back to correct it."""
    path = outside.write_wav(folder / "streamed.wav", outside.sine(997, -6, 2))
    with_sizes(path, 0xFFFFFFFF, 0xFFFFFFFF)
    done = subprocess.run([program, "analyze", path], capture_output=True, text=True, timeout=60)
    assert done.returncode in (0, 2), f"exit {done.returncode}: {done.stderr}"
    if done.returncode == 2:
        refused(program, path)
    else:
        verdicts(program, path, ["clean"])


def fifty_milliseconds(program, folder):
    refused(program, outside.write_wav(folder / "short.wav", outside.sine(997, -6, 0.05)), "50 ms")


def not_a_number(program, folder):
    samples = outside.sine(997, -6, 2)
    samples[1000] = numpy.nan
    path = outside.write_wav(folder / "nan.wav", samples, encoding="float32")
    channel = verdicts(program, path, ["unusable"], statuses=(0, 1, 2))[0]
    assert channel["reasons"], "no reason is given"
    assert channel["thdn_percent"] is None, "a THD+N was made up"
    samples[1000] = numpy.inf
    path = outside.write_wav(folder / "infinity.wav", samples, encoding="float64")
    verdicts(program, path, ["unusable"], statuses=(0, 1, 2))


def one_channel(program, folder):
    verdicts(program, outside.write_wav(folder / "one.wav", outside.sine(997, -6, 2)), ["clean"])


def eight_channels(program, folder):
    samples = numpy.column_stack([outside.sine(400 + 100 * k, -6 - k, 2) for k in range(8)])
    channels = verdicts(program, outside.write_wav(folder / "eight.wav", samples), ["clean"] * 8)
    for k, channel in enumerate(channels):
        assert channel["channel"] == k + 1
        assert abs(channel["frequency_hz"] - (400 + 100 * k)) < 0.01
        assert abs(channel["level_dbfs"] - (-6 - k)) < 0.001


def output_is_full(program, folder):
    """Results that cannot be written are a failure, not a success."""
    path = outside.write_wav(folder / "tone.wav", outside.sine(997, -6, 2))
    with open("/dev/full", "w") as full:
        done = subprocess.run([program, "analyze", path, "--json"], stdout=full, stderr=subprocess.PIPE, text=True)
    assert done.returncode == 2, f"exit {done.returncode}"
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    print(done.stderr.strip())


def command_line_mistakes(program, folder):
    tone = str(outside.write_wav(folder / "tone.wav", outside.sine(997, -6, 2)))
    for words in ((), ("no-such-command",), ("analyze",), ("analyze", tone, "--no-such-option"),
                  ("target", "--power", "0W", "--load", "4ohm"), ("target", "--power", "-5W", "--load", "4ohm"),
                  ("target", "--power", "nan", "--load", "4ohm"), ("target", "--power", "50V", "--load", "4ohm")):
        done = outside.run(program, *words, statuses=(2,))
        assert done.stderr.strip(), f"{words}: nothing is said"
        assert done.stdout == "", f"{words}: something on standard output"
        print(f"{' '.join(words[:2])}…: {done.stderr.strip().splitlines()[0]}")


CASES = (sidecar_from_the_future, missing, a_folder, empty, not_audio, unreadable, no_samples,
         interrupted_before_its_length, truncated_wav, truncated_flac,
         cut_in_the_header, four_gigabyte_header, fifty_milliseconds, not_a_number, one_channel, eight_channels,
         output_is_full, command_line_mistakes)

if __name__ == "__main__":
    outside.run_cases(CASES, sys.argv[1])
