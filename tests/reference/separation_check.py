#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""What is added to a tone lands in its own number and moves no other.

Source: the definitions. THD+N is the RMS of all but the fundamental over the RMS of the whole signal in 20 Hz to
20 kHz without DC (AES17, 6.3.1); THD is harmonics over the fundamental; powers of unlike components add.
"""
import math
import pathlib
import sys
import tempfile

import outside

TONE_HZ, TONE_DBFS, SECONDS = 997.0, -6.0, 4.0
NOTHING_DB = -120  # what a number reads, re the tone, when what was added is not its business
SHARE_DB = -60  # of a foreign sine that is as near as one to a harmonic: THD may take a thousandth of it


def thdn_db(added_dbfs):
    """Of the tone with something added inside the band."""
    ratio = 10 ** ((added_dbfs - TONE_DBFS) / 10)
    return 10 * math.log10(ratio / (1 + ratio))


def thd_db(channel):
    percent = channel["thd_percent"]
    return NOTHING_DB * 2 if not percent else 20 * math.log10(percent / 100)


def strongest(channel):
    return max(channel["interference"], key=lambda line: line["level_db"], default=None)


class Bench:
    def __init__(self, program, folder):
        self.program = program
        self.path = pathlib.Path(folder) / "tone.wav"
        self.checks = outside.Checks("AES17 6.3.1 and the definitions in docs/method.md")

    def channel(self, name, added):
        tone = outside.sine(TONE_HZ, TONE_DBFS, SECONDS)
        outside.write_wav(self.path, tone + added, encoding="float64")
        channel = outside.analyze(self.program, self.path)[0]
        self.checks.within(f"{name}: frequency", channel["frequency_hz"], TONE_HZ, TONE_HZ * 1e-6, "Hz")
        return channel

    def thdn(self, name, channel, added_dbfs, tolerance=0.02):
        self.checks.within(f"{name}: THD+N", channel["thdn_db"], thdn_db(added_dbfs), tolerance, "dB")

    def quiet(self, name, channel, *numbers):
        """Those numbers must not have noticed."""
        if "thd" in numbers:
            self.checks.at_most(f"{name}: THD", thd_db(channel), NOTHING_DB, "dB")
        if "noise" in numbers:
            self.checks.at_most(f"{name}: noise", channel["noise_dbfs"], TONE_DBFS + NOTHING_DB, "dBFS")
        if "dc" in numbers:
            self.checks.within(f"{name}: DC", channel["dc_percent_full_scale"], 0.0, 1e-4, "%")
        if "lines" in numbers:
            self.checks.equal(f"{name}: interference", channel["interference"], [])


def second_sine(bench, hz, level_dbfs, kind):
    name = f"{hz:g} Hz at {level_dbfs:g} dBFS added"
    channel = bench.channel(name, outside.sine(hz, level_dbfs, SECONDS, phase=0.2))
    bench.thdn(name, channel, level_dbfs)
    bench.quiet(name, channel, "noise", "dc")
    bench.checks.at_most(f"{name}: THD", thd_db(channel), level_dbfs - TONE_DBFS + SHARE_DB, "dB")
    line = strongest(channel) or {"frequency_hz": None, "level_db": None, "kind": None}
    bench.checks.within(f"{name}: its frequency", line["frequency_hz"], hz, 0.02, "Hz")
    bench.checks.within(f"{name}: its level", line["level_db"], level_dbfs, 0.001, "dBFS")
    bench.checks.equal(f"{name}: its kind", line["kind"], kind)
    bench.checks.equal(f"{name}: lines seen", len(channel["interference"]), 1)


def harmonic(bench, order, level_dbfs):
    name = f"harmonic {order} at {level_dbfs:g} dBFS added"
    channel = bench.channel(name, outside.sine(order * TONE_HZ, level_dbfs, SECONDS, phase=0.2))
    bench.thdn(name, channel, level_dbfs)
    bench.quiet(name, channel, "noise", "dc", "lines")
    bench.checks.within(f"{name}: THD", thd_db(channel), level_dbfs - TONE_DBFS, 0.01, "dB")
    for entry in channel["harmonics"]:
        if entry["order"] == order:
            bench.checks.within(f"{name}: its level", entry["level_db"], level_dbfs - TONE_DBFS, 0.01, "dB")
        elif entry["level_db"] is not None:
            bench.checks.at_most(f"{name}: harmonic {entry['order']}", entry["level_db"], NOTHING_DB, "dB")


def noise(bench, level_dbfs):
    name = f"noise at {level_dbfs:g} dBFS added"
    channel = bench.channel(name, outside.band_noise(25, 19900, level_dbfs, SECONDS))
    bench.thdn(name, channel, level_dbfs, 0.05)
    bench.quiet(name, channel, "dc", "lines")
    bench.checks.within(f"{name}: noise", channel["noise_dbfs"], level_dbfs, 0.05, "dB")
    # White noise leaves some power at each harmonic; far below what it has in all.
    bench.checks.at_most(f"{name}: THD", thd_db(channel), level_dbfs - TONE_DBFS - 25, "dB")


def direct_voltage(bench, percent):
    name = f"{percent:g} % DC added"
    channel = bench.channel(name, percent / 100)
    bench.quiet(name, channel, "thd", "noise", "lines")
    bench.checks.within(f"{name}: DC", channel["dc_percent_full_scale"], percent, 1e-4, "%")
    bench.checks.at_most(f"{name}: THD+N", channel["thdn_db"], NOTHING_DB, "dB")
    bench.checks.within(f"{name}: level", channel["level_dbfs"], TONE_DBFS, 0.0001, "dB")


def out_of_band(bench, hz, level_dbfs):
    name = f"{hz:g} Hz at {level_dbfs:g} dBFS, outside the band, added"
    channel = bench.channel(name, outside.sine(hz, level_dbfs, SECONDS, phase=0.2))
    bench.quiet(name, channel, "thd", "noise", "dc", "lines")
    bench.checks.at_most(f"{name}: THD+N", channel["thdn_db"], NOTHING_DB + 20, "dB")


def main(program):
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(program, folder)
        for level in (-50, -70):
            second_sine(bench, 50, level, "hum")
            second_sine(bench, 120.05, level, "hum")
            second_sine(bench, 733.3, level, "tone")
            second_sine(bench, 1260.3, level, "whine")  # where an alternator's ripple is
            second_sine(bench, 3333.3, level, "whine")
            second_sine(bench, 7500.5, level, "tone")
        for order in (2, 3, 7):
            harmonic(bench, order, -60)
        noise(bench, -50)
        noise(bench, -80)
        direct_voltage(bench, 3)
        direct_voltage(bench, -0.5)
        out_of_band(bench, 22000, -50)
        bench.checks.close()


if __name__ == "__main__":
    main(sys.argv[1])
