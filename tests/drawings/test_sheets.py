"""Every page of every plan: labels can be read, none is over another, and no line runs through one."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import HealthCheck, example, given, settings

from assistant.drawings.models import model
from assistant.drawings.picture import CAP, Page
from assistant.drawings.sheets import paper_for, sheets
from assistant.joinery.model import Carriage
from assistant.joinery.slots import Slot, evenly
from assistant.plans.model import Job, Plan
from tests.drawings.drawn import (
    HANDWHEEL,
    job_of,
    joints,
    lined_plan,
    outside,
    overlaps,
    plan_of,
    slotted_plan,
    struck,
    texts,
)

SEVERAL = {
    "three fingers": (plan_of(40, F(40, 3)), None),
    "sixty on 195 mm": (plan_of(195, F(13, 4)), None),
    "a hundred and twenty on 600 mm": (plan_of(600, 5), Carriage(stop_side="right")),
    "two metres": (plan_of(2000, 10), None),
    "inches by hand": (plan_of(F(889, 10), F(127, 20)), HANDWHEEL),
    "lined": (lined_plan(), None),
    "both lined": (lined_plan(("A", "B")), Carriage(stop_side="right")),
    "many linings": (lined_plan(width=600), None),
    "dividers": (slotted_plan(evenly(F(296), 5, F(6), F(5))), None),
    "slots of two depths": (slotted_plan((Slot(F(0), F(10), F(5)), Slot(F(40), F(6), F(9)))), HANDWHEEL),
}
LARGEST = ("two metres", "many linings")


def _check(plan: Plan, job: Job) -> tuple[Page, ...]:
    pages = sheets(plan, job, paper_for(job.carriage.unit))
    for page in pages:
        assert overlaps(page.items) == []
        assert struck(page.items) == []
        assert outside(page) == []
        assert all(text.cap >= CAP for text in texts(page.items)), "legible at arm's length"
    return pages


@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.long if n in LARGEST else ()) for n in SEVERAL])
def test_labels_never_meet_in_these(name: str) -> None:
    plan, carriage = SEVERAL[name]
    job = job_of(plan, carriage, F(5, 2))
    _check(plan, job)
    items = model(plan, job)
    assert overlaps(items) == [] and struck(items) == []


def _check_all(plan: Plan, job: Job) -> None:
    """Paper and CAD alike."""
    _check(plan, job)
    items = model(plan, job)
    assert overlaps(items) == []
    assert struck(items) == []


SLOW = (HealthCheck.too_slow, HealthCheck.filter_too_much)


@settings(max_examples=4, deadline=None, suppress_health_check=SLOW)
@given(joints())
@example((plan_of(600, F(25, 10)), job_of(plan_of(600, F(25, 10)), None, F(2))))
def test_labels_never_meet_at_any_size_or_count(made: tuple[Plan, Job]) -> None:
    """40 to 600 mm, 3 to 130 fingers and sockets, all layouts and carriages, both sides."""
    _check_all(*made)


@pytest.mark.long
@pytest.mark.timeout(900)
@settings(max_examples=40, deadline=None, suppress_health_check=SLOW)
@given(joints())
def test_labels_never_meet_at_many_sizes_and_counts(made: tuple[Plan, Job]) -> None:
    _check_all(*made)


def test_what_each_page_shows() -> None:
    plan = lined_plan()
    names = list(dict.fromkeys(page.name for page in _check(plan, job_of(plan))))
    assert names == [
        "Part A, stage 1",
        "Part A blank, stage 1",
        "Part A, stage 2",
        "Part B, stage 2",
        "the joint",
        "stages",
        "strips at full size",
        "cut sheet",
    ]


def test_every_page_has_its_number_and_the_caution() -> None:
    plan = plan_of()
    pages = _check(plan, job_of(plan))
    for number, page in enumerate(pages, start=1):
        words = " ".join(text.text for text in texts(page.items))
        assert f"page {number} of {len(pages)}" in words
        assert "Kerfcall never stops the blade." in words
        assert "local regulations and safe working practice come first" in words


@pytest.mark.parametrize(("unit", "paper"), [("mm", (210.0, 297.0)), ("in", (215.9, 279.4))])
def test_the_paper_is_that_of_the_units_land(unit: str, paper: tuple[float, float]) -> None:
    """ISO 216 A4; ANSI/ASME Y14.1 size A."""
    plan = plan_of()
    pages = sheets(plan, job_of(plan, Carriage(unit=unit)), paper_for(unit))
    assert {tuple(sorted((page.width, page.height))) for page in pages} == {paper}


def test_without_its_mates_boards_the_joint_is_still_shown() -> None:
    plan = plan_of(boards=plan_of().boards[:1])
    assert "the joint" in {page.name for page in _check(plan, job_of(plan))}


def test_a_title_of_any_length_is_cut_to_the_page() -> None:
    for title in ("M" * 300, "日本" * 80, "", "<&>\"'"):
        plan = plan_of(title=title)
        _check(plan, job_of(plan))
