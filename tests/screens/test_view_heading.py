"""What is read from two metres while it is told what went wrong."""

from __future__ import annotations

import pytest

from assistant.joinery.model import Carriage
from assistant.plans.mishaps import Mishap
from assistant.screens import view_letters as letters
from assistant.screens.view_heading import heading_of
from assistant.screens.view_page import GESTURE_PLACES, IN_BLOCKS
from assistant.screens.view_regions import LEAST_COLUMNS
from assistant.screens.view_words import NOTHING, gestures_of, key_hint
from assistant.session.kinds import QuestionName
from tests.screens.view_session import Rehearsed, mishaps_told
from tests.session.jobs import job, plan


def standing_by(carriage: Carriage | None = None) -> Rehearsed:
    """Pass 3 of part B is called; its depth is 10.3 mm: the other part is 10 mm thick, its fingers 0.3 mm proud."""
    session = Rehearsed(job(plan(width=84, parts="B"), carriage=carriage))
    while session.runner.state.cut_here < 2:
        session.gesture("tap" if session.runner.state.effective_mode == "cutting" else "hold")
    session.heard("stand by")
    return session


def big(session: Rehearsed) -> str:
    view, words = session.sight.view, session.sight.words
    assert view is not None and words is not None
    return " / ".join(heading_of(view, words).left)


def told(mishap: Mishap, *answers: str | int, carriage: Carriage | None = None) -> Rehearsed:
    """answers: gestures, or a figure."""
    session = standing_by(carriage)
    session.heard("mishap", mishap)
    for one in answers:
        if isinstance(one, int):
            session.heard("figure", one)
        else:
            session.gesture(one)
    return session


def test_tapping_through_the_list_each_has_its_name_in_large_letters() -> None:
    session = standing_by()
    session.gesture("tap")
    assert big(session) == "WHAT WENT / WRONG?"
    seen = []
    for mishap in Mishap:
        session.gesture("tap")
        question = session.runner.state.question
        assert question is not None and question.mishap == mishap
        seen.append(big(session))
    assert len({name.partition(" / ")[0] for name in seen}) == len(Mishap)
    assert seen[:4] == [
        "JAMMED? / PLUG OUT?",
        "TRIPPED? / PLUG OUT?",
        "LOOSE PIECE? / PLUG OUT?",
        "SLIPPED? / PLUG OUT?",
    ]


def test_wherever_a_hand_comes_near_the_blade_it_says_plug_out() -> None:
    """All but two ask so: past the setting nothing was cut, and a kerf is measured in a piece of wood elsewhere."""
    without = {mishap for mishap in Mishap if "PLUG OUT?" not in big(told(mishap))}
    assert without == {Mishap.OVERSHOT, Mishap.KERF}
    assert big(told(Mishap.OVERSHOT)) == "OVERSHOT? / STILL UNCUT?"
    assert big(told(Mishap.KERF)) == "NEW KERF?"


IN_INCHES = Carriage(unit="in")


@pytest.mark.parametrize(
    ("mishap", "answers", "shown"),
    [
        (Mishap.SLIPPED, ("hold",), "PASS 2 GOOD?"),
        (Mishap.MISPLACED, ("hold",), "PASS 3?"),
        (Mishap.MISPLACED, ("hold", "hold"), "OFF BY?"),
        (Mishap.MISPLACED, ("hold", "hold", "tap"), "OFF BY / 0.1 MM?"),
        (Mishap.MISPLACED, ("hold", "hold", 15), "OFF BY / 1.5 MM?"),
        (Mishap.MISPLACED, ("hold", "hold", 15, "hold"), "TOO NEAR / THE EDGE?"),
        (Mishap.MISPLACED, ("hold", "hold", 15, "hold", "hold"), "CARRY ON?"),
        (Mishap.SHALLOW, ("hold",), "CUT AGAIN? / 10.3 MM"),
        (Mishap.DEEP, ("hold",), "TOO DEEP BY?"),
        (Mishap.DEEP, ("hold", 5), "TOO DEEP BY / 0.5 MM?"),
        (Mishap.DEEP, ("hold", 5, "hold"), "CUT TO / 10.8 MM?"),
        (Mishap.MISSED, ("hold",), "MISSED PASS?"),
        (Mishap.MISSED, ("hold", "tap"), "MISSED PASS / 1?"),
        (Mishap.MISSED, ("hold", 2, "hold"), "GO TO 2?"),
        (Mishap.KERF, ("hold",), "KERF / 3.18 MM?"),
        (Mishap.BLADE, ("hold", 240), "KERF / 2.4 MM?"),
        (Mishap.KERF, ("hold", "hold"), "NEW KERF? / 3.18 MM"),
        (Mishap.BLADE, ("hold", 240, "hold"), "NEW KERF? / 2.4 MM"),
        (Mishap.BLADE, ("hold", "double"), "OLD BLADE / BACK ON?"),
        (Mishap.CUPPED, ("hold",), "CLAMPS FLAT?"),
        (Mishap.CHIPPED, ("hold",), "MENDED?"),
        (Mishap.SWAPPED, ("hold",), "SAME SIZE?"),
        (Mishap.BREAK, ("hold", "hold"), "HEIGHT CHANGED?"),
        (Mishap.BREAK, ("hold", "hold", "double"), "TOUCHED?"),
    ],
)
def test_each_question_has_its_few_words_and_its_figure(
    mishap: Mishap, answers: tuple[str | int, ...], shown: str
) -> None:
    assert big(told(mishap, *answers)) == shown


def test_no_to_another_blades_kerf_says_that_the_old_one_is_on() -> None:
    """Of a kerf that was measured again, it says that nothing changes."""
    meant = [gestures_of(told(mishap, "hold").sight.view) for mishap in (Mishap.BLADE, Mishap.KERF)]  # type: ignore[arg-type]
    assert [(one.tap, one.double) for one in meant] == [("one more", "old blade on"), ("one more", "no")]


def test_resumed_before_another_blades_kerf_was_given_a_tap_leads_to_nothing_else() -> None:
    session = told(Mishap.BLADE, "hold")
    session.resume()
    session.gesture("hold")  # the carriage stands where it stood
    assert big(session) == "OTHER BLADE? / PLUG OUT?"
    assert gestures_of(session.sight.view).tap == "say again"  # type: ignore[arg-type]


@pytest.mark.parametrize(("mishap", "shown"), [(Mishap.SLIPPED, "TRIED?"), (Mishap.DUST, "CLAMPED AGAIN?")])
def test_work_that_has_moved_in_its_clamps_is_tried_and_what_was_swept_is_clamped_again(
    mishap: Mishap, shown: str
) -> None:
    session = told(mishap, "hold", "hold")
    assert big(session) == "SAW OFF"
    while session.runner.state.effective_mode != "question":
        session.gesture("hold")
    assert big(session) == shown


def test_in_inches_a_step_is_a_hundredth() -> None:
    shown = big(told(Mishap.MISPLACED, "hold", "hold", 7, carriage=IN_INCHES))
    assert shown in ("OFF BY / 0.07 IN?", "OFF BY / 0.07 INCH?")


def test_with_what_to_do_only_the_saw_is_in_large_letters() -> None:
    """Its state is in the head."""
    session = standing_by()
    assert big(session) == "STANDING BY / SAW OFF"
    session.heard("mishap", Mishap.JAMMED)
    session.gesture("hold")
    assert big(session) == "SAW OFF"


def test_every_question_has_large_words_that_fit_and_gestures_in_their_places() -> None:
    asked = set()
    for sight in mishaps_told(Rehearsed(job(plan(width=84)))):
        view, words = sight.view, sight.words
        assert view is not None and words is not None
        heading = heading_of(view, words)
        assert letters.fits_across(heading.left, 1, LEAST_COLUMNS - 2), heading.left
        meant = gestures_of(view)
        ends = [*GESTURE_PLACES[1:], 1.0]
        for name, meaning, begin, end in zip(
            ("tap", "double tap", "long press"),
            (meant.tap, meant.double, meant.long),
            GESTURE_PLACES,
            ends,
            strict=True,
        ):
            assert 1 + len(f"{name}: {meaning}") <= int(end * LEAST_COLUMNS) - int(begin * LEAST_COLUMNS), meaning
        tapped = "" if meant.tap == NOTHING else IN_BLOCKS.get(meant.tap, meant.tap.upper())
        assert letters.columns_of(f"TAP {tapped}", 1) < 160 * GESTURE_PLACES[1] or view.mode == "cutting"
        asked.add(view.question)
        assert (key_hint(view) == "#: type it") == (view.question == "figure")
    of_mishaps = list(QuestionName)[list(QuestionName).index(QuestionName.WHAT) :]
    assert asked >= set(of_mishaps)
