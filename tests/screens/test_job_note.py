"""The table of the job as a note: as many rows as fit, and how to change the job."""

from __future__ import annotations

import shutil
from dataclasses import replace
from os import terminal_size

import pytest

from assistant.plans.model import Job
from assistant.screens.job_note import HOW_TO, LEAST_ROWS, JobNote, around, note_of
from assistant.screens.key_meanings import JOB_KEYS
from assistant.screens.view_cells import width
from assistant.session.kinds import SetupStatus
from assistant.session.state import State
from assistant.session.table import JobStanding
from tests.session.driver import Driver
from tests.session.jobs import few_checks, job, plan


def long_job(setups: int = 60) -> Job:
    made = job(plan(count=setups // 4), few_checks())
    assert len(made.setups) == setups
    return made


def at(made: Job, here: int, following: int = 0) -> JobStanding:
    count = len(made.setups)
    return JobStanding((0,) * count, (SetupStatus.TO_CUT,) * count, here, following)


def numbers(note: str) -> list[int]:
    rows = [line for line in note.splitlines()[len(HOW_TO.splitlines()) + 1 :] if "more" not in line]
    return [int(line.split()[0]) for line in rows]


class Noting:
    def __init__(self) -> None:
        self.notes: list[str] = []
        self.withdrawn: list[str] = []

    def note(self, text: str, for_s: float | None = None) -> None:
        assert for_s
        self.notes.append(text)

    def withdraw(self, text: str) -> None:
        self.withdrawn.append(text)


def test_what_is_shown_of_a_long_list_is_around_the_present_line_and_leaves_out_more_than_one() -> None:
    for count in range(1, 40):
        for room in range(LEAST_ROWS, 20):
            for here in range(count):
                first, last = around(count, here, room)
                assert 0 <= first <= here < last <= count
                assert first != 1 and last != count - 1
                assert last - first + (first > 0) + (last < count) == min(room, count)


def test_every_setup_of_a_short_job_is_shown() -> None:
    made = long_job(8)
    note = note_of(made, at(made, 3, 4), 79, 24)
    assert numbers(note) == list(range(1, 9)) and "more" not in note.removeprefix(HOW_TO)


@pytest.mark.parametrize("here", [1, 5, 30, 59, 60])
@pytest.mark.parametrize("most", [10, 12, 24])
def test_a_long_job_shows_the_setups_around_the_present_one(here: int, most: int) -> None:
    made = long_job()
    note = note_of(made, at(made, here), 79, most)
    shown = numbers(note)
    assert here in shown and shown == list(range(shown[0], shown[-1] + 1))
    assert len(note.splitlines()) == most
    before, after = shown[0] - 1, 60 - shown[-1]
    assert [line.strip() for line in note.splitlines() if "..." in line] == [
        f"... {left_out} more" for left_out in (before, after) if left_out
    ]


def test_without_a_board_in_the_clamps_it_is_around_what_comes_next() -> None:
    made = long_job()
    assert 31 in numbers(note_of(made, at(made, 0, 31), 79, 12))
    assert numbers(note_of(made, at(made, 0), 79, 12))[0] == 1


def test_no_line_is_wider_than_the_terminal() -> None:
    made = long_job(8)
    made = replace(made, setups=tuple(replace(one, board="칸막이 " * 9) for one in made.setups))
    note = note_of(made, at(made, 1, 2), 79, 24)
    assert max(width(line) for line in note.splitlines()) <= 79


def test_every_key_is_explained() -> None:
    for key in (*JOB_KEYS, "u"):
        assert f"  {key}  " in HOW_TO


@pytest.mark.parametrize("whole_page", [True, False])
def test_it_is_shown_and_withdrawn_on_the_screen(monkeypatch: pytest.MonkeyPatch, whole_page: bool) -> None:
    """Over a page it takes half of it at most, so that what to set stays in sight."""
    monkeypatch.setattr(shutil, "get_terminal_size", lambda *ignored: terminal_size((80, 24)))
    driver, screen = Driver(long_job()), Noting()
    table = JobNote(lambda: driver.state, screen, whole_page)  # type: ignore[arg-type]
    table.show()
    (note,) = screen.notes
    assert len(note.splitlines()) == (12 if whole_page else 22)
    table.withdraw()
    assert screen.withdrawn == [note]


def test_before_the_session_has_begun_there_is_nothing_to_show() -> None:
    screen = Noting()
    JobNote(State, screen, True).show()  # type: ignore[arg-type]
    assert not screen.notes
