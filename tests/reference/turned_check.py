# SPDX-License-Identifier: MIT
"""A volume turned by hand in front of an amplifier, as a transient that ngspice computes.

The netlist is a behavioural amplifier of our own: a tone whose level follows a line of points in time, a gain
of twenty, rails, and a tap of two resistors and a capacitor. The hand is uneven, rests on the way, and turns
down again. What the netlist says of a steady tone is the truth: its crest at the rail, or its gain there a
tenth, and the level at which its distortion is 1 %, by NumPy from one cycle. railtap sees 16 bits of the tap.
"""
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import scipy.optimize
import scipy.signal

import outside
from outside import Checks, RATE, run_json

NETLIST = """a volume that is turned in front of an amplifier
vlevel level 0 pwl({points})
btone tone 0 v = pow(10, v(level)/20)*sin(6.283185307179586*{hz}*time)
{amplifier}
rseries amp a 4.7k
ctap a tap {farads}
rtap tap 0 1k
.tran {step} {stop} 0 {step}
.control
run
linearize v(tap)
wrdata out.txt v(tap)
quit
.endc
.end
"""
GAIN = 20.0
DIVIDER = 1.0 / 5.7
FULL_SCALE_V = 40.0
# Within what the program states for its own random turns, up to 20 dB/s.
TOLERANCE_DB = 0.1

HARD = "bamp amp 0 v = max(min(20*v(tone), {positive}), -{negative})"
SOFT = "bamp amp 0 v = 20*v(tone)/pow(1 + pow(abs(20*v(tone)/{positive}), 10), 0.1)"


def hard(positive, negative):
    return HARD.format(positive=positive, negative=negative), lambda v: np.clip(GAIN * v, -negative, positive)


def soft(rail):
    return SOFT.format(positive=rail), lambda v: GAIN * v / (1 + np.abs(GAIN * v / rail) ** 10) ** 0.1


def turn(low_db, high_db):
    """Points in time, s, and level, dB re 1 V peak: uneven, up to 18 dB/s, two rests, and down again."""
    way = high_db - low_db
    moves = [(0.0, 0.25), (0.30, None, 6.0), (0.15, None, 18.0), (0.0, 0.3), (0.25, None, 9.0), (0.30, None, 14.0),
             (0.0, 0.2), (-0.35, None, 8.0), (-0.2, None, 4.0), (-0.45, None, 17.0), (0.0, 0.2)]
    points = [(0.0, low_db)]
    for move in moves:
        change = move[0] * way
        seconds = move[1] if move[1] else abs(change) / move[2]
        points.append((points[-1][0] + seconds, points[-1][1] + change))
    return points


def simulate(amplifier, hz, points, farads, oversampling):
    step = 1.0 / (RATE * oversampling)
    text = NETLIST.format(points=" ".join(f"{t:.6f} {level:.6f}" for t, level in points), hz=hz, amplifier=amplifier,
                          farads=farads, step=step, stop=points[-1][0])
    with tempfile.TemporaryDirectory() as folder:
        pathlib.Path(folder, "turn.cir").write_text(text, encoding="ascii")
        done = subprocess.run(["ngspice", "-b", "turn.cir"], cwd=folder, capture_output=True, text=True, check=False)
        out = pathlib.Path(folder, "out.txt")
        assert out.exists(), done.stdout[-500:] + done.stderr[-500:]
        return np.loadtxt(out)[:, 1]


def harmonics(law, level_db, hz):
    """Peak volts of orders 1 and up below 20 kHz, of one cycle."""
    angle = 2 * np.pi * np.arange(8192) / 8192
    spectrum = np.abs(np.fft.rfft(law(10 ** (level_db / 20) * np.sin(angle)))) / 4096
    return spectrum[1:int(20000 / hz) + 1]


def level_v(law, level_db, hz):
    return float(np.sqrt(0.5 * np.sum(harmonics(law, level_db, hz) ** 2)))


def thdn_level(law, hz, noise_v, low_db, high_db):
    def excess(level_db):
        h = harmonics(law, level_db, hz)
        rest = 0.5 * np.sum(h[1:] ** 2) + noise_v ** 2
        return np.sqrt(rest / (0.5 * h[0] ** 2 + rest)) - 0.01
    return scipy.optimize.brentq(excess, low_db, high_db)


def flat_level(law, low_db, high_db):
    """Where the gain at the crest is a tenth; at a hard rail, the rail."""
    def excess(level_db):
        crest = 10 ** (level_db / 20)
        return (law(crest * 1.0001) - law(crest)) / (crest * 0.0001) / GAIN - 0.1
    return scipy.optimize.brentq(excess, low_db, high_db)


def record(path, volts, oversampling, noise_v, seed):
    rng = np.random.default_rng(seed)
    sampled = scipy.signal.resample_poly(volts, 1, oversampling) / DIVIDER / FULL_SCALE_V
    sampled += noise_v / FULL_SCALE_V * np.sqrt(RATE / 40000) * rng.standard_normal(len(sampled))
    dither = (rng.random(len(sampled)) - rng.random(len(sampled))) / 32768
    outside.write_wav(path, sampled + dither, encoding="16")


def error_db(point, truth_v):
    return None if point is None else float(20 * np.log10(point["level_v"] / truth_v))


# what, amplifier, tone, capacitor, oversampling, the rail's level at the input
CASES = [
    ("hard rails, 21 and 22.5 V, 1 kHz", hard(21.0, 22.5), 1000, "4.7u", 4, 20 * np.log10(21.0 / GAIN)),
    ("hard rails, 14 V both, 60 Hz", hard(14.0, 14.0), 60, "10u", 2, 20 * np.log10(14.0 / GAIN)),
    ("a knee at 20 V, 400 Hz", soft(20.0), 400, "4.7u", 2, 20 * np.log10(20.0 / GAIN)),
]


def check_case(checks, program, path, case, seed):
    what, (amplifier, law), hz, farads, oversampling, rail_db = case
    noise_v = 0.01
    volts = simulate(amplifier, hz, turn(rail_db - 8.0, rail_db + 4.0), farads, oversampling)
    record(path, volts, oversampling, noise_v, seed)
    channel = run_json(program, "onset", path, "--volts-full-scale", f"{FULL_SCALE_V}V")["channels"][0]
    checks.equal(f"{what}: verdict", channel["verdict"], "clips")
    flat_v = level_v(law, flat_level(law, rail_db - 3.0, rail_db + 3.9), hz)
    thdn_v = level_v(law, thdn_level(law, hz, noise_v, rail_db - 6.0, rail_db + 2.0), hz)
    for way, key in (("up", "onset"), ("down", "onset_down")):
        found = channel[key]
        checks.within(f"{what}, on the way {way}: tops go flat, off by", error_db(found["flat_top"], flat_v), 0.0,
                      TOLERANCE_DB, "dB")
        checks.within(f"{what}, on the way {way}: 1 % THD+N, off by", error_db(found["thdn"], thdn_v), 0.0, TOLERANCE_DB,
                      "dB")


def main(program):
    checks = Checks("ngspice 39, transients of a netlist of our own; NumPy's FFT of one cycle of its law",
                    outside.SIMULATION)
    with tempfile.TemporaryDirectory() as folder:
        for seed, case in enumerate(CASES):
            check_case(checks, program, pathlib.Path(folder, "turn.wav"), case, seed)
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
