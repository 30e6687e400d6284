"""The figure can be read: no label over another, none struck through, nothing outside, large enough."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from math import radians, tan

import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.drawings.holding import Holding, holding_of
from assistant.drawings.holding_picture import HIGH, SMALL, WIDE, picture
from assistant.drawings.picture import Item, Line, Shape
from assistant.joinery.model import Carriage
from assistant.plans.job import build_job
from assistant.plans.model import Job, Plan
from tests.drawings.demos import demo
from tests.drawings.drawn import box_of, job_of, joints, overlaps, plan_of, shop_of, struck, texts
from tests.plans.files import DEMO_PLANS, DEMO_SHOPS

BARS, COPIES, SIDES = st.booleans(), st.integers(1, 9), st.sampled_from(["left", "right"])


def inside(items: tuple[Item, ...]) -> bool:
    for item in items:
        if isinstance(item, Line | Shape):
            points = item.points if isinstance(item, Shape) else (item.a, item.b)
            if not all(0 <= x <= WIDE and 0 <= y <= HIGH for x, y in points):
                return False
        else:
            box = box_of(item)
            if not (box.left >= 0 and box.bottom >= 0 and box.right <= WIDE and box.top <= HIGH):
                return False
    return True


def legible(holding: Holding) -> None:
    items = picture(holding).items
    assert overlaps(items) == []
    assert struck(items) == []
    assert inside(items)
    assert min(text.cap for text in texts(items)) >= SMALL
    # Hatching stays within the rectangle that no clamp may be in, and is there.
    (rectangle,) = (item for item in items if isinstance(item, Shape) and item.layer == "clear")
    area = shapely.Polygon(rectangle.points).buffer(1e-6)
    strokes = [item for item in items if isinstance(item, Line) and item.layer == "clear"]
    assert strokes and all(area.covers(shapely.LineString([line.a, line.b])) for line in strokes)


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much], deadline=None)
@given(joints(), BARS, COPIES)
def test_no_label_meets_another_or_a_line(made: tuple[Plan, Job], bar: bool, copies: int) -> None:
    job = made[1]
    if bar:
        job = replace(job, carriage=replace(job.carriage, register="setting bar"))
    for setup in {(setup.pattern, setup.end): setup for setup in job.setups}.values():
        legible(holding_of(job, replace(setup, copies=copies)))


@pytest.mark.parametrize("plan", DEMO_PLANS, ids=lambda path: path.stem)
@pytest.mark.parametrize("shop", DEMO_SHOPS, ids=lambda path: path.stem)
def test_those_of_the_demo_plans_can_be_read(plan, shop) -> None:  # type: ignore[no-untyped-def]
    _, job = demo(plan.stem, shop.stem)
    for setup in job.setups:
        legible(holding_of(job, setup))


def test_two_metres_away_the_words_that_decide_can_be_read() -> None:
    """In a region 200 px high on a page, the smallest there is, at 96 px to the inch as in CSS.

    Normal sight reads letters of 5 minutes of arc (recalled from memory; so standard eye charts are made), which is
    2.9 mm at two metres. Names that decide nothing, such as BLADE, may be smaller.
    """
    job = job_of(plan_of())
    size = 200 / HIGH * 25.4 / 96
    needed = 2000 * tan(radians(5 / 60))
    for setup in job.setups[:4]:
        words = {text.text: text.cap * size for text in texts(picture(holding_of(job, setup)).items)}
        for word in (f"END {setup.end}", "EDGE", "MARKED FACE", "OTHER FACE", "STOP", "BACKING", "NO CLAMP"):
            assert words[word] >= 1.15 * needed, word


def test_what_is_cut_past_the_edges_has_room() -> None:
    """A dado stack of 20 mm that overruns the far edge of a narrow board by half its width."""
    plan = replace(plan_of(60, 20), joint=replace(plan_of(60, 20).joint, clearance=F(0)))
    shop = shop_of()
    job = build_job(plan, replace(shop, blade=replace(shop.blade, kerf=F(8), overrun=F(6))))
    for setup in job.setups:
        holding = holding_of(job, setup)
        legible(holding)
    assert any(holding_of(job, setup).lowest < 0 for setup in job.setups)
    assert any(holding_of(job, setup).highest > 60 for setup in job.setups)


def test_a_blade_too_thin_to_be_seen_true_is_not_drawn_into_the_bar() -> None:
    """Beside the edge of a board so wide that its kerf is half a line."""
    job = job_of(plan_of())
    first, wide = holding_of(job, job.setups[0]), F(937)
    narrow = replace(first, bar=True, width=wide, lowest=F(0), highest=wide, kerf=(F(0), F(2)))
    for side in ("left", "right"):
        for copies in (1, 4):
            legible(replace(narrow, stop_side=side, copies=copies))


def test_a_longer_cut_a_higher_blade_and_another_kerf_change_the_figure() -> None:
    """Nothing is drawn beforehand: each length that the setup has moves something."""
    job = job_of(plan_of(), Carriage())
    holding = holding_of(job, job.setups[0])
    whole = picture(holding)
    for changes in (
        {"lowest": F(1)}, {"highest": F(60)}, {"depth": F(4)}, {"above": F(90)}, {"kerf": (F(30), F(33))},
        {"width": F(120)}, {"stop_side": "right"}, {"bar": True}, {"face": "other"}, {"end": 2}, {"turned": True},
        {"copies": 2}, {"reach": "6 to 84 mm"}, {"height": "29 mm"},
    ):  # fmt: skip
        assert picture(replace(holding, **changes)) != whole, changes
