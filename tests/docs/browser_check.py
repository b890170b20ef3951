#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The setup sheet and a picture, opened from a file in headless Chromium: nothing on the console, no request but for
the file itself, nothing wider than the window at 390 and 1280 pixels, and a PDF of few pages on A4 and Letter.

    browser_check.py PROGRAM [FOLDER]      leaves the screenshots in FOLDER, to be looked at
"""
import json
import pathlib
import re
import sys
import tempfile

import browser
import outside

PAGES_PER_ROW = 2  # its figures with their pictures, and a share of what stands before and behind
FIRST_PAGES = 2  # the owner's, and that of labels and chain
PAPERS = {"a4": (8.27, 11.69), "letter": (8.5, 11.0)}
# Elements that stick out of the window on either side, or text in a picture that leaves its picture.
STICKING_OUT = """
(() => { const out = [];
  for (const e of document.querySelectorAll('body *')) {
    const box = e.getBoundingClientRect();
    if (box.width && (box.right > innerWidth + 1 || box.left < -1)) out.push(e.tagName + ' ' + e.textContent.slice(0, 40));
  }
  for (const svg of document.querySelectorAll('svg')) {
    const frame = svg.getBoundingClientRect();
    for (const e of svg.querySelectorAll('text')) {
      const box = e.getBoundingClientRect();
      if (box.right > frame.right + 2 || box.left < frame.left - 2 || box.bottom > frame.bottom + 2)
        out.push('text ' + e.textContent.slice(0, 40));
    }
  }
  return out.slice(0, 10); })()
"""
# What the margins of the sheet's @page leave of a page, in CSS pixels (96 to the inch): 13 mm at either side, 12 above and 24
# below.
SHEET_MARGINS_MM = (26, 36)
OWNER_HEIGHT = "document.querySelector('.owner').getBoundingClientRect().bottom"
SMALLEST_TEXT = """
Math.min(...[...document.querySelectorAll('svg.plot text')].map(e => e.getBoundingClientRect().height))
"""


def looked_at(checks, page, file, width, folder, dark=False):
    name = f"{file.name} at {width}{' dark' if dark else ''}"
    page.open(file, width, dark=dark)
    checks.equal(f"{name}: console", page.messages, [])
    checks.equal(f"{name}: requests", page.requests, [file.resolve().as_uri()])
    checks.equal(f"{name}: wider than the window", page.evaluate("document.documentElement.scrollWidth") > width, False)
    checks.equal(f"{name}: sticking out", page.evaluate(STICKING_OUT), [])
    page.screenshot(folder / f"{file.stem}-{width}{'-dark' if dark else ''}.png")


def with_channels(record, count):
    """The demo's record with more outputs, the last of them never measured, one found inverted, and all details given."""
    edited = json.loads(json.dumps(record))
    channels = edited["system"]["amplifier"][0]["channel"]
    while len(channels) < count - 1:
        number = len(channels)
        name = f"output number {number} of the other amplifier"
        channels.append(dict(channels[2], name=name, control=f"control {number // 2}"))
        like = [entry for entry in record["entries"] if entry["subject"] == "rear left" and entry["kind"] != "target"]
        edited["entries"] += json.loads(json.dumps([dict(entry, subject=name) for entry in like]))
        edited["entries"][-1]["note"] = "gain a little to the left of the screw, high-pass off"
    for entry in edited["entries"]:
        if entry["kind"] == "verification" and entry["subject"] == "rear right":
            for channel in entry["result"]["channels"]:
                channel["polarity"]["verdict"], channel["verdict"] = "inverted", "wiring"
                channel["findings"].append({"severity": "fault", "text": "rear right is inverted: plus and minus are "
                                                                         "exchanged somewhere on the way."})
    edited["system"]["job"] = {"vehicle": "camper van, the green one, second key with the neighbour", "owner": "A. Example",
                               "installer": "B. Example, the workshop behind the station", "date": "2026-11-28"}
    edited["rehearsal"] = {"car": "camper van", "seed": 7}
    return edited


def check_first_page(checks, page, file):
    """The owner's page is one page on both papers."""
    for paper, (width_in, height_in) in PAPERS.items():
        width, height = 96 * width_in - 96 / 25.4 * SHEET_MARGINS_MM[0], 96 * height_in - 96 / 25.4 * SHEET_MARGINS_MM[1]
        page.open(file, round(width))
        page.ask("Emulation.setEmulatedMedia", media="print")
        checks.at_most(f"the owner's page of {file.name} over the height of {paper}", page.evaluate(OWNER_HEIGHT) / height, 1)
        page.ask("Emulation.setEmulatedMedia", media="")


def pages_of(pdf):
    return len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))


def main(program, keep=None):
    checks = outside.Checks("the DevTools protocol's own reports of console and network")
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(keep or name)
        folder.mkdir(exist_ok=True)
        van = pathlib.Path(name) / "van"
        outside.demo(program, van)
        outside.run(program, "sheet", van, "--output", van / "compared.html", "--compare", van, statuses=(0,))
        record = json.loads((van / "job.json").read_text())
        (van / "eight.json").write_text(json.dumps(with_channels(record, 8)))
        (van / "fresh.json").write_text(json.dumps({"schema": "railtap.record/1", "name": "fresh", "created":
                                                    "2026-11-28T10:00:00Z", "system": record["system"], "entries": []}))
        for filling in ("eight", "fresh"):
            outside.run(program, "sheet", van / f"{filling}.json", "--output", van / f"{filling}.html", statuses=(0,))
        outside.run(program, "analyze", van / "captures" / "front-found.wav", "--svg", van / "found.svg")
        page = browser.Browser()
        try:
            for file in (van / "sheet.html", van / "eight.html", van / "fresh.html"):
                check_first_page(checks, page, file)
            for width in (360, 1200):
                looked_at(checks, page, van / "eight.html", width, folder)
                looked_at(checks, page, van / "fresh.html", width, folder)
            page.open(van / "eight.html", 1200)
            page.print_pdf(folder / "eight.pdf", *PAPERS["a4"])
            for width in (390, 1280):
                looked_at(checks, page, van / "sheet.html", width, folder)
                looked_at(checks, page, van / "compared.html", width, folder)
            looked_at(checks, page, van / "sheet.html", 1280, folder, dark=True)
            page.open(van / "sheet.html", 390)
            checks.at_most("8 over the smallest text of a picture on a phone, pixels high",
                           8 / page.evaluate(SMALLEST_TEXT), 1)
            rows = page.evaluate("document.querySelectorAll('[id^=row]').length")
            for paper, size in PAPERS.items():
                page.print_pdf(folder / f"sheet-{paper}.pdf", *size)
                pages = pages_of(folder / f"sheet-{paper}.pdf")
                checks.equal(f"pages on {paper}: {pages}", FIRST_PAGES < pages <= FIRST_PAGES + PAGES_PER_ROW * rows, True)
            page.open(van / "found.svg", 1280)
            checks.equal("picture: console and requests", (page.messages, len(page.requests)), ([], 1))
            page.screenshot(folder / "found.png")
        finally:
            page.close()
    checks.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
