"""The job as a table."""

from __future__ import annotations

import random
from dataclasses import replace
from unicodedata import east_asian_width

import pytest

from assistant.plans.model import Job
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.events import Event
from assistant.session.kinds import JobChange, SetupStatus
from assistant.session.order import coming
from assistant.session.rework import change_job, refusal
from assistant.session.state import State
from assistant.session.table import SetupRow, as_json, in_lines, rows_of, standing_of, which_of
from assistant.session.turn import Turn
from tests.session.driver import UTC, Driver
from tests.session.jobs import few_checks, job, plan, with_pass_time


def small(count: int = 2) -> Job:
    """The long sides, then the short ones, two ends each: passes 3 and 3 of an end."""
    return with_pass_time(job(plan(count=count), few_checks()), 0.0)


def rows(state: State) -> tuple[SetupRow, ...]:
    return rows_of(state.the_job, standing_of(state))


def begun(passes_cut: int = 0, count: int = 2) -> Driver:
    driver = Driver(small(count))
    driver.confirm_all()
    driver.cut(passes_cut)
    return driver


def agreed(driver: Driver, intent: str, argument: str | int | None = None) -> None:
    driver.heard(intent, argument)
    assert driver.state.question is not None, driver.said
    driver.heard("yes")


def row(state: State, number: int) -> SetupRow:
    return next(each for each in rows(state) if each.number == number)


def test_a_new_session_has_its_first_board_in_the_clamps_and_the_second_next() -> None:
    first, second, *others = rows(begun().state)
    assert (first.number, first.status, first.clamped, first.next) == (1, "begun", True, False)
    assert (second.number, second.status, second.clamped, second.next) == (2, "to cut", False, True)
    assert {(one.status, one.clamped, one.next) for one in others} == {("to cut", False, False)}


def test_a_row_says_which_board_it_is_and_how_much_of_it_is_cut() -> None:
    driver = begun(2)
    job, one = driver.state.the_job, rows(driver.state)[0]
    setup, pattern = job.setups[0], job.pattern_of(1)
    assert (one.board, one.part, one.end, one.stage) == (setup.board, setup.part, setup.end, 1)
    assert (one.copies, one.cut, one.passes) == ("1 of 2", 2, len(pattern.passes))
    assert one.sockets == len(pattern.sockets)


def test_what_is_cut_begun_again_and_spoilt_is_said_in_words() -> None:
    driver = begun(2)
    agreed(driver, "board", 3)
    driver.confirm_all()
    assert (row(driver.state, 1).status, row(driver.state, 3).status) == ("begun", "begun")
    assert row(driver.state, 3).clamped and row(driver.state, 1).cut == 2
    driver.cut(1)
    agreed(driver, "socket", "1.1")
    assert row(driver.state, 1).status == "to cut again"
    agreed(driver, "spoilt", 1)
    assert row(driver.state, 1).status == "spoilt"


def test_a_board_on_its_way_out_is_still_in_the_clamps() -> None:
    driver = begun(1)
    agreed(driver, "board", 3)
    assert driver.state.leaves
    assert [(one.number, one.clamped, one.next) for one in rows(driver.state) if one.clamped or one.next] == [
        (1, True, False),
        (3, False, True),
    ]


def test_spoilt_and_replaced_setups_come_last_and_the_rest_in_the_order_of_cutting() -> None:
    driver = begun(2)
    agreed(driver, "spoilt", 1)
    state = driver.state
    gone = [n for n, status in enumerate(state.status, 1) if status == SetupStatus.SPOILT]
    assert len(gone) == 2 and [one.number for one in rows(state)] == [*state.counted, *gone]
    replaced = replace(state.the_job, order=state.counted[1:])
    told = rows_of(replaced, standing_of(state))
    assert [one.number for one in told][: len(state.counted) - 1] == list(state.counted[1:])
    assert {one.number: one.status for one in told}[state.counted[0]] == "replaced"
    assert {one.number: one.status for one in told}[gone[0]] == "spoilt", "which board was lost is still said"


def test_once_it_is_over_nothing_is_in_the_clamps_nor_next() -> None:
    for driver in (begun(1), begun(3)):
        driver.heard("end")
        driver.heard("yes")
        assert not any(one.clamped or one.next for one in rows(driver.state))


@pytest.mark.parametrize("seed", range(8))
def test_the_table_adds_up_whatever_was_changed(seed: int) -> None:
    """In random sessions with changes of every kind: sums, places and order agree with the state's own."""
    chance, driver = random.Random(seed), Driver(small())
    seen = set()
    for _ in range(160):
        state = driver.state
        if state.mode in ("finished", "ended early"):
            break
        if state.question is not None:
            driver.heard(chance.choice(("yes", "yes", "no")))
        elif chance.random() < 0.15:
            what = chance.choice(("board", "redo", "spoilt", "copy", "socket"))
            number = chance.randint(0, len(state.the_job.setups) + 1)
            driver.heard(what, f"{number}.{chance.randint(0, 2)}" if what == "socket" else number)
        else:
            driver.gesture("hold" if state.mode in ("checks", "standing by") else "tap", after=20.0)
        state, told = driver.state, rows(driver.state)
        counted = [one for one in told if one.status not in ("spoilt", "replaced")]
        seen |= {one.status for one in told}
        assert [one.number for one in counted] == list(state.counted)
        assert sorted(one.number for one in told) == list(range(1, len(state.the_job.setups) + 1))
        assert sum(one.cut for one in counted) == state.cut_in_all
        assert sum(one.passes for one in counted) == state.passes_in_all
        if state.mode not in ("finished", "ended early"):
            assert [one.number for one in told if one.clamped] == [state.setup]
            assert sum(one.next for one in told) == bool(coming(state))
    assert {"to cut", "begun"} <= seen


def test_any_change_in_any_state_can_be_played_back() -> None:
    """Whatever `refusal` allows leaves a session that goes on: what follows counts, and nothing of it is spoilt."""
    for cut, over in ((0, False), (2, False), (6, False), (2, True)):
        driver = begun(0)
        for _ in range(cut):
            driver.cut(1)
            driver.confirm_all()
        if over:
            driver.heard("end")
            driver.heard("yes")
        for first in _allowed(driver.state):
            after = _changed(driver.state, *first)
            for second in _allowed(after):
                state = _changed(after, *second)
                follows = coming(state)
                assert follows in state.counted and state.is_open(follows) or not follows, (first, second)
                assert not state.chosen or state.is_open(state.chosen), (first, second)
                assert state.status[state.setup - 1] != SetupStatus.SPOILT or state.leaves, (first, second)


def _allowed(state: State) -> list[tuple[JobChange, int, int]]:
    setups = range(1, len(state.the_job.setups) + 1)
    changes = [(what, n, 1 if what == JobChange.SOCKET else 0) for what in JobChange for n in setups]
    return [one for one in changes if refusal(state, *one) is None]


def _changed(state: State, what: JobChange, setup: int, socket: int) -> State:
    turn = Turn(state, Event(state.at, UTC))
    change_job(turn, what, setup, socket)
    again = state
    for record in turn.decision(None).records:
        again = apply(again, record)
    assert again == turn.state
    return again


class TestAsText:
    def test_every_line_is_of_one_layout(self) -> None:
        driver = begun(2)
        agreed(driver, "spoilt", 1)
        told = rows(driver.state)
        head, lines = in_lines(driver.state.the_job, told)
        assert len(lines) == len(told)
        for name in ("board", "part", "status"):
            at = head.index(name)
            assert all(line[at] != " " and line[at - 1] == " " for line in lines), name
        for one, line in zip(told, lines, strict=True):
            assert line.split()[0] == str(one.number)
            assert line.endswith(one.status) and f"{one.cut} of {one.passes}" in line
            assert ("now" in line.split()) == one.clamped and ("next" in line.split()) == one.next

    def test_ends_and_stages_have_a_column_only_where_there_are_several(self) -> None:
        plain = job(plan(), few_checks())
        state = Driver(plain).state
        assert "stage" not in in_lines(plain, rows(state))[0] and "end" in in_lines(plain, rows(state))[0]
        staged = replace(plain, stages=("openings", "sockets"))
        assert "stage" in in_lines(staged, rows_of(staged, standing_of(state)))[0]
        slotted = replace(plain, layout="slots")
        told = rows_of(slotted, standing_of(state))
        head = in_lines(slotted, told)[0]
        assert "end" not in head.split() and "slots" in head and "sockets" not in head
        assert {one.end for one in told} == {0}

    @pytest.mark.parametrize("columns", [60, 70, 78])
    @pytest.mark.parametrize("name", ["the longest of all drawer sides in this shop", "서랍 옆판 가운데 칸막이 왼쪽"])
    def test_long_names_are_cut_short_and_nothing_else(self, columns: int, name: str) -> None:
        made = small()
        made = replace(made, setups=tuple(replace(one, board=name) for one in made.setups))
        told = rows_of(made, standing_of(Driver(made).state))

        def width(text: str) -> int:
            return sum(2 if east_asian_width(char) in "WF" else 1 for char in text)

        head, lines = in_lines(made, told, columns, width)
        assert max(width(line) for line in (head, *lines)) <= columns
        assert all("…" in line and line.endswith(one.status) for one, line in zip(told, lines, strict=True))
        whole = in_lines(made, told, None, width)[1]
        assert all(name in line for line in whole)

    def test_json_has_the_same_rows(self) -> None:
        told = rows(begun(2).state)
        for one, body in zip(told, as_json(told), strict=True):
            assert body.pop("setup") == one.number
            assert body == {name: getattr(one, name) for name in body} and len(body) == 11


def test_which_of_several_like_boards_counts_those_that_joined_later() -> None:
    driver = begun(0, count=1)
    assert which_of(driver.state.the_job, 1) == ""
    agreed(driver, "copy", 1)
    job = driver.state.the_job
    assert which_of(job, 1) == "1 of 2" and which_of(job, len(job.setups)) == "2 of 2"


def test_a_fact_that_was_never_made_changes_no_row() -> None:
    """A question alone, not yet answered, is no change."""
    driver = begun(2)
    before = rows(driver.state)
    driver.heard("spoilt", 1)
    assert driver.state.question is not None and rows(driver.state) == before
    assert not any(isinstance(fact, f.BoardSpoilt) for fact in driver.facts)
