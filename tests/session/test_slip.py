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
from assistant.session.slip import Trial, to_try, trial, wrong_kerfs
from assistant.session.state import State, WrongCut
from tests.session.driver import Driver
from tests.session.jobs import HANDWHEEL, few_checks, job, plan
from tests.session.test_halves import both_edges, two_ends


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


@pytest.mark.parametrize(
    ("cut", "wrong", "tried"),
    [
        # Pass 2 ends at its socket's far wall. Half a millimetre farther, its kerf has moved that wall; nearer, it lies
        # in the socket. A tenth is the step of what is measured.
        ((1, 2), [(2, "0.5")], (1, "near wall")),
        ((1, 2), [(2, "-0.5")], (2, "far wall")),
        ((2,), [(2, "0.1")], (2, "near wall")),
        ((2,), [(2, "-0.1")], (2, "far wall")),
        # Meant for pass 3, but right through the finger between, into the wall that pass 2 ends at.
        ((1, 2), [(3, "-6.5")], (1, "near wall")),
        # Nobody knows where: the walls of its own socket, and no others.
        ((1, 2, 3), [(3, "")], (2, "far wall")),
        ((1, 2, 3), [(3, ""), (1, "0.5")], (2, "far wall")),
        ((1, 2, 3), [(3, ""), (1, "-0.5")], (2, "far wall")),
        ((1, 2, 3), [(3, ""), (2, "0.5")], (1, "near wall")),
        ((1, 2, 3, 4), [(3, ""), (1, "")], None),
    ],
)
def test_a_wall_that_a_wrong_cut_may_have_moved_is_left_out(
    cut: tuple[int, ...], wrong: list[tuple[int, str]], tried: tuple[int, str] | None
) -> None:
    made = tuple(WrongCut(1, pass_, Fraction(off_by) if off_by else None) for pass_, off_by in wrong)
    found = trial(replace(cut_of("A", *cut), wrong=made))
    assert (found and (found.pass_, str(found.where))) == tried


def test_a_wrong_cut_in_another_end_is_no_matter() -> None:
    found = trial(replace(cut_of("A", 1, 2), wrong=(WrongCut(2, 2, Fraction(1, 2)),)))
    assert found is not None and (found.pass_, found.where) == (2, "far wall")


def test_a_wrong_cut_of_the_first_half_is_left_out_when_the_second_is_tried() -> None:
    """The fifth socket's first pass is the surest cut in reach; without it, the fourth socket's far wall is."""
    driver = Driver(two_ends())
    driver.cut(9)
    driver.count()
    surest = to_try(driver.state)
    assert surest is not None and surest.where == "kerf"
    found = to_try(replace(driver.state, wrong=(WrongCut(1, 9, None),)))
    assert found is not None and found.where == "far wall" and found.setting < surest.setting


def test_a_wrong_cut_of_the_first_half_is_where_it_is_with_the_other_edge_at_the_stop() -> None:
    """The middle socket is 36.025 to 41.975 mm off either edge; its first kerf, cut first, is the other edge's last."""
    driver = Driver(both_edges())
    first, second = driver.state.the_job.patterns[:2]
    wrong = WrongCut(1, len(first.passes), Fraction(-10))
    state = replace(driver.state, setup=2, cuts=(0, (1 << len(second.passes)) - 1, 0, 0), wrong=(wrong,))
    low = second.width - first.passes[-1].kerf_to + 10
    assert [one.kerf_from for one in wrong_kerfs(state, 2)] == [low - Fraction(1, 10)]


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
