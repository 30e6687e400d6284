"""Measures pieces in a process of its own, so that hearing goes on while the model computes, and survives its loss."""

from __future__ import annotations

import contextlib
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

from assistant.hearing import side_process
from assistant.hearing.messages import ToModel
from assistant.hearing.scores import Measured, SayableText
from assistant.patience import Patience, cpu_s_of

LATE_S = 0.5  # for an answer, from when it is needed: later than that it would come too late for the speaker
LOAD_STILL_S, LONGEST_LOAD_S = 60.0, 900.0  # without any work of its own, and in all; a slow card loads for minutes
STILL_S, LONGEST_S = 20.0, 60.0  # for an answer about sound from a file, which nobody waits for


class ModelLost(Exception):
    """The process has ended, or can't be used. The text says why, a plain clause."""


class Late(Exception):
    """The answer did not come in time."""


class ScorerProcess:
    """A `Scorer` in another process. Owned by one thread. folder: of the model's files. lead_in: the word.

    live: an answer later than `LATE_S` is given up; otherwise the wait lasts as long as the process is at work.

    For measuring, since the start: asked, how many pieces; cpu_s, the processor time spent there, s; waited_s, how long
    its answers were waited for, s.
    """

    def __init__(self, folder: Path, lead_in: str, live: bool = False) -> None:
        self.cpu_s = self.waited_s = 0.0
        self.asked = 0
        self._live = live
        self._texts: tuple[SayableText, ...] = ()
        self._begun = b""
        self._process = side_process.started(__name__)
        self._answers: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._questions: queue.SimpleQueue[Any] = queue.SimpleQueue()
        # In threads of their own, since a process that hangs takes nothing more once the pipe is full.
        for work, end, line in (
            (_read, self._process.stdout, self._answers),
            (_write, self._process.stdin, self._questions),
        ):
            threading.Thread(target=work, args=(end, line), daemon=True).start()
        # Runs even if nobody calls `close`. It must not refer to `self`, which would then live as long as the program.
        self._close = weakref.finalize(self, _end, self._process, self._questions)
        self._send(str(folder), lead_in)
        try:
            failed = self._wait(self._patience(LOAD_STILL_S, LONGEST_LOAD_S).over)
        except Late:
            failed = "took too long to load"
        if failed:
            self._close()
            raise ModelLost(failed)

    @property
    def pid(self) -> int:
        """The process's id."""
        return self._process.pid

    def prepare(self, texts: Sequence[SayableText]) -> None:
        """Sends what the next pieces are compared with."""
        if tuple(texts) != self._texts:
            self._texts = tuple(texts)
            self._send(ToModel.TEXTS, self._texts)

    def begin(self, pcm16k: bytes, texts: Sequence[SayableText]) -> None:
        """Sends a piece that `measured` can ask for."""
        self.prepare(texts)
        self.asked += 1
        self._begun = pcm16k
        self._send(ToModel.PIECE, (self.asked, pcm16k))

    def measured(self, pcm16k: bytes, texts: Sequence[SayableText]) -> Measured:
        """What the piece is like; at once if it was sent by `begin` long enough ago. Raises ModelLost or Late."""
        if self._begun != pcm16k or tuple(texts) != self._texts:
            self.begin(pcm16k, texts)
        self._begun = b""
        began = time.monotonic()
        if self._live:
            until = began + LATE_S
            over: Callable[[], bool] = lambda: time.monotonic() > until  # noqa: E731
        else:
            over = self._patience(STILL_S, LONGEST_S).over
        while True:
            number, cpu_s, found = self._wait(over)
            self.cpu_s += cpu_s
            # A lower number answers a piece that was given up as late.
            if number == self.asked:
                self.waited_s += time.monotonic() - began
                return found

    def _patience(self, still_s: float, longest_s: float) -> Patience:
        return Patience(still_s, longest_s, lambda: cpu_s_of(self.pid))

    def _send(self, *message: Any) -> None:
        self._questions.put(message)

    def _wait(self, over: Callable[[], bool]) -> Any:
        while True:
            with contextlib.suppress(queue.Empty):
                answer = self._answers.get(timeout=0.02)
                if answer is None:
                    # Whoever asks next must find this out as well.
                    self._answers.put(None)
                    raise ModelLost("has stopped")
                return answer
            if over():
                raise Late

    def close(self) -> None:
        """Ends the process."""
        self._close()


def _read(source: IO[bytes] | None, answers: queue.SimpleQueue[Any]) -> None:
    """Passes on the process's answers; None when there will be no more."""
    assert source is not None
    with contextlib.suppress(EOFError, OSError, ValueError, pickle.UnpicklingError), source:
        while True:
            answers.put(pickle.load(source))
    answers.put(None)


def _write(sink: IO[bytes] | None, questions: queue.SimpleQueue[Any]) -> None:
    """Passes questions on to the process, up to None."""
    assert sink is not None
    with contextlib.suppress(OSError, ValueError), sink:
        while (question := questions.get()) is not None:
            pickle.dump(question, sink)
            sink.flush()


def _end(process: subprocess.Popen[bytes], questions: queue.SimpleQueue[Any]) -> None:
    questions.put(None)  # which closes its standard input
    side_process.wait_for_end(process)


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
        texts: tuple[SayableText, ...] = ()
        while True:
            kind, what = pickle.load(source)
            if kind == ToModel.TEXTS:
                texts = what
                scorer.prepare(texts)
                continue
            began = time.process_time()
            number, pcm16k = what
            found = scorer.measure(pcm16k, texts)
            answer((number, time.process_time() - began, found))
