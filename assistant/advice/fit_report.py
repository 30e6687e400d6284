"""What `fit` reports in both text and JSON: figures, warnings, and what is not covered."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from assistant.advice.fit import SLOT, Errors, swells
from assistant.advice.prediction import FitOutcome, Movement, missing_parts
from assistant.advice.squareness import Squareness, most_out_of_square, out_of_square
from assistant.joinery.units import PLACES, Unit, at_least, format_length
from assistant.plans.model import Layout, Plan

# A gap wider than this shows and weakens the glue line (common practice, no source).
USUAL_LIMITS = {Unit.MM: "0.15 mm", Unit.INCH: "0.006 in"}
WIDEST_LIMIT = Fraction(5)


@dataclass(frozen=True, slots=True)
class FitReport:
    """Everything that the command reports.

    limit: the widest good gap, mm. assumed: uncertainties that the plan doesn't give.
    """

    plan: Plan
    kerf: Fraction
    errors: Errors
    assumed: tuple[str, ...]
    limit: Fraction
    joints: int
    outcomes: tuple[FitOutcome, ...]
    movements: tuple[Movement, ...]
    square: Squareness


def in_unit(mm: float, unit: Unit) -> str:
    return format_length(Fraction(mm), unit, PLACES[unit])


def least_square(report: FitReport) -> tuple[float, float, float]:
    """(clearance, depth, degrees) of the joint that can take the least out-of-squareness; mm, mm, degrees."""
    each = ((one.prediction.joint.clearance, one.prediction.depth) for one in report.outcomes)
    return min(((c, d, most_out_of_square(c, d)) for c, d in each), key=lambda found: found[2])


def difference(report: FitReport) -> float | None:
    """How much wider part A has become than part B, mm; None if not known, or for slots."""
    strains = [one.strain for one in report.movements]
    if len(strains) != 2 or strains[0] is None or strains[1] is None:
        return None
    return (strains[0] - strains[1]) * float(report.plan.width)


def warnings(report: FitReport) -> Iterator[str]:
    """Warnings of what may spoil the joint."""
    unit = report.plan.unit
    for one in report.outcomes:
        joint = one.prediction.joint
        if joint.gaps[0].side != SLOT and swells(joint.clearance, joint.fingers):
            given, enough = in_unit(joint.clearance, unit), at_least(Fraction(8, 100), unit)
            yield (
                f"{one.prediction.name}: with {joint.fingers} fingers and a clearance of {given}, water-based glue "
                f"swells the fingers before they are together: give {enough} or more, or use a glue without water"
            )
    if report.square.trouble:
        yield f"squareness is not known: {report.square.trouble}"
    degrees = report.square.degrees
    clearance, depth, most = least_square(report)
    if degrees is not None and degrees > most:
        lean, most_lean = (in_unit(x, unit) for x in (out_of_square(degrees, depth), clearance / 4))
        yield (
            f"blade and carriage are {degrees:g} degrees out of square, so walls lean {lean} over the depth. That is "
            f"more than a quarter of the clearance, {most_lean}: the joint binds as it closes. Set them square"
        )
    for movement in report.movements:
        if movement.strain is not None and not movement.holds:
            yield f"part {movement.part}: movement is known only from 6 to 14 % moisture: outside, take it as a guide"
    differ = difference(report)
    if differ is not None and abs(differ) > report.plan.joint.clearance:
        yield (
            f"by glue-up the parts' walls are {in_unit(abs(differ), unit)} apart at the far edge, more than the "
            f"clearance: let the wood of both settle in the same air, then cut them and glue them up in it"
        )
    unknown = [one.part for one in report.movements if one.strain is None]
    if unknown and len(report.movements) == 2:
        yield f"the wood of part {' and '.join(unknown)} is not known, so the prediction leaves out its movement"


def not_covered(plan: Plan) -> Iterator[str]:
    """What this prediction leaves out."""
    if plan.joint.slotted:
        yield "how much the pieces' real thickness differs from the slots' width, and slots at the board's edges"
        yield "whether the slots of crossing pieces meet: in a grid, use the same spacing and the same stop for both"
    if plan.joint.layout == Layout.LINED:
        yield "how even the thickness of the lines is, and movement of the blank before it is glued in"
    for part in missing_parts(plan):
        yield f"part {part}, of which the plan has no board: it is assumed to be cut on this machine from the same zero"
    yield "boards that are cupped or not flat"
