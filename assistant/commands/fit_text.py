"""What `fit` reports, as lines to read, in the plan's unit."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from fractions import Fraction

from assistant.advice.fit import SLOT, Band, bands
from assistant.advice.fit_report import FitReport, difference, in_unit, least_square, not_covered, warnings
from assistant.advice.prediction import STEPS, FitOutcome, Verdict
from assistant.joinery.units import MM_PER_UNIT, PLACES, Unit, format_number, length_to_copy, plain_length
from assistant.plans.model import Grain

UNITS = {Unit.MM: "mm", Unit.INCH: "inches"}
GRAINS = {Grain.FLAT: "flat-sawn", Grain.QUARTER: "quarter-sawn", Grain.MIXED: "mixed grain"}
WIDTH = 100
LIMITS = (
    "Root-sum-square and worst case: every error at its limit, three standard uncertainties (k = 3). Root-sum-square "
    "takes the errors as independent. The worst case takes them all at once, each in its worst direction."
)
BESIDE = (
    "Side: the side of part A's finger that the gap is on. Where a gap is below zero, wood meets wood: the parts must "
    "slide along each other, if the gaps on the other side leave room for it."
)


def report_text(report: FitReport) -> Iterator[str]:
    """The prediction as lines to read, in the plan's unit."""
    plan = report.plan
    yield f"{plan.title}: will it go together?"
    yield f"Kerf {plain_length(report.kerf, plan.unit)}, clearance {plain_length(plan.joint.clearance, plan.unit)}."
    yield from _wrapped(_uncertainties(report))
    for one in report.outcomes:
        yield ""
        yield from _outcome(report, one)
    yield ""
    yield from _square(report)
    yield from _wood(report)
    for line in not_covered(plan):
        yield from _wrapped(f"Not covered: {line}")
    for line in warnings(report):
        yield from _wrapped(f"Warning: {line}")


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_on_hyphens=False)


def _uncertainties(report: FitReport) -> str:
    unit = report.plan.unit
    figures = ", ".join(
        f"{name} {in_unit(getattr(report.errors, name), unit)}" for name in ("setting", "kerf", "reference")
    )
    text = f"Standard uncertainties: {figures}."
    if report.assumed:
        which = "All are" if len(report.assumed) == 3 else " and ".join(report.assumed).capitalize()
        which += "" if len(report.assumed) == 3 else " is" if len(report.assumed) == 1 else " are"
        text += f" {which} assumed: give your own figures in [uncertainty] in the plan."
    return text


def _outcome(report: FitReport, one: FitOutcome) -> Iterator[str]:
    unit, joint = report.plan.unit, one.prediction.joint
    slots = joint.gaps[0].side == SLOT
    name = one.prediction.name
    yield f"{name[0].upper()}{name[1:]}, clearance {in_unit(joint.clearance, unit)}; in {UNITS[unit]}:"
    head = ("slot", "middle at", "play", "") if slots else ("wall", "at", "gap", "side")
    yield _row(*head, "root-sum-square", "worst case")
    for number, (gap, band) in enumerate(zip(joint.gaps, bands(joint, report.errors), strict=True), 1):
        at, middle = _shown(gap.at, unit), _shown(band.middle, unit)
        beside = "" if slots else gap.side
        yield _row(str(number), at, middle, beside, _range(band, band.rss, unit), _range(band, band.worst, unit))
    yield from _wrapped(LIMITS, "  ")
    if not slots:
        yield from _wrapped(BESIDE, "  ")
    room = "The gaps are on one side only: the joint can always slide open, so only the step at the edge counts."
    if one.room is not None:
        where = "Play in the tightest slot" if slots else "Room to slide at the tightest place"
        middle, rss, worst = (in_unit(one.room.middle - off, unit) for off in (0, one.room.rss, one.room.worst))
        room = f"{where}: {middle}, or {rss} by root-sum-square, or {worst} at worst. Below zero it jams."
    yield from _wrapped(room, "  ")
    yield from (line for text in _chances(report, one, slots) for line in _wrapped(text, "  "))


def _row(number: str, at: str, middle: str, beside: str, rss: str, worst: str) -> str:
    return f"  {number:>4}  {at:>10}  {middle:>8}  {beside:<6}  {rss:>20}  {worst:>20}".rstrip()


def _shown(mm: float, unit: Unit) -> str:
    return format_number(Fraction(mm) / MM_PER_UNIT[unit], PLACES[unit])


def _range(band: Band, off: float, unit: Unit) -> str:
    return f"{_shown(band.middle - off, unit)} to {_shown(band.middle + off, unit):>8}"


def _chances(report: FitReport, one: FitOutcome, slots: bool) -> Iterator[str]:
    unit, found = report.plan.unit, one.chances
    limit = plain_length(report.limit, unit)
    thing = "boards" if slots else "joints"
    # Less than that would round to nothing.
    doubt = f" (give or take {_percent(found.doubt)} from the simulation)" if found.doubt >= 0.0005 else ""
    together = "take every piece by hand" if slots else "go together by hand"
    yield f"Of {report.joints:,} {thing} simulated, {_percent(found.goes)} {together}{doubt}."
    copies = one.prediction.copies
    if copies > 1 and 0 < found.goes < 1:
        yield f"The chance that all {copies} in the plan do is {_percent(found.all_go(copies))} or more."
    if not found.goes:
        yield _best(report, one, limit)
        return
    if not slots:
        half = f"within {in_unit(found.step, unit)} in half of these joints and " if found.step else ""
        steps = f"{half}within {in_unit(found.great_step, unit)} in 19 of 20"
        flush = f"{_percent(found.flush)} go together with both reference edges level"
        yield f"{flush}. The step between the edges is {steps}."
    good = f"so {_percent(found.serves)} of all are good"
    yield f"Of those that go together, {_percent(found.no_gap_over)} have no gap over {limit}, {good}."
    yield _best(report, one, limit)


def _best(report: FitReport, one: FitOutcome, limit: str) -> str:
    verdict = one.verdict
    if one.best is None or one.with_best is None:
        return f"No clearance avoids a gap over {limit}: allow a wider gap, or set the carriage more exactly."
    unit, key, then, sure = report.plan.unit, one.prediction.key, one.with_best.serves, one.best_a_step_off or 0.0
    best, step = plain_length(one.best, unit), plain_length(STEPS[unit], unit)
    setting = f"{key} = {length_to_copy(one.best, unit)}"
    if verdict == Verdict.NO_MARGIN:
        return (
            f"This clearance leaves no margin: with {step} more or less, only {_percent(one.a_step_off)} are good. "
            f"Safer: {setting}, with which {_percent(then)} are good, and at least {_percent(sure)} with {step} "
            "more or less."
        )
    if verdict != Verdict.ANOTHER:
        tighter = f", but {best} is tighter and does as well" if verdict == Verdict.TIGHTER else ""
        return f"No other {key} does better than this one{tighter}."
    return (
        f"Best clearance: {setting}, with which {_percent(then)} are good, and at least "
        f"{_percent(min(then, sure))} with {step} more or less."
    )


def _percent(share: float) -> str:
    """A share (0 to 1) in percent, never "100 %" or "0 %" unless it is exactly all or none."""
    text = f"{100 * share:.1f}"
    if text == "100.0" and share < 1:
        return "over 99.9 %"
    if text == "0.0" and share > 0:
        return "under 0.1 %"
    return text.removesuffix(".0") + " %"


def _square(report: FitReport) -> Iterator[str]:
    """How much blade tilt and carriage error the tightest joint can take, and how much there is."""
    unit, square = report.plan.unit, report.square
    clearance, depth, most = least_square(report)
    lean = in_unit(max(0.0, clearance) / 4, unit)
    found = "How far yours are out is not known: check them, then record it with kerfcall ready --square DEGREES."
    if square.degrees is not None and square.noted is None:
        found = f"The plan gives {square.degrees:g}."
    elif square.degrees is not None and square.noted is not None:
        found = f"Recorded beside the shop file on {square.noted.astimezone():%Y-%m-%d}: {square.degrees:g}."
    yield from _wrapped(
        f"Square: over the depth of {in_unit(depth, unit)}, a wall may lean by at most {lean}. Blade tilt and carriage "
        f"error together may be at most {most:.2f} degrees. {found}"
    )


def _wood(report: FitReport) -> Iterator[str]:
    unit, width = report.plan.unit, float(report.plan.width)
    if not report.movements:
        yield from _wrapped(
            "Wood: the plan has no [climate], so the prediction leaves out movement between cutting and glue-up."
        )
    for one in report.movements:
        species = report.plan.woods[one.part].species
        wood = f"part {one.part}, {species}, {GRAINS[one.grain]}" if species else f"part {one.part}"
        text = f"Wood: {wood}: {one.before:.1f} % moisture when cut, {one.after:.1f} % at glue-up"
        if one.strain is None:
            yield from _wrapped(f"{text}; {one.note}.")
        else:
            way = "wider" if one.strain >= 0 else "narrower"
            yield from _wrapped(f"{text}: {in_unit(abs(one.strain) * width, unit)} {way} over its width.")
    differ = difference(report)
    if differ:
        yield from _wrapped(
            f"Wood: by glue-up the parts' walls are {in_unit(abs(differ), unit)} apart at the far edge. "
            "The prediction allows for it."
        )
