"""Notes on a terminal that nothing else writes to. The newest list can be removed again."""

from __future__ import annotations

import os
import re
import shutil
import sys
import threading
from typing import TextIO

from assistant.screens.view_cells import width

UP_AND_CLEAR = "\x1b[{}F\x1b[J"
"""Move up this many lines and clear from there to the end: CPL and ED of ECMA-48."""
_CONTROLS = re.compile(r"\x1b\[[0-9;]*m")


class Notes:
    """What is printed, in order. Can be called from any thread."""

    def __init__(self, out: TextIO):
        self._out = out
        self._can_clear = out.isatty() and os.environ.get("TERM", "") not in ("", "dumb") and sys.platform != "win32"
        self._guard = threading.Lock()
        self._since: list[str] = []  # the newest list, and what came after it

    def note(self, text: str) -> None:
        """A line, or a list of several lines; the newest list can be withdrawn."""
        with self._guard:
            if "\n" in text:
                self._since = []
            self._since.append(text)
            print(text, file=self._out, flush=True)

    def typed(self, line: str) -> None:
        """What the terminal itself has shown meanwhile."""
        with self._guard:
            self._since.append(line.rstrip("\n"))

    def withdraw(self, text: str) -> None:
        """Clear this list if it is still within reach; where the output is no terminal, lines stay."""
        with self._guard:
            if not self._since or self._since[0] != text:
                return
            gone, *after = self._since
            self._since = []
            columns, rows = shutil.get_terminal_size()
            lines = [_CONTROLS.sub("", line) for each in (gone, *after) for line in each.split("\n")]
            up = sum(max(1, -(-width(line) // columns)) for line in lines)  # rounded up: a long line takes several
            if self._can_clear and up < rows:  # lines that have scrolled off the top are out of reach
                again = "".join(f"{each}\n" for each in after if each)
                print(UP_AND_CLEAR.format(up) + again, end="", file=self._out, flush=True)
