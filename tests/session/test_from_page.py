"""What the bench page may do in a session, in every mode, and what the session itself refuses."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.plans.intents import Intent
from assistant.plans.model import PageSettings
from assistant.session import facts as f
from assistant.session.events import CodeAsked, Gesture, Heard
from assistant.session.from_page import MAY_DO, MOST_NOTE
from tests.session.driver import UTC, Driver
from tests.session.jobs import few_checks, job

REFUSED = "Refused: the page may not do that."


def driver(may_record_cuts: bool = False) -> Driver:
    return Driver(replace(job(checks=few_checks()), page=PageSettings(may_record_cuts)))


def page(one: Driver, intent: str, argument: str | int | None = None, after: float = 5.0, old: int = 0) -> None:
    one.at += after
    generation = one.state.generation - old
    one.send(Heard(one.at, UTC, intent, argument, "", one.at - 0.8, generation, "page"))


def in_mode(mode: str, may_record_cuts: bool = True) -> Driver:
    one = driver(may_record_cuts)
    if mode == "checks":
        return one
    one.confirm_all()
    match mode:
        case "question":
            one.heard("end")
        case "standing by":
            one.gesture("hold")
        case "finished":
            one.cut(one.state.the_job.total_passes)
            one.count()
    assert one.state.effective_mode == mode
    return one


MODES = ("checks", "cutting", "question", "standing by", "finished")


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("intent", sorted(set(Intent) - MAY_DO - {"cut"}))
def test_nothing_else_is_obeyed_in_any_mode(mode: str, intent: str) -> None:
    one = in_mode(mode)
    before = one.state
    argument = before.the_job.checks[before.open_check or 0].name if intent == "check" else 1
    page(one, intent, argument)
    assert (one.facts, one.state, one.said) == ((), before, "")
    assert one.shown == REFUSED


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("gesture", ["tap", "double", "hold"])
def test_no_gesture_of_a_page_is_obeyed(mode: str, gesture: str) -> None:
    one = in_mode(mode)
    before = one.state
    one.at += 9
    one.send(Gesture(one.at, UTC, gesture, one.at, "page"))
    assert (one.facts, one.state, one.said, one.shown) == ((), before, "", REFUSED)


def test_a_cut_is_refused_unless_the_shop_file_allows_it() -> None:
    one = in_mode("cutting", may_record_cuts=False)
    page(one, "cut")
    assert one.kinds == []
    assert one.shown == REFUSED


def test_an_allowed_cut_is_recorded_as_by_page_and_announced_before_the_next_setting() -> None:
    one = in_mode("cutting")
    page(one, "cut")
    assert one.facts[0] == f.PassCut(1, 1, "page")
    assert one.said.startswith("Advanced from the page. ")
    assert one.says[0].klass == "setting"


def test_the_last_cut_of_a_session_is_announced_too() -> None:
    one = driver(True)
    while one.state.cut_in_all < one.state.the_job.total_passes:
        one.confirm_all()
        page(one, "cut")
        assert one.said.startswith("Advanced from the page. ")
    assert {fact.fact.by for fact in one.records if isinstance(fact.fact, f.PassCut)} == {"page"}


def test_a_cut_that_answers_an_earlier_call_is_not_obeyed() -> None:
    one = in_mode("cutting")
    page(one, "cut", old=1)
    assert one.kinds == []
    assert "not done" in one.shown


def test_a_press_that_began_before_the_call_is_not_obeyed() -> None:
    one = in_mode("cutting")
    page(one, "cut", after=0.5)
    assert one.kinds == []
    assert "not done" in one.shown


def test_a_cut_sooner_than_a_pass_takes_is_shown_and_not_spoken() -> None:
    """A pass may be under way, and another person may have touched the page."""
    one = in_mode("cutting")
    page(one, "cut", after=2.0)
    assert (one.kinds, one.said) == ([], "")
    assert one.shown.startswith("Too soon, not counted")


def test_stand_by_and_say_again() -> None:
    one = in_mode("cutting", may_record_cuts=False)
    page(one, "again")
    assert one.says[0].klass == "setting"
    page(one, "stand by")
    assert one.facts[0] == f.StoodBy("page")
    assert "Standing by" in one.said


def test_what_went_wrong_is_only_asked_for_and_answered_at_the_saw() -> None:
    one = in_mode("standing by")
    page(one, "mishap", "jammed")
    assert one.kinds == [] and one.said.startswith("The work has jammed on the blade. Switch the saw off")
    for answer, argument in (("yes", None), ("no", None), ("figure", 3), ("carry on", None)):
        before = one.state
        page(one, answer, argument)
        assert (one.kinds, one.state, one.shown) == ([], before, REFUSED)
    page(one, "mishap", "sawdust")
    assert one.state.question == before.question, "one question at a time"
    one.gesture("hold")
    assert one.kinds == ["went_wrong"]


@pytest.mark.parametrize("mode", [mode for mode in MODES if mode != "standing by"])
def test_elsewhere_nothing_that_went_wrong_is_taken_from_the_page(mode: str) -> None:
    one = in_mode(mode)
    before = one.state
    page(one, "mishap", "jammed")
    assert (one.kinds, one.state, one.said) == ([], before, "")


def test_a_note_is_kept_with_its_text_and_silent_while_a_pass_may_be_under_way() -> None:
    one = in_mode("cutting")
    page(one, "mark", "tear-out at\n the back \x1b[2J")
    assert one.facts == (f.Noted(1, 1, "tear-out at the back [2J"),)
    assert one.said == ""
    assert "Problem marked" in one.shown


def test_a_note_while_nothing_is_cut_is_answered() -> None:
    one = in_mode("standing by")
    page(one, "mark", "x" * 5000)
    assert one.facts[0] == f.Noted(1, 1, "x" * MOST_NOTE)
    assert "Problem marked" in one.said


def test_the_page_does_not_release_notices_in_mid_push() -> None:
    one = in_mode("cutting")
    one.device()
    page(one, "mark", "knot")
    assert one.said == ""
    assert one.state.notices
    one.gesture("tap")
    assert one.said.startswith("Microphone lost")


CODE = "00471234"
SAID = "Pairing code: zero zero four seven, one two three four."


@pytest.mark.parametrize("mode", [mode for mode in MODES if mode != "cutting"])
def test_a_requested_pairing_code_is_said_digit_by_digit(mode: str) -> None:
    one = in_mode(mode)
    one.send(CodeAsked(one.at + 1, UTC, CODE))
    assert (one.said, one.facts[-1]) == (SAID, f.Announced(1))
    assert [(say.klass, say.replaces) for say in one.says] == [("code", False)]
    assert one.kinds == []


def test_a_pairing_code_is_not_said_while_a_pass_may_be_under_way() -> None:
    one = in_mode("cutting")
    one.send(CodeAsked(one.at + 1, UTC, CODE))
    assert one.said == ""
    assert one.shown == "The pairing code is on the terminal. It is not said while a pass may be under way."
