"""What is said when something went wrong: no hand goes near the blade before the saw is off and isolated."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.plans.mishaps import Mishap
from assistant.session.turn import prompt
from assistant.wording.prompts import Words
from tests.session.drives import driven_job
from tests.session.jobs import HANDWHEEL, job, plan
from tests.session.test_other_kerf import LINED

JOBS = {"readout": job(), "handwheel": job(carriage=HANDWHEEL), "driven": driven_job()}
NO_HAND_NEAR = (Mishap.OVERSHOT, Mishap.KERF)
"""Nothing is cut at a setting that was overshot, and a kerf is measured in an offcut."""
STAYS_IN_THE_WOOD = (Mishap.JAMMED, Mishap.TRIPPED)
"""Drawn back before the blade stands still, the work would be caught by it."""


@pytest.mark.parametrize("mishap", Mishap)
@pytest.mark.parametrize("name", JOBS)
def test_what_went_wrong_is_named_and_the_saw_isolated_before_anything_else(name: str, mishap: Mishap) -> None:
    asked = prompt("ask safe", setup=1, pass_=1, mishap=mishap, figure=0, called=True, recalled=False)
    for figures in (False, True):
        text = Words(JOBS[name], figures=figures).one(asked)
        assert text.lower().startswith(mishap.means), "who was misheard hears it"
        assert ("isolated" in text) == (mishap not in NO_HAND_NEAR)
        assert ("plug out" in text) == (mishap not in NO_HAND_NEAR)
        if mishap in STAYS_IN_THE_WOOD:
            assert text.lower().index("switch") < text.index("isolated") and "sled drawn" not in text
            assert "keep the sled where it is" in text
        assert text.endswith("Long press for yes, double tap for no.")


@pytest.mark.parametrize("moved", ["", "work", "carriage"])
@pytest.mark.parametrize("name", JOBS)
def test_work_is_tried_only_with_the_saw_isolated(name: str, moved: str) -> None:
    tried = {"tried": 2, "where": "kerf", "setting": Fraction(6), "previous": Fraction(6), "approach": None}
    text = Words(JOBS[name]).one(
        prompt("ask registered", setup=1, pass_=3, cut_here=2, tolerance=Fraction(0), moved=moved, **tried)
    )
    assert text.startswith("Saw off, isolated, plug out.")
    assert ("Leave the work clamped" in text) == (moved == "carriage")
    assert ("move the work, not the carriage" in text) == (moved == "work")
    assert text.endswith("Draw right back. Done? Long press for yes, double tap for no.")


@pytest.mark.parametrize("name", JOBS)
def test_asked_once_more_after_an_interruption_it_is_said_what_had_happened(name: str) -> None:
    figures = {"setup": 1, "pass_": 3, "mishap": Mishap.SLIPPED, "figure": 0, "called": False}
    words = Words(JOBS[name])
    assert words.one(prompt("ask sure", recalled=True, **figures)).startswith("The board has slipped. Was pass three")
    assert words.one(prompt("ask sure", recalled=False, **figures)).startswith("Was pass three cut before that")


def test_what_is_too_deep_as_well_is_named_with_its_board_or_by_its_setups() -> None:
    words = Words(job(plan(30, 6, count=3, parts="A")))
    one_board = words.one(prompt("as deep", setups=(2, 5)))
    assert one_board.startswith("Just as deep, and marked now: long side, two of three, end one and long side, two of")
    assert "end two. Count that board as spoilt too" in one_board and "have every end cut as deep" in one_board
    many = words.one(prompt("as deep", setups=(1, 2, 3, 5)))
    assert "setups one, two, three and five. Count those boards as spoilt too" in many
    slotted = replace(job(plan(30, 6, count=3, parts="A", ends=1)), layout="slots")
    assert "have every slot of this depth cut as deep" in Words(slotted).one(prompt("as deep", setups=(2,)))


@pytest.mark.parametrize("layout", ["even", "slots"])
def test_what_another_blade_cut_is_not_among_what_is_cut_deeper(layout: str) -> None:
    words = Words(replace(job(plan(30, 6, count=3, parts="A")), layout=layout))
    depths = {"proud": Fraction(4, 10), "depth": Fraction(124, 10)}
    of = {"setup": 3, "pass_": 1, "mishap": Mishap.DEEP, "figure": 4, "called": True, "recalled": False, **depths}
    plain = words.one(prompt("ask verdict", setups=(), as_deep=(), stay=(), **of))
    assert "Cut every" in plain and "already" not in plain and "blade" not in plain
    told = words.one(prompt("ask verdict", setups=(1,), as_deep=(2,), stay=(4, 5), **of))
    assert "already: long side, two of three" in told and "must be cut again, deeper" in told
    assert "Another blade has cut in long side, one of three" in told and "Cut all the rest to" in told


@pytest.mark.parametrize(
    ("part", "stage", "told"),
    [
        ("A", 1, "The lining under the sockets can be zero point five millimetres thicker, if the blanks are cut"),
        ("A blank", 1, "The blank's fingers will be zero point five millimetres longer. Their tips still seat"),
        ("A", 2, "The fingers will stand zero point five millimetres proud, and the inside will be"),
        ("B", 2, "The fingers will stand zero point five millimetres proud, and the inside will be"),
    ],
)
def test_it_is_said_what_cuts_too_deep_do_to_a_lined_joint(part: str, stage: int, told: str) -> None:
    """Only the last stage makes its fingers stand proud: in a blank nothing is lost, and a lining can be thicker."""
    lined = job(LINED)
    number = next(one.number for one in lined.setups if (one.part, one.stage) == (part, stage))
    figures = {"setup": number, "pass_": 1, "mishap": Mishap.DEEP, "figure": 5, "proud": Fraction(1, 2)}
    figures |= {"setups": (), "as_deep": (), "stay": ()}
    text = Words(lined).one(prompt("ask verdict", **figures, depth=lined.pattern_of(number).depth + Fraction(1, 2)))
    assert text.startswith(told)
    assert ("proud" in text) == (stage == 2)
