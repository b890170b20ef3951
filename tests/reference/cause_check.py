# SPDX-License-Identifier: MIT
"""Faults of circuits, simulated by ngspice and recorded through a simulated sound card: is the cause named?

The netlists are drawn for this test and have one fault each, which the circuit, not a formula, makes: followers without bias
(a dead zone), a stage whose current into its capacitor is limited (slewing), diodes across a resistor (soft compression), one
diode (uneven halves), limits followed by an RC low-pass or high-pass (clipping, rounded or tilted). Hum, hiss, gaps and a
level that pumps are added by NumPy. The truth is the netlist's.
"""
import pathlib
import sys
import tempfile

import numpy as np
import scipy.optimize
import scipy.signal

import circuit
import outside
from outside import Checks, run_json

RATE = 48000
POINTS = 960  # of a period

# Each has its input at `in` with the amplitude {drive} and its output at `out`.
CROSSOVER = """.model qn npn(is=1e-14 bf=100)
.model qp pnp(is=1e-14 bf=100)
vcc vcc 0 20
vee vee 0 -20
vin in 0 sin(0 {drive} {hz})
q1 vcc in out qn
q2 vee in out qp
rl out 0 8"""
SLEW = """vin in 0 sin(0 {drive} {hz})
* a differential pair's current, limited by its tail, into the compensating capacitor
b1 0 x i={slope}*1e-9*tanh((v(in)-v(x))*{bandwidth}*1/{slope})
c1 x 0 1n
r1 x 0 1e9
e1 out 0 x 0 1"""
DIODES = """.model dd d(is=1e-9 n=1.8)
vin in 0 sin(0 {drive} {hz})
r1 in out 1k
d1 out 0 dd
d2 0 out dd
r2 out 0 10k"""
ONE_DIODE = """.model dd d(is=1e-9 n=1.8)
vin in 0 sin(0 {drive} {hz})
r1 in out 1k
d1 out a dd
r3 a 0 5k
r2 out 0 10k"""
PAIR = """.model qn npn(is=1e-14 bf=200)
vcc vcc 0 10
vee vee 0 -10
vin in 0 sin(0 {drive} {hz})
q1 vcc in e qn
q2 c2 0 e qn
it e vee 1m
rc vcc c2 4.7k
e1 out 0 c2 vcc 1"""
LIMIT = """vin in 0 sin(0 {drive} {hz})
b1 x 0 v=max(min(v(in),1),-1)
"""
LOW_PASS = LIMIT + "r1 x out 1k\nc1 out 0 {farad}"
HIGH_PASS = LIMIT + "c1 x out {farad}\nr1 out 0 1k"


def simulate(body, hz, settle=6, **values):
    """One steady period of the output, volts."""
    return circuit.one_period("one fault", body.format(hz=hz, **values) + "\n.options reltol=1e-5", hz, POINTS, settle)


def recorded(period, hz, seconds=2.0, seed=1, snr_db=75.0):
    """The sound card: resampled, scaled, with noise."""
    rng = np.random.default_rng(seed)
    volts = np.tile(period - period.mean(), int((seconds + 0.2) * hz))
    fine = len(period) * hz
    common = np.gcd(int(fine), RATE)
    x = scipy.signal.resample_poly(volts, RATE // common, int(fine) // common)[int(0.1 * RATE):]
    x = 0.5 * x[:int(seconds * RATE)] / np.abs(period).max()
    return x + np.std(x) * 10 ** (-snr_db / 20) * rng.standard_normal(len(x))


def of_circuit(body, hz, **values):
    return recorded(simulate(body, hz, **values), hz)


def clean(hz=997.0, seconds=4.0, seed=2):
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * RATE)) / RATE
    return t, 0.4 * np.sin(2 * np.pi * hz * t) + 1e-5 * rng.standard_normal(len(t))


def with_hum():
    t, x = clean()
    return x + 0.005 * np.sin(2 * np.pi * 50 * t) + 0.002 * np.sin(2 * np.pi * 150 * t + 1)


def with_hiss():
    t, x = clean()
    return x + 0.005 * np.random.default_rng(3).standard_normal(len(t))


def with_gaps():
    _, x = clean()
    for first, length in ((0.9, 0.003), (1.7, 0.02), (2.6, 0.1)):
        x[int(first * RATE):int((first + length) * RATE)] = 0.0
    return x


def pumping():
    t, x = clean(seconds=6.0)
    saw = scipy.signal.sawtooth(2 * np.pi * 0.8 * t, 0.85)  # slowly up, quickly down
    return x * 10 ** (1.2 * saw / 20)


def wavering(percent, per_s):
    """A speed that wavers: the clean tone, read at times of its own by a band-limited interpolation."""
    t, x = clean(seconds=6.0)
    fine = scipy.signal.resample_poly(x, 8, 1)
    at = t - percent / 100 / (2 * np.pi * per_s) * np.cos(2 * np.pi * per_s * t)
    return np.interp(at, np.arange(len(fine)) / (8 * RATE), fine)[RATE // 10:-RATE // 10]


def sweep():
    t = np.arange(6 * RATE) / RATE
    return 0.4 * scipy.signal.chirp(t, 100, 6, 2000, method="logarithmic") + 1e-5 * np.random.default_rng(4).standard_normal(len(t))


RIPPLING_RAIL = """* a bridge rectifier at 60 Hz charges a capacitor, the stage draws from it; the rail follows it
vac ac 0 sin(0 {volts} 60)
b1 rect 0 v=abs(v(ac))
d1 rect out dd
.model dd d(is=1e-9 n=1.05 rs=0.05)
c1 out 0 {farad}
r1 out 0 {load}
"""


def rippling_rail(hz):
    """A sine against the rail of ngspice's supply, ripple of a few per cent at 120 Hz, which the tone knows nothing of."""
    points = 480
    rail = circuit.one_period("a supply", RIPPLING_RAIL.format(volts=20, farad=5e-3, load=12), 120, points, 30)
    ripple = (rail.max() - rail.min()) / rail.mean()
    assert 0.02 < ripple < 0.15, ripple
    fine = 8 * RATE
    t = np.arange(3 * fine) / fine
    limit = np.interp((t * 120) % 1.0, np.arange(points + 1) / points, np.append(rail, rail[0])) / rail.mean()
    wave = np.clip(10 ** (3 / 20) * np.sin(2 * np.pi * hz * t), -limit, limit)
    x = 0.4 * scipy.signal.resample_poly(wave, 1, 8)
    return x + 1e-5 * np.random.default_rng(6).standard_normal(len(x))


def beating_hum():
    t, x = clean(hz=50.4, seconds=6.0)
    return x + 0.01 * np.sin(2 * np.pi * 50 * t + 1)


def rc(corner_hz):
    return 1.0 / (2 * np.pi * 1000.0 * corner_hz)


def turn_down_to_limit(body, hz, drive):
    """How much less drive leaves 1 % of harmonics, in the simulator; dB."""
    def distortion(decibels):
        powers = np.abs(np.fft.rfft(simulate(body, hz, drive=drive * 10 ** (-decibels / 20)))[1:]) ** 2
        return np.sqrt(powers[1:].sum() / powers.sum())

    return scipy.optimize.brentq(lambda decibels: distortion(decibels) - 0.01, 0.0, 20.0, xtol=0.005)


def narrow_recorders():
    """A limited sine of 1 kHz behind what voice recorders have: what, samples. Noise is in front of their low-pass as well."""
    rng = np.random.default_rng(8)
    t = np.arange(3 * RATE) / RATE
    for over_db in (1, 3, 6):
        wave = np.clip(0.3 * 10 ** (over_db / 20) * np.sin(2 * np.pi * 1000 * t), -0.3, 0.3) + 1e-4 * rng.standard_normal(len(t))
        for cutoff_hz in (2500, 3500, 5000, 7000):
            for order in (2, 4, 8):
                sections = scipy.signal.butter(order, cutoff_hz, fs=RATE, output="sos")
                yield f"{over_db} dB over, Butterworth of order {order} at {cutoff_hz} Hz", scipy.signal.sosfilt(sections, wave)
            fir = scipy.signal.firwin(255, cutoff_hz, fs=RATE)
            yield f"{over_db} dB over, linear phase to {cutoff_hz} Hz", scipy.signal.fftconvolve(wave, fir, "same")


# What gives way gradually: how far to turn down. The harmonics of one level are all that the program has to tell it from.
SOFT = [
    ("diodes across a resistor, 1 kHz", DIODES, 1000, 0.6),
    ("diodes across a resistor, 50 Hz", DIODES, 50, 0.7),
    ("diodes across a resistor, 1 kHz, harder", DIODES, 1000, 0.8),
    ("a differential pair, 1 kHz", PAIR, 1000, 0.045),
    ("a differential pair, 100 Hz, harder", PAIR, 100, 0.06),
]

# what, kind, clipped, samples
CASES = [
    ("followers without bias, 100 Hz", {"crossover"}, False, lambda: of_circuit(CROSSOVER, 100, drive=8)),
    ("followers without bias, 1 kHz", {"crossover"}, False, lambda: of_circuit(CROSSOVER, 1000, drive=12)),
    ("slew-limited stage at 80 % of the speed needed", {"slew"}, False,
     lambda: of_circuit(SLEW, 1000, drive=1, slope=0.8 * 2 * np.pi * 1000, bandwidth=2 * np.pi * 40000)),
    ("slew-limited stage at 40 %", {"slew"}, False,
     lambda: of_circuit(SLEW, 1000, drive=1, slope=0.4 * 2 * np.pi * 1000, bandwidth=2 * np.pi * 40000)),
    ("one diode", {"uneven-halves"}, False, lambda: of_circuit(ONE_DIODE, 400, drive=0.8)),
    ("limit and RC low-pass, 200 Hz and 500 Hz", {"filtered-clipping"}, True,
     lambda: of_circuit(LOW_PASS, 200, drive=1.25, farad=rc(500.0))),
    ("limit and RC high-pass, 200 Hz and 150 Hz", {"filtered-clipping", "clipping"}, True,
     lambda: of_circuit(HIGH_PASS, 200, drive=1.25, farad=rc(150.0))),
    ("limit alone", {"clipping"}, True, lambda: of_circuit(LOW_PASS, 200, drive=1.25, farad=rc(1e6))),
    ("hum", {"hum"}, False, with_hum),
    ("hiss", {"hiss"}, False, with_hiss),
    ("three gaps", {"gaps"}, False, with_gaps),
    ("a level that pumps", {"level-pumping"}, None, pumping),
    ("wow of 0.3 % at 0.7 Hz", {"speed-wavering"}, None, lambda: wavering(0.3, 0.7)),
    ("wow of 1 % at 2.5 Hz", {"speed-wavering"}, None, lambda: wavering(1.0, 2.5)),
    ("a sweep", {"frequency-moving"}, None, sweep),
    ("hum that beats with a tone of 50.4 Hz", {"hum"}, None, beating_hum),
]


def main(program):
    checks = Checks("netlists of single faults in ngspice; NumPy for what is added to a tone", outside.SIMULATION)
    with tempfile.TemporaryDirectory() as name:
        for what, kinds, clipped, make in CASES:
            path = outside.write_wav(pathlib.Path(name, "c.wav"), make())
            channel = run_json(program, "analyze", path)["channels"][0]
            cause = channel["cause"] or {"kind": None}
            checks.equal(f"{what}: cause", cause["kind"] if cause["kind"] not in kinds else "as drawn", "as drawn")
            if clipped is not None:
                checks.equal(f"{what}: clipped", channel["clipped"], clipped)
            if clipped:
                over = 20 * np.log10(1.25)
                checks.within(f"{what}: turn down", cause.get("turn_down_db"), over, 0.1, "dB")
            if what == "three gaps":
                checks.equal("three gaps: number", channel["interruptions"]["count"], 3)
                checks.equal("three gaps: the rest", channel["verdict"], "clean")
                for found, first in zip(channel["interruptions"]["listed"], (0.9, 1.7, 2.6)):
                    checks.within("three gaps: start", found["start_s"], first, 0.001, "s")
        for hz in (50, 80):
            path = outside.write_wav(pathlib.Path(name, "c.wav"), rippling_rail(hz))
            cause = run_json(program, "analyze", path)["channels"][0]["cause"]
            checks.equal(f"a rail with ripple, {hz} Hz: cause", cause["kind"], "clipping")
            checks.within(f"a rail with ripple, {hz} Hz: over its mean", cause["turn_down_db"], 3.0, 0.1, "dB")
        for what, samples in narrow_recorders():
            channel = run_json(program, "analyze", outside.write_wav(pathlib.Path(name, "c.wav"), samples))["channels"][0]
            checks.equal(f"{what}: called not clipped", channel["clipped"] is False, False)
        for what, body, hz, drive in SOFT:
            path = outside.write_wav(pathlib.Path(name, "c.wav"), of_circuit(body, hz, drive=drive))
            channel = run_json(program, "analyze", path)["channels"][0]
            cause = channel["cause"] or {"kind": None}
            checks.equal(f"{what}: cause", cause["kind"], "soft-compression")
            checks.equal(f"{what}: clipped", channel["clipped"], False)
            checks.within(f"{what}: turn down to 1 %", cause.get("turn_down_db"), turn_down_to_limit(body, hz, drive), 0.02, "dB")
    checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
