"""Notes on a terminal that nothing else writes to, the newest list of which can be taken away again."""

from __future__ import annotations

import os
import re
import shutil
import sys
import threading
from typing import TextIO

from assistant.screens.view_cells import width

UP_AND_CLEAR = "\x1b[{}F\x1b[J"
"""So many lines up, and clear from there to the end: CPL and ED of ECMA-48."""
_CONTROLS = re.compile(r"\x1b\[[0-9;]*m")


class Notes:
    """From any thread."""

    def __init__(self, out: TextIO):
        self._out = out
        self._can_clear = out.isatty() and os.environ.get("TERM", "") not in ("", "dumb") and sys.platform != "win32"
        self._guard = threading.Lock()
        self._since: list[str] = []  # the newest list, and what came after it

    def note(self, text: str) -> None:
        """A line, or a list of several, of which the newest can be withdrawn."""
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
        """Clear this list away where it can still be reached; on anything but a terminal lines stay."""
        with self._guard:
            if not self._since or self._since[0] != text:
                return
            gone, *after = self._since
            self._since = []
            columns, rows = shutil.get_terminal_size()
            up = sum(_rows(each, columns) for each in (gone, *after))
            if self._can_clear and up < rows:
                again = "".join(f"{each}\n" for each in after if each)
                print(UP_AND_CLEAR.format(up) + again, end="", file=self._out, flush=True)


def _rows(text: str, columns: int) -> int:
    """How many lines it has on a terminal of this width."""
    return sum(max(1, -(-width(_CONTROLS.sub("", line)) // columns)) for line in text.split("\n"))
