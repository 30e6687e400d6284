"""The tests' own display server, and real key presses through it."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from pathlib import Path

import pytest

needs_x = pytest.mark.skipif(
    not (shutil.which("Xvfb") and shutil.which("xdotool")), reason="Xvfb or xdotool is not installed"
)


class XServer:
    """Xvfb on a free display; it can be ended and started again under the same number."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self.display = self._start_on_free()

    def _start_on_free(self) -> str:
        read, write = os.pipe()
        self._process = self._spawn(["-displayfd", str(write)], pass_fds=(write,))
        os.close(write)
        number = b""
        while not number.endswith(b"\n"):
            chunk = os.read(read, 16)
            assert chunk, "Xvfb ended before it had a display"
            number += chunk
        os.close(read)
        return f":{number.decode().strip()}"

    def _spawn(self, arguments: list[str], pass_fds: tuple[int, ...] = ()) -> subprocess.Popen[bytes]:
        command = ["Xvfb", *arguments, "-screen", "0", "640x480x8", "-nolisten", "tcp", "-noreset"]
        return subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, pass_fds=pass_fds, start_new_session=True
        )

    def end(self, for_good: bool = True) -> None:
        """Ends the server as a crash would, and clears what it leaves behind.

        for_good: otherwise it is started again later. Until then its number is kept from the servers of other tests,
        which would be taken for this one.
        """
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
        lock, socket = self._files()
        socket.unlink(missing_ok=True)
        if for_good:
            lock.unlink(missing_ok=True)
        else:
            # As servers write it: the number of a process that lives, in ten places.
            lock.write_text(f"{os.getpid():10d}\n", encoding="ascii")

    def _files(self) -> tuple[Path, Path]:
        number = self.display[1:]
        return Path(f"/tmp/.X{number}-lock"), Path(f"/tmp/.X11-unix/X{number}")

    def start_again(self) -> None:
        """The same display number again; returns when it answers."""
        self._files()[0].unlink(missing_ok=True)
        self._process = self._spawn([self.display])
        wait_for(self._files()[1].exists)

    def xdotool(self, *words: str) -> str:
        environ = {**os.environ, "DISPLAY": self.display}
        done = subprocess.run(["xdotool", *words], env=environ, check=True, capture_output=True, text=True, timeout=20)
        return done.stdout

    def down(self, key: str) -> None:
        self.xdotool("keydown", key)

    def up(self, key: str) -> None:
        self.xdotool("keyup", key)

    def key(self, key: str, down_s: float = 0.05) -> None:
        self.xdotool("keydown", key, "sleep", str(down_s), "keyup", key)


def wait_for(condition, within_s: float = 20.0) -> None:
    """Waits until the condition holds; fails the test if it doesn't within `within_s` seconds."""
    end = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.01)
