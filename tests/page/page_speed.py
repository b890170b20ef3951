#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""How soon the page shows what is heard, and what that costs, with twenty pages open and one that is not read. No test.

    page_speed.py PROGRAM [SECONDS]

A stereo tone comes through a pipe in blocks of 10 ms, as from a sound card, and its level steps every 0.7 s. Time counts from
the first sample of the step to the figure: in the stream of events, and in the page of a browser.
"""
import os
import re
import statistics
import subprocess
import sys
import threading
import time

import numpy

import browser
from page_client import Served

RATE, BLOCK = 48000, 480
HALF_BLOCKS = 70  # of a level
LOUD_DBFS = "-6.0"
VIEWERS = 20
WAV_HEADER = (b"RIFF\xff\xff\xff\x7fWAVEfmt \x10\0\0\0\x01\0\x02\0" + RATE.to_bytes(4, "little") + (RATE * 4).to_bytes(4, "little")
              + b"\x04\0\x10\0data\xdb\xff\xff\x7f")
# Keeps the wall clock's time of every change of the digits.
NOTE_CHANGES = """
window.changes = [];
new MutationObserver(() => window.changes.push([performance.timeOrigin + performance.now(), document.querySelector('.digits').textContent]))
  .observe(document.querySelector('.digits'), {childList: true, characterData: true, subtree: true});
"""


def play(to, seconds, stepped):
    os.write(to, WAV_HEADER)
    begun = time.time()
    for k in range(int(seconds * RATE / BLOCK)):
        loud = (k // HALF_BLOCKS) % 2 == 1
        n = numpy.arange(k * BLOCK, (k + 1) * BLOCK)
        wave = (0.5 if loud else 0.05) * numpy.sin(2.0 * numpy.pi * 1000.0 * n / RATE)
        time.sleep(max(0.0, begun + (k + 1) * BLOCK / RATE - time.time()))
        if loud and k % HALF_BLOCKS == 0:
            stepped.append(begun + k * BLOCK / RATE)
        try:
            os.write(to, numpy.repeat(numpy.round(wave * 32767.0).astype("<i2"), 2).tobytes())
        except BrokenPipeError:  # all is measured
            break
    os.close(to)


def note(events, changes):
    last = ""
    try:
        while True:
            kind, state = events.next()
            digits = state["meters"][0]["digits"] if kind == "state" and state["meters"] else last
            if digits != last:
                changes.append((time.time(), digits))
            last = digits
    except (EOFError, OSError):
        pass


def delays_ms(stepped, changes):
    delays = []
    for at in stepped:
        shown = [when for when, digits in changes if digits == LOUD_DBFS and at <= when < at + 0.7]
        if shown:
            delays.append(1000.0 * (shown[0] - at))
    return delays


def spoken(name, delays, steps):
    print(f"{name}: {len(delays)} of {steps} steps, median {statistics.median(delays):.0f} ms, longest {max(delays):.0f} ms")


def main(program, seconds="20"):
    seconds = float(seconds)
    read_end, write_end = os.pipe()
    process = subprocess.Popen([program, "watch", "-", "--page"], stdin=read_end, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                               text=True)
    os.close(read_end)
    stepped, changes = [], []
    player = threading.Thread(target=play, args=(write_end, 2 * seconds, stepped))
    player.start()
    page = Served.found(re.search(r"http://\S+", process.stderr.readline()).group())
    page.process = process
    time.sleep(1.0)
    before = page.cpu_s()
    time.sleep(seconds - 4.0)
    alone = (page.cpu_s() - before) / (seconds - 4.0)
    print(f"nobody looks: {100.0 * alone:.1f} % of a processor")

    readers = [page.events() for _ in range(VIEWERS - 1)]
    for reader in readers[1:]:
        threading.Thread(target=note, args=(reader, []), daemon=True).start()
    threading.Thread(target=note, args=(readers[0], changes), daemon=True).start()
    looked = browser.Browser()
    looked.open(page.address, 360, 640)
    looked.wait_until("document.querySelector('.digits') !== null")
    looked.evaluate(NOTE_CHANGES)
    stalled = page.events(receive_buffer=2048)
    stalled.status()
    del stepped[:], changes[:]
    before, began = page.cpu_s(), time.monotonic()
    time.sleep(seconds - 6.0)
    used = (page.cpu_s() - before) / (time.monotonic() - began)
    print(f"{VIEWERS} look and one stalls: {100.0 * used:.1f} % of a processor")
    in_browser = [(when / 1000.0, digits) for when, digits in looked.evaluate("window.changes")]
    steps = len(stepped) - 1
    spoken("sound to event", delays_ms(stepped[:steps], changes), steps)
    spoken("sound to browser's page", delays_ms(stepped[:steps], in_browser), steps)
    looked.close()
    process.terminate()
    player.join()


if __name__ == "__main__":
    main(*sys.argv[1:])
