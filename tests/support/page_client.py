# SPDX-License-Identifier: MIT
"""The page of a running `railtap`, asked over plain sockets, so that a test can be as rude as it likes."""
import json
import re
import socket
import subprocess
import time


class Served:
    """A command with --page. `host`, `port` and `root` are where it is; ended with Ctrl-C."""

    def __init__(self, program, *arguments, command="watch", stdout=subprocess.DEVNULL, **keywords):
        self.process = subprocess.Popen([program, command, *arguments, "--page"], stdin=subprocess.DEVNULL, stdout=stdout,
                                        stderr=subprocess.PIPE, text=True, **keywords)
        self.told = self.process.stderr.readline()
        self._find(re.fullmatch(r"page: (http://\S+)\n", self.told).group(1))

    @classmethod
    def found(cls, address):
        """One that something else has started."""
        served = cls.__new__(cls)
        served._find(address)
        return served

    def _find(self, address):
        self.address = address
        self.host, port = re.match(r"http://([^:/]+):(\d+)/", address).groups()
        self.port = int(port)
        self.root = address[len(f"http://{self.host}:{port}"):]
        if self.root == "/":
            self.root = self.ask("GET", "/").headers["location"]

    @property
    def origin(self):
        return f"http://{self.host}:{self.port}"

    def connect(self):
        return socket.create_connection((self.host, self.port), timeout=20)

    def send(self, data):
        """Bytes to a connection of their own. The answer, or none where the connection was closed without one."""
        with self.connect() as connection:
            try:
                connection.sendall(data)
                connection.shutdown(socket.SHUT_WR)
            except OSError:
                pass  # closed while it was sent; there may be an answer nevertheless
            return Answer.read(connection)

    def ask(self, method, path, body=None, host=None, origin=None, **fields):
        lines = [f"{method} {path} HTTP/1.1", f"Host: {host or f'{self.host}:{self.port}'}"]
        lines += [f"Origin: {origin}"] if origin else []
        lines += [f"{name.replace('_', '-')}: {value}" for name, value in fields.items()]
        lines += [f"Content-Length: {len(body)}", "Content-Type: text/plain"] if body is not None else []
        return self.send(("\r\n".join(lines) + "\r\n\r\n").encode() + (body or b""))

    def press(self, key, step=0, where="press"):
        return self.ask("POST", self.root + where, f"{step} {key}".encode(), origin=self.origin).status

    def events(self, **keywords):
        return Events(self, **keywords)

    def cpu_s(self):
        """Processor seconds that the command has used."""
        fields = open(f"/proc/{self.process.pid}/stat").read().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / 100.0

    def resident_kb(self):
        return int(re.search(r"VmRSS:\s+(\d+)", open(f"/proc/{self.process.pid}/status").read()).group(1))

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.terminate()
        self.process.wait(20)
        for stream in (self.process.stdout, self.process.stderr):
            if stream:
                stream.close()


class Answer:
    def __init__(self, text):
        head, _, self.body = text.partition(b"\r\n\r\n")
        first, *lines = head.decode("latin-1").split("\r\n")
        self.status = int(first.split()[1])
        self.headers = {name.lower(): value for name, value in (line.split(": ", 1) for line in lines)}

    @staticmethod
    def read(connection):
        text = b""
        try:
            while part := connection.recv(65536):
                text += part
        except ConnectionResetError:
            pass
        return Answer(text) if text.startswith(b"HTTP/1.1 ") else None


class Events:
    """An open page: states as they come."""

    def __init__(self, served, receive_buffer=None):
        self.connection = socket.socket()
        if receive_buffer:
            self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        self.connection.settimeout(20)
        self.connection.connect((served.host, served.port))
        self.connection.sendall(f"GET {served.root}events HTTP/1.1\r\nHost: {served.host}:{served.port}\r\n\r\n".encode())
        self.text = b""

    def status(self):
        while b"\r\n\r\n" not in self.text:
            self.more()
        return int(self.text.split()[1])

    def more(self):
        part = self.connection.recv(65536)
        if not part:
            raise EOFError(self.text[-200:])
        self.text += part

    def next(self):
        """The next event: ("state", document) or ("age", milliseconds)."""
        while True:
            while b"\n\n" not in self.text:
                self.more()
            event, _, self.text = self.text.partition(b"\n\n")
            found = re.search(rb"(?:event: (\w+)\n)?data: (.*)$", event, re.DOTALL)
            if found:
                return (found.group(1) or b"state").decode(), json.loads(found.group(2))

    def state_where(self, holds, seconds=20.0):
        """The first state that holds; earlier ones are passed over."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            kind, data = self.next()
            if kind == "state" and holds(data):
                return data
        raise AssertionError("no such state came")

    def close(self):
        self.connection.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()
