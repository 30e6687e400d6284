"""The list of what can go wrong as a note, and when a mishap can be told or a figure given by keys."""

from __future__ import annotations

import pytest

from assistant.plans.mishaps import Mishap
from assistant.screens.key_meanings import ASK_FIGURE, MISHAPS
from assistant.screens.mishap_note import BOARD_LEAVES, HOW_TO, LIST, NO_FIGURE, STAND_BY_FIRST, MishapNote
from assistant.screens.view_cells import width
from assistant.screens.view_regions import LEAST_COLUMNS, LEAST_LINES
from assistant.session.state import State
from tests.screens.test_job_note import Noting
from tests.session.driver import Driver
from tests.session.jobs import few_checks, job


class Noted(Noting):
    """As a screen: a list stays for a time of its own, a line doesn't."""

    def note(self, text: str, for_s: float | None = None) -> None:
        assert bool(for_s) == ("\n" in text)
        self.notes.append(text)


def standing_by() -> Driver:
    driver = Driver(job(checks=few_checks()))
    driver.confirm_all()
    driver.gesture("hold")
    assert driver.state.mode == "standing by"
    return driver


def note(driver: Driver | None) -> tuple[MishapNote, Noted]:
    screen = Noted()
    state = State() if driver is None else None
    return MishapNote(lambda: state or driver.state, screen), screen  # type: ignore[union-attr, arg-type]


def test_every_mishap_is_in_the_list_with_its_number() -> None:
    said = " ".join(LIST.split())
    assert said.startswith(HOW_TO)
    halves = [[line[column].strip() for line in map(_halves, LIST.splitlines()[1:])] for column in (0, 1)]
    listed = " ".join(" ".join(half) for half in halves)
    listed = " ".join(listed.split())
    assert listed == " ".join(f"{number} {mishap.means}" for number, mishap in enumerate(Mishap, start=1))
    assert list(MISHAPS.values()) == list(Mishap)


def _halves(line: str) -> tuple[str, str]:
    return line[:42], line[42:]


def test_the_list_covers_half_of_the_smallest_page_and_fits_across_it() -> None:
    assert max(width(line) for line in LIST.splitlines()) < LEAST_COLUMNS
    assert len(LIST.splitlines()) <= LEAST_LINES // 2


def test_while_standing_by_it_is_shown_and_withdrawn() -> None:
    one, screen = note(standing_by())
    assert one.show() and screen.notes == [LIST]
    one.withdraw()
    assert screen.withdrawn == [LIST]


@pytest.mark.parametrize("mode", ["new", "checks", "cutting", "question"])
def test_in_every_other_mode_it_says_to_stand_by_first(mode: str) -> None:
    driver = None if mode == "new" else Driver(job(checks=few_checks()))
    if driver is not None and mode != "checks":
        driver.confirm_all()
    if driver is not None and mode == "question":
        driver.gesture("hold")
        driver.gesture("tap")
    assert driver is None or driver.state.effective_mode == mode
    one, screen = note(driver)
    assert not one.show() and screen.notes == [STAND_BY_FIRST]


def test_while_a_board_is_on_its_way_out_it_says_so() -> None:
    driver = standing_by()
    driver.gesture("hold")
    driver.confirm_all()
    driver.heard("board")
    driver.gesture("hold")
    driver.heard("stand by")
    assert driver.state.chosen and driver.state.mode == "standing by"
    one, screen = note(driver)
    assert not one.show() and screen.notes == [BOARD_LEAVES]


def test_a_figure_can_be_given_only_while_one_is_asked() -> None:
    driver = standing_by()
    one, screen = note(driver)
    assert not one.ask_figure() and screen.notes.pop() == NO_FIGURE
    driver.heard("mishap", Mishap.MISSED)
    assert not one.ask_figure() and screen.notes.pop() == NO_FIGURE, "only what must be made safe is asked yet"
    driver.gesture("hold")
    assert driver.state.question is not None and driver.state.question.name == "figure"
    assert one.ask_figure() and screen.notes.pop() == ASK_FIGURE
