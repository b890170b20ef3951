# SPDX-License-Identifier: MIT
"""A sound server of the test's own, with an output that goes nowhere and can be recorded."""
import os
import pathlib
import signal
import shutil
import subprocess
import tempfile
import time

SINK = "car"

# Of ALSA's modules the one for this server only. Others are looked into while devices are listed, and libjack's, behind
# the one for JACK, has a lock in shared memory: a program killed in that moment would block all others of this user.
PULSE = """
pcm.pulse { type pulse hint { show on description "the test's own sound server" } }
ctl.pulse { type pulse }
"""


def alsa_configuration():
    """The system's own without the part, up to its first closing bracket in the first column, that loads modules' files."""
    text = pathlib.Path("/usr/share/alsa/alsa.conf").read_text()
    begin = text.index("\n@hooks [")
    end = text.index("\n]\n", begin) + len("\n]\n")
    assert "conf.d" in text[begin:end]
    return text[:begin] + "\n" + text[end:] + PULSE


class NullSink:
    """A private PulseAudio with one null sink, which ends by itself when the test was killed. `environment` makes PortAudio's ALSA device `pulse` record its monitor."""

    def __init__(self, rate=48000, channels=2):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="railtap-sound-"))
        socket = self.folder / "socket"
        self.environment = dict(
            os.environ, HOME=str(self.folder), XDG_RUNTIME_DIR=str(self.folder), PULSE_RUNTIME_PATH=str(self.folder),
            PULSE_SERVER=f"unix:{socket}", PULSE_SOURCE=f"{SINK}.monitor", PULSE_SINK=SINK)
        (self.folder / "alsa.conf").write_text(alsa_configuration())
        self.environment["ALSA_CONFIG_PATH"] = str(self.folder / "alsa.conf")
        self.log = open(self.folder / "log", "w")
        server = dict(self.environment)
        server.pop("PULSE_SERVER")
        self.server = subprocess.Popen(
            ["pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=30", "--log-target=stderr",
             "-L", f"module-native-protocol-unix auth-anonymous=1 socket={socket}",
             "-L", f"module-null-sink sink_name={SINK} format=float32le rate={rate} channels={channels}"],
            env=server, stdout=self.log, stderr=self.log)
        self.players = []
        self._wait_for(socket)

    def _wait_for(self, socket):
        for _ in range(100):
            if socket.exists() and self._answers():
                return
            assert self.server.poll() is None, "the sound server ended: " + (self.folder / "log").read_text()
            time.sleep(0.1)
        raise AssertionError("the sound server does not answer: " + (self.folder / "log").read_text())

    def _answers(self):
        done = subprocess.run(["pactl", "list", "short", "sources"], env=self.environment, capture_output=True, text=True)
        return SINK in done.stdout

    def play(self, file, latency_ms=2000):
        """Plays, once this returns; the player has that much in hand, so that a busy computer does not make holes."""
        player = subprocess.Popen(["paplay", f"--device={SINK}", f"--latency-msec={latency_ms}", str(file)],
                                  env=self.environment)
        self.players.append(player)
        self.wait_for_playing(player)
        return player

    def wait_for_playing(self, process=None):
        """Until something plays into the sink: the server has a stream whose samples it takes."""
        for _ in range(300):
            done = subprocess.run(["pactl", "list", "sink-inputs"], env=self.environment, capture_output=True, text=True)
            if "Corked: no" in done.stdout:
                return
            assert process is None or process.poll() is None, "the player ended before it played"
            time.sleep(0.1)
        raise AssertionError("nothing plays into the sink")

    def end_server(self):
        self.server.kill()
        self.server.wait()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        for player in self.players:
            player.kill()
            player.wait()
        if self.server.poll() is None:
            self.server.send_signal(signal.SIGTERM)
            try:
                self.server.wait(timeout=5)
            except subprocess.TimeoutExpired:
                self.end_server()
        self.log.close()
        shutil.rmtree(self.folder, ignore_errors=True)
