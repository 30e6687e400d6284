"""The table of the job as a note over the page or among plain lines, with the keys that change the job."""

from __future__ import annotations

import shutil
from collections.abc import Callable

from assistant.plans.model import Job
from assistant.runner.contracts import LiveScreen
from assistant.screens.view_cells import width
from assistant.session.state import State
from assistant.session.table import JobStanding, in_lines, rows_of, standing_of

SHOWN_S = 60.0  # it is read, and a number looked up and typed
HOW_TO = """\
The job. Type a setup's number, then one of these keys; any other drops it.
  enter  go on with it     r  cut its end again     x  its board is spoilt
  k  one more copy of it   u  one of its sockets again: u, its number, enter"""
LEAST_ROWS = 3


class JobNote:
    """Shows and withdraws the table. For one thread, that of the keys."""

    def __init__(self, state: Callable[[], State], screen: LiveScreen, whole_page: bool):
        """state: the session's newest. whole_page: the screen fills the terminal, and the note lies over half of it."""
        self._state, self._screen, self._whole_page = state, screen, whole_page
        self._shown = ""

    def show(self) -> None:
        """Nothing before the session has begun."""
        state = self._state()
        if state.job is None:
            return
        columns, rows = shutil.get_terminal_size()
        # What to set must stay in sight above a note that lies over the page.
        most = rows // 2 if self._whole_page else rows - 2
        self._shown = note_of(state.job, standing_of(state), columns - 1, most)
        self._screen.note(self._shown, SHOWN_S)

    def withdraw(self) -> None:
        self._screen.withdraw(self._shown)


def note_of(job: Job, standing: JobStanding, columns: int, most: int) -> str:
    """The keys, and as many rows as fit around the present setup. columns, most: of the terminal, most in lines."""
    head, lines = in_lines(job, rows := rows_of(job, standing), columns - 2, width)
    room = max(LEAST_ROWS, most - len(HOW_TO.splitlines()) - 1)
    here = next((n for n, row in enumerate(rows) if row.clamped), None)
    if here is None:
        here = next((n for n, row in enumerate(rows) if row.next), 0)
    first, last = around(len(lines), here, room)
    shown = [f"... {first} more", *lines[first:last]] if first else list(lines[:last])
    if last < len(lines):
        shown.append(f"... {len(lines) - last} more")
    return "\n".join((HOW_TO, *(f"  {line}" for line in (head, *shown))))


def around(count: int, here: int, room: int) -> tuple[int, int]:
    """Which of `count` lines to show in `room`, 3 or more, with the one at `here` among them: from, to before.

    What is left out at either end takes one line of the room, and is never a single one, which would fit there itself.
    """
    if count <= room:
        return 0, count
    if here < room - 1:
        return 0, room - 1
    if here > count - room:
        return count - room + 1, count
    first = min(max(2, here - (room - 2) // 2), count - room)
    return first, first + room - 2
