"""Starting, talking to and ending one hearing child."""

from __future__ import annotations

import contextlib
import multiprocessing
from collections.abc import Callable
from pathlib import Path
from typing import Any

from assistant.hearing.child import Spec, run_child
from assistant.patience import Patience, cpu_s_of
from assistant.process import shielded_from_ctrl_c

# A child that loads has so long without a sign of life, and so long in all: a large model on a small machine takes
# minutes.
READY_S, LONGEST_LOAD_S = 60.0, 900.0
TOO_LONG = "took too long to load"
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
        with shielded_from_ctrl_c():
            self._process.start()
        self.load_s = 0.0
        """How long it loaded: what this machine is seen to need. 0 until it is ready."""
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

    def patience(self, still_s: float, longest_s: float) -> Patience:
        """For waiting as long as it works."""
        return Patience(still_s, longest_s, lambda: cpu_s_of(self.pid))

    def ready(self, waiting: Callable[[float], bool] = lambda waited_s: True) -> tuple[Any, ...]:
        """Its first message: ("ready", ..) or ("failed", why); waits as long as it moves. Raises ChildDied.

        waiting: told now and then how long it has been, s; False gives up.
        """
        patience = self.patience(READY_S, LONGEST_LOAD_S)
        while not patience.over():
            message = self.receive(0.1)
            if message is not None and message[0] != "progress":
                self.load_s = patience.waited_s
                return message
            if message is not None:
                patience.sign()
            if not waiting(patience.waited_s):
                break
        return ("failed", TOO_LONG)

    def answer(self, still_s: float, longest_s: float) -> tuple[Any, ...] | None:
        """Its next message; None when it hasn't moved for still_s, or has worked for longest_s. Raises ChildDied."""
        patience = self.patience(still_s, longest_s)
        while not patience.over():
            message = self.receive(min(0.5, still_s / 4))
            if message is not None:
                return message
        return None

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


def why_not_loaded(model: Path) -> str:
    """Load this vosk model once, in a child since a broken one may end the process; "" where it loads, else why not."""
    child = ChildProcess(Spec("vosk", model=str(model)))
    try:
        kind, *more = child.ready()
        return "" if kind == "ready" else str(more[0])
    except ChildDied:
        return "the recogniser ended while loading it"
    finally:
        child.close()
