"""Plans to draw, by hand and by hypothesis, and the requirements for every page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction as F
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from hypothesis import assume
from hypothesis import strategies as st

from assistant.drawings.letters import is_known
from assistant.drawings.picture import Item, Line, Page, Point, Shape, Text
from assistant.errors import BadInput
from assistant.joinery.lined import Lining
from assistant.joinery.model import Blade, Carriage
from assistant.joinery.slots import Slot, evenly
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.job import build_job
from assistant.plans.model import BoardPlan, Check, Job, JointPlan, Plan, Shop
from tests.session.jobs import HANDWHEEL

CHECKS = tuple(check for check in DEFAULT_CHECKS if check.name != "setting bar out")
BOTH = (BoardPlan("long side", "A", 2, 2), BoardPlan("short side", "B", 2, 1, 2))
DIVIDED = (BoardPlan("long piece", "A", 2, 1, 2),)
STEPS = Carriage("steps", F(1, 400), unit="mm", zero="inside")


def plan_of(
    width: F | int = 84,
    finger: F | int = 6,
    *,
    boards: tuple[BoardPlan, ...] = BOTH,
    title: str = "Trays",
    **joint: object,
) -> Plan:
    """An even joint."""
    kind = JointPlan("even", finger=F(finger), **joint)  # type: ignore[arg-type]
    return Plan(title, "mm", F(width), {"A": F(12), "B": F(10)}, kind, boards)


def lined_plan(parts: tuple[str, ...] = ("A",), width: int = 72, finger: int = 12) -> Plan:
    joint = JointPlan("lined", finger=F(finger))
    thick = {"A": F(12), "B": F(10)}
    lining = Lining(F(3, 2), parts)
    return Plan("Lined", "mm", F(width), thick, joint, BOTH, "black cherry", lining=lining, lining_species="white ash")


def slotted_plan(slots: tuple[Slot, ...], width: F | int = 296) -> Plan:
    joint = JointPlan("slots", clearance=F(15, 100))
    return Plan("Dividers", "mm", F(width), {"A": F(12), "B": F(12)}, joint, DIVIDED, slots=slots)


def shop_of(carriage: Carriage | None = None, blade: Blade | None = None, checks: tuple[Check, ...] = CHECKS) -> Shop:
    return Shop("mm", blade or Blade(F(318, 100)), carriage or Carriage(), checks=checks)


def job_of(
    plan: Plan, carriage: Carriage | None = None, kerf: F | None = None, checks: tuple[Check, ...] = CHECKS
) -> Job:
    return build_job(plan, shop_of(carriage, Blade(kerf) if kerf else None, checks))


@st.composite
def carriages(draw: st.DrawFn) -> Carriage:
    kind = draw(st.sampled_from([Carriage(), STEPS, HANDWHEEL, Carriage("readout", F(254, 10_000), unit="in")]))
    side = draw(st.sampled_from(["left", "right"]))
    return Carriage(kind.kind, kind.resolution, kind.pitch, kind.divisions, kind.unit, kind.zero, stop_side=side)


@st.composite
def joints(draw: st.DrawFn) -> tuple[Plan, Job]:
    """40 to 600 mm wide, 3 fingers to well over 60; every layout and carriage, both stop sides."""
    width = F(draw(st.integers(40, 600)))
    count = draw(st.integers(3, 130))
    finger = max(width / count, F(21, 10))
    kerf = min(F(318, 100), finger - F(1, 10))
    kind = draw(st.sampled_from(["even", "even", "listed", "lined", "slots"]))
    title = draw(st.text(max_size=40))
    if kind == "slots":
        plan = slotted_plan(evenly(width, max(1, min(count, int(width / 7))), F(4), F(draw(st.integers(3, 10)))), width)
    elif kind == "lined":
        finger = max(finger, F(10))
        parts = draw(st.sampled_from([("A",), ("B",), ("A", "B")]))
        joint = JointPlan("lined", finger=finger, remainder="stretch")
        lining = Lining(F(draw(st.sampled_from([1, 2]))), parts)
        plan = Plan(title, "mm", width, {"A": F(12), "B": F(9)}, joint, BOTH, lining=lining)
    elif kind == "listed":
        half = draw(st.lists(st.integers(4, 40), min_size=2, max_size=20))
        joint = JointPlan("listed", widths=tuple(map(F, half)), mirror=True)
        plan = Plan(title, "mm", F(2 * sum(half) - half[-1]), {"A": F(20), "B": F(6)}, joint, BOTH)
    else:
        plan = plan_of(
            width, finger, title=title, remainder=draw(st.sampled_from(["far edge", "both edges", "stretch"]))
        )
    try:
        return plan, job_of(plan, draw(carriages()), kerf)
    except BadInput:
        assume(False)
        raise


class Box(NamedTuple):
    """Where a text lies, mm."""

    left: float
    bottom: float
    right: float
    top: float


DESCENDING = frozenset("gjpqyQ,;()[]{}|/@$_\\")


def box_of(text: Text) -> Box:
    """How far its letters can reach: down for letters with a tail, up for those with accents."""
    x, y = text.start
    tailless = all(is_known(letter) for letter in text.text) and not DESCENDING & set(text.text)
    below = text.cap * (0.04 if tailless else 0.32)
    above = text.cap * (1.04 if text.text.isascii() else 1.34)
    if text.turned:
        return Box(x - above, y, x + below, y + text.width)
    return Box(x, y - below, x + text.width, y + above)


def texts(items: Iterable[Item]) -> list[Text]:
    return [item for item in items if isinstance(item, Text)]


def overlaps(items: Iterable[Item]) -> list[tuple[str, str]]:
    """Pairs of labels whose boxes meet."""
    boxes = [(box_of(one), one.text) for one in texts(items) if one.text.strip()]
    boxes.sort(key=lambda pair: pair[0].left)
    found = []
    for n, (first, name) in enumerate(boxes):
        for second, other in boxes[n + 1 :]:
            if second.left >= first.right:
                break
            if first.bottom < second.top and second.bottom < first.top:
                found.append((name, other))
    return found


def struck(items: tuple[Item, ...] | list[Item]) -> list[str]:
    """Labels that a line runs through; one that only touches a label's edge, by 0.05 mm at most, does not."""
    strokes = shapely.linestrings(list(_strokes(items)))
    labels = [(one.text, box_of(one)) for one in texts(items)]
    inner = [(text, (b.left + 0.05, b.bottom + 0.05, b.right - 0.05, b.top - 0.05)) for text, b in labels]
    inner = [(text, sides) for text, sides in inner if sides[0] < sides[2] and sides[1] < sides[3]]
    if not len(strokes) or not inner:
        return []
    sides = np.array([sides for _, sides in inner])
    hit, _ = shapely.STRtree(strokes).query(shapely.box(*sides.T), predicate="intersects")
    return [inner[n][0] for n in np.unique(hit)]


def _strokes(items: tuple[Item, ...] | list[Item]) -> Iterator[tuple[Point, Point]]:
    for item in items:
        if isinstance(item, Line):
            yield item.a, item.b
        elif isinstance(item, Shape):
            yield from pairwise([*item.points, item.points[0]])


def outside(page: Page, margin: float = 10.0) -> list[str]:
    """Labels that reach out of the page's margins."""
    boxes = [(one.text, box_of(one)) for one in texts(page.items)]
    return [
        text
        for text, box in boxes
        if box.left < margin
        or box.right > page.width - margin + 0.5
        or box.bottom < margin
        or box.top > page.height - margin
    ]
