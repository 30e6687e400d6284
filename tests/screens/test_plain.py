"""The plain screen: what must be seen from afar comes first, then where the session is and how to leave."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.plans.mishaps import Mishap
from assistant.screens.plain import PlainScreen
from assistant.session.effects import View
from assistant.wording.prompts import YES_NO, Words
from tests.screens.view_session import Rehearsed
from tests.session.jobs import few_checks, job


def a_view(mode: str, pass_: int = 0) -> View:
    return View(mode, 1, 4, pass_, 3, 0, 0, 12, 3, Fraction(1235, 100) if pass_ else 0, "", "", place=1)


def lines_of(keys: bool, *shown: tuple[View, str | None]) -> list[str]:
    out = io.StringIO()
    screen = PlainScreen(out, keys)
    for view, line in shown:
        screen.show(view, line, Words(job()))
    return out.getvalue().splitlines()


def test_a_settings_figures_are_on_the_first_line_and_the_words_below() -> None:
    out = io.StringIO()
    PlainScreen(out).said("12.35\nSet one two decimal three five.", "setting", "Pass 3 called at 12.35.")
    assert out.getvalue() == ">> 12.35\n   Set one two decimal three five.\n"


def test_the_place_is_shown_once_until_it_changes() -> None:
    cutting = a_view("cutting", 2)
    told = lines_of(True, (cutting, None), (cutting, None), (cutting, "Too soon."))
    hint = "tap: pass cut, call next; double tap: say again; long press: stand by"
    assert told == [f"   [setup 1/4, pass 2/3, SET 12.35, 0 cut here, 0 of 12 in all; {hint}]", ".. Too soon."]


def test_a_repeated_line_is_counted_and_not_written_again() -> None:
    """The count is written each time it has doubled, so that a press leaves a sign, and when something else follows."""
    out, words = io.StringIO(), Words(job())
    screen = PlainScreen(out, False)
    screen.show(a_view("cutting", 2), None, words)
    for _ in range(7):
        screen.said("Too soon. Tap again.", "refused", "Too soon.")
    assert out.getvalue().splitlines()[1:] == [".. Too soon.", "   (2 times)", "   (4 times)"]
    screen.show(a_view("cutting", 3), None, words)
    assert out.getvalue().splitlines()[4:5] == ["   (7 times)"]
    screen.said("Too soon. Tap again.", "refused", "Too soon.")
    assert out.getvalue().splitlines()[-1] == ".. Too soon.", "another pass, another line"


def test_said_or_only_shown_a_line_is_the_same_and_at_the_end_all_are_counted() -> None:
    out, words = io.StringIO(), Words(job())
    screen = PlainScreen(out, False)
    screen.show(a_view("cutting", 2), None, words)
    screen.said("Not counted: wait.", "refused", "Not counted.")
    for _ in range(2):
        screen.show(a_view("cutting", 2), "Not counted.", words, "refused")
    screen.close()
    assert out.getvalue().splitlines()[1:] == [".. Not counted.", "   (2 times)", "   (3 times)"]


def test_a_setting_said_again_is_written_again_each_time() -> None:
    out = io.StringIO()
    screen = PlainScreen(out, False)
    for _ in range(2):
        screen.said("12.35\nAgain: Set one two decimal three five.", "setting", "Pass 3 called at 12.35.")
    assert out.getvalue().count("12.35\n") == 2


def test_what_a_gesture_does_is_shown_beside_the_place_and_nowhere_else() -> None:
    """The newest line that says what a long press does must always be right."""
    out = io.StringIO()
    screen = PlainScreen(out, True)
    words = Words(job())
    screen.show(a_view("cutting", 2), None, words)
    screen.show(a_view("cutting", 3), None, words)
    screen.said("Standing by. Long press to carry on.", "answer", "Standing by.")
    screen.show(a_view("standing by"), None, words)
    screen.said(f"End it? {YES_NO}", "question", "Asked: end the session?")
    screen.show(a_view("question"), None, words)
    assert out.getvalue().splitlines() == [
        "   [setup 1/4, pass 2/3, SET 12.35, 0 cut here, 0 of 12 in all; tap: pass cut, call next; "
        "double tap: say again; long press: stand by]",
        "   [setup 1/4, pass 3/3, SET 12.35, 0 cut here, 0 of 12 in all]",
        "-- Standing by.",
        "   [setup 1/4, standing by, 0 cut here, 0 of 12 in all; long press: carry on; double tap: where we are; "
        "tap: what went wrong]",
        "?? End it?",
        "   [setup 1/4, question, 0 cut here, 0 of 12 in all; long press: yes; double tap: no]",
    ]


def test_how_long_the_blade_takes_is_shown_once_and_not_counted_down() -> None:
    """Lines stay: one a second would push the question out of sight."""
    asked = replace(a_view("checks"), check="saw off")
    shown = [(replace(asked, wait_s=wait), None) for wait in (9.6, 6.2, 0.0)]
    told = lines_of(True, *shown, (replace(asked, wait_s=2.0), "Not counted."))
    assert told == [
        "   [setup 1/4, check: saw off, wait 10 s, 0 cut here, 0 of 12 in all; long press: confirmed; tap: say again]",
        ".. Not counted.",
    ]


@pytest.mark.parametrize("mode", ["finished", "ended early"])
def test_after_the_end_every_stray_key_shows_how_to_leave(mode: str) -> None:
    told = lines_of(True, (a_view(mode), None), (a_view(mode), "The session is over."))
    assert "in all; q: leave" in told[0]
    assert told[1] == ".. The session is over." and told[2].startswith("   [q: leave")
    assert not any("q: leave" in line for line in lines_of(False, (a_view(mode), "The session is over.")))


def test_until_all_is_cut_no_way_to_leave_is_offered() -> None:
    assert not any("leave" in line for line in lines_of(True, (a_view("cutting", 1), "Too soon.")))


def test_the_place_has_the_number_of_the_check_what_comes_next_and_what_is_asked_first() -> None:
    check = replace(a_view("checks"), check="guard", check_number=2, checks=5)
    cutting = replace(a_view("cutting", 2), next_setting=Fraction(1202, 100))
    last = replace(a_view("cutting", 3), next_check="saw off")
    standing = replace(a_view("standing by"), asked_again=("carrying on", "blade height"))
    told = lines_of(False, (check, None), (cutting, None), (last, None), (standing, None))
    assert "check: guard, check 2 of 5, 0 cut" in told[0]
    assert "SET 12.35, then 12.02, 0 cut" in told[1] and "SET 12.35, then saw off, 0 cut" in told[2]
    assert "standing by, will ask first: saw, clamps and guard; blade height, 0 cut" in told[3]


def test_what_to_do_is_written_when_it_is_told_and_again_after_each_question_in_between() -> None:
    out = io.StringIO()
    session = Rehearsed(job(checks=few_checks()))
    session.runner.outputs.screens.append(PlainScreen(out, True))
    while session.runner.state.effective_mode != "cutting":
        session.gesture("hold")
    session.heard("stand by")
    session.heard("mishap", Mishap.OVERSHOT)
    session.gesture("hold")
    card = "   [The same setting is called next. Come up to it from below.]"
    assert out.getvalue().count(card) == 1
    session.heard("mark")
    assert out.getvalue().count(card) == 1, "nothing else is shown"
    session.heard("mishap", Mishap.MISSED)
    session.gesture("double")
    assert out.getvalue().splitlines().count(card) == 2
    session.gesture("hold")
    session.heard("stand by")
    assert out.getvalue().splitlines().count(card) == 2, "the mishap is over"


def test_a_figure_can_be_tapped_on_answered_or_typed() -> None:
    asked = replace(a_view("question"), question="figure")
    assert lines_of(True, (asked, None))[0].endswith(
        "in all; long press: yes; double tap: no; tap: one more; #: type it]"
    )
    assert "#" not in lines_of(False, (asked, None))[0]
