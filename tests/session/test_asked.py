"""The snapshot that screens show: what is asked, what is cut here, and the point to go past to."""

from __future__ import annotations

from fractions import Fraction

import pytest

from assistant.plans.model import Check
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.asked import asked
from assistant.session.effects import View
from assistant.session.facts import Record
from assistant.session.state import Question, State
from assistant.session.turn import view
from tests.session.driver import Driver
from tests.session.jobs import EVERY_TWO, few_checks, job, plan


def after(*facts: f.Fact) -> State:
    state = State()
    for n, fact in enumerate((f.Started(job()), f.SetupStarted(1), *facts), 1):
        state = apply(state, Record(n, float(n), "", fact))
    return state


def called(pass_: int) -> f.SettingCalled:
    return f.SettingCalled(1, pass_, str(job().pattern_of(1).passes[pass_ - 1].setting))


def seen(*facts: f.Fact) -> View:
    return view(after(*facts))


def test_an_open_check_is_asked_with_its_figures() -> None:
    prompt = seen(f.CheckOpened(1, "blade height")).asked
    assert prompt is not None and prompt.key == "check"
    figures = dict(prompt.figures)
    assert figures["depth"] == Fraction(103, 10)  # 10 mm of the mate and 0.3 mm to stand proud
    assert figures["lowest"] < figures["highest"]


def test_a_question_lies_over_the_check_and_nothing_is_asked_while_a_pass_is_called() -> None:
    state = after(f.CheckOpened(1, "guard"), f.Asked("end", 1, 1))
    assert isinstance(state.question, Question)
    prompt = asked(state)
    assert prompt is not None and prompt.key == "ask end"
    assert asked(after(called(1))) is None


def test_passes_cut_here_are_listed_one_by_one() -> None:
    assert seen(called(1), f.PassCut(1, 1, "pedal"), called(2)).cut == 0b01
    assert seen(called(2), f.PassCut(1, 2, "pedal"), called(1)).cut == 0b10


def test_a_lower_setting_names_the_point_to_go_past_to_also_when_called_again() -> None:
    """Half a millimetre below the setting if the carriage has no pitch; no such point for a move up."""
    first = job().pattern_of(1).passes[0].setting
    assert seen(called(1)).approach is None
    assert seen(called(1), called(2)).approach is None
    assert seen(called(2), called(1)).approach == first - Fraction(1, 2)
    assert seen(called(2), called(1), called(1)).approach == first - Fraction(1, 2)


@pytest.mark.parametrize("checks", [None, few_checks(), few_checks(EVERY_TWO)])
def test_checks_are_numbered_to_the_last_and_what_comes_after_a_pass_comes(checks: tuple[Check, ...] | None) -> None:
    """Through a whole session that stands by at a check and at a pass, steps back and is resumed."""
    driver = Driver(job(plan(width=30), checks))
    numbers: list[tuple[int, int]] = []
    longest = stopped = passes = 0
    while driver.state.effective_mode != "finished":
        before = view(driver.state)
        if before.mode == "checks":
            numbers.append((before.check_number, before.checks))
            assert numbers == [(n, before.checks) for n in range(1, len(numbers) + 1)]
            longest = max(longest, before.checks)
            stop = stopped == 0 and before.check_number == 2 or stopped == 2 and before.check == "guard"
        else:
            stop = stopped == 1 and before.pass_ == 3
        if stop:
            stopped += 1
            if stopped == 3:
                driver.resume()
            else:
                driver.heard("stand by")
            assert view(driver.state).check_number == 0
            again = view(driver.state).asked_again
            assert bool(again) == (stopped != 3)
            driver.gesture("hold")
            while driver.state.effective_mode == "question":
                driver.gesture("hold")
            assert not again or (view(driver.state).check, view(driver.state).checks) == (again[0], len(again))
            numbers = []
        elif before.mode == "checks":
            driver.gesture("hold", after=driver.state.the_job.run_down_s)
            if view(driver.state).mode != "checks" or view(driver.state).setup != before.setup:
                assert len(numbers) == before.checks
                numbers = []
        else:
            driver.gesture("tap")
            passes += 1
            now = view(driver.state)
            assert (before.next_setting, before.next_check) == (now.setting if now.pass_ else None, now.check)
    assert stopped == 3 and longest >= 2 and passes == driver.state.the_job.total_passes
