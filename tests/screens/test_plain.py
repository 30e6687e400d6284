"""The plain screen: what is to be seen from afar comes first; where the session is; how to leave."""

from __future__ import annotations

import io
from fractions import Fraction

import pytest

from assistant.screens.plain import PlainScreen
from assistant.session.effects import View
from assistant.wording.prompts import Words
from tests.session.jobs import job


def a_view(mode: str, pass_: int = 0) -> View:
    return View(mode, 1, 4, pass_, 3, 0, 0, 12, Fraction(1235, 100) if pass_ else 0, "", "")


def lines_of(keys: bool, *shown: tuple[View, str | None]) -> list[str]:
    out = io.StringIO()
    screen = PlainScreen(out, keys)
    for view, line in shown:
        screen.show(view, line, Words(job()))
    return out.getvalue().splitlines()


def test_a_settings_figures_stand_on_the_first_line_and_the_words_below() -> None:
    out = io.StringIO()
    PlainScreen(out).said("12.35\nSet one two decimal three five.", "setting")
    assert out.getvalue() == ">> 12.35\n   Set one two decimal three five.\n"


def test_the_place_is_told_once_until_it_changes() -> None:
    cutting = a_view("cutting", 2)
    told = lines_of(True, (cutting, None), (cutting, None), (cutting, "Too soon."))
    assert told == ["   [setup 1/4, pass 2/3, SET 12.35, 0 cut here, 0 of 12 in all]", ".. Too soon."]


@pytest.mark.parametrize("mode", ["finished", "ended early"])
def test_after_the_end_it_says_how_to_leave_and_so_does_each_stray_key(mode: str) -> None:
    told = lines_of(True, (a_view(mode), None), (a_view(mode), "The session is over."))
    assert told[0].endswith("in all] Press q to leave.")
    assert told[1] == ".. The session is over. Press q to leave."
    assert lines_of(True, (a_view(mode), "It means nothing now: yes"))[0].endswith("now: yes. Press q to leave.")
    assert lines_of(False, (a_view(mode), "The session is over."))[0] == ".. The session is over."


def test_while_there_is_something_to_cut_no_way_out_is_offered() -> None:
    assert not any("Press q" in line for line in lines_of(True, (a_view("cutting", 1), "Too soon.")))
