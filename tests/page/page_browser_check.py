#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The page in headless Chromium, as large as a phone and as a laptop, bright and dark.

    page_browser_check.py PROGRAM CHECK [FOLDER]      CHECK is looks, presses, walk, hostile or returns; screenshots go to FOLDER
"""
import http.server
import json
import pathlib
import re
import signal
import sys
import tempfile
import threading
import time

import browser
from page_client import Served

SIZES = {"phone": (360, 640), "laptop": (1200, 800)}
LEAST_BUTTON_PX = 44  # [WCAG 2.2, 2.5.5], the stricter of its two sizes
LEAST_DIGIT_PX = 73  # 20 minutes of arc at 2 m, in CSS pixels of 1/160 inch [ISO 9241-303]
LEAST_CONTRAST = 4.5  # [WCAG 2.2, 1.4.3]

STICKING_OUT = """
[...document.querySelectorAll('body *')].filter(e => { const b = e.getBoundingClientRect();
  if (e.closest('h1, .level') !== null && e.closest('h1, .level') !== e) return false;  // cut off there
  return b.width && (b.right > innerWidth + 0.5 || b.left < -0.5); }).map(e => e.tagName + '.' + e.className + ' ' + e.textContent.slice(0, 40))
"""
CUT_OFF = """
[...document.querySelectorAll('button, .rail, .advice, .level, .digits, .verdict, li, #message, label')].filter(e => e.offsetParent
  && (e.scrollWidth > e.clientWidth + 1) && getComputedStyle(e).display != 'inline').map(e => e.className + ' ' + e.textContent.slice(0, 40))
"""
BUTTONS = "[...document.querySelectorAll('button')].filter(e => e.offsetParent).map(e => { const b = e.getBoundingClientRect();" \
          " return [e.textContent, b.width, b.height]; })"
# The height of the digits themselves, not of their line.
DIGIT_HEIGHT = """
(() => { const e = document.querySelector('.meter.focus .digits'); const c = document.createElement('canvas').getContext('2d');
  const s = getComputedStyle(e); c.font = `${s.fontWeight} ${s.fontSize} ${s.fontFamily}`; const m = c.measureText('8');
  return m.actualBoundingBoxAscent + m.actualBoundingBoxDescent; })()
"""
# The least contrast of a text with what is behind it.
CONTRAST = """
(() => {
  const parts = (c) => c.match(/[\\d.]+/g).map(Number);
  const light = (c) => { const f = parts(c).slice(0, 3).map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
  const behind = (e) => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; const p = parts(c);
    if (p.length == 3 || p[3] > 0) return c; } return 'rgb(255,255,255)'; };
  let least = [99, ''];
  for (const e of document.querySelectorAll('body *')) {
    if (!e.offsetParent || ![...e.childNodes].some(n => n.nodeType == 3 && n.textContent.trim())) continue;
    const a = light(getComputedStyle(e).color), b = light(behind(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < least[0]) least = [ratio, e.className + ' ' + e.textContent.slice(0, 30)];
  }
  return least; })()
"""


def looked_at(page, name, width, folder, origin):
    assert page.messages == [], page.messages
    assert page.requests and all(one.startswith((origin, "data:,")) for one in page.requests), page.requests
    assert page.evaluate("document.documentElement.scrollWidth") <= width, name
    for what, found in (("sticking out", page.evaluate(STICKING_OUT)), ("cut off", page.evaluate(CUT_OFF))):
        assert found == [], (name, what, found)
    small = [one for one in page.evaluate(BUTTONS) if min(one[1:]) < LEAST_BUTTON_PX]
    assert small == [], (name, small)
    least, where = page.evaluate(CONTRAST)
    assert least >= LEAST_CONTRAST, (name, least, where)
    page.screenshot(folder / f"{name}.png")
    return least


def check_looks(program, page, folder):
    """Nothing sticks out or is cut off, buttons fit a thumb, digits can be read from 2 m, texts have contrast."""
    states = {"clean": ("--volume", "28"), "clipped": ("--volume", "36"), "bass": ("--point", "bass", "--volume", "30")}
    for state, arguments in states.items():
        with Served(program, "--rig", *arguments) as served:
            for size, (width, height) in SIZES.items():
                for dark in (False, True):
                    name = f"{state}-{size}-{'dark' if dark else 'bright'}"
                    page.open(served.address, width, height, dark=dark)
                    page.wait_until("document.querySelector('.meter.focus .verdict')?.textContent.match(/CLEAN|CLIPPED/)")
                    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
                    assert (int(re.search(r"\d+", ground).group()) < 128) == dark, (name, ground)
                    high = page.evaluate(DIGIT_HEIGHT)
                    least = looked_at(page, name, width, folder, served.origin)
                    print(f"{name}: digits {high:.0f} px high, least contrast {least:.1f}")
                    assert high >= LEAST_DIGIT_PX, (name, high)
                    if size == "phone":  # all that matters while turning is there without scrolling
                        seen = page.evaluate("document.querySelector('.meter.focus .wave').getBoundingClientRect().bottom"
                                             " <= document.querySelector('footer').getBoundingClientRect().top")
                        assert seen, name
            page.tap("[data-key=t]")
            page.wait_until("!document.querySelector('#question').hidden")
            looked_at(page, f"{state}-question", width, folder, served.origin)


def check_presses(program, page, folder):
    """A thumb on Hold holds; a target that is typed is the target; bright and dark stay as they were chosen."""
    with Served(program, "--rig", "--volume", "30") as served:
        page.open(served.address, *SIZES["phone"])
        page.wait_until("document.querySelector('.verdict')?.textContent == 'CLEAN'")
        page.tap("[data-key=h]")
        page.wait_until("document.querySelector('#flags').textContent == 'HELD'")
        assert page.evaluate("document.querySelector('[data-key=h]').getAttribute('aria-pressed')") == "true"
        time.sleep(1.5)  # held figures are not old
        assert page.evaluate("document.querySelector('#link').hidden")
        page.tap("[data-key=h]")
        page.wait_until("document.querySelector('#flags').hidden")
        page.tap("[data-key=t]")
        page.wait_until("document.activeElement.id == 'answer'")
        assert page.evaluate("document.activeElement.inputMode") == "decimal"
        page.ask("Input.insertText", text="12,5")
        page.tap("#question .main")
        page.wait_until("document.querySelector('.advice').textContent.endsWith('to 12.50 V')")
        page.tap("[data-key=down]")
        page.wait_until("document.querySelector('#subtitle').textContent.includes('vol 29')")
        page.tap("#light")
        dark = "document.documentElement.dataset.light == 'dark' && getComputedStyle(document.body).colorScheme != ''"
        page.wait_until(dark)
        ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
        page.open(served.address, *SIZES["phone"])
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == ground
        page.tap("#light")
        page.wait_until(f"getComputedStyle(document.body).backgroundColor != '{ground}'")
        page.evaluate("localStorage.clear()")


HOSTILE = "<img src=x onerror=hacked=1><script>hacked=1</script>\u202egnp.exe\u2066\x07 &lt;b&gt; " + "W" * 120


class Forged(http.server.BaseHTTPRequestHandler):
    """The page's own files, and states with a hostile text in every field."""
    files, state = {}, {}

    def do_GET(self):
        self.send_response(200)
        name = self.path.rpartition("/")[2]
        kind, text = self.files.get(name, ("text/event-stream", b""))
        self.send_header("Content-Type", kind)
        self.send_header("Content-Security-Policy", self.files["policy"])
        self.end_headers()
        self.wfile.write(text)
        while name == "events" and not self.server.over:
            try:
                self.wfile.write(b"data: " + json.dumps(self.state).encode() + b"\n\n")
            except OSError:
                return
            time.sleep(0.1)

    def log_message(self, *_):
        pass


def hostile_state(look):
    line = {"text": HOSTILE, "look": look}
    meter = {"name": HOSTILE, "focus": True, "verdict": line, "digits": "88.88", "unit": HOSTILE[:8], "way": HOSTILE, "advice": line,
             "bar": {"filled": 5000, "mark": None, "look": look}, "rails": [{"name": HOSTILE, "text": HOSTILE, "lit": True, "look": look}] * 2,
             "notes": [line] * 3, "wave": [0, 0, 500, None, 1000], "wave_look": look}
    return {"title": HOSTILE, "subtitle": HOSTILE, "flags": [line], "instructions": [line, line], "meters": [meter, dict(meter, focus=False)],
            "buttons": [{"key": HOSTILE, "label": HOSTILE, "down": False, "main": False}] * 3,
            "question": {"text": HOSTILE, "typed": HOSTILE, "figures": True}, "message": HOSTILE, "still": False, "step": 1}


def check_hostile(program, page, folder):
    """Markup, control characters and turned text in every field are text: nothing runs, nothing sticks out."""
    with Served(program, "--rig") as served:
        for name in ("", "page.css", "page.js"):
            answer = served.ask("GET", served.root + name)
            Forged.files[name] = (answer.headers["content-type"], answer.body)
        Forged.files["policy"] = answer.headers["content-security-policy"]
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Forged)
    server.over, server.daemon_threads = False, True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    address = f"http://127.0.0.1:{server.server_port}/"
    try:
        for look in ("alarm", HOSTILE):
            Forged.state = hostile_state(look)
            for size, (width, height) in SIZES.items():
                page.open(address, width, height)
                page.wait_until("document.querySelector('.meter .name') !== null")
                assert page.evaluate("typeof hacked") == "undefined"
                assert page.evaluate("document.querySelectorAll('img, script:not([src]), b:not(.rail b)').length") == 0
                assert page.evaluate("document.querySelector('#title').textContent") == HOSTILE
                assert page.evaluate(STICKING_OUT) == [], page.evaluate(STICKING_OUT)
                assert page.evaluate("document.documentElement.scrollWidth") <= width
                assert page.messages == [], page.messages
                # What is turned in one text leaves its neighbours as they are.
                assert page.evaluate("[...document.querySelectorAll('#title, .name')].every(e => getComputedStyle(e).unicodeBidi == 'isolate')")
                page.screenshot(folder / f"hostile-{size}.png")
    finally:
        server.over = True
        server.shutdown()
        server.server_close()


def check_walk(program, page, folder):
    """A walk's text is read to its end before Enter answers; then the next step begins at its top."""
    with tempfile.TemporaryDirectory(prefix="railtap-page-") as work:
        with Served(program, "job.json", command="walk", cwd=work) as served:
            for size, (width, height) in SIZES.items():
                page.open(served.address, width, height)
                page.wait_until("!document.querySelector('#question').hidden")
                looked_at(page, f"walk-{size}", width, folder, served.origin)
            page.open(served.address, *SIZES["phone"])
            page.wait_until("document.querySelector('#enter').textContent == 'More'")
            assert page.evaluate("document.querySelector('#title').textContent") == "Step 1: Safety"
            presses = 0
            while page.evaluate("document.querySelector('#enter').textContent") == "More":
                page.tap("#enter")
                time.sleep(0.3)
                presses += 1
                assert presses < 10
            seen = "document.querySelector('#instructions').getBoundingClientRect().bottom"
            assert page.evaluate(seen + " <= document.querySelector('footer').getBoundingClientRect().top + 1")
            assert page.evaluate("document.querySelector('#title').textContent") == "Step 1: Safety" and presses >= 1
            page.tap("#enter")
            page.wait_until("document.querySelector('#title').textContent.startsWith('Step 2')")
            assert page.evaluate("scrollY") == 0
            assert page.messages == [], page.messages


def check_returns(program, page, folder):
    """Old figures are called old, a broken line and a program that was started anew are found again."""
    with Served(program, "--rig") as served:
        port = str(served.port)
        page.open(served.address, *SIZES["phone"])
        page.wait_until("document.querySelector('.verdict')?.textContent == 'CLEAN'")
        assert page.evaluate("document.querySelector('#link').hidden")
        served.process.send_signal(signal.SIGSTOP)
        stopped = time.monotonic()
        page.wait_until("document.querySelector('#link').textContent.startsWith('no connection: figures are 1 s old')", 5.0)
        took = time.monotonic() - stopped
        assert 0.9 < took < 2.5, took
        page.wait_until("document.querySelector('#link').textContent.startsWith('no connection: figures are 3 s old')", 5.0)
        page.screenshot(folder / "old.png")
        served.process.send_signal(signal.SIGCONT)
        page.wait_until("document.querySelector('#link').hidden", 10.0)
    page.wait_until("!document.querySelector('#link').hidden", 5.0)
    page.wait_until("document.querySelector('#link').textContent.startsWith('no connection')", 5.0)
    with Served(program, "--rig", "--port", port):
        page.wait_until("document.querySelector('#link')?.hidden && document.querySelector('.verdict')?.textContent == 'CLEAN'", 20.0)


def main(program, check, keep=None):
    page = browser.Browser()
    try:
        with tempfile.TemporaryDirectory() as name:
            folder = pathlib.Path(keep or name)
            folder.mkdir(exist_ok=True)
            globals()["check_" + check](program, page, folder)
    finally:
        page.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
