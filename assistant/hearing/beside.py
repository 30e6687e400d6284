"""Measures pieces in a process of its own, so that hearing goes on while the model computes, and survives its loss."""

from __future__ import annotations

import contextlib
import os
import pickle
import queue
import subprocess
import sys
import threading
import time
import weakref
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, Any

from assistant.hearing.scores import Measured, Said
from assistant.patience import Patience, cpu_s_of

LATE_S = 0.5  # for an answer, from when it is needed: later than that it would come too late for the speaker
LOAD_STILL_S, LONGEST_LOAD_S = 60.0, 900.0
STILL_S, LONGEST_S = 20.0, 60.0  # for an answer about sound from a file, which nobody waits for
END_S = 1.0  # for the process to end by itself


class Lost(Exception):
    """The process has ended, or its answer is late. The text says which, a plain clause."""


class Beside:
    """A `Scorer` in another process. Owned by one thread. folder: of the model's files. lead_in: the word.

    live: an answer later than `LATE_S` is given up; otherwise the wait lasts as long as the process is at work.

    For measuring, since the start: cpu_s, the processor time spent there, s; behind_s, the part of it that an answer
    would have to wait for on an idle machine, s.
    """

    def __init__(self, folder: Path, lead_in: str, live: bool = False) -> None:
        self.cpu_s = self.behind_s = 0.0
        self._live = live
        self._texts: tuple[Said, ...] = ()
        self._asked = 0
        self._begun: tuple[bytes, float] | None = None
        self._process = _started()
        self._answers: queue.SimpleQueue[Any] = queue.SimpleQueue()
        threading.Thread(target=_read, args=(self._process.stdout, self._answers), daemon=True).start()
        self._close = weakref.finalize(self, _ended, self._process)
        self._send(str(folder), lead_in)
        patience = self._patience(LOAD_STILL_S, LONGEST_LOAD_S)
        failed = self._wait(patience.over, "took too long to load")
        if failed:
            self._close()
            raise Lost(failed)

    @property
    def pid(self) -> int:
        """The process's id."""
        return self._process.pid

    def begin(self, pcm16k: bytes, texts: Sequence[Said]) -> None:
        """Sends a piece that `measured` can ask for. Raises Lost."""
        if tuple(texts) != self._texts:
            self._texts = tuple(texts)
            self._send("texts", self._texts)
        self._asked += 1
        self._begun = (pcm16k, time.process_time())
        self._send("piece", (self._asked, pcm16k))

    def measured(self, pcm16k: bytes, texts: Sequence[Said]) -> Measured:
        """What the piece is like; at once if it was sent by `begin` long enough ago. Raises Lost."""
        if self._begun is None or self._begun[0] != pcm16k or tuple(texts) != self._texts:
            self.begin(pcm16k, texts)
        assert self._begun is not None
        meanwhile = time.process_time() - self._begun[1]
        self._begun = None
        if self._live:
            until = time.monotonic() + LATE_S
            over: Callable[[], bool] = lambda: time.monotonic() > until  # noqa: E731
        else:
            over = self._patience(STILL_S, LONGEST_S).over
        while True:
            number, cpu_s, found = self._wait(over, "was too slow to answer")
            self.cpu_s += cpu_s
            if number == self._asked:
                self.behind_s += max(0.0, cpu_s - meanwhile)
                return found

    def _patience(self, still_s: float, longest_s: float) -> Patience:
        return Patience(still_s, longest_s, lambda: cpu_s_of(self.pid))

    def _send(self, *message: Any) -> None:
        assert self._process.stdin is not None
        try:
            pickle.dump(message, self._process.stdin)
            self._process.stdin.flush()
        except OSError as error:
            raise Lost("has stopped") from error

    def _wait(self, over: Callable[[], bool], late: str) -> Any:
        while True:
            with contextlib.suppress(queue.Empty):
                answer = self._answers.get(timeout=0.02)
                if answer is None:
                    self._answers.put(None)
                    raise Lost("has stopped")
                return answer
            if over():
                raise Lost(late)

    def close(self) -> None:
        """Ends the process."""
        self._close()


def _started() -> subprocess.Popen[bytes]:
    # A test's or an editable install's path to this package is perhaps in no environment variable.
    way = {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    return subprocess.Popen(
        [sys.executable, "-c", f"from {__name__} import serve; serve()"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=os.environ | way,
        # Ctrl-C goes to the terminal's whole process group, but this process must end with its pipe.
        start_new_session=True,
    )


def _read(source: IO[bytes] | None, answers: queue.SimpleQueue[Any]) -> None:
    """Passes on the process's answers; None when there will be no more."""
    assert source is not None
    with source, contextlib.suppress(EOFError, OSError, ValueError, pickle.UnpicklingError):
        while True:
            answers.put(pickle.load(source))
    answers.put(None)


def _ended(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(OSError):
        if process.stdin:
            process.stdin.close()
    try:
        process.wait(END_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def serve(source: IO[bytes] | None = None, sink: IO[bytes] | None = None) -> None:
    """Runs the process: says "" or why it can't, then answers each piece with its number, CPU time (s) and measures."""
    from assistant.hearing.neural import Neural
    from assistant.hearing.neural_files import fault
    from assistant.hearing.scores import Scorer

    source, sink = source or sys.stdin.buffer, sink or sys.stdout.buffer

    def answer(what: Any) -> None:
        pickle.dump(what, sink)
        sink.flush()

    with contextlib.suppress(EOFError, OSError):
        folder, lead_in = pickle.load(source)
        wrong = fault(Path(folder))
        if wrong:
            answer(wrong)
            return
        try:
            scorer = Scorer(Neural(Path(folder)), lead_in)
        except Exception as error:  # the library raises nothing narrower, and whatever it is, hearing goes on without
            answer(f"can't be loaded: {error}")
            return
        answer("")
        texts: tuple[Said, ...] = ()
        while True:
            kind, what = pickle.load(source)
            if kind == "texts":
                texts = what
                continue
            began = time.process_time()
            number, pcm16k = what
            found = scorer.measure(pcm16k, texts)
            answer((number, time.process_time() - began, found))
