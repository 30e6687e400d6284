"""Starts a hearing child, talks to it and ends it."""

from __future__ import annotations

import contextlib
import multiprocessing
from collections.abc import Callable
from pathlib import Path
from typing import Any

from assistant.hearing.child import Spec, run_child
from assistant.hearing.messages import FromChild, ToChild
from assistant.patience import Patience, cpu_s_of
from assistant.plans.model import RecogniserName
from assistant.process import shielded_from_ctrl_c

# How long a child can take to load: without a sign of life, and in all. A large model on a small machine takes minutes.
READY_S, LONGEST_LOAD_S = 60.0, 900.0
TOO_LONG = "took too long to load"
END_S = 2.0  # for a child to end by itself


class ChildDied(Exception):
    """The child's end of the pipe is closed, or the child was ended because it didn't answer."""


class ChildProcess:
    """One spawned child. Several threads can call `send` only under the owner's lock."""

    def __init__(self, spec: Spec) -> None:
        # A fork would copy the locks that other threads of this process hold just then.
        context = multiprocessing.get_context("spawn")
        self.spec = spec
        self._conn, theirs = context.Pipe()
        self._process = context.Process(target=run_child, args=(theirs, spec), name="kerfcall-hearing", daemon=True)
        with shielded_from_ctrl_c():
            self._process.start()
        self.load_s = 0.0
        """How long it took to load, s: a measure of how fast this machine is. 0 until it is ready."""
        # This process must not hold the child's end too, or the child's death would not close the pipe.
        theirs.close()

    @property
    def pid(self) -> int | None:
        """The child's process id."""
        return self._process.pid

    def send(self, *message: Any) -> None:
        """Sends a message. Raises ChildDied."""
        try:
            self._conn.send(message)
        except (OSError, ValueError) as error:
            raise ChildDied from error

    def receive(self, timeout_s: float) -> tuple[Any, ...] | None:
        """The child's next message, or None after timeout_s. Raises ChildDied."""
        try:
            return self._conn.recv() if self._conn.poll(timeout_s) else None
        except (EOFError, OSError) as error:
            raise ChildDied from error

    def patience(self, still_s: float, longest_s: float) -> Patience:
        """A patience for waiting as long as the child is at work."""
        return Patience(still_s, longest_s, lambda: cpu_s_of(self.pid))

    def ready(self, waiting: Callable[[float], bool] = lambda waited_s: True) -> tuple[Any, ...]:
        """Waits, as long as the child is at work, for `FromChild.READY` or `FAILED`. Raises ChildDied.

        waiting: called now and then with the time waited so far, s. If it returns False, the wait ends.
        """
        patience = self.patience(READY_S, LONGEST_LOAD_S)
        while not patience.over():
            message = self.receive(0.1)
            if message is not None and message[0] != FromChild.PROGRESS:
                self.load_s = patience.waited_s
                return message
            if message is not None:
                patience.sign()
            if not waiting(patience.waited_s):
                break
        return (FromChild.FAILED, TOO_LONG)

    def answer(self, still_s: float, longest_s: float) -> tuple[Any, ...] | None:
        """The child's next message; None after it has been still for still_s, or at work for longest_s.

        Raises ChildDied.
        """
        patience = self.patience(still_s, longest_s)
        while not patience.over():
            message = self.receive(min(0.5, still_s / 4))
            if message is not None:
                return message
        return None

    def kill(self) -> None:
        """Ends the child at once, whatever it is doing, and frees what this process holds for it."""
        self._process.kill()
        self._reap()

    def close(self) -> None:
        """Asks the child to end, and ends it if it doesn't within `END_S`."""
        with contextlib.suppress(ChildDied):
            self.send(ToChild.CLOSE)
        self._process.join(END_S)
        self.kill()

    def _reap(self) -> None:
        self._process.join(END_S)
        self._conn.close()
        with contextlib.suppress(ValueError):
            self._process.close()


def why_not_loaded(model: Path) -> str:
    """Loads this vosk model once, in a child because a broken one can end the process. Returns why it failed, or ""."""
    child = ChildProcess(Spec(RecogniserName.VOSK, model=str(model)))
    try:
        kind, *more = child.ready()
        return "" if kind == FromChild.READY else str(more[0])
    except ChildDied:
        return "the recogniser stopped while loading it"
    finally:
        child.close()
