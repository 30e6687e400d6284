"""Starting, talking to and ending one hearing child."""

from __future__ import annotations

import contextlib
import multiprocessing
from typing import Any

from assistant.hearing.child import Spec, run_child
from assistant.process import unheard

READY_S = 60.0  # a large model on a small machine loads this long
END_S = 2.0


class ChildDied(Exception):
    """The child's end of the pipe is closed, or it was ended for not answering."""


class ChildProcess:
    """One spawned child. `send` may be called from several threads only under the owner's lock."""

    def __init__(self, spec: Spec) -> None:
        context = multiprocessing.get_context("spawn")
        self.spec = spec
        self._conn, theirs = context.Pipe()
        self._process = context.Process(target=run_child, args=(theirs, spec), name="kerfcall-hearing", daemon=True)
        with unheard():
            self._process.start()
        # Ours must be the only other end, or the child's death would not close the pipe.
        theirs.close()

    @property
    def pid(self) -> int | None:
        """Its process id."""
        return self._process.pid

    def send(self, *message: Any) -> None:
        """Raises ChildDied."""
        try:
            self._conn.send(message)
        except (OSError, ValueError) as error:
            raise ChildDied from error

    def receive(self, timeout_s: float) -> tuple[Any, ...] | None:
        """Its next message, or None after timeout_s. Raises ChildDied."""
        try:
            return self._conn.recv() if self._conn.poll(timeout_s) else None
        except (EOFError, OSError) as error:
            raise ChildDied from error

    def kill(self) -> None:
        """End it at once, whatever it does, and free what it held here."""
        self._process.kill()
        self._reap()

    def close(self) -> None:
        """Ask it to end, and end it if it doesn't within `END_S`."""
        with contextlib.suppress(ChildDied):
            self.send("close")
        self._process.join(END_S)
        self.kill()

    def _reap(self) -> None:
        self._process.join(END_S)
        self._conn.close()
        with contextlib.suppress(ValueError):
            self._process.close()
