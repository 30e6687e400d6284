"""How far a download is, on a terminal or in lines."""

from __future__ import annotations

import time
from typing import TextIO

BAR_CELLS = 30
REDRAWN_AFTER_S = 0.1  # pieces of a download come far more often than anybody can read
PROGRESS_LINES = 10  # where there is no terminal


class DownloadBar:
    """Progress on one line of a terminal; elsewhere a plain line at every tenth."""

    def __init__(self, out: TextIO):
        self._out = out
        self._terminal = out.isatty()
        self._tenth = -1
        self._drawn_at = 0.0
        self._open = False

    def show(self, done: int, total: int) -> None:
        """done, total: bytes; total over 0."""
        figures = f"{done / 1e6:5.1f} of {total / 1e6:.1f} MB, {100 * done // total:3d} %"
        if self._terminal:
            now = time.monotonic()
            if done < total and now - self._drawn_at < REDRAWN_AFTER_S:
                return
            self._drawn_at = now
            full = BAR_CELLS * done // total
            print(f"\r[{'#' * full}{'.' * (BAR_CELLS - full)}] {figures}", end="", file=self._out, flush=True)
            self._open = True
        elif (tenth := PROGRESS_LINES * done // total) > self._tenth:
            self._tenth = tenth
            print(figures, file=self._out, flush=True)

    def end(self) -> None:
        """The next words start on a line of their own."""
        if self._open:
            print(file=self._out, flush=True)
        self._open = False
