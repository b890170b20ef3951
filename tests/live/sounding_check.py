# SPDX-License-Identifier: MIT
"""Commands that play or record by themselves, on a sound server of the test's own."""
import json
import math
import os
import pathlib
import subprocess
import sys
import tempfile

import numpy
from scipy.io import wavfile

from null_sink import NullSink

RATE = 48000


def run(program, sound, *arguments, status=0):
    done = subprocess.run([program, *map(str, arguments)], env=sound.environment, capture_output=True, text=True)
    assert done.returncode == status, (arguments, done)
    return done


def check_loopback(program):
    """The null sink is a perfect interface: what it is found to add is next to nothing."""
    with tempfile.TemporaryDirectory(prefix="railtap-loop-") as folder, NullSink() as sound:
        out, kept = pathlib.Path(folder) / "interface.json", pathlib.Path(folder) / "kept.wav"
        done = run(program, sound, "loopback", "--device", "pulse", "--output-device", "pulse", "--output", out,
                   "--keep", kept, "--json")
        found = json.loads(done.stdout)
        assert found == json.loads(out.read_text()), found
        assert found["schema"] == "railtap.loopback/1" and found["device"] == "pulse", found
        # 24 bits: −6.02·24 − 1.76 dB below a full-scale sine, 3 dB more on this tone; a server's gain may add some.
        assert abs(found["level_dbfs"] + 3.0) < 0.01 and found["thdn_percent"] < 1e-4, found
        assert found["coupling_corner_hz"] is None, found["coupling_corner_hz"]
        points = {point["frequency_hz"]: point["magnitude_db"] for point in found["response"]}
        worst = max(abs(level) for hz, level in points.items() if 10.0 < hz < 15000.0)
        assert len(points) > 250 and worst < 0.02, worst
        again = json.loads(run(program, sound, "loopback", kept, "--json").stdout)
        assert again["response"] == found["response"] and again["device"] == "pulse"


def check_calibrate(program):
    """Records by itself for some seconds: 3.52 V that read -20 dBFS make 49.78 V peak at full scale."""
    with tempfile.TemporaryDirectory(prefix="railtap-calibrate-") as folder, NullSink() as sound:
        folder = pathlib.Path(folder)
        time_s = numpy.arange(60 * RATE) / RATE
        tone = 0.1 * numpy.sin(2.0 * numpy.pi * 1000.0 * time_s)
        wavfile.write(folder / "tone.wav", RATE, numpy.stack([tone, tone], axis=1).astype("<f4"))
        options = ("calibrate", "--device", "pulse", "--rate", "48kHz", "--reading", "3.52V", "--seconds", "3s")
        refused = run(program, sound, *options, status=2)  # nothing plays yet
        assert "not suitable for calibration" in refused.stderr, refused
        sound.play(folder / "tone.wav")
        done = run(program, sound, *options, "--output", folder / "cal.toml", "--keep", folder / "kept.wav", "--json")
        found = json.loads(done.stdout)["volts_per_full_scale"]
        expected = 3.52 * math.sqrt(2.0) / 0.1
        assert abs(20.0 * math.log10(found / expected)) < 0.01, (found, expected)
        assert 'device = "pulse"' in (folder / "cal.toml").read_text()
        assert (folder / "kept.wav.json").exists()
        run(program, sound, *options, "--keep", folder / "kept.wav", status=2)  # not overwritten unasked


def check_no_answer(program):
    """A sound system that never answers ends a command with one sentence, not with waiting for ever."""
    with tempfile.TemporaryDirectory(prefix="railtap-hang-") as folder:
        source, hang = pathlib.Path(folder) / "hang.cpp", pathlib.Path(folder) / "hang.so"
        source.write_text('#include <unistd.h>\nextern "C" int Pa_Initialize() { for (;;) pause(); }\n')
        subprocess.run(["c++", "-shared", "-fPIC", "-o", str(hang), str(source)], check=True)
        for command in (["devices"], ["capture", f"{folder}/x.wav", "--seconds", "1s"]):
            done = subprocess.run([program, *command], env=dict(os.environ, LD_PRELOAD=str(hang)), capture_output=True, text=True,
                                  timeout=60)
            lines = done.stderr.strip().splitlines()
            assert done.returncode == 2 and done.stdout == "" and len(lines) == 1, done
            assert "the sound system does not answer" in lines[0] and "jack_db" in lines[0], lines
        assert not (pathlib.Path(folder) / "x.wav").exists()
        print(lines[0])


if __name__ == "__main__":
    globals()["check_" + sys.argv[2]](sys.argv[1])
