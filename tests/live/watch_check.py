# SPDX-License-Identifier: MIT
"""The watch screen in a real terminal, its lines in a pipe, and how soon it shows what it hears."""
import json
import os
import pathlib
import pty
import resource
import select
import signal
import subprocess
import sys
import tempfile
import threading
import time

import numpy
from scipy.io import wavfile

from null_sink import NullSink
from terminal import Terminal

RATE = 48000
HERE = pathlib.Path(__file__).parent
FULL_SCALE_V = 40.0
TARGET_V = 14.14


def tone(seconds, peak, hertz=1000.0):
    return peak * numpy.sin(2.0 * numpy.pi * hertz * numpy.arange(int(seconds * RATE)) / RATE)


def write(file, *channels):
    """32-bit float with noise of -84 dBFS, the same every time."""
    samples = numpy.stack(channels, axis=1)
    samples = samples + numpy.random.default_rng(3).normal(0.0, 4.5e-5, samples.shape)
    wavfile.write(file, RATE, samples.astype("<f4"))


def two_channels(file):
    """Left reaches the target and stays clean; right is flat on both rails, 2.35 and 1.75 dB over."""
    quiet, loud = tone(3.0, 0.2), tone(4.0, 0.5)
    right = numpy.clip(1.1 * loud, -0.45, 0.42)
    write(file, numpy.concatenate([quiet, loud]), numpy.concatenate([1.1 * quiet, right]))


def folder_with_recording():
    folder = tempfile.TemporaryDirectory(prefix="railtap-watch-")
    two_channels(pathlib.Path(folder.name) / "both.wav")
    return folder


def options():
    return f"--volts-full-scale {FULL_SCALE_V}V --target {TARGET_V}V"


def without_end_blanks(pane):
    return "\n".join(line.rstrip() for line in pane.splitlines()).rstrip() + "\n"


def approved_pane(name):
    return HERE / "panes" / name


def watch_to_end(terminal, program, folder, pane="80x24.txt", *more):
    """Until the screen shows the end; the word alone may be there before the rest is drawn."""
    terminal.run(f"cd {folder} && clear && {program} watch both.wav --fast {options()} {' '.join(more)}")
    shown = terminal.wait_for("ENDED")
    if os.environ.get("RAILTAP_APPROVE_PANES"):
        time.sleep(1.0)
        approved_pane(pane).write_text(without_end_blanks(terminal.pane()))
    expected = approved_pane(pane).read_text()
    try:
        shown = terminal.wait_until("the screen as approved", lambda now: without_end_blanks(now) == expected, 10.0)
    except AssertionError as error:
        raise AssertionError(f"the screen differs from what was approved in {pane}:\n{error}") from error
    return without_end_blanks(shown)


def check_panes(program):
    """What the screen shows at 80 x 24 and 120 x 40, and with plain characters, is as it was approved."""
    with folder_with_recording() as folder:
        for columns, rows, more in ((80, 24, ()), (120, 40, ()), (80, 24, ("--ascii",))):
            with Terminal(columns, rows) as terminal:
                pane = watch_to_end(terminal, program, folder, f"{columns}x{rows}{''.join(more)}.txt", *more)
                assert len(pane.splitlines()) == rows and max(map(len, pane.splitlines())) <= columns
                for words in ("ON TARGET", "FLAT, 2.35 dB over", "FLAT, 1.75 dB over", "CLEAN", "CLIPPED",
                              "highest clean 14.14 V", "1.0000 kHz", "not reached"):
                    assert words in pane, words
                if more:
                    assert pane.isascii()


def check_colours(program):
    """Colours on a terminal that has them, none with NO_COLOR; the words are the same."""
    with folder_with_recording() as folder:
        panes = {}
        for name, environment in (("colour", {}), ("none", {"NO_COLOR": "1"})):
            with Terminal(80, 24, **environment) as terminal:
                watch_to_end(terminal, program, folder)
                panes[name] = (terminal.pane("-e"), terminal.pane())
        def colours(text):
            codes = [code for part in text.split("\x1b[")[1:] for code in part.split("m")[0].split(";")]
            return [code for code in codes if code.isdigit() and (30 <= int(code) <= 49 or int(code) >= 90)
                    and code not in ("39", "49")]
        assert colours(panes["colour"][0]) and not colours(panes["none"][0]), colours(panes["none"][0])
        assert panes["colour"][1] == panes["none"][1]


def check_keys(program):
    """Hold, reset, target, next channel, save and quit do what they say; resizing draws anew."""
    with folder_with_recording() as folder:
        with Terminal(80, 24) as terminal:
            pane = watch_to_end(terminal, program, folder)
            assert "▶ channel 1" in pane
            terminal.key("n")
            terminal.wait_for("▶ channel 2")
            terminal.key("h")
            terminal.wait_for("HELD")
            terminal.key("h")
            terminal.type("t20V")
            terminal.wait_for("for example 14.14V: 20V_")
            terminal.key("Enter")
            terminal.wait_for("RAISE 3.01 dB to 20.00 V")
            terminal.type("tlots")
            terminal.key("Enter")
            terminal.wait_for("target: ")
            terminal.wait_for("RAISE 3.01 dB")
            terminal.type("t1")
            terminal.wait_for("for example 14.14V: 1_")  # a key close behind Escape would be one with it
            terminal.key("Escape")
            terminal.wait_for("h hold")
            terminal.key("s")
            terminal.wait_for("saved reading-1.json")
            saved = json.loads((pathlib.Path(folder) / "reading-1.json").read_text())
            assert saved["schema"] == "railtap.watch/1" and abs(saved["target_v"] - 20.0) < 1e-9, saved
            assert saved["channels"][1]["verdict"] == "clipped", saved
            terminal.key("s")
            terminal.wait_for("saved reading-2.json")
            terminal.key("r")
            terminal.wait_for("nothing clean yet")
            terminal.resize(100, 30)

            def drawn_anew(pane):
                lines = pane.splitlines()
                return (len(lines) == 30 and "history start anew" in lines[-1] and lines[0].endswith("ENDED")
                        and "no cycle" not in pane and max(map(len, lines)) == 100)
            terminal.wait_until("drawn on 100 x 30", drawn_anew)
            terminal.resize(60, 20)
            terminal.wait_until("one channel on 60 x 20", lambda pane: "▶ channel 2" in pane and "channel 1" not in pane)
            terminal.resize(30, 10)
            terminal.wait_for("make the window larger")
            terminal.resize(80, 24)
            terminal.wait_for("FLAT TOPS")
            terminal.leave()
            terminal.run("echo left with $?")
            terminal.wait_for("left with 1\n")


def watcher(terminal):
    """The process that the terminal's shell runs now."""
    return terminal.children()[0]


def check_sane(program):
    """After q, Ctrl-C, a crash and a hang-up the terminal is as it was: mode, cursor, screen."""
    ends = (("q", lambda terminal: terminal.key("q"), 1), ("Ctrl-C", lambda terminal: terminal.key("C-c"), 1),
            ("SIGTERM", lambda terminal: os.kill(watcher(terminal), signal.SIGTERM), 1),
            ("crash", lambda terminal: os.kill(watcher(terminal), signal.SIGSEGV), 128 + signal.SIGSEGV),
            ("abort", lambda terminal: os.kill(watcher(terminal), signal.SIGABRT), 128 + signal.SIGABRT))
    with folder_with_recording() as folder, Terminal(80, 24) as terminal:
        for name, end, status in ends:
            terminal.run(f"cd {folder}; ulimit -c 0; clear; stty -a > before; echo line above $((1 + 1))")
            terminal.wait_for("line above 2")
            terminal.run(f"{program} watch both.wav {options()}; end=$?; stty -a > after; echo \"left with $end\"")
            terminal.wait_for("CLIPPED")
            assert terminal.state("alternate_on") == "1" and terminal.state("cursor_flag") == "0", name
            end(terminal)
            pane = terminal.wait_for(f"left with {status}\n")
            assert "line above 2" in pane, (name, pane)
            assert terminal.state("alternate_on") == "0" and terminal.state("cursor_flag") == "1", name
            before, after = ((pathlib.Path(folder) / when).read_text() for when in ("before", "after"))
            assert before == after, (name, before, after)


def check_lines(program):
    """Lines and documents in a pipe: figures right, one document per line, exit status by the last reading."""
    with folder_with_recording() as folder:
        file = pathlib.Path(folder) / "both.wav"
        command = [program, "watch", str(file), "--fast", *options().split(), "--every", "0.5s"]
        done = subprocess.run([*command, "--json"], capture_output=True, text=True)
        assert done.returncode == 1 and done.stderr == "", done
        documents = [json.loads(line) for line in done.stdout.splitlines()]
        assert [document["time_s"] for document in documents] == [0.5 * k for k in range(1, 15)]
        for document in documents:
            left, right = document["channels"]
            loud = document["time_s"] > 3.0
            level_v = FULL_SCALE_V * (0.5 if loud else 0.2) / numpy.sqrt(2.0)
            assert abs(20.0 * numpy.log10(left["level_v"] / level_v)) < 0.01, left
            assert abs(left["change_db"] - 20.0 * numpy.log10(TARGET_V / left["level_v"])) < 0.01
            assert left["direction"] == ("hold" if loud else "raise") and left["verdict"] == "clean", left
            assert right["verdict"] == ("clipped" if loud else "clean"), right
            if loud:
                flat = right["flat_top"]
                assert abs(flat["overdrive_positive_db"] - 20.0 * numpy.log10(0.55 / 0.42)) < 0.02, flat
                assert abs(flat["overdrive_negative_db"] - 20.0 * numpy.log10(0.55 / 0.45)) < 0.02, flat
                assert abs(right["highest_clean"]["level_dbfs"] - 20.0 * numpy.log10(0.22)) < 0.01, right
        plain = subprocess.run([*command, "--plain"], capture_output=True, text=True)
        assert plain.stdout.count("\n") == 14 and "\x1b" not in plain.stdout and plain.stderr == ""
        last = plain.stdout.splitlines()[-1]
        assert "channel 1: 14.14 V, on target" in last and "positive rail flat, 2.3" in last, last
        # The same through standard input, in real time when it comes in real time.
        piped = subprocess.run([program, "watch", "-", *command[4:], "--json"], stdin=open(file, "rb"),
                               capture_output=True, text=True)
        assert [json.loads(line)["channels"] for line in piped.stdout.splitlines()] == \
            [document["channels"] for document in documents]
        begun = time.monotonic()
        paced = subprocess.run([program, "watch", str(file), "--json", "--seconds", "2s"], capture_output=True, text=True)
        took = time.monotonic() - begun
        assert paced.returncode == 0 and len(paced.stdout.splitlines()) == 4 and 1.9 < took < 4.0, (paced, took)


def wav_header(channels):
    """Of a recording whose length is not known yet."""
    return (b"RIFF\xff\xff\xff\x7fWAVEfmt \x10\0\0\0\x01\0" + channels.to_bytes(2, "little") + RATE.to_bytes(4, "little")
            + (RATE * 2 * channels).to_bytes(4, "little") + (2 * channels).to_bytes(2, "little") + b"\x10\0data\xdb\xff\xff\x7f")


def steps_to_screen(program, steps):
    """Seconds from a step of level going into the pipe to the figure on the screen, one per step."""
    master, slave = pty.openpty()
    read_end, write_end = os.pipe()
    environment = dict(os.environ, TERM="xterm", LANG="C.UTF-8", LC_ALL="C.UTF-8")
    command = [program, "watch", "-", "--target", "-6.02dBFS", "--ascii"]
    def take_terminal():
        os.setsid()
        import fcntl
        import termios
        fcntl.ioctl(1, termios.TIOCSCTTY, 0)
        fcntl.ioctl(1, termios.TIOCSWINSZ, b"\x18\0\x50\0\0\0\0\0")
    process = subprocess.Popen(command, stdin=read_end, stdout=slave, stderr=slave, env=environment, preexec_fn=take_terminal)
    os.close(read_end)
    os.close(slave)
    stepped, delays = [], []
    running = threading.Event()

    def play():
        """10 ms at a time, as a sound card would; every 0.7 s the level changes between -26 and -6.02 dBFS."""
        os.write(write_end, wav_header(2))
        begun, block = time.monotonic(), 480
        for k in range(70 * (2 * steps + 1)):
            loud = (k // 70) % 2 == 1
            n = numpy.arange(k * block, (k + 1) * block)
            wave = (0.5 if loud else 0.05) * numpy.sin(2.0 * numpy.pi * 1000.0 * n / RATE)
            codes = numpy.repeat(numpy.round(wave * 32767.0).astype("<i2"), 2)
            # A block is there when its last sample has come.
            time.sleep(max(0.0, begun + (k + 1) * block / RATE - time.monotonic()))
            if loud and k % 70 == 0:
                stepped.append(begun + k * block / RATE)
            os.write(write_end, codes.tobytes())
        running.set()

    player = threading.Thread(target=play)
    player.start()
    text = b""
    while not running.is_set():
        if select.select([master], [], [], 0.05)[0]:
            text += os.read(master, 65536)
        if len(stepped) > len(delays) and b"ON TARGET" in text:
            delays.append(time.monotonic() - stepped[-1])
            text = b""
        elif len(stepped) == len(delays):
            text = b""  # before the next step
    player.join()
    os.write(master, b"q")
    os.close(write_end)
    try:
        while os.read(master, 65536):
            pass
    except OSError:  # the other side is closed
        pass
    process.wait(timeout=10)
    return delays


def check_latency(program):
    """From sound at the input to the figure on the screen: under 150 ms at the median of ten steps."""
    steps = 10
    delays = sorted(steps_to_screen(program, steps))
    print("ms from step to screen:", [round(1000.0 * delay) for delay in delays])
    assert len(delays) == steps
    assert 0.02 < delays[steps // 2] < 0.15, delays


def check_load(program):
    """Watching two channels at 48 kHz takes less than 5 % of one processor."""
    seconds = 60.0
    with tempfile.TemporaryDirectory(prefix="railtap-watch-") as folder:
        for hertz in (50.0, 1000.0):
            file = pathlib.Path(folder) / f"{hertz:.0f}.wav"
            wave = numpy.clip(tone(seconds, 0.5, hertz), -0.45, 0.45)
            write(file, wave, wave)
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run([program, "watch", str(file), "--fast", "--json", "--every", "25ms"], stdout=subprocess.DEVNULL)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            print(f"{hertz:.0f} Hz clipped: {100.0 * used / seconds:.2f} % of a processor")
            assert used < 0.05 * seconds, used


def check_rehearsal(program):
    """Under the virtual rig's watch the arrow keys turn its knobs, and the figures follow."""
    with Terminal(80, 24) as terminal:
        terminal.run(f"{program} watch --rig --point front --volume 30")
        pane = terminal.wait_for("LOWER 0.70 dB to 14.83 V")
        assert "arrows: vol 30, gain 60 %" in pane, pane
        terminal.key("Down")
        terminal.wait_for("arrows: vol 29")
        terminal.wait_for("RAISE 0.80 dB to 14.83 V")  # a step is 1.5 dB
        terminal.wait_for("CLEAN")
        for _ in range(3):
            terminal.key("Right")
        terminal.wait_for("gain 63 %")
        terminal.wait_for("ON TARGET")  # 12 V to 1 V is 21.6 dB, a hundredth of the travel 0.22 dB
        for _ in range(6):
            terminal.key("Up")
        terminal.wait_for("arrows: vol 35")
        terminal.wait_for("FLAT TOPS")
        terminal.leave()
        # The same in lines, with another of its points.
        done = subprocess.run([program, "watch", "--rig", "--point", "bass", "--volume", "34", "--fast", "--seconds", "1s",
                               "--json"], capture_output=True, text=True)
        channels = json.loads(done.stdout.splitlines()[-1])["channels"]
        assert done.returncode == 1 and len(channels) == 1 and channels[0]["verdict"] == "clipped", done
        assert abs(channels[0]["frequency_hz"] - 50.0) < 0.01, channels


def check_device(program):
    """Watching an input of a sound server: levels right, nothing lost, and the end of the input is told."""
    with tempfile.TemporaryDirectory(prefix="railtap-watch-") as folder, NullSink() as sound:
        file = pathlib.Path(folder) / "tone.wav"
        write(file, tone(30.0, 0.5), numpy.clip(tone(30.0, 0.5), -0.5, 0.45))
        sound.play(file)
        done = subprocess.run([program, "watch", "--device", "pulse", "--rate", "48kHz", "--seconds", "3s", "--json"],
                              env=sound.environment, capture_output=True, text=True)
        last = json.loads(done.stdout.splitlines()[-1])
        left, right = last["channels"]
        assert done.returncode == 1 and last["places_with_losses"] == 0, done
        assert abs(left["level_dbfs"] - 20.0 * numpy.log10(0.5)) < 0.01 and left["verdict"] == "clean", left
        overdrive = right["flat_top"]["overdrive_positive_db"]
        assert right["verdict"] == "clipped" and abs(overdrive - 20.0 * numpy.log10(0.5 / 0.45)) < 0.02, right


def check_sound(program):
    """The guide for the ear is heard on the output that was named, and refused on the device that is measured."""
    with tempfile.TemporaryDirectory(prefix="railtap-watch-") as folder, NullSink() as sound:
        file = pathlib.Path(folder) / "tone.wav"
        write(file, tone(8.0, 0.25))
        watching = subprocess.Popen([program, "watch", str(file), "--target", "-6.02dBFS", "--plain", "--sound",
                                     "--sound-device", "pulse"], env=sound.environment, stdout=subprocess.DEVNULL)
        heard = pathlib.Path(folder) / "heard.wav"
        subprocess.run([program, "capture", str(heard), "--device", "pulse", "--rate", "48kHz", "--seconds", "4s"],
                       env=sound.environment, stdout=subprocess.DEVNULL, check=True)
        watching.wait(timeout=20)
        samples = wavfile.read(heard)[1][2 * RATE:, 0].astype(float)
        spectrum = numpy.abs(numpy.fft.rfft(samples * numpy.hanning(len(samples))))
        strongest = numpy.argmax(spectrum) * RATE / len(samples)
        # 6.02 dB below the target: an octave below 880 Hz, and a beep is on for a fifth of the time.
        assert abs(strongest - 440.0) < 4.0, strongest
        loud = numpy.abs(samples) > 0.2 * numpy.abs(samples).max()
        share = loud.reshape(-1, RATE // 100).any(axis=1).mean()
        assert 0.15 < share < 0.35, share
        refused = subprocess.run([program, "watch", "--device", "pulse", "--sound", "--sound-device", "pulse", "--plain"],
                                 env=sound.environment, capture_output=True, text=True)
        assert refused.returncode == 2 and "is the device that is being measured" in refused.stderr, refused


if __name__ == "__main__":
    globals()["check_" + sys.argv[2]](sys.argv[1])
