# SPDX-License-Identifier: MIT
"""Chromium without a screen, driven over a pipe by the DevTools protocol."""
import base64
import json
import os
import shutil
import subprocess
import tempfile
import time

FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run", "--hide-scrollbars", "--disable-dev-shm-usage", "--remote-debugging-pipe"]
PATIENCE_S = 120


class Browser:
    """One page. Everything that the page asks for and says is kept in `requests` and `messages`."""

    def __init__(self):
        path = shutil.which("chromium")
        assert path, "chromium is not installed: apt-get install chromium"
        self.profile = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        to_read, self.to_browser = os.pipe()
        self.from_browser, to_write = os.pipe()

        def take_pipes():  # the browser reads from 3 and writes to 4
            os.dup2(to_read, 103)
            os.dup2(to_write, 104)
            os.dup2(103, 3)
            os.dup2(104, 4)
        self.process = subprocess.Popen([path, *FLAGS, f"--user-data-dir={self.profile.name}", "about:blank"],
                                        preexec_fn=take_pipes, close_fds=False, stdout=subprocess.DEVNULL,
                                        stderr=subprocess.DEVNULL)
        os.close(to_read)
        os.close(to_write)
        self.buffer, self.count, self.page = b"", 0, None
        self.requests, self.messages, self.loaded = [], [], False
        targets = self.ask("Target.getTargets")["targetInfos"]
        target = next(t["targetId"] for t in targets if t["type"] == "page")
        self.page = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Network", "Runtime", "Log"):
            self.ask(domain + ".enable")

    def close(self):
        self.process.terminate()
        self.process.wait(20)
        os.close(self.to_browser)
        os.close(self.from_browser)
        self.profile.cleanup()

    def ask(self, method, **parameters):
        self.count += 1
        message = {"id": self.count, "method": method, "params": parameters}
        if self.page:
            message["sessionId"] = self.page
        os.write(self.to_browser, json.dumps(message).encode() + b"\0")
        while True:
            answer = self.receive()
            if answer.get("id") == self.count:
                assert "error" not in answer, f"{method}: {answer['error']}"
                return answer["result"]

    def receive(self):
        until = time.monotonic() + PATIENCE_S
        while b"\0" not in self.buffer:
            assert time.monotonic() < until, "the browser does not answer"
            part = os.read(self.from_browser, 1 << 16)
            assert part, "the browser has ended"
            self.buffer += part
        text, _, self.buffer = self.buffer.partition(b"\0")
        message = json.loads(text)
        self.note(message.get("method"), message.get("params", {}))
        return message

    def note(self, method, event):
        if method == "Network.requestWillBeSent":
            self.requests.append(event["request"]["url"])
        elif method in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded"):
            self.messages.append(event)
        elif method == "Page.loadEventFired":
            self.loaded = True

    def open(self, path, width, height=900, dark=False):
        """A file, or an address."""
        self.requests, self.messages, self.loaded = [], [], False
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.ask("Emulation.setEmulatedMedia", features=[scheme])
        self.ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self.ask("Page.navigate", url=path if isinstance(path, str) else path.resolve().as_uri())
        while not self.loaded:
            self.receive()

    def wait_until(self, expression, seconds=30.0):
        """Until an expression holds; its value."""
        until = time.monotonic() + seconds
        while not (value := self.evaluate(expression)):
            assert time.monotonic() < until, f"did not come true on the page: {expression}"
            time.sleep(0.05)
        return value

    def tap(self, selector):
        """Where a thumb would: in the middle of an element that is in the window."""
        x, y, met = self.evaluate(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)}); e.scrollIntoView({{block: 'nearest'}});"
            " const b = e.getBoundingClientRect(), x = b.x + b.width / 2, y = b.y + b.height / 2;"
            " return [x, y, e.contains(document.elementFromPoint(x, y))]; })()")
        assert met, f"something else covers {selector}"
        for kind in ("mousePressed", "mouseReleased"):
            self.ask("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def evaluate(self, expression):
        return self.ask("Runtime.evaluate", expression=expression, returnByValue=True)["result"].get("value")

    def screenshot(self, path):
        data = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True)["data"]
        path.write_bytes(base64.b64decode(data))

    def print_pdf(self, path, width_in, height_in):
        """As the print dialogue would, without headers; margins are the page's own (@page)."""
        data = self.ask("Page.printToPDF", paperWidth=width_in, paperHeight=height_in, preferCSSPageSize=False,
                        printBackground=False)["data"]
        path.write_bytes(base64.b64decode(data))
