# SPDX-License-Identifier: MIT
"""A program that asks in a terminal: answered prompt by prompt, killed, and its screens counted."""
import fcntl
import os
import pty
import re
import select
import signal
import struct
import termios
import time

PATIENCE_S = 120.0  # for a recording of the virtual rig on a busy computer


class Prompted:
    """Runs a program in a pseudo-terminal of a given size. `screen` is what it printed since the last answer."""

    def __init__(self, arguments, folder, columns=80, rows=24):
        self.columns, self.screen, self.status = columns, "", None
        self.pid, self.master = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            os.execv(arguments[0], [str(argument) for argument in arguments])
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def until_prompt(self):
        """Reads on. True at a prompt, False where the program has ended."""
        self.screen, until = "", time.monotonic() + PATIENCE_S
        while not self.screen.endswith("\n> "):
            left = until - time.monotonic()
            assert left > 0, f"no prompt within {PATIENCE_S:g} s:\n{self.screen}"
            if not select.select([self.master], [], [], left)[0]:
                continue
            try:
                read = os.read(self.master, 65536)
            except OSError:  # the other side is closed
                read = b""
            if not read:
                self.status = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
                os.close(self.master)
                return False
            self.screen += read.decode(errors="replace").replace("\r\n", "\n")
        return True

    def answer(self, text):
        """Types a line, and reads the echo of it."""
        os.write(self.master, (str(text) + "\n").encode())
        echo, until = b"", time.monotonic() + PATIENCE_S
        while not echo.endswith(b"\n"):
            assert time.monotonic() < until, echo
            echo += os.read(self.master, 1)

    def lines(self):
        """How many lines of the window the screen takes, the prompt's included."""
        return sum(max(1, -(-len(line) // self.columns)) for line in self.screen.split("\n"))

    def words(self):
        return re.sub(r"\s+", " ", self.screen)

    def kill(self):
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.master)
