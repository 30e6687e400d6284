"""What can go wrong, as a list to choose from over the page or among plain lines, and whether a figure is asked for."""

from __future__ import annotations

from collections.abc import Callable
from itertools import zip_longest

from assistant.plans.intents import Mode
from assistant.runner.contracts import LiveScreen
from assistant.screens.job_note import SHOWN_S
from assistant.screens.key_meanings import ASK_FIGURE, MISHAPS
from assistant.screens.view_cells import width, wrapped
from assistant.session.kinds import QuestionName
from assistant.session.state import State

HOW_TO = "What went wrong? Type its number, then enter. Any other key drops it."
STAND_BY_FIRST = "Stand by first (s). Then x lists what can go wrong."
BOARD_LEAVES = "This board is on its way out: nothing that goes wrong now changes what is cut."
NO_FIGURE = "No figure is asked for now."
LEFT, RIGHT = 40, 37  # columns of the list, which has room in 80


class MishapNote:
    """Shows and withdraws the list. For one thread, that of the keys."""

    def __init__(self, state: Callable[[], State], screen: LiveScreen):
        """state: the session's newest."""
        self._state, self._screen = state, screen

    def show(self) -> bool:
        """Show the list, or what comes before it. Returns whether a mishap can be reported now."""
        state = self._state()
        if state.effective_mode != Mode.STANDING_BY:
            self._screen.note(STAND_BY_FIRST)
        elif state.leaves:
            self._screen.note(BOARD_LEAVES)
        else:
            self._screen.note(LIST, SHOWN_S)
            return True
        return False

    def withdraw(self) -> None:
        self._screen.withdraw(LIST)

    def ask_figure(self) -> bool:
        """Say how to type a figure. Returns whether one is asked for now."""
        question = self._state().question
        asked = question is not None and question.name == QuestionName.FIGURE
        self._screen.note(ASK_FIGURE if asked else NO_FIGURE)
        return asked


def _list() -> str:
    """In two columns: it lies over half of the smallest page."""
    half = (len(MISHAPS) + 1) // 2
    left: list[str] = []
    right: list[str] = []
    for number, mishap in MISHAPS.items():
        column, room = (left, LEFT - 1) if number <= half else (right, RIGHT)
        first, *more = wrapped(mishap.means, room - 4)
        column += [f"{number:2}  {first}", *(f"    {line}" for line in more)]
    rows = (f"  {one}{' ' * (LEFT - width(one))}{other}" for one, other in zip_longest(left, right, fillvalue=""))
    return "\n".join((HOW_TO, *(row.rstrip() for row in rows)))


LIST = _list()
