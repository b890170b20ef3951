# SPDX-License-Identifier: MIT
"""What the tests from outside share: running the program, writing files, and checks that name their source."""
import json
import math
import os
import pathlib
import shutil
import struct
import subprocess
import sys
import tempfile

import numpy

RATE = 48000


def run(program, *arguments, statuses=(0, 1), **keywords):
    """Runs the program; an exit status that is not among `statuses` is a failure of the test."""
    done = subprocess.run([program, *map(str, arguments)], capture_output=True, text=True, **keywords)
    assert done.returncode in statuses, (
        f"railtap {' '.join(map(str, arguments))}: exit {done.returncode}, expected {statuses}\n{done.stderr}")
    return done


def run_json(program, *arguments, **keywords):
    """The one JSON document on standard output. NaN and Infinity, which JSON does not have, are refused."""
    def refuse(word):
        raise AssertionError(f"{word} in a JSON document")
    return json.loads(run(program, *arguments, "--json", **keywords).stdout, parse_constant=refuse)


def demo(program, folder):
    """What the demo leaves, in a folder that is not there yet. ctest has it made once, for every test that wants it."""
    made = os.environ.get("RAILTAP_MADE_DEMO")
    if made:
        shutil.copytree(made, folder)
    else:
        run(program, "demo", folder, statuses=(0,))


def analyze(program, file, *options):
    """The channels of the analysis."""
    return run_json(program, "analyze", file, *options)["channels"]


def _encoded(samples, encoding):
    if encoding == "float64":
        return numpy.asarray(samples, "<f8").tobytes(), 3, 64
    if encoding == "float32":
        return numpy.asarray(samples, "<f4").tobytes(), 3, 32
    bits = int(encoding)
    codes = numpy.round(numpy.asarray(samples) * 2.0 ** (bits - 1))
    codes = numpy.clip(codes, -(2 ** (bits - 1)), 2 ** (bits - 1) - 1).astype("<i4")
    if bits == 8:
        return (codes + 128).astype("u1").tobytes(), 1, 8
    if bits == 16:
        return codes.astype("<i2").tobytes(), 1, 16
    if bits == 24:
        return codes.reshape(-1).view("u1").reshape(-1, 4)[:, :3].tobytes(), 1, 24
    return codes.tobytes(), 1, 32


def write_wav(path, samples, rate=RATE, encoding="24"):
    """A WAV file, written here so that nothing of the program has a hand in it.

    samples: frames, or frames × channels, full scale ±1; rounded to the nearest code, no dither.
    encoding: "8", "16", "24", "32" (whole numbers), "float32" or "float64".
    """
    samples = numpy.atleast_2d(numpy.asarray(samples, float).T).T
    data, form, bits = _encoded(samples, encoding)
    channels = samples.shape[1]
    align = channels * bits // 8
    head = struct.pack("<HHIIHH", form, channels, rate, rate * align, align, bits)
    body = b"WAVEfmt " + struct.pack("<I", len(head)) + head + b"data" + struct.pack("<I", len(data)) + data
    pathlib.Path(path).write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    return path


def sine(frequency_hz, level_dbfs, seconds=1.0, rate=RATE, phase=0.7):
    """A sine; level_dbfs relative to a full-scale sine."""
    t = numpy.arange(round(seconds * rate)) / rate
    return 10 ** (level_dbfs / 20) * numpy.sin(2 * math.pi * frequency_hz * t + phase)


def stepped_tone(frequency_hz, lowest_dbfs, rate=RATE):
    """A sine from lowest_dbfs to 0 dBFS in steps of 1 dB of half a second, with half a second of silence before and after."""
    levels = numpy.concatenate([[-200], numpy.arange(lowest_dbfs, 1), [-200]])
    tone = sine(frequency_hz, 0, 0.5 * len(levels), rate)
    return tone * numpy.repeat(10 ** (levels / 20), len(tone) // len(levels))


def band_noise(low_hz, high_hz, level_dbfs, seconds=1.0, rate=RATE, seed=1):
    """Gaussian noise with power only from low_hz to high_hz; its RMS is level_dbfs exactly."""
    generator = numpy.random.default_rng(seed)
    count = round(seconds * rate)
    spectrum = numpy.zeros(count // 2 + 1, complex)
    frequency = numpy.fft.rfftfreq(count, 1 / rate)
    inside = (frequency >= low_hz) & (frequency <= high_hz)
    spectrum[inside] = generator.normal(size=inside.sum()) + 1j * generator.normal(size=inside.sum())
    noise = numpy.fft.irfft(spectrum, count)
    return noise * 10 ** (level_dbfs / 20) / math.sqrt(2) / math.sqrt(numpy.mean(noise ** 2))


def write_music(folder, rate=RATE):
    """track.flac, noise whose level moves as that of music does, and music.wav, its recording through a chain with rails."""
    beat = numpy.exp(-4 * (numpy.arange(8 * rate) / rate % 0.5))
    track = beat * band_noise(40, 4000, -12, 8, rate)
    write_wav(folder / "track.wav", track, rate)
    subprocess.run(["sox", str(folder / "track.wav"), str(folder / "track.flac")], check=True)
    write_wav(folder / "music.wav", numpy.clip(0.5 * track, -0.15, 0.15), rate)


def db(ratio):
    return 20 * math.log10(ratio)


STANDARDS = "published standards and handbooks"
LIBRARIES = "reference libraries and programs"
SIMULATION = "physical simulation"
RECORDINGS = "open recordings"
PRACTICE = "facts of the trade (common practice)"


_kept = {}  # how many files a script has left in the validation folder


class Checks:
    """Collects comparisons; each names the source that its expectation comes from.

    group: the kind of source, one of the names above. When RAILTAP_VALIDATION names a folder, `close` leaves there what
    was compared, for docs/validation.md.
    """

    def __init__(self, source, group=STANDARDS):
        self.source = source
        self.group = group
        self.rows = []
        self.made = 0
        self.failed = []
        print(f"source: {source}")

    def within(self, what, value, expected, tolerance, unit=""):
        good = isinstance(value, (int, float)) and abs(value - expected) <= tolerance
        self._note(good, f"{what}: {value} (expected {expected:.9g} ± {tolerance:g} {unit})",
                   {"what": what, "expected": expected, "measured": value, "tolerance": tolerance, "unit": unit})

    def within_relative(self, what, value, expected, tolerance, unit=""):
        self.within(what, value, expected, abs(expected) * tolerance, unit)

    def at_most(self, what, value, limit, unit=""):
        good = isinstance(value, (int, float)) and value <= limit
        self._note(good, f"{what}: {value} (at most {limit:g} {unit})",
                   {"what": what, "at_most": limit, "measured": value, "unit": unit})

    def equal(self, what, value, expected):
        self._note(value == expected, f"{what}: {value!r} (expected {expected!r})",
                   {"what": what, "expected": str(expected), "measured": str(value)})

    def _note(self, good, line, row):
        self.made += 1
        self.rows.append(dict(row, good=bool(good)))
        print(("  ok    " if good else "  FAIL  ") + line)
        if not good:
            self.failed.append(line)

    def _keep(self):
        folder = os.environ.get("RAILTAP_VALIDATION")
        if not folder:
            return
        script = pathlib.Path(sys.argv[0]).stem
        pathlib.Path(folder).mkdir(parents=True, exist_ok=True)
        number = _kept.setdefault(script, 0) + 1
        _kept[script] = number
        document = {"script": script, "source": self.source, "group": self.group, "rows": self.rows}
        plain = lambda number: number.item() if isinstance(number, numpy.generic) else str(number)
        whole = json.dumps(document, ensure_ascii=False, default=plain)
        pathlib.Path(folder, f"{script}-{number}.json").write_text(whole, "utf-8")

    def close(self):
        """Ends the test; a test that compared nothing has not passed."""
        self._keep()
        assert self.made, "no check was made"
        assert not self.failed, f"{len(self.failed)} of {self.made} checks failed:\n" + "\n".join(self.failed)
        print(f"{self.made} checks")


def run_cases(cases, program):
    """Runs every case in a folder of its own, with a copy of the program that anybody may run."""
    failed = []
    for case in cases:
        with tempfile.TemporaryDirectory() as name:
            folder = pathlib.Path(name)
            folder.chmod(0o755)
            print(f"- {case.__name__}")
            try:
                case(program, folder)
            except AssertionError as error:
                print(f"  FAIL {error}")
                failed.append(case.__name__)
            finally:
                restore_permissions(folder)
    assert not failed, f"failed: {', '.join(failed)}"
    print(f"{len(cases)} cases")


def restore_permissions(folder):
    for path in folder.rglob("*"):
        if not path.is_symlink():
            path.chmod(0o755)


def is_root():
    return os.geteuid() == 0


def as_nobody(command, folder):
    """The command as the user `nobody`, whom permissions bind; the program is copied to where he may run it."""
    program = folder / "railtap"
    shutil.copy(command[0], program)
    program.chmod(0o755)
    return ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", str(program), *command[1:]]


def reads_whole(path):
    """True for a sound file that SoX reads to its promised end without a complaint, and for any other file."""
    if path.suffix not in (".wav", ".flac", ".aiff", ".aif", ".mp3"):
        return True
    done = subprocess.run(["sox", str(path), "-n", "stat"], capture_output=True, text=True)
    return done.returncode == 0 and "WARN" not in done.stderr
