# SPDX-License-Identifier: MIT
"""A real terminal for a test: a shell in tmux, of a given size, whose pane can be read."""
import os
import pathlib
import shutil
import subprocess
import tempfile
import time


# A screen that has not come after so long will not come; a busy computer may take many seconds.
PATIENCE_S = 60.0


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
        # What is typed before the prompt is there may be lost; root's prompt is another.
        self.wait_until("a prompt", lambda pane: pane.strip() in ("$", "#"))

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

    def wait_until(self, what, holds, seconds=PATIENCE_S):
        """The pane once `holds(pane)`; for what comes over a moment, such as a screen drawn anew."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            pane = self.pane()
            if holds(pane):
                return pane
            time.sleep(0.05)
        raise AssertionError(f"{what} within {seconds:g} s: no\n{self.pane()}")

    def wait_for(self, text, seconds=PATIENCE_S):
        """The pane once it holds the text."""
        return self.wait_until(f"{text!r} on the screen", lambda pane: text in pane, seconds)

    def children(self):
        """Process numbers of what the shell runs now."""
        shell = self.state("pane_pid")
        return [int(child) for child in pathlib.Path(f"/proc/{shell}/task/{shell}/children").read_text().split()]

    def at_prompt(self):
        """Waits until the screen is the shell's again and the shell runs nothing.

        Before that, keys are the program's that is leaving, or are lost when it puts the terminal back. To be used
        after the program has been seen on the screen: a shell that has not started it yet runs nothing either.
        """
        return self.wait_until("the shell has the terminal again",
                               lambda _: self.state("alternate_on") == "0" and not self.children())

    def leave(self, key="q"):
        """Ends a full-screen program by one key, and waits for the shell."""
        self.key(key)
        return self.at_prompt()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        subprocess.run(["tmux", "-S", self.socket, "kill-server"], capture_output=True)
        shutil.rmtree(self.folder, ignore_errors=True)
