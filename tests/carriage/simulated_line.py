"""Lines to a simulated controller: within this process, and a pseudo-terminal as a real port would be."""

from __future__ import annotations

import contextlib
import os
import select
import threading
import time
from collections.abc import Callable

from assistant.carriage.line import GoneError
from assistant.carriage.simulated import Simulated

ROUND_S = 0.004
"""Between two looks at what has come, s: much shorter than its own `SLICE_S` would only cost processor time."""


class SimulatedLine:
    """A `line.ByteLine` to a controller in this process. now: s; the simulation keeps its time."""

    def __init__(self, controller: Simulated, now: Callable[[], float]):
        self._controller, self._now = controller, now
        self._lock = threading.Lock()
        self._woken = False
        self._came = bytearray(controller.opened(now()))
        self._urgent = bytearray()
        self.gone = False

    def read(self, within_s: float) -> bytes:
        """As `line.ByteLine.read`; time within a rehearsal may go faster or slower than a clock on the wall."""
        end = time.monotonic() + within_s
        while True:
            if self.gone:
                raise GoneError("unplugged")
            with self._lock:
                urgent, self._urgent = bytes(self._urgent), bytearray()
                self._came += self._controller.take(urgent, self._now())
                data, self._came = bytes(self._came), bytearray()
            if data or self._woken or time.monotonic() >= end:
                self._woken = False
                return data
            time.sleep(min(ROUND_S, within_s))

    def write(self, data: bytes) -> None:
        """As `line.ByteLine.write`."""
        if self.gone:
            raise GoneError("unplugged")
        with self._lock:
            self._came += self._controller.take(data, self._now())

    def urgent(self, byte: bytes) -> None:
        """As `line.ByteLine.urgent`: the reading thread hands it in, since a signal handler may not wait for a lock."""
        self._urgent += byte

    def wake(self) -> None:
        """As `line.ByteLine.wake`."""
        self._woken = True

    def close(self) -> None:
        """Nothing is to be released: the simulated controller goes on."""


class Terminal:
    """A simulated controller behind a pseudo-terminal, with a thread that keeps its time. Not on Windows.

    `path` is the port. Everything that changes the controller meanwhile does so within `with terminal.at_rest:`.
    """

    def __init__(self, controller: Simulated):
        import pty
        import tty

        self.controller = controller
        self.at_rest = threading.Lock()
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._ending = False
        self._thread = threading.Thread(target=self._run, name="simulated controller", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        begun = time.monotonic()
        waiting = b""
        while not self._ending:
            select.select([self._master], [], [], ROUND_S)
            try:
                data = os.read(self._master, 4096)
            except BlockingIOError:
                data = b""
            except OSError:
                return
            with self.at_rest:
                waiting += self.controller.take(data, time.monotonic() - begun)
            with contextlib.suppress(BlockingIOError):
                waiting = waiting[os.write(self._master, waiting) :]

    def start(self) -> None:
        """The controller starts, as it does where opening the port resets it: a pseudo-terminal can't tell."""
        with self.at_rest:
            self.controller.reset_button()

    def unplug(self) -> None:
        """The port is gone for whoever has it open."""
        self._ending = True
        self._thread.join()
        for handle in (self._master, self._slave):
            with contextlib.suppress(OSError):
                os.close(handle)

    close = unplug
