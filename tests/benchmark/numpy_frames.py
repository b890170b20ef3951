#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The usual script for the job: THD+N by windowed frames of 8192 samples, half overlapped, in NumPy.

Reads a 24-bit WAV file of the form that benchmark.py writes; prints the mean level and THD+N of each channel.
"""
import sys

import numpy

FRAME, HOP, BLOCK = 8192, 4096, 64  # BLOCK: frames that are transformed at once


def blocks(path):
    """The samples in pieces, frames × channels, full scale ±1."""
    with open(path, "rb") as file:
        head = file.read(44)
        channels, rate = head[22], int.from_bytes(head[24:28], "little")
        while raw := file.read(HOP * BLOCK * channels * 3):
            bytes_of = numpy.frombuffer(raw, "u1").reshape(-1, 3)
            codes = numpy.zeros((len(bytes_of), 4), "u1")
            codes[:, 1:] = bytes_of
            yield rate, codes.view("<i4").reshape(-1, channels) / 2.0 ** 31


def frame_powers(samples, window):
    frames = numpy.lib.stride_tricks.sliding_window_view(samples, FRAME)[::HOP]
    return numpy.abs(numpy.fft.rfft(frames * window, axis=1)) ** 2


def main(path):
    turn = 2 * numpy.pi * numpy.arange(FRAME) / FRAME
    window = 0.35875 - 0.48829 * numpy.cos(turn) + 0.14128 * numpy.cos(2 * turn) - 0.01168 * numpy.cos(3 * turn)
    rest, totals = None, []
    for rate, samples in blocks(path):
        joined = samples if rest is None else numpy.concatenate([rest, samples])
        whole = (len(joined) - FRAME) // HOP + 1
        rest = joined[whole * HOP:]
        low, high = int(20 * FRAME / rate) + 1, int(20000 * FRAME / rate)
        for channel in range(samples.shape[1]):
            power = frame_powers(joined[:(whole - 1) * HOP + FRAME, channel], window)[:, low:high]
            peak = power.argmax(axis=1)
            tone = sum(power[numpy.arange(len(power)), numpy.clip(peak + k, 0, power.shape[1] - 1)]
                       for k in range(-5, 6))
            totals.append((channel, tone.sum(), power.sum(), len(power)))
    for channel in range(samples.shape[1]):
        tone, total = (sum(row[k] for row in totals if row[0] == channel) for k in (1, 2))
        print(f"channel {channel + 1}: THD+N {10 * numpy.log10(max(total - tone, 1e-30) / total):.2f} dB")


if __name__ == "__main__":
    main(sys.argv[1])
