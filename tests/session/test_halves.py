"""A session with boards wider than the travel: what is asked and said of the distance piece, and what is tried."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.joinery.model import Carriage
from assistant.joinery.slots import Slot
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job, Plan, When
from assistant.session import effects as e
from assistant.session.calling import clamp_prompt
from assistant.session.due import CheckStep, PassStep, steps
from assistant.session.slip import first_half_again, to_try
from assistant.session.turn import view
from assistant.wording.prompts import Words
from tests.session.driver import Driver
from tests.session.drives import Rig, driven_job
from tests.session.jobs import HANDWHEEL, at_setup, job, plan

IN_TWO = Carriage(travel=(Fraction(0), Fraction(60)), distance_piece=Fraction("30.02"))
CHECKS = tuple(check for check in DEFAULT_CHECKS if check.name != "setting bar out")
ENDS = plan(84, 6, ends=2, parts="A")
"""Part A, two ends: nine passes within the travel, five beyond it; the fifth socket is cut in both halves."""


def two_ends(carriage: Carriage = IN_TWO, a_plan: Plan = ENDS) -> Job:
    return job(a_plan, CHECKS, carriage)


def both_edges() -> Job:
    a_plan = replace(plan(78, 6, ends=2, parts="A"), measured_widths=(Fraction(78),))
    a_plan = replace(a_plan, joint=replace(a_plan.joint, far_half="other edge"))
    return two_ends(Carriage(travel=(Fraction(0), Fraction(60))), a_plan)


def asked_in(driver: Driver) -> list[str]:
    """The checks of this setup, up to its first setting."""
    names = []
    while driver.state.effective_mode == "checks" and driver.asked != "saw off":
        names.append(driver.asked)
        driver.gesture("hold")
    return names


def to_second_half(driver: Driver) -> None:
    driver.cut(driver.state.passes)
    driver.count()


def test_the_piece_is_asked_for_first_in_each_half_and_before_the_clamps() -> None:
    driver = Driver(two_ends())
    usual = ["edge and face", "clamps and guard"]
    first = ["distance piece", "zero", "edge and face", "clamps", "guard", "blade height", "backing"]
    assert asked_in(driver) == first
    for half in (2, 1, 2):
        to_second_half(driver)
        assert asked_in(driver) == ["distance piece", *usual], half
    driver.cut(driver.state.passes)
    driver.count()
    assert driver.state.mode == "finished"


def test_it_is_not_asked_again_while_it_stays_where_it_is() -> None:
    """Slots of two depths: the shallow one is within the travel, the deep ones are on both sides of its end."""
    slots = tuple(Slot(Fraction(at), Fraction(6), Fraction(deep)) for at, deep in ((10, 4), (30, 6), (70, 6)))
    a_plan = replace(plan(84, parts="A", ends=1), slots=slots)
    a_plan = replace(a_plan, joint=replace(a_plan.joint, layout="slots", finger=None))
    driver = Driver(two_ends(a_plan=a_plan))
    halves = [setup.half for setup in driver.state.the_job.setups]
    assert halves == ["piece in", "piece in", "piece out"]
    asked = []
    for _ in halves:
        asked.append("distance piece" in asked_in(driver))
        driver.cut(driver.state.passes)
        driver.count()
    assert asked == [True, False, True]


def test_what_is_said_of_each_half() -> None:
    driver = Driver(two_ends())
    assert "end one down, first half with the distance piece at the stop." in driver.said
    assert driver.said.endswith(
        "Piece of thirty point zero two millimetres at the stop, its ends clean, zero set with it in?"
    )
    driver.gesture("hold")
    driver.gesture("hold")
    assert driver.said == "Edge to the piece, marked face back?"
    driver.cut(driver.state.passes)
    assert driver.said == "Saw off and stopped? Count four, and one begun."
    driver.count()
    assert "end one down, second half with the distance piece out." in driver.said
    assert driver.said.endswith(
        "Piece out, edge to the stop itself; plug out, carriage up to two seven point one four, "
        "still blade just enters the kerf there?"
    )
    assert "end over end" not in driver.said, "the board lies as it lay"
    driver.gesture("hold")
    assert driver.said == "Edge to the stop itself, marked face back?"
    driver.cut(driver.state.passes)
    assert driver.said == "Saw off and stopped? Count seven."
    driver.count()
    assert "Turn it end over end" in driver.said, "for its other end"


def test_screens_show_the_whole_question_and_how_the_board_is_held() -> None:
    words, a_job = Words(two_ends(), figures=True), two_ends()
    driver = Driver(a_job)
    assert words.one(view(driver.state).asked) == (  # type: ignore[arg-type]
        "Distance piece of 30.02 mm at the stop, its ends clean, "
        "the reference edge against it and zero set with it in place?"
    )
    assert words.one(view(driver.state).way) == (  # type: ignore[arg-type]
        "end 1 down, reference edge to the distance piece at the left stop, marked face to the backing"
    )
    to_second_half(driver)
    assert words.one(view(driver.state).asked) == (  # type: ignore[arg-type]
        "Distance piece out, reference edge against the stop itself, zero as it was; saw off and unplugged, "
        "the carriage brought up to 27.14, the still blade just enters the kerf there?"
    )
    held = [words.one(clamp_prompt(at_setup(a_job, number), whole=True)).partition(". ")[2] for number in (2, 3, 4)]
    assert held == [
        "Reference edge to the left stop itself, the distance piece out, marked face to the backing.",
        "Turn it end over end: same edge to the distance piece at the left stop, other face to the backing. "
        "Never spin it on its face.",
        "Reference edge to the left stop itself, the distance piece out, other face to the backing.",
    ]


def test_the_second_half_is_tried_in_the_last_sure_kerf_that_is_in_reach() -> None:
    """The fifth socket's first pass, cut alone, at 57.155: 57.155 - 30.02 = 27.135, to a hundredth 27.14."""
    a_job = two_ends()
    assert first_half_again(a_job, a_job.setups[0]) is None
    where, setting = first_half_again(a_job, a_job.setups[1]) or ("", 0)
    assert (where, setting) == ("kerf", Fraction("27.14"))
    # A piece so long that no cut of the first half lies within the travel with it out.
    longer = two_ends(replace(IN_TWO, distance_piece=Fraction("59.9")))
    assert first_half_again(longer, longer.setups[1]) is None
    driver = Driver(longer)
    to_second_half(driver)
    assert driver.said.endswith("Piece out, edge to the stop itself?")


def test_where_no_kerf_of_its_own_is_in_reach_a_wall_or_a_shoulder_is_tried() -> None:
    a_job = two_ends(Carriage(travel=(Fraction(0), Fraction(50)), distance_piece=Fraction(34)))
    found = first_half_again(a_job, a_job.setups[1])
    assert found == ("far wall", Fraction("14.02")), "the fourth socket ends at 48.025, and 34 less is 14.025"
    driver = Driver(a_job)
    to_second_half(driver)
    assert "still blade just meets the wall there away from the reference edge?" in driver.said


def test_from_there_the_carriage_goes_on() -> None:
    driver = Driver(two_ends())
    to_second_half(driver)
    stood = driver.state.carriage_at
    assert stood == driver.state.the_job.pattern_of(1).passes[-1].setting
    driver.gesture("hold")
    assert (driver.state.carriage_at, driver.state.came_from) == (Fraction("27.14"), stood)
    driver.confirm_all()
    (setting,) = (p for say in driver.says for p in say.prompts if p.key == "setting")
    assert (dict(setting.figures)["previous"], dict(setting.figures)["approach"]) == (Fraction("27.14"), None)


def test_a_dials_place_is_said_in_turns_from_zero() -> None:
    inch = replace(HANDWHEEL, travel=(Fraction(0), Fraction(60)), distance_piece=Fraction(30))
    driver = Driver(two_ends(inch))
    to_second_half(driver)
    assert "carriage up to mark one three, one seven turns up, still blade just enters" in driver.said


def test_after_an_interruption_it_is_asked_again_and_zero_is_set_with_the_piece_in() -> None:
    driver = Driver(two_ends())
    to_second_half(driver)
    driver.confirm_all()
    driver.cut()
    driver.resume()
    assert driver.asked == "" and driver.state.question is not None
    driver.gesture("double")  # the carriage was touched
    assert "distance piece back at the stop, reference edge against it and at zero" in driver.said
    driver.gesture("hold")
    driver.gesture("hold")
    assert driver.asked == "distance piece"
    assert driver.said.endswith("Piece out, edge to the stop itself?"), "a cut of this half tells more than the first"
    driver.gesture("hold")
    assert driver.state.carriage_at == 0, "nothing was tried, so nothing has moved since it was zeroed"


WITH_THE_PIECE = (
    "Zero the carriage with the saw off and isolated: distance piece back at the stop, reference edge against it and "
    "at zero, reading at zero. Done?"
)


def told(driver: Driver, mishap: Mishap) -> None:
    driver.heard(Intent.STAND_BY)
    driver.heard(Intent.MISHAP, str(mishap))
    driver.gesture("hold")


def test_zero_is_set_with_the_piece_back_at_the_stop_and_then_it_is_asked_whether_it_is_out_again() -> None:
    driver = Driver(two_ends())
    to_second_half(driver)
    driver.confirm_all()
    told(driver, Mishap.BUMPED)
    driver.gesture("hold")
    assert driver.asked == "zero" and driver.said.endswith(WITH_THE_PIECE)
    assert WITH_THE_PIECE in Words(driver.state.the_job, figures=True).one(view(driver.state).asked)  # type: ignore[arg-type]
    driver.gesture("hold")
    assert driver.asked == "distance piece" and "two seven point one four" in driver.said
    assert asked_in(driver) == ["distance piece", "edge and face", "clamps", "guard"]
    assert driver.state.mode == "cutting" and driver.state.came_from == Fraction("27.14")


def test_after_a_break_in_which_zero_was_touched_the_piece_is_asked_about_once_and_last() -> None:
    driver = Driver(two_ends())
    to_second_half(driver)
    driver.confirm_all()
    told(driver, Mishap.BREAK)
    driver.gesture("hold")
    driver.gesture("double")  # the blade was not lowered
    while driver.state.effective_mode == "question":
        driver.gesture("hold")
    assert asked_in(driver)[:3] == ["zero", "distance piece", "edge and face"]


def test_a_shop_that_zeroes_for_each_board_does_so_before_the_piece_comes_out() -> None:
    checks = tuple(replace(check, when=When.SETUP) if check.name == "zero" else check for check in CHECKS)
    driver = Driver(job(ENDS, checks, IN_TWO))
    assert asked_in(driver)[:2] == ["distance piece", "zero"]
    to_second_half(driver)
    assert driver.said.endswith(WITH_THE_PIECE)
    assert asked_in(driver) == ["zero", "distance piece", "edge and face", "clamps", "guard"]
    assert driver.state.mode == "cutting"


def test_with_the_other_edge_at_the_stop_zero_is_set_to_that_one() -> None:
    driver = Driver(both_edges())
    to_second_half(driver)
    driver.confirm_all()
    told(driver, Mishap.BUMPED)
    driver.gesture("hold")
    assert driver.said.endswith(
        "Zero the carriage with the saw off and isolated: other edge at zero, reading at zero. Done?"
    )


def test_clamped_again_before_the_first_cut_it_is_tried_again() -> None:
    driver = Driver(two_ends())
    to_second_half(driver)
    driver.confirm_all()
    driver.resume()
    driver.gesture("hold")  # the carriage stands where it stood
    driver.gesture("double")  # but the work does not
    assert "Reference edge to the left stop itself, the distance piece out, and clamp." in driver.said
    assert "No pass of this half is cut yet: what can be tried comes next." in driver.said
    driver.gesture("hold")
    assert driver.asked == "distance piece" and "two seven point one four" in driver.said
    driver.gesture("hold")
    assert driver.state.carriage_at == Fraction("27.14")


def test_a_slipped_board_is_tried_in_a_cut_of_its_own_half_with_the_walls_of_both() -> None:
    """The first pass of the second half only widens a kerf of the first: it has a wall on the far side alone."""
    driver = Driver(two_ends())
    to_second_half(driver)
    driver.confirm_all()
    driver.cut()
    driver.resume()
    driver.gesture("hold")
    driver.gesture("double")
    (question,) = (p for say in driver.says for p in say.prompts if p.key == "ask registered")
    assert (dict(question.figures)["tried"], dict(question.figures)["where"]) == (1, "far wall")


def test_a_driven_carriage_stands_where_it_is_tried_while_the_board_is_clamped() -> None:
    changes = {"travel": IN_TWO.travel, "distance_piece": IN_TWO.distance_piece}
    rig = Rig(driven_job(ENDS, CHECKS, **changes))
    rig.to_first_call()
    while rig.state.effective_mode == "cutting":
        rig.cut_one()
    while rig.asked != "distance piece":
        rig.hold()
    last = [effect for effect in rig.all_sent if isinstance(effect, e.MoveTo)][-1]
    assert last.setting == Fraction("27.14") == rig.state.driving.at
    assert "two seven point one four" in rig.said


def test_a_driven_carriage_does_not_stand_at_a_wall_that_a_wrong_cut_may_have_moved() -> None:
    """Pass 9 is the surest cut in reach, until it is said to have been cut after the board had slipped."""
    changes = {"travel": IN_TWO.travel, "distance_piece": IN_TWO.distance_piece}
    rig = Rig(driven_job(ENDS, CHECKS, **changes))
    rig.to_first_call()
    while rig.state.effective_mode == "cutting" and rig.state.cursor < 9:
        rig.cut_one()
    rig.cut_one()
    rig.heard(Intent.STAND_BY)
    rig.heard(Intent.MISHAP, str(Mishap.SLIPPED))
    rig.hold()
    rig.gesture("double")
    rig.hold()
    assert [(cut.pass_, cut.off_by) for cut in rig.state.wrong] == [(9, None)]
    while rig.asked != "distance piece" or rig.state.setup == 1:
        rig.cut_one() if rig.state.effective_mode == "cutting" else rig.hold()
    assert rig.state.driving.at not in (None, Fraction("27.14"))
    tried = to_try(rig.state)
    assert tried is not None and tried.setting == rig.state.driving.at, "it stands where the blade is tried"


def test_from_both_edges_no_piece_is_asked_for_and_the_other_edge_is() -> None:
    driver = Driver(both_edges())
    assert "end one down, first half." in driver.said
    assert asked_in(driver)[:2] == ["zero", "edge and face"]
    to_second_half(driver)
    assert "second half with the other edge to the stop." in driver.said
    assert driver.said.endswith("Other edge to the stop, other face back?")
    words = Words(both_edges(), figures=True)
    clamped = [clamp_prompt(at_setup(both_edges(), number), whole=True) for number in (1, 2, 3, 4)]
    held = [words.one(each).partition(". ")[2] for each in clamped]
    assert held == [
        "Reference edge to the left stop, marked face to the backing.",
        "Other edge to the left stop, other face to the backing.",
        "Reference edge to the left stop, other face to the backing.",
        "Other edge to the left stop, marked face to the backing.",
    ]


@pytest.mark.parametrize("a_job", [two_ends(), both_edges()], ids=["distance piece", "both edges"])
def test_the_steps_on_paper_are_those_of_a_session(a_job: Job) -> None:
    driver, asked = Driver(a_job), []
    while driver.state.mode != "finished":
        if driver.state.effective_mode == "checks":
            asked.append((driver.state.setup, driver.asked))
            driver.gesture("hold", after=12)
        else:
            asked.append((driver.state.setup, driver.state.cursor))
            driver.gesture("tap")
    due = [(s.setup.number, s.check.name if isinstance(s, CheckStep) else s.pass_.number) for s in steps(a_job)]
    assert due == asked
    came_from = [s.previous for s in steps(a_job) if isinstance(s, PassStep) and s.pass_.number == 1]
    if a_job.carriage.distance_piece:
        assert came_from[1::2] == [Fraction("27.14")] * 2, "from where the first half was tried"
