"""The figures of a mishap: what is said back is what is used, and none is taken that can't be."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.joinery.model import Carriage
from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.screens.view_heading import heading_of
from assistant.session import facts as f
from assistant.session.concerned import cut_too_shallow
from assistant.session.state import with_mask
from assistant.session.turn import view
from assistant.wording.prompts import Words
from tests.session.driver import Driver
from tests.session.jobs import job, plan
from tests.session.test_mishaps import answers, of, tell

INCH = Fraction(254, 10)


def standing_by(carriage: Carriage | None = None, kerf: Fraction = Fraction(318, 100), cut: int = 1) -> Driver:
    """Two boards of part A on a board of five 6 mm segments, so many passes cut, and standing by."""
    driver = Driver(job(plan(30, 6, count=2, parts="A"), carriage=carriage, kerf=kerf))
    driver.cut(cut)
    driver.confirm_all()
    driver.heard("stand by")
    return driver


def inches(kerf: Fraction) -> Driver:
    return standing_by(Carriage(resolution=Fraction(254, 10000), unit="in"), kerf * INCH)


@pytest.mark.parametrize("mishap", [Mishap.KERF, Mishap.BLADE])
@pytest.mark.parametrize(
    ("driver", "said", "shown"),
    [
        (inches(Fraction(1255, 10000)), "Kerf zero point one two five five inches?", "0.1255 in?"),
        (inches(Fraction(12345, 100000)), "Kerf zero point one two three four five inches?", "0.12345 in?"),
        (inches(Fraction(1, 8)), "Kerf one eighth of an inch?", "1/8 in?"),
        (standing_by(kerf=Fraction("3.175")), "Kerf three point one seven five millimetres?", "3.175 mm?"),
    ],
    ids=["four places", "five places", "a fraction", "millimetres"],
)
def test_the_kerf_as_it_is_is_said_back_and_kept_exactly(mishap: Mishap, driver: Driver, said: str, shown: str) -> None:
    """A kerf is calibrated, or written into the shop file, finer than any figure that can be said."""
    copy = Driver(state=driver.state)
    kerf = copy.state.the_job.kerf
    tell(copy, mishap)
    answers(copy, "yes")
    assert said in copy.said
    figures = Words(copy.state.the_job, figures=True)
    asked = view(copy.state).asked
    assert asked is not None and shown in figures.one(asked)
    large = heading_of(view(copy.state), figures).left
    assert large[0] == "KERF" and large[1].casefold() == shown, "as it is read from afar"
    answers(copy, "yes")
    assert f"{said.removesuffix('?')}, as before" in copy.said
    answers(copy, "yes")
    (fact,) = of(copy, f.JobExtended)
    assert isinstance(fact, f.JobExtended) and Fraction(fact.kerf) == kerf == copy.state.the_job.kerf


def test_a_kerf_that_is_said_is_used_as_it_is_said() -> None:
    driver = inches(Fraction(1255, 10000))
    tell(driver, Mishap.KERF)
    answers(driver, "yes", 126)
    assert "Kerf zero point one two six inches?" in driver.said
    answers(driver, "yes")
    assert "Kerf zero point one two six inches instead of zero point one two five five inches" in driver.said
    answers(driver, "yes")
    assert driver.state.the_job.kerf == Fraction(126, 1000) * INCH


def test_taps_go_up_from_the_kerf_as_it_is_to_the_next_step_and_round() -> None:
    driver = inches(Fraction(1255, 10000))
    tell(driver, Mishap.KERF)
    answers(driver, "yes", "tap")
    assert "Kerf zero point one two six inches?" in driver.said
    answers(driver, *["tap"] * 19)
    assert "Kerf zero point one four five inches?" in driver.said
    answers(driver, "tap")
    assert "Kerf zero point one zero five inches?" in driver.said
    answers(driver, *["tap"] * 20)
    assert "Kerf one eighth of an inch?" in driver.said


def asked_for_a_figure(mishap: Mishap, cut: int = 2, **kinds: object) -> Driver:
    """The board is 30 mm wide, the cuts are 10.3 mm deep, and pass 2, the last one, ends at its socket's far wall."""
    a_job = job(plan(30, 6, count=2, parts="A"))
    driver = Driver(replace(a_job, **kinds))  # type: ignore[arg-type]
    driver.cut(cut)
    driver.confirm_all()
    driver.heard("stand by")
    tell(driver, mishap)
    answers(driver, "yes", *(["no", "yes"] if mishap == Mishap.MISPLACED else []))
    assert driver.state.question and driver.state.question.name == "figure"
    return driver


def refused(driver: Driver, why: str) -> None:
    """It is said, and the figure asked for again; nothing else comes of it."""
    assert why in driver.said, driver.said
    question = driver.state.question
    assert question and (question.name, question.figure) == ("figure", 0) and not driver.kinds
    answers(driver, "yes")
    assert driver.state.question and driver.state.question.name == "figure", "a long press can't agree to it"


def test_cuts_are_no_deeper_than_twice_what_they_should_be() -> None:
    driver = asked_for_a_figure(Mishap.DEEP)
    depth = driver.state.pattern.depth
    assert depth == Fraction("12.3")
    for figure, said in ((124, "Twelve point four millimetres"), (4000, "Four hundred millimetres")):
        driver.heard(Intent.FIGURE, figure)
        refused(driver, f"{said} can't be right: these cuts should be only twelve point three millimetres deep. How")
    answers(driver, 123, "yes")
    assert driver.state.question and driver.state.question.name == "verdict", "as deep again is refused by nothing"


def test_cuts_are_no_deeper_than_the_blade_reaches() -> None:
    driver = asked_for_a_figure(Mishap.DEEP, highest=Fraction("12.8"))
    driver.heard(Intent.FIGURE, 6)
    refused(
        driver,
        "Zero point six millimetres can't be right: these cuts should be twelve point three millimetres deep, and the "
        "blade reaches no higher than twelve point eight millimetres. How much too deep are they",
    )
    answers(driver, *["tap"] * 5)
    assert driver.state.question and driver.state.question.figure == 5
    answers(driver, "tap")
    assert driver.state.question and driver.state.question.figure == 1, "taps go round before that"
    answers(driver, 5, "yes")
    assert driver.state.question and driver.state.question.name == "verdict"


def test_how_high_another_blade_reaches_is_not_known() -> None:
    driver = asked_for_a_figure(Mishap.DEEP, highest=Fraction("12.8"), blade_since=1)
    answers(driver, 6, "yes")
    assert driver.state.question and driver.state.question.name == "verdict"


@pytest.mark.parametrize("mishap", [Mishap.DEEP, Mishap.MISPLACED])
def test_a_figure_of_nought_is_refused_aloud(mishap: Mishap) -> None:
    driver = asked_for_a_figure(mishap)
    driver.heard(Intent.FIGURE, 0)
    refused(driver, "Zero millimetres can't be right: if nothing is wrong, double tap.")


@pytest.mark.parametrize(
    ("figure", "said"), [(0, "A kerf of zero can't"), (1000, "Ten millimetres can't be right for")]
)
def test_so_is_a_kerf_that_no_blade_has(figure: int, said: str) -> None:
    driver = asked_for_a_figure(Mishap.KERF)
    driver.heard(Intent.FIGURE, figure)
    assert said in driver.said and driver.state.question and driver.state.question.figure == 0 and not driver.kinds


@pytest.mark.parametrize("figure", [0, 5])
def test_so_is_a_pass_that_there_is_not(figure: int) -> None:
    driver = asked_for_a_figure(Mishap.MISSED)
    driver.heard(Intent.FIGURE, figure)
    refused(driver, f"There is no pass {'zero' if not figure else 'five'}")


def test_a_kerf_that_would_miss_the_board_is_misheard() -> None:
    """Pass 1 begins 5.98 mm off the edge, so that 24.03 mm farther its kerf would lie beside the other edge."""
    driver = asked_for_a_figure(Mishap.MISPLACED)
    question = driver.state.question
    assert question and question.pass_ == 2
    one = driver.state.pattern.passes[1]
    assert one.kerf_to == Fraction("12.025")
    limit = 30 - one.kerf_from
    figure = -(-limit // Fraction(1, 10))
    driver.heard(Intent.FIGURE, int(figure))
    refused(driver, "can't be right: so far off, pass two would miss the board, which is thirty millimetres wide. How")
    answers(driver, int(figure) - 1, "yes")
    assert driver.state.question and driver.state.question.name == "side"
    answers(driver, "yes")
    refused(driver, "can't be right: so far off, pass two would miss the board")
    answers(driver, 120, "yes", "yes")
    assert driver.state.question and driver.state.question.name == "verdict", "on that side it would just touch it"


def test_cuts_that_are_not_deep_enough_take_no_figure() -> None:
    """The blade is raised to the depth that they should have had, whatever was missing."""
    driver = standing_by()
    tell(driver, Mishap.SHALLOW)
    answers(driver, "yes")
    assert driver.state.question and driver.state.question.name == "verdict"
    driver.heard(Intent.FIGURE, 5)
    assert not driver.kinds and driver.state.question and driver.state.question.figure == 0 and not driver.said


def test_an_end_whose_only_cut_at_this_height_was_taken_back_is_not_too_shallow() -> None:
    driver = standing_by(cut=4)
    state = driver.state
    first, second = state.the_job.order[:2]
    elsewhere = with_mask(state.cuts, second, 0b0011)
    made_now = with_mask(state.since_height, second, 0b0100)
    state = replace(state, setup=first, cuts=elsewhere, since_height=made_now)
    assert second not in cut_too_shallow(state), "what is left of it was cut at a height that was right"
    assert cut_too_shallow(replace(state, cuts=with_mask(state.cuts, second, 0b0111)))[second] == 0b0111
