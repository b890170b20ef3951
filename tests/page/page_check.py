#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The page's server from outside: who is let in, what is bounded, and that nobody holds the measurement up.

    page_check.py PROGRAM CHECK      CHECK is doors, bounds, keys, walk, listens, stalled, returns, code, names or fuzz [SECONDS]
"""
import json
import os
import pathlib
import random
import re
import select
import socket
import subprocess
import sys
import tempfile
import time

import numpy
from scipy.io import wavfile

import qr_reader
from null_sink import NullSink
from page_client import Events, Served
from terminal import Terminal

RATE = 48000
PROTECTION = {"cache-control": "no-store", "x-content-type-options": "nosniff", "referrer-policy": "no-referrer",
              "x-frame-options": "DENY"}


def tone_file(folder, name="tone.wav", seconds=60.0):
    file = pathlib.Path(folder) / name
    wave = 0.5 * numpy.sin(2.0 * numpy.pi * 1000.0 * numpy.arange(int(seconds * RATE)) / RATE)
    wavfile.write(file, RATE, numpy.stack([wave, wave], axis=1).astype("<f4"))
    return file


def check_doors(program):
    """Without the token 403, a foreign Host or Origin 403, and what is answered is answered with care."""
    with Served(program, "--rig") as page:
        assert page.host == "127.0.0.1" and re.fullmatch(r"/[A-Za-z0-9_-]{22}/", page.root), page.root
        whole = page.ask("GET", page.root)
        assert whole.status == 200 and whole.headers["content-type"].startswith("text/html"), whole.headers
        for path in (page.root, page.root + "page.css", page.root + "page.js", "/", "/nothing"):
            answer = page.ask("GET", path)
            assert PROTECTION.items() <= answer.headers.items(), (path, answer.headers)
            assert "default-src 'none'" in answer.headers["content-security-policy"]
        # Nothing of the page comes from anywhere else, and nothing in it is code that CSP would refuse.
        for name in ("", "page.css", "page.js"):
            text = page.ask("GET", page.root + name).body.decode()
            assert not re.search(r"https?://|@import|url\(|<script>|\son\w+=|\sstyle=|innerHTML|eval\(", text), name
        almost = page.root[:-2] + ("A" if page.root[-2] != "A" else "B") + "/"
        for path in ("/page.css", "/events", "/favicon.ico", almost, almost + "events", page.root[:-1], "//" + page.root[1:],
                     "/..", "/%2e%2e" + page.root, page.root.lower() + "events" if page.root.lower() != page.root else "/x"):
            assert page.ask("GET", path).status == 403, path
            assert page.ask("POST", path, b"0 h", origin=page.origin).status == 403, path
        for host in ("evil.example", f"evil.example:{page.port}", "127.0.0.1", "127.0.0.1:1", f"127.0.0.2:{page.port}"):
            assert page.ask("GET", page.root, host=host).status == 403, host
            assert page.ask("GET", "/", host=host).status == 403, host
        assert page.ask("GET", page.root, host=f"localhost:{page.port}").status == 200
        for origin in ("http://evil.example", "null", f"https://127.0.0.1:{page.port}", "http://127.0.0.1"):
            assert page.ask("GET", page.root + "events", origin=origin).status == 403, origin
            assert page.ask("POST", page.root + "press", b"0 h", origin=origin).status == 403, origin
        assert page.ask("POST", page.root + "press", b"0 h").status == 403
        for method in ("HEAD", "PUT", "DELETE", "OPTIONS", "PATCH"):
            assert page.ask(method, page.root + "press", b"0 h", origin=page.origin).status == 405, method
        for data in (b"GET / HTTP/1.1\r\n\r\n", f"GET {page.root} HTTP/1.0\r\n\r\n".encode()):
            assert page.send(data).status == 403, data
    if lan_is_there():
        with Served(program, "--rig", "--lan") as page:
            assert page.host != "127.0.0.1" and len(page.root) == 24, page.address
            assert page.ask("GET", page.root).status == 200
            for path in ("/", "/page.js"):
                answer = page.ask("GET", path)
                assert answer.status == 403 and page.root.strip("/").encode() not in answer.body, path
            assert page.ask("GET", page.root, host=f"localhost:{page.port}").status == 403
    for arguments, words in ((("--lan",), "--page"), (("--page", "--port", "99999"), "--port"), (("--page", "--port", "-1"), "--port")):
        done = subprocess.run([program, "watch", "--rig", *arguments], capture_output=True, text=True)
        assert done.returncode == 2 and words in done.stderr and done.stderr.count("\n") == 1, done


def lan_is_there():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return not probe.getsockname()[0].startswith("127.")
        except OSError:
            return False


def check_bounds(program):
    """Sizes, times and numbers have bounds, and what is over them takes neither memory nor time."""
    with Served(program, "--rig") as page:
        press = page.root + "press"
        assert page.ask("POST", press, b"0 " + b"h" * 511, origin=page.origin).status == 413
        assert page.ask("POST", press, b"x" * 3_000_000, origin=page.origin).status == 413
        assert page.ask("POST", press, origin=page.origin, Content_Length="99999999999999999999").status == 411
        assert page.ask("POST", press, origin=page.origin, Content_Length="-1").status == 411
        assert page.ask("POST", press, origin=page.origin).status == 411
        assert page.ask("POST", press, origin=page.origin, Transfer_Encoding="chunked").status == 411
        before = page.resident_kb()
        for data in (b"GET /" + b"x" * 10_000_000, b"GET / HTTP/1.1\r\nX: " + b"y" * 10_000_000,
                     b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 1_000_000, b"\r\n" * 1_000_000, b"\0" * 100_000):
            answer = page.send(data)
            assert answer is None or 400 <= answer.status < 500, answer.status
        many_ranges = "bytes=" + ",".join(f"{n}-{n}" for n in range(850))
        for ranges in (many_ranges, "bytes=0-", "bytes=" + "0" * 7000, "bytes=" + "-," * 3000):
            assert page.ask("GET", page.root, Range=ranges).status in (200, 416)
        assert page.resident_kb() - before < 20_000, (before, page.resident_kb())
        # As many pages as may be open; one more is turned away, and let in when another has gone.
        viewers = [page.events() for _ in range(24)]
        assert all(viewer.status() == 200 for viewer in viewers)
        assert page.ask("GET", page.root + "events").status == 503
        viewers.pop().close()
        deadline = time.monotonic() + 5.0
        while page.ask("GET", page.root + "page.css").status != 200 or Events(page).status() != 200:
            assert time.monotonic() < deadline
            time.sleep(0.1)
        # Connections that say nothing: turned away beyond the bound, and let go after a few seconds.
        silent = [page.connect() for _ in range(60)]
        time.sleep(0.3)
        assert sum(bool(select.select([one], [], [], 0.0)[0]) for one in silent) >= 60 - 40
        began = time.monotonic()
        # A byte a second holds a connection no longer.
        while page_answers(page) is not True:
            for one in silent:
                try:
                    one.send(b"G")
                except OSError:
                    pass
            assert time.monotonic() - began < 8.0
            time.sleep(0.5)
        viewers[0].state_where(lambda state: state["meters"][0]["digits"] != "-")
        for one in [*silent, *viewers]:
            one.close()


def page_answers(page):
    try:
        answer = page.ask("GET", page.root)
        return answer is not None and answer.status == 200
    except OSError:
        return False


def check_keys(program):
    """The page's buttons do what the keys do, once, and only those that are there."""
    with tempfile.TemporaryDirectory(prefix="railtap-page-") as folder:
        with Served(program, "--rig", "--volume", "30", cwd=folder) as page, page.events() as events:
            state = events.state_where(lambda now: now["meters"][0]["verdict"]["text"] == "CLEAN")
            assert state["meters"][0]["focus"] and "vol 30" in state["subtitle"], state
            assert {button["key"] for button in state["buttons"]} == {"up", "down", "left", "right", *"htnsr"}, state["buttons"]
            assert page.press("n") == 204
            events.state_where(lambda now: now["meters"][1]["focus"])
            assert page.press("down") == 204
            events.state_where(lambda now: "vol 29" in now["subtitle"])
            assert page.press("h") == 204
            state = events.state_where(lambda now: now["still"])
            assert [flag["text"] for flag in state["flags"]] == ["HELD"]
            assert page.press("h") == 204
            events.state_where(lambda now: not now["still"])
            assert page.press("12V", where="say") == 409  # nothing was asked
            assert page.press("t") == 204
            state = events.state_where(lambda now: now["question"] is not None)
            assert state["question"]["figures"] and [button["key"] for button in state["buttons"]] == ["escape"], state
            assert page.press("h") == 409  # not there while it asks
            assert page.press("many", where="say") == 204
            events.state_where(lambda now: now["question"] is None and "target:" in now["message"])
            assert page.press("t") == 204
            events.state_where(lambda now: now["question"] is not None)
            assert page.press("12", where="say") == 204
            state = events.state_where(lambda now: now["question"] is None)
            assert state["message"] == "the target is 12.00 V", state["message"]
            events.state_where(lambda now: "to 12.00 V" in now["meters"][0]["advice"]["text"])
            assert page.press("s") == 204
            events.state_where(lambda now: now["message"] == "saved reading-1.json")
            saved = json.loads((pathlib.Path(folder) / "reading-1.json").read_text())
            assert abs(saved["target_v"] - 12.0) < 1e-9, saved
            for key in ("q", "x", "", "hh", "\x1b", "up\n"):
                assert page.press(key) in (404, 409), key
            assert page.press("h", step=1) == 409 and page.press("h", step="x") == 404
            assert page.process.poll() is None
        # Beside lines the page shows more often than they are written, and lines go on while it is held.
        with Served(program, "--rig", "--json", "--every", "1s", cwd=folder, stdout=subprocess.PIPE) as page, \
                page.events() as events:
            assert page.press("h") in (204, 409)
            times = [json.loads(page.process.stdout.readline())["time_s"] for _ in range(2)]
            assert times == [1.0, 2.0], times


def check_walk(program):
    """A walk is answered on the page, beside a keyboard or without one; a press for a step that is over is refused."""
    with tempfile.TemporaryDirectory(prefix="railtap-page-") as folder:
        with Served(program, "job.json", command="walk", cwd=folder, stdout=subprocess.PIPE) as page, page.events() as events:
            state = events.state_where(lambda now: now["question"] is not None)
            safety = state["step"]
            assert state["title"].startswith("Step 1") and "airbag" in str(state["instructions"]), state
            assert "q" not in [button["key"] for button in state["buttons"]] and state["still"], state["buttons"]
            assert page.press("fine", safety, "say") == 204
            state = events.state_where(lambda now: now["question"] is not None and now["step"] > safety)
            assert state["title"].startswith("Step 1") and state["instructions"][0]["text"].startswith("Not yet: 'fine'"), state
            assert page.press("", safety, "say") == 409  # of the screen before
            assert page.press("", state["step"], "say") == 204
            state = events.state_where(lambda now: now["title"].startswith("Step 2"))
            assert page.press("b", state["step"]) == 204
            state = events.state_where(lambda now: now["title"].startswith("Step 1") and now["question"] is not None
                                       and now["step"] > state["step"])
            assert page.press("", state["step"], "say") == 204
            state = events.state_where(lambda now: now["title"].startswith("Step 2") and now["question"] is not None
                                       and now["step"] > state["step"])
            assert page.press("q", state["step"]) == 409
            assert page.press("q", state["step"], "say") == 204  # typed, it is meant
            page.process.wait(10)
            assert page.process.returncode == 1 and "Stopped." in page.process.stdout.read()
        marks = [entry["result"]["step"] for entry in json.loads(pathlib.Path(folder, "job.json").read_text())["entries"]]
        assert "safety" in marks, marks
        # The keyboard and the page by turns, in a terminal.
        with Terminal(100, 40) as terminal:
            terminal.run(f"cd {folder} && clear && {program} walk other.json --page")
            shown = terminal.wait_for("Step 1")
            page = Served.found(re.search(r"page: (http://\S+)", shown).group(1))
            with page.events() as events:
                terminal.key("Enter")
                state = events.state_where(lambda now: now["title"].startswith("Step 2") and now["question"] is not None)
                assert page.press("b", state["step"]) == 204
                events.state_where(lambda now: now["title"].startswith("Step 1") and now["step"] > state["step"])
            terminal.wait_until("Step 1 again", lambda pane: pane.count("Step 1") == 2)
            terminal.run("q")
            terminal.wait_for("Stopped. Continue with")


def check_listens(program):
    """While a walk waits for a recording the page has live figures of the input, which is free again for the recording."""
    with tempfile.TemporaryDirectory(prefix="railtap-page-") as folder, NullSink() as sound:
        sound.play(tone_file(folder, seconds=120.0))
        with Served(program, "job.json", "--device", "pulse", "--rate", "48kHz", "--seconds", "2s", command="walk", cwd=folder,
                    env=sound.environment) as page, page.events() as events:
            last = -1
            for answer in ("", "", "front, 55W, 4ohm, 60W", "", "", "12.5V"):
                state = events.state_where(lambda now: now["question"] is not None and now["step"] > last)
                assert state["meters"] == [], state
                last = state["step"]
                assert page.press(answer, last, "say") == 204, state
            state = events.state_where(lambda now: now["question"] is not None and now["meters"]
                                       and now["meters"][0]["verdict"]["text"] == "CLEAN")
            assert "Calibration" in state["title"] and not state["still"] and state["step"] > last, state
            assert state["meters"][0]["digits"] == "-6.0" and state["meters"][0]["unit"] == "dBFS", state["meters"]
            assert page.press("", state["step"], "say") == 204
            events.state_where(lambda now: now["message"].startswith("received"))
            state = events.state_where(lambda now: now["question"] is not None)
            assert "The head unit's limit" in state["title"], state


def check_stalled(program):
    """A page that is not read is let go within seconds; others get their states meanwhile."""
    with tempfile.TemporaryDirectory(prefix="railtap-page-") as folder:
        with Served(program, str(tone_file(folder))) as page, page.events() as reader, page.events(receive_buffer=2048) as stalled:
            assert stalled.status() == 200
            began, last, worst, let_go = time.monotonic(), None, 0.0, None
            while time.monotonic() - began < 8.0:
                reader.next()
                now = time.monotonic()
                worst = max(worst, now - (last or now))
                last = now
                if let_go is None and connections_of(page) < 2:
                    let_go = now - began
            print(f"longest wait between two events of a page that is read: {1000.0 * worst:.0f} ms; the other was let go "
                  f"after {let_go and round(let_go, 1)} s")
            assert let_go is not None and worst < 0.5, (let_go, worst)


def connections_of(page):
    """Connections that the server has open, by the kernel's account."""
    port = f":{page.port:04X}"
    lines = (line.split() for line in open(f"/proc/{page.process.pid}/net/tcp").read().splitlines()[1:])
    own = {os.readlink(f"/proc/{page.process.pid}/fd/{fd}") for fd in os.listdir(f"/proc/{page.process.pid}/fd")
           if os.path.islink(f"/proc/{page.process.pid}/fd/{fd}")}
    return sum(line[1].endswith(port) and line[3] == "01" and f"socket:[{line[9]}]" in own for line in lines)


def check_returns(program):
    """Figures that are not renewed have an age; Ctrl-C ends at once with pages open; a taken port gives way to another."""
    with tempfile.TemporaryDirectory(prefix="railtap-page-") as folder:
        read_end, write_end = os.pipe()
        with Served(program, str(tone_file(folder)), "--target", "-6dBFS") as page, page.events() as events:
            first = events.state_where(lambda now: now["meters"][0]["digits"] != "-")
            assert first["meters"][0]["unit"] == "dBFS" and not first["still"]
            with Served(program, "--rig") as other:
                assert other.port != page.port
                assert other.ask("GET", page.root).status == 403
            taken = subprocess.run([program, "watch", "--rig", "--page", "--port", str(page.port)], capture_output=True, text=True)
            assert taken.returncode == 2 and "--port" in taken.stderr, taken
            begun = time.monotonic()
            page.process.send_signal(2)
            page.process.wait(5)
            assert time.monotonic() - begun < 1.0, time.monotonic() - begun
        # A source that falls silent: signs of life with the age of the last state.
        process = subprocess.Popen([program, "watch", "-", "--page"], stdin=read_end, stdout=subprocess.DEVNULL,
                                   stderr=subprocess.PIPE, text=True)
        os.close(read_end)
        data = pathlib.Path(folder, "tone.wav").read_bytes()[:RATE * 8]
        os.write(write_end, data[:60000])
        page = Served.found(process.stderr.readline().split()[1])
        with page.events() as events:
            ages = []
            while len(ages) < 4:
                kind, data = events.next()
                ages += [data] if kind == "age" else []
            assert ages == sorted(ages) and ages[-1] > 1000, ages
        process.terminate()
        process.wait(10)
        process.stderr.close()
        os.close(write_end)


def check_code(program):
    """What the QR code in the terminal holds, read by a reader that is not ours to please, is the address; with the warning."""
    if not lan_is_there():
        print("no network here: the code of a made-up address is read by the unit tests' shape only")
        return
    done = subprocess.run([program, "watch", "--rig", "--page", "--lan", "--seconds", "0.1s"], capture_output=True, text=True)
    first, *lines = done.stderr.splitlines()
    drawn = [line for line in lines if set(line) <= set(" █▀▄")]
    assert qr_reader.read_half_blocks(drawn) == first.removeprefix("page: "), done.stderr
    assert "Anyone in this network who has the address can see and press everything." in done.stderr


def check_names(program):
    """A file whose name holds markup, control characters and turned text comes as harmless text."""
    hostile = "<img src=x onerror=alert(1)>\x1b[2J\x07\n\u202egnp\u2066\"'&.wav"
    with tempfile.TemporaryDirectory(prefix="railtap-page-") as folder:
        file = tone_file(folder, hostile, seconds=5.0)
        with Served(program, str(file)) as page, page.events() as events:
            title = events.state_where(lambda now: now["meters"])["title"]
            assert "<img src=x onerror=alert(1)>" in title and not re.search("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", title), title


def fuzzed_request(page, draw):
    """Random bytes, or a request that is nearly right."""
    kind = draw.randrange(6)
    if kind == 0:
        return draw.randbytes(draw.randrange(1, 3000))
    path = draw.choice([page.root, page.root + "events", page.root + "press", page.root + "say", "/", "/" + "a" * draw.randrange(9000)])
    method = draw.choice(["GET", "POST", "PUT", "HEAD", "PRI", "", "\0"])
    lines = [f"{method} {path} HTTP/{draw.choice(['1.1', '1.0', '2', ''])}"]
    names = ["Host", "Origin", "Content-Length", "Transfer-Encoding", "Range", "Expect", "Content-Type", "Connection", "Accept-Encoding"]
    values = [f"{page.host}:{page.port}", page.origin, "0", "5", "-1", "4294967296", "chunked", "bytes=0-1,2-", "100-continue",
              "multipart/form-data; boundary=x", "application/x-www-form-urlencoded", "gzip, deflate, br", "keep-alive", "\xff\x00"]
    lines += [f"Host: {page.host}:{page.port}", f"Origin: {page.origin}"] if draw.random() < 0.7 else []
    for _ in range(draw.randrange(8)):
        lines.append(f"{draw.choice(names)}: {draw.choice(values)}" + "z" * (draw.randrange(3000) if draw.random() < 0.1 else 0))
    text = bytearray(("\r\n".join(lines) + "\r\n\r\n").encode("latin-1") + b"0 " + draw.randbytes(draw.randrange(20)))
    for _ in range(draw.choice([0, 0, 1, 5])):
        text[draw.randrange(len(text))] = draw.randrange(256)
    return bytes(text[:draw.randrange(1, len(text) + 1)] if draw.random() < 0.2 else text)


def keeps_freed_memory(program):
    """A sanitizer does, so that its use is seen."""
    text = pathlib.Path(program).read_bytes()
    return b"__asan_init" in text or b"__tsan_init" in text


def check_fuzz(program, seconds="10"):
    """Whatever is sent, the measurement goes on, a page gets its states, and memory does not grow."""
    draw = random.Random(20)
    with Served(program, "--rig") as page, page.events() as watcher:
        watcher.state_where(lambda state: state["meters"])
        sent, answers, before = 0, {}, page.resident_kb()
        until = time.monotonic() + float(seconds)
        while time.monotonic() < until:
            request = fuzzed_request(page, draw)
            with page.connect() as connection:
                try:
                    connection.sendall(request)
                    if draw.random() < 0.9:
                        connection.shutdown(socket.SHUT_WR)
                    connection.settimeout(0.3 if draw.random() < 0.95 else 0.01)
                    first = connection.recv(4096)
                    status = first.split()[1].decode() if first.startswith(b"HTTP/1.1 ") else "none"
                except OSError:
                    status = "none"
                answers[status] = answers.get(status, 0) + 1
            sent += 1
            assert page.process.poll() is None, (page.process.returncode, request)
            while select.select([watcher.connection], [], [], 0.0)[0]:
                watcher.more()
            watcher.text = watcher.text[-4096:]
        watcher.next()
        for _ in range(10):
            assert watcher.next()
        assert page_answers(page)
        grown = page.resident_kb() - before
        print(f"{sent} requests, {grown} kB more; {dict(sorted(answers.items()))}")
        assert sent > 20 * float(seconds) and "500" not in answers, (sent, answers)
        assert grown < 30_000 or keeps_freed_memory(program), grown


if __name__ == "__main__":
    globals()["check_" + sys.argv[2]](sys.argv[1], *sys.argv[3:])
