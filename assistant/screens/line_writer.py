"""Writes lines to a terminal on a separate thread, so that a terminal that isn't read delays nothing else."""

from __future__ import annotations

import contextlib
import os
import select
import threading
from collections import deque
from collections.abc import Callable
from typing import TextIO

KEPT = 40  # entries that wait for a terminal that accepts nothing
END_S = 1.0  # how long `close` waits for a terminal that accepts nothing


class LineWriter:
    """Writes entries in order. Every method except `close` returns at once. Callable from any thread."""

    def __init__(self, out: TextIO, displayed: Callable[[int], None] | None = None):
        """displayed: called on the writer's thread with a generation once everything put before it is written."""
        self._out, self._displayed = out, displayed
        with contextlib.suppress(OSError, ValueError):
            out.flush()  # what was printed earlier must come first
        self._waiting: deque[tuple[str, int | None]] = deque()  # text and, once it is written, what to report
        self._news = threading.Condition()
        self._newest = -1
        self._unreported: int | None = None  # a generation of which the report, or an entry before it, was dropped
        self._gap = False  # an entry of the next report was dropped
        self._busy = self._ending = False
        self._thread = threading.Thread(target=self._run, name="lines", daemon=True)
        self._thread.start()

    def put(self, text: str, says_again: int | None = None) -> None:
        """Queue one entry, with its line ends. When `KEPT` wait, the oldest is dropped.

        says_again: the generation that this entry shows in full. It is reported if the first report was dropped.
        """
        with self._news:
            if self._ending:
                return
            self._waiting.append((text, says_again if says_again == self._unreported else None))
            while len(self._waiting) > KEPT:
                self._drop(self._waiting.popleft())
            self._news.notify_all()

    def _drop(self, entry: tuple[str, int | None]) -> None:
        """Nobody has read this entry, so its generation is not reported."""
        text, generation = entry
        self._gap = bool(text)
        if generation is not None:
            self._unreported = generation

    def report(self, generation: int) -> None:
        """Report this generation once everything put before it is written. Only the first report of each counts."""
        with self._news:
            if generation != self._newest and not self._ending:
                self._newest = generation
                self._waiting.append(("", generation))
                self._news.notify_all()

    def close(self) -> None:
        """Wait for the last entries, at most a second. Nothing is written after that."""
        with self._news:
            self._news.wait_for(lambda: not self._waiting and not self._busy, END_S)
            self._waiting.clear()
            self._ending = True
            self._news.notify_all()

    def _run(self) -> None:
        while True:
            with self._news:
                self._busy = False
                self._news.notify_all()
                self._news.wait_for(lambda: self._waiting or self._ending)
                if self._ending:
                    return
                (text, generation), self._busy = self._waiting.popleft(), True
                if not text and self._gap:
                    self._drop((text, generation))
                    generation = None
            try:
                self._write(text)
                if self._displayed is not None and generation is not None:
                    self._displayed(generation)
            except (OSError, ValueError):
                # The terminal is gone, so nothing more is shown. The voice and the journal go on without it.
                with self._news:
                    self._waiting.clear()
                    self._busy, self._ending = False, True
                    self._news.notify_all()
                return

    def _write(self, text: str) -> None:
        """Write without the stream's buffer: a thread that hangs in the buffer would keep the program from ending."""
        if not text:
            return
        try:
            fd = self._out.fileno()
        except (OSError, ValueError, AttributeError):
            self._out.write(text)
            self._out.flush()
            return
        data = text.encode(self._out.encoding or "utf-8", "replace")
        while data:
            try:
                data = data[os.write(fd, data) :]
            except BlockingIOError:
                select.select([], [fd], [])
