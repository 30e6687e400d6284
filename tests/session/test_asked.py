"""The snapshot that screens show: what is asked, what is cut here, and the point to go past to."""

from __future__ import annotations

from fractions import Fraction

from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.asked import asked
from assistant.session.effects import View
from assistant.session.facts import Record
from assistant.session.state import Question, State
from assistant.session.turn import view
from tests.session.jobs import job


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
