# SPDX-License-Identifier: MIT
"""A power stage of transistors, simulated by ngspice, recorded through a simulated tap and sound card.

The netlist is a plain complementary stage with feedback, drawn for this test. What it does to a sine is
physics to railtap: a soft corner, a tail of the saturated transistors, unequal rails, crossover distortion,
an offset. The truth comes from the simulator's waveform: the gain from a run below the rails, the rails from
the plateaus' level. The recording is made of the same waveform by SciPy: attenuated, coupled by a
high-pass, resampled, with noise, in 16 bits.
"""
import pathlib
import sys
import tempfile

import numpy as np
import scipy.io.wavfile
import scipy.signal

import circuit
import outside
from outside import Checks, analyze

RATE = 48000
NETLIST = """.model qn npn(is=1e-14 bf=120 vaf=80 rb=5 re=0.05 rc=0.1 cjc=20p cje=40p tf=0.5n)
.model qp pnp(is=1e-14 bf=120 vaf=80 rb=5 re=0.05 rc=0.1 cjc=20p cje=40p tf=0.5n)
.model dd d(is=1e-14)
vcc vcc 0 {positive}
vee vee 0 {negative}
vin in 0 sin(0 {drive} {hz})
rin in b1 1k
* input pair and its tail source
q1 c1 b1 e qn
q2 vcc fb e qn
it e vee 2m
r1 vcc c1 680
* voltage stage
q3 vb c1 e3 qp
re3 vcc e3 47
cc vb c1 47p
iv vb2 vee 8m
* bias
d1 vb m1 dd
d2 m1 vb2 dd
* followers, two deep
q4 vcc vb o1 qn
q5 vee vb2 o2 qp
r4 o1 out 47
r5 o2 out 47
q6 vcc o1 x1 qn 20
q7 vee o2 x2 qp 20
r6 x1 out 0.1
r7 x2 out 0.1
rl out 0 8
* feedback
rf out fb 19k
rg fb 0 1k"""


def simulate(hz, drive, positive, negative, points):
    """One steady period of the output, volts."""
    body = NETLIST.format(hz=hz, drive=drive, positive=positive, negative=negative)
    return circuit.one_period("complementary output stage, twenty times", body, hz, points, settle=4)


def fundamental(period):
    """Peak of the fundamental."""
    return 2.0 * abs(np.mean(period * np.exp(-2j * np.pi * np.arange(len(period)) / len(period))))


def truth(hz, drive, rails, points):
    """Overdrive of both rails in dB, from the simulator's waveforms; not above 0 is no clipping."""
    small = 0.75 * min(abs(rail) for rail in rails) / 20.0
    below = simulate(hz, small, *rails, points)
    amplitude = fundamental(below) / small * drive
    offset = 0.5 * (below.max() + below.min())
    period = simulate(hz, drive, *rails, points)
    return period, [20 * np.log10(amplitude / reach)
                    for reach in (plateau(period) - offset, plateau(-period) + offset)]


def plateau(period):
    """Level of the flat part: the mean around the middle of what lies within 2 % of the peak."""
    near = np.sort(period)[::-1][: max(3, int(0.6 * np.sum(period > 0.98 * period.max())))]
    return float(np.mean(near))


def record(path, period, hz, coupling_hz, snr_db, seed):
    """The tap and the sound card: attenuation, coupling, resampling, noise, 16 bits."""
    rng = np.random.default_rng(seed)
    fine_rate = len(period) * hz
    volts = np.tile(period, int(1.7 * hz))
    divided = volts * 0.03
    b, a = scipy.signal.butter(1, coupling_hz, "highpass", fs=fine_rate)
    coupled = scipy.signal.lfilter(b, a, divided)
    common = np.gcd(int(fine_rate), RATE)
    sampled = scipy.signal.resample_poly(coupled, RATE // common, int(fine_rate) // common)
    sampled = sampled[int(0.3 * RATE):int(1.5 * RATE)]
    sampled += np.std(sampled) * 10 ** (-snr_db / 20) * rng.standard_normal(len(sampled))
    dither = rng.random(len(sampled)) - rng.random(len(sampled))
    scipy.io.wavfile.write(path, RATE, np.round(sampled * 32768 + dither).astype(np.int16))


# tone, points of a period, drive in volts, rails, coupling
CASES = [
    (1000, 960, 0.30, (20, -20), 5.0),
    (1000, 960, 0.80, (20, -20), 5.0),
    (1000, 960, 0.96, (20, -20), 5.0),
    (1000, 960, 1.00, (20, -20), 5.0),
    (1000, 960, 1.10, (20, -20), 12.0),
    (1000, 960, 1.30, (20, -20), 2.0),
    (1000, 960, 1.00, (20, -26), 5.0),
    (1000, 960, 1.00, (26, -20), 5.0),
    (50, 1920, 0.80, (20, -20), 8.0),
    (50, 1920, 1.05, (20, -20), 8.0),
    (50, 1920, 1.20, (20, -20), 15.0),
]
# The truth is itself uncertain by what "the level of a plateau" means on transistors: it slopes by a few
# hundredths of a volt in twenty.
TOLERANCE_DB = 0.02
# What the truth reads for a sine's crest, by the 2 % that count as the plateau.
CREST_DB = 0.06


def check_rail(checks, what, read_db, truth_db):
    if truth_db < CREST_DB:
        checks.equal(what + " is not flat", read_db, None)
    else:
        checks.within(what, read_db, truth_db, TOLERANCE_DB, "dB")


def main(program):
    checks = Checks("ngspice 39, a netlist of our own; the waveform's gain and plateaus are the truth", outside.SIMULATION)
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder, "stage.wav")
        for number, (hz, points, drive, rails, coupling_hz) in enumerate(CASES):
            period, overdrive = truth(hz, drive, rails, points)
            record(path, period, hz, coupling_hz, 65.0, number)
            channel = analyze(program, path)[0]
            what = f"{hz} Hz, {drive} V in, rails {rails[0]} and {rails[1]} V"
            clipped = max(overdrive) >= CREST_DB
            checks.equal(f"{what}: verdict", channel["verdict"], "clipped" if clipped else "clean")
            check_rail(checks, f"{what}: positive rail", channel["flat_top"]["overdrive_positive_db"], overdrive[0])
            check_rail(checks, f"{what}: negative rail", channel["flat_top"]["overdrive_negative_db"], overdrive[1])
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
