"""The figures of a mishap: what is said back is what is used, and none is taken that can't be."""

from __future__ import annotations

from fractions import Fraction

import pytest

from assistant.joinery.model import Carriage
from assistant.plans.mishaps import Mishap
from assistant.session import facts as f
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
