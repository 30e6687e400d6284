"""The test joint before a job: whether one is worth cutting, and what is typed of how it fits."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.calibrating.joints import joint_like, was_right
from assistant.calibrating.learned import GAP, LOOSE, TIGHT, Reported
from assistant.joinery.units import Unit
from assistant.plans.model import Plan, Shop
from assistant.plans.shop_writer import HistoryEntry
from assistant.plans.test_joint import can_be_tested

_TYPED = {"right": TIGHT, "tight": TIGHT, "loose": LOOSE, "gap": GAP}


@dataclass(frozen=True, slots=True)
class Untested:
    """No joint like the plan's is known to come out right. joint: the last one like it, which didn't; None for none."""

    joint: HistoryEntry | None


def untested(plan: Plan, shop: Shop) -> Untested | None:
    """Why a test joint is worth cutting; None if one like it came out right, or the plan has none that can be tested.

    Raises CouldNotRun and NoSuchPart if the history can't be read.
    """
    if not can_be_tested(plan):
        return None
    joint = joint_like(shop, plan)
    return None if joint is not None and was_right(joint) else Untested(joint)


def parse_report(typed: str, unit: Unit) -> tuple[Reported, str] | None:
    """(what, amount) as in `JointReport`, of "right", "tight 0.05", "loose 0.05" or "gap 0.1"; None for anything else.

    unit: of a bare number. It is the plan's, even where the plan has been changed since it was cut.
    """
    word, _, length = typed.strip().partition(" ")
    word, length = word.casefold(), length.strip()
    if word not in _TYPED or (word == "right") != (not length):
        return None
    length = length or "0"
    return _TYPED[word], f"{length} {unit}" if length[-1].isnumeric() else length
