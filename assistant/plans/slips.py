"""Finds mistyped allowances in a plan: impossible ones are refused, unlikely ones give a warning.

A misplaced decimal point, or inches read as millimetres, still gives a length that can be laid out. Only its size
compared with the fingers, the kerf and the stock gives it away. The bounds are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from assistant.errors import Fault
from assistant.joinery.layout import MOST_SEGMENTS
from assistant.joinery.model import Blade
from assistant.joinery.units import MM_PER_UNIT, Unit, plain_length
from assistant.plans.model import JointPlan, Plan
from assistant.plans.reader import Table

ZERO = Fraction(0)
MOST_CLEARANCE = Fraction(3, 10)  # mm; with more, the glue has to fill a gap, and the joint shows it
MOST_SAND = Fraction(2)  # mm; nobody sands off more
USUAL_CLEARANCE = (Fraction(3, 100), MOST_CLEARANCE)
USUAL_SAND = (Fraction(1, 10), Fraction(1))
AS_A_RULE = {Unit.MM: ("0.1 mm", "0.3 mm"), Unit.INCH: ("0.004 in", "1/64 in")}
"""The usual clearance and sanding allowance, by the plan's unit."""
CLEARANCE, GLUE, SAND = "joint.clearance", "lining.glue_clearance", "joint.sand_allowance"
NEGATIVE = "can't be below zero: each finger would be wider than its socket and would split the wood"
NO_LESS = "give 0 or more; if the joint is still loose with 0, measure the kerf again"


@dataclass(frozen=True, slots=True)
class _Allowance:
    """An allowance in a plan, mm, and its key."""

    key: str
    size: Fraction


def read_clearance(table: Table, key: str, unit: Unit, default: Fraction, most: Fraction) -> Fraction:
    """The clearance at `key`, mm, or the default if it is missing or faulty. Faults are noted.

    most: inclusive, mm.
    """
    value = table.length(key, unit)
    if value is None:
        return default
    if value < 0:
        table.document.fault(NEGATIVE, table.given(key, unit), table.path(key), NO_LESS)
    elif value > most:
        what = f"must be {plain_length(most, unit)} or less"
        mend = f"give a smaller length{_did_you_mean(value, unit, USUAL_CLEARANCE)}"
        table.document.fault(what, table.given(key, unit), table.path(key), mend)
    else:
        return value
    return default


def faults(plan: Plan, blade: Blade | None = None) -> Iterator[Fault]:
    """A fault for each allowance that no joint can have, with its key only. blade: if given, its kerf counts too."""
    for each in _clearances(plan):
        what = _too_wide(plan, each.size, blade)
        if what:
            if each.size > MOST_CLEARANCE:
                mend = f"clearance is only the play that the glue needs, usually {AS_A_RULE[plan.unit][0]}"
                mend += _did_you_mean(each.size, plan.unit, USUAL_CLEARANCE)
            else:
                mend = f"give the {_widths(plan)[0]}'s real width"
            yield Fault(what, plain_length(each.size, plan.unit), each.key, mend)
    thinner = min(plan.thickness.values(), default=ZERO)
    if _is_sanded(plan) and plan.joint.sand_allowance >= thinner > 0:
        sand = plan.joint.sand_allowance
        what = f"is not less than the thickness of the stock, {plain_length(thinner, plan.unit)}"
        mend = f"it is only what you sand off at the end, usually {AS_A_RULE[plan.unit][1]}"
        mend += _did_you_mean(sand, plan.unit, USUAL_SAND)
        yield Fault(what, plain_length(sand, plan.unit), SAND, mend)


def mended(plan: Plan, blade: Blade | None = None) -> Plan:
    """The plan with a usual figure in place of each refused one.

    Its other faults then come to light, but not the consequences of these.
    """
    refused = {fault.where for fault in faults(plan, blade)}
    usual = JointPlan(plan.joint.layout)
    joint, lining = plan.joint, plan.lining
    if CLEARANCE in refused:
        joint = replace(joint, clearance=usual.clearance)
    if SAND in refused:
        joint = replace(joint, sand_allowance=usual.sand_allowance)
    if lining is not None and GLUE in refused:
        lining = replace(lining, glue_clearance=usual.clearance)
    return replace(plan, joint=joint, lining=lining)


def warnings(plan: Plan) -> Iterator[str]:
    """Warnings of allowances that can be cut but are unlikely to be meant."""
    for each in _clearances(plan):
        if each.size > MOST_CLEARANCE:
            over = f"more than {plain_length(MOST_CLEARANCE, plan.unit)} makes a loose glue joint"
            meant = _did_you_mean(each.size, plan.unit, USUAL_CLEARANCE)
            yield f"{each.key} is {plain_length(each.size, plan.unit)}, but {over}{meant}"
    sand = plan.joint.sand_allowance
    if _is_sanded(plan) and sand > MOST_SAND:
        over = f"more than {plain_length(MOST_SAND, plan.unit)} is a lot to sand off"
        yield f"{SAND} is {plain_length(sand, plan.unit)}, but {over}{_did_you_mean(sand, plan.unit, USUAL_SAND)}"


def _clearances(plan: Plan) -> Iterator[_Allowance]:
    yield _Allowance(CLEARANCE, plan.joint.clearance)
    if plan.lining is not None:
        yield _Allowance(GLUE, plan.lining.glue_clearance)


def _is_sanded(plan: Plan) -> bool:
    """Whether anything is left proud to be sanded off: not from a slotted board."""
    return not plan.joint.slotted


def _too_wide(plan: Plan, clearance: Fraction, blade: Blade | None) -> str:
    noun, widths = _widths(plan)
    narrowest = min(widths, default=ZERO)
    # Over 1,000 fingers on a board are refused by the layout itself.
    if 0 < narrowest <= 2 * clearance and plan.width <= narrowest * MOST_SEGMENTS:
        which = "a" if len(set(widths)) == 1 else "the narrowest"
        return f"is at least half the width of {which} {noun}, {plain_length(narrowest, plan.unit)}"
    if blade is not None and clearance >= blade.kerf:
        return f"is at least as wide as the kerf of {plain_length(blade.kerf, plan.unit)}"
    return ""


def _widths(plan: Plan) -> tuple[str, tuple[Fraction, ...]]:
    """The noun and the widths that the plan gives; a remainder at an edge is judged by the layout."""
    if plan.joint.slotted:
        return "slot", tuple(slot.width for slot in plan.slots)
    return "finger", plan.joint.widths or ((plan.joint.finger,) if plan.joint.finger is not None else ())


def _did_you_mean(size: Fraction, unit: Unit, usual: tuple[Fraction, Fraction]) -> str:
    """What was probably meant: the number in millimetres, or with its decimal point moved; "" if neither fits."""
    least, most = usual
    found = []
    as_millimetres = size / MM_PER_UNIT[unit]
    if unit != Unit.MM and least <= as_millimetres <= most:
        found.append(plain_length(as_millimetres))
    # The point is moved one to four places to the left: the first that fits is the most likely.
    shifted = (size / 10**places for places in range(1, 5))
    found += [plain_length(length, unit) for length in shifted if least <= length <= most][:1]
    return f": did you mean {', or '.join(found)}?" if found else ""
