# SPDX-License-Identifier: MIT
"""A real terminal for a test: a shell in tmux, of a given size, whose pane can be read."""
import os
import pathlib
import shutil
import subprocess
import tempfile
import time


class Terminal:
    """`run` types a command line into the shell; `pane` is what the screen shows."""

    def __init__(self, columns, rows, **environment):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="railtap-terminal-"))
        self.socket = str(self.folder / "tmux")
        plain = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "TMUX")}
        self.environment = dict(plain, LANG="C.UTF-8", LC_ALL="C.UTF-8", PS1="$ ", ENV="", **environment)
        self._tmux("new", "-d", "-x", str(columns), "-y", str(rows), "sh")
        self._tmux("set", "-g", "status", "off")
        self._tmux("resize-window", "-x", str(columns), "-y", str(rows))

    def _tmux(self, *arguments):
        done = subprocess.run(["tmux", "-u", "-f", "/dev/null", "-S", self.socket, *arguments], env=self.environment,
                              capture_output=True, text=True)
        assert done.returncode == 0, f"tmux {' '.join(arguments)}: {done.stderr}"
        return done.stdout

    def type(self, text):
        self._tmux("send-keys", "-l", text)

    def key(self, name):
        self._tmux("send-keys", name)

    def run(self, line):
        self.type(line)
        self.key("Enter")

    def resize(self, columns, rows):
        self._tmux("resize-window", "-x", str(columns), "-y", str(rows))

    def pane(self, *options):
        return self._tmux("capture-pane", "-p", *options)

    def state(self, name):
        """A tmux format: alternate_on, cursor_flag, pane_pid."""
        return self._tmux("display", "-p", "#{%s}" % name).strip()

    def wait_for(self, text, seconds=20.0, *options):
        """The pane once it holds the text."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            pane = self.pane(*options)
            if text in pane:
                return pane
            time.sleep(0.05)
        raise AssertionError(f"{text!r} did not appear:\n{self.pane()}")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        subprocess.run(["tmux", "-S", self.socket, "kill-server"], capture_output=True)
        shutil.rmtree(self.folder, ignore_errors=True)
