#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The setup sheet and a picture, opened from a file in headless Chromium: nothing on the console, no request but for
the file itself, nothing wider than the window at 390 and 1280 pixels, and a PDF of few pages on A4 and Letter.

    browser_check.py PROGRAM [FOLDER]      leaves the screenshots in FOLDER, to be looked at
"""
import pathlib
import re
import sys
import tempfile

import browser
import outside

PAGES_PER_ROW = 2  # its figures with their pictures, and a share of what stands before and behind
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
        outside.run(program, "analyze", van / "captures" / "front-found.wav", "--svg", van / "found.svg")
        page = browser.Browser()
        try:
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
                checks.equal(f"pages on {paper}: {pages}", 1 <= pages <= PAGES_PER_ROW * rows, True)
            page.open(van / "found.svg", 1280)
            checks.equal("picture: console and requests", (page.messages, len(page.requests)), ([], 1))
            page.screenshot(folder / "found.png")
        finally:
            page.close()
    checks.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
