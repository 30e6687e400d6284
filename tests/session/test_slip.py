"""Work clamped again is tried against the still blade, at a cut that shows whether the work has moved."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.joinery.model import Blade, Carriage
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.job import build_job
from assistant.plans.model import Check, Shop
from assistant.session import facts as f
from assistant.session.slip import Trial, trial
from assistant.session.state import State
from tests.session.driver import Driver
from tests.session.jobs import HANDWHEEL, few_checks, job, plan


def cut_of(parts: str, *numbers: int, width: int = 30) -> State:
    """Passes recorded as cut on one end of this part; kerf 3.18 mm, segments of 6 mm, so two passes a socket."""
    state = State(job=job(plan(width, parts=parts)), mode="cutting", setup=1, shallow=(0, 0), carriage_at=Fraction(20))
    return replace(state, cuts=(sum(1 << number - 1 for number in numbers), *state.cuts[1:]))


@pytest.mark.parametrize(
    ("parts", "cut", "pass_", "where"),
    [
        ("A", (1,), 1, "kerf"),  # a socket half done: wood on both sides
        ("A", (1, 2), 2, "far wall"),  # done: the blade of its last pass meets one wall only
        ("A", (1, 2, 3), 3, "kerf"),
        ("A", (2,), 2, "kerf"),  # begun at its far side
        ("A", (2, 4, 3), 2, "kerf"),
        ("B", (1,), 1, "edge"),  # part B begins with a socket at the reference edge
        ("B", (1, 2), 2, "edge"),
        ("B", (1, 2, 3, 4), 4, "far wall"),
        ("B", (5, 6), 5, "edge"),  # and ends with one
        ("B", (1, 2, 6), 6, "edge"),
    ],
)
def test_the_cut_to_try_shows_the_most(parts: str, cut: tuple[int, ...], pass_: int, where: str) -> None:
    found = trial(cut_of(parts, *cut))
    assert found is not None
    assert (found.pass_, found.where) == (pass_, where)


def test_without_a_cut_there_is_nothing_to_try() -> None:
    assert trial(cut_of("A")) is None


def test_without_a_wall_there_is_nothing_to_try() -> None:
    state = cut_of("A", 1)
    (pattern, *_) = state.the_job.patterns
    gone = replace(pattern, passes=(replace(pattern.passes[0], kerf_from=Fraction(-1), kerf_to=pattern.width),))
    assert trial(replace(state, job=replace(state.the_job, patterns=(gone,)))) is None


def test_a_pass_whose_kerf_ends_where_the_next_begins_has_no_wood_between_them() -> None:
    shop = Shop("mm", Blade(Fraction(3), overlap=Fraction(0)), Carriage(), checks=few_checks())
    a_job = build_job(plan(30, parts="A", clearance=Fraction(0)), shop)
    state = State(job=a_job, mode="cutting", setup=1, cuts=(0b11, 0), shallow=(0, 0))
    first, last = state.pattern.passes[:2]
    assert first.socket == last.socket and first.kerf_to == last.kerf_from
    found = trial(state)
    assert found is not None
    assert (found.pass_, found.where) == (2, "far wall")


def test_the_trial_is_reached_from_where_the_carriage_stands_and_from_below() -> None:
    found = trial(cut_of("A", 1))
    assert found == Trial(1, "kerf", Fraction(916, 100), Fraction(20), Fraction(866, 100))


def resumed_and_clamped_afresh(driver: Driver) -> Driver:
    driver.resume()
    driver.gesture("hold")
    driver.gesture("double")
    driver.gesture("hold")
    return driver


def test_the_setups_own_checks_are_due_again() -> None:
    own = Check("apron", "apron tied on?", "apron is tied on again", "setup")
    driver = Driver(job(checks=(*few_checks(own), *(c for c in DEFAULT_CHECKS if c.name == "edge and face"))))
    driver.cut()
    driver.confirm_all()
    resumed_and_clamped_afresh(driver)
    assert driver.said.startswith("Setup one of four: "), "what was 'just told' is told just before it is asked"
    asked = []
    while driver.asked:
        asked.append(driver.asked)
        driver.gesture("hold")
    assert sorted(asked) == ["apron", "clamps", "edge and face", "guard"]


def test_say_again_repeats_the_trial_and_how_the_board_is_held() -> None:
    driver = Driver(job())
    driver.cut()
    driver.confirm_all()
    resumed_and_clamped_afresh(driver)
    assert driver.asked == "edge and face"
    driver.gesture("tap")
    assert driver.said.startswith("Setup one of four: ") and driver.said.endswith("marked face against the backing?")
    driver.gesture("hold")
    driver.gesture("tap")
    assert driver.said.startswith("Keep clear: "), "clamps are tight or not, however the board is held"


def test_the_next_setting_is_called_from_where_the_cut_was_tried() -> None:
    driver = Driver(job(plan(30, parts="A"), carriage=HANDWHEEL))
    driver.cut(2)
    driver.confirm_all()
    resumed_and_clamped_afresh(driver)
    (anew,) = [fact for fact in driver.facts if isinstance(fact, f.Reregistered)]
    assert Fraction(anew.setting) == driver.state.pattern.passes[1].setting == driver.state.carriage_at
    driver.confirm_all()
    assert driver.said.startswith("Set the carriage, start the saw, cut, draw back clear and tap. From turn seven")


def test_going_back_to_the_cut_that_was_tried_starts_from_the_earlier_place_and_not_from_zero() -> None:
    driver = Driver(job(plan(30, parts="A"), carriage=HANDWHEEL))
    driver.cut(2)
    driver.confirm_all()
    resumed_and_clamped_afresh(driver)
    moved = "from turn one three, mark four one: down six turns and thirty-two, past it; then up"
    assert driver.asked == "edge and face"
    driver.heard("back")
    driver.gesture("hold")
    assert driver.kinds == ["stepped_back", "check_opened"]
    driver.confirm_all()
    assert f"tap. {moved}" in driver.said.lower()


def test_an_interruption_after_the_trial_looks_for_the_carriage_there() -> None:
    driver = Driver(job(plan(30, parts="A")))
    driver.cut(2)
    driver.confirm_all()
    resumed_and_clamped_afresh(driver)
    driver.resume()
    assert "Does the carriage still read one two point zero two, untouched?" in driver.said
