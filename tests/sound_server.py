"""A sound server of the tests' own: what is played into its null sink comes out of its monitor, the only microphone."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

RATE = 22_050  # samples a second of sinks and recordings, unless said otherwise; mono
PROGRAMS = ("pulseaudio", "paplay", "parec", "pactl")
START_S = 30.0
FIRST_SOUND_S = 30.0


class SoundServer:
    """PulseAudio with nothing but null sinks, all its files in `folder`; it can be ended and started again.

    `where` is what a program's environment needs to find it, `environment` the tests' own with that.
    """

    def __init__(self, folder: str, rate: int = RATE) -> None:
        self.socket = f"{folder}/native"
        self.where = {"PULSE_SERVER": self.socket, "XDG_RUNTIME_DIR": folder, "HOME": folder}
        self.environment = {**os.environ, **self.where}
        self._rate = rate
        self._log = Path(folder) / "pulseaudio.log"
        self._process: subprocess.Popen[bytes] | None = None
        # As it comes, the kernel kills it when its thread for the sound has had a core for 0.2 s without a rest.
        settings = Path(folder) / "daemon.conf"
        settings.write_text("rlimit-rttime = -1\n")
        self._settings = {"PULSE_CONFIG": str(settings)}

    @property
    def ended_by_itself(self) -> str:
        """How, with the last it said; empty while it runs."""
        if self._process is None or self._process.poll() is None:
            return ""
        return f"pulseaudio ended with {self._process.returncode}: {self._log.read_text()[-2000:]}"

    def start(self) -> None:
        """Returns when it can be connected to."""
        arguments = ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"]
        arguments += ["-L", " ".join(["module-null-sink", *self._sink("loud")])]
        arguments += ["-L", f"module-native-protocol-unix auth-anonymous=1 socket={self.socket}"]
        # With the variable set it refuses to start, as if another server had been chosen.
        environment = {key: value for key, value in self.environment.items() if key != "PULSE_SERVER"} | self._settings
        with self._log.open("w") as log:
            self._process = subprocess.Popen(arguments, env=environment, stdout=log, stderr=log)
        end = time.monotonic() + START_S
        while not os.path.exists(self.socket):
            assert time.monotonic() < end and not self.ended_by_itself, f"no pulseaudio; {self.ended_by_itself}"
            time.sleep(0.05)

    def stop(self) -> None:
        """Ends it as a crash would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
        with contextlib.suppress(FileNotFoundError):
            os.remove(self.socket)

    def hang(self) -> None:
        """It answers nobody, and nobody's connection ends, until `go_on` or `stop`."""
        if self._process is not None:
            self._process.send_signal(signal.SIGSTOP)

    def go_on(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGCONT)

    def add_sink(self, name: str, description: str) -> str:
        """One more beside the default "loud"; the number by which `remove` takes it out."""
        return self._pactl("load-module", "module-null-sink", *self._sink(name, description))

    def remove(self, module: str) -> None:
        self._pactl("unload-module", module)

    def play(self, path: Path) -> None:
        """Until it is over; 30 s at most."""
        subprocess.run(["paplay", "--latency-msec=50", str(path)], env=self.environment, check=True, timeout=30)

    @contextlib.contextmanager
    def playing(self, path: Path, latency_ms: int | None = None) -> Iterator[None]:
        """Meanwhile. With a short latency it begins at once; without it a busy machine tears no holes."""
        latency = [f"--latency-msec={latency_ms}"] if latency_ms else []
        process = subprocess.Popen(["paplay", *latency, str(path)], env=self.environment)
        try:
            yield
        finally:
            process.kill()
            process.wait()

    def _sink(self, name: str, description: str = "") -> list[str]:
        # Without rewinds it plays at the speed of a card with a short buffer, not its own two seconds.
        options = [f"sink_name={name}", f"rate={self._rate}", "channels=1", "norewinds=1"]
        return [*options, f"sink_properties=device.description={description}"] if description else options

    def _pactl(self, *arguments: str) -> str:
        done = subprocess.run(["pactl", *arguments], env=self.environment, capture_output=True, text=True, timeout=20)
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()


@contextlib.contextmanager
def running(rate: int = RATE) -> Iterator[SoundServer]:
    """A started one, in a folder of its own; skips the test where PulseAudio is not installed."""
    missing = [program for program in PROGRAMS if not shutil.which(program)]
    if missing:
        pytest.skip(f"PulseAudio's {', '.join(missing)} is not installed")
    # A socket's path may have 107 characters, which a test's own folder can exceed.
    with tempfile.TemporaryDirectory(prefix="kc") as folder:
        server = SoundServer(folder, rate)
        try:
            server.start()
            yield server
        finally:
            server.stop()


class Recording:
    """What another program hears on a sink's monitor, at `RATE`."""

    def __init__(self, server: SoundServer, sink: str = "loud") -> None:
        arguments = ["parec", f"--device={sink}.monitor", "--format=s16le", f"--rate={RATE}", "--channels=1"]
        self._process = subprocess.Popen(
            [*arguments, "--latency-msec=20"], env=server.environment, stdout=subprocess.PIPE
        )
        self.data = bytearray()
        self._first = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()
        # The first seconds after opening a monitor may never come.
        if not self._first.wait(FIRST_SOUND_S):
            self.stop()
            raise AssertionError(f"nothing comes from the monitor of {sink}; {server.ended_by_itself}")

    def _read(self) -> None:
        assert self._process.stdout is not None
        while chunk := self._process.stdout.read(441):
            self.data += chunk
            self._first.set()

    def stop(self) -> np.ndarray:
        """Whole signed 16-bit samples, shape (n,)."""
        self._process.terminate()
        self._process.wait()
        self._thread.join()
        assert self._process.stdout is not None
        self._process.stdout.close()
        return np.frombuffer(bytes(self.data[: len(self.data) // 2 * 2]), np.int16)
