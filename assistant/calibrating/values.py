"""Works out what a saw and its carriage really do from a caliper's readings: kerf, screw, zero and backlash.

If the carriage comes up to the setting s, the cut lies at z + m s. z is the zero's offset, and m is how far the
carriage really moves for each millimetre set. So
- the wood left between two cuts spaced S apart is m S - kerf: the kerf is what a line through such
  remainders lacks at S = 0, or, with a single spacing, the spacing less the remainder;
- the distance from the reference edge to the near wall of a cut is z + m s - kerf (with the zero
  outside; inside, without the kerf): its slope is m, its level gives z;
- if the carriage comes down to s instead of up, it is further on by the backlash.
Remainders are measured, never the slots, since inside jaws misread narrow slots. The cuts are made as in normal use,
out and back, so the kerf is what both strokes leave.

Every value has a standard uncertainty, the root of the sum of squares of: the scatter of the readings (widened
for few of them by Student's factor; repeated readings of a place count as one, their mean), the caliper's
resolution (rectangular; not reduced by repetition, since the same rounding repeats), the caliper's own error
(rectangular, common to all readings), and anything else that went in. U is twice that: about 95 %. Neighbouring
remainders share a cut, whose error lengthens one and shortens the other. Their scatter therefore overstates the
uncertainty of the kerf, on the safe side.

Lengths: mm; readings exact, results floats.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from assistant.calibrating.agreement import (
    SPREAD_FOR_LINE,
    Pair,
    agreeing_sums,
    disagreements,
    lone_places,
    reasons,
    spread,
    sums_far_off,
    travel_off,
)
from assistant.calibrating.blunders import Approach, Caliper, LeftOut, Reading, impossible, screen, sieve
from assistant.calibrating.uncertainty import (
    COVERAGE,
    Component,
    FittedLine,
    combined,
    fit_line,
    rectangular,
    resolution,
    with_students_factor,
)
from assistant.errors import BadInput, Fault
from assistant.joinery.units import Unit, plain_length
from assistant.plans.shop_writer import EntryKind

KINDS = (EntryKind.KERF, EntryKind.SCREW, EntryKind.ZERO, EntryKind.BACKLASH)
# The fewest to judge scatter from: readings for a mean, places for a line (which uses up two of them), and pairs.
LEAST_SAME, LEAST_LINE, LEAST_PAIRS = 3, 4, 3
# How far off an uncalibrated screw may be, as a share: common practice, no source.
ASSUMED_SCALE = 0.001
# Mistakes come singly: if a larger share of the readings can't be right, something is wrong with all of them.
MOST_LEFT_OUT = Fraction(1, 3)


@dataclass(frozen=True, slots=True)
class CountedReading:
    """A reading that counted, and its residual, mm."""

    reading: Reading
    residual: float


@dataclass(frozen=True, slots=True)
class Value:
    """What a calibration found.

    kind: one of `KINDS`. value: mm; for a screw the ratio of real over set travel. u: its standard uncertainty, in the
    same unit. components: what u is made up of. scale, u_scale: real over set travel as these readings show it, or None
    if they can't.
    """

    kind: EntryKind
    value: float
    u: float
    components: tuple[Component, ...]
    points: tuple[CountedReading, ...]
    left_out: tuple[LeftOut, ...] = ()
    scale: float | None = None
    u_scale: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def expanded(self) -> float:
        """U = 2 u, about 95 %."""
        return COVERAGE * self.u


def kerf(readings: Sequence[Reading], caliper: Caliper, scale: Component | None = None) -> Value:
    """The kerf from remainders (x: spacing of the two cuts, value: the wood left between them).

    scale: standard uncertainty, as a share, of what the carriage really moves; needed only if all
    spacings are alike. Raises BadInput if too few readings are left or too many disagree, if those of one spacing
    disagree, or if the carriage's travel is too far off.
    """
    kept, out = screen(readings, caliper)
    places = _averaged(kept)
    # A lone place is reported only if no reading of its spacing was left out, which would already be a fault.
    faults = list(disagreements(readings, out, caliper)) or list(lone_places(places, caliper))
    if faults:
        raise BadInput(faults)
    _refuse(len(places), len(readings), out, LEAST_SAME, "readings", caliper.unit)
    found = _level(places, out, caliper, EntryKind.KERF, -1, (), scale)
    if found.scale is not None and (faults := list(travel_off(found.scale, found.u_scale or 0.0))):
        raise BadInput(faults)
    return found


def zero(
    readings: Sequence[Reading],
    caliper: Caliper,
    *,
    outside_kerf: Fraction | None,
    u_kerf: float = 0.0,
    scale: Component | None = None,
) -> Value:
    """How much further from the reference edge a cut lies than its setting says; negative: nearer.

    readings: x is the setting, value the distance from the reference edge to the near wall of its cut. outside_kerf:
    the kerf if the carriage's zero is "outside", None if it is "inside". u_kerf: its standard uncertainty.
    Raises BadInput as `kerf` does.
    """
    extra = (Component("kerf", u_kerf),) if outside_kerf is not None else ()
    kept, out = _screened(readings, caliper, LEAST_SAME)
    found = _level(kept, out, caliper, EntryKind.ZERO, 1, extra, scale)
    return replace(found, value=found.value + float(outside_kerf or 0))


def screw(readings: Sequence[Reading], caliper: Caliper) -> Value:
    """How far the carriage really moves for each millimetre set: the slope of value over x.

    readings: x is the setting (or spacing), value the distance from one fixed edge (or the remainder).
    Raises BadInput if too few readings are left, too many disagree, or all x are alike.
    """
    kept, out = _screened(readings, caliper, LEAST_LINE)
    if not spread(kept):
        mend = f"measure cuts at least {plain_length(SPREAD_FOR_LINE, caliper.unit, 2)} apart, the further the better"
        what = "all readings are at one setting, but a screw's error shows only over a distance"
        raise BadInput([Fault(what, "", "readings", mend)])
    line, points = _fitted(kept)
    reach = float(max(r.x for r in kept) - min(r.x for r in kept))
    parts = (
        Component("scatter of the readings", with_students_factor(line.u_slope, line.dof), line.dof),
        Component("caliper's resolution", _resolution_line(kept, caliper)[1]),
        # The caliper may be off at both ends of the reach, by a different error at each.
        Component("caliper's own error", rectangular(float(caliper.error)) * math.sqrt(2) / reach),
    )
    u = combined(parts)
    return Value(EntryKind.SCREW, line.slope, u, parts, points, tuple(out), line.slope, u)


def backlash(
    readings: Sequence[Reading], caliper: Caliper, *, by_cuts: bool = False, kerf: Fraction | None = None
) -> Value:
    """The screw's play: how much further on the carriage is when it comes down to a setting instead of up.

    readings: for each label one with side "up" and one with side "down", same x. by_cuts: they are
    remainders beside a cut that was approached from above. The wood before it ("down") is longer by the backlash and
    the wood after it ("up") shorter, so half the difference counts. Their sum doesn't depend on the backlash, so a pair
    whose sum is off was misread and is left out. kerf: the shop file's, for that sum. Raises BadInput if too few pairs
    are left, or if all sums are far from what layout and kerf give.
    """
    out = impossible(readings, caliper)
    bad = {id(each.reading) for each in out}
    share = Fraction(1, 2) if by_cuts else Fraction(1)
    paired = _pairs([r for r in readings if id(r) not in bad])
    given = len(paired) + len(bad)
    if by_cuts and paired:
        if kerf is not None and (faults := list(sums_far_off(paired, kerf, caliper))):
            raise BadInput(faults)
        paired, misread = agreeing_sums(paired, caliper)
        out += misread
    pairs = [Reading(label, down.x, down.x + share * (down.value - up.value)) for label, up, down in paired]
    kept, odd = sieve(pairs, caliper)
    out += odd
    _refuse(len(kept), given, out, LEAST_PAIRS, "pairs of readings, one up and one down,", caliper.unit)
    mean, sd, points = _mean(kept)
    dof = len(kept) - 1
    parts = (
        Component("scatter of the readings", with_students_factor(sd / math.sqrt(len(kept)), dof), dof),
        # Each is a difference of two rounded readings. The caliper's own error cancels in it.
        Component("caliper's resolution", float(share) * math.sqrt(2) * resolution(float(caliper.step))),
    )
    u = combined(parts)
    notes = ("The play is smaller than its uncertainty: there may be none.",) if abs(mean) < COVERAGE * u else ()
    return Value(EntryKind.BACKLASH, mean, u, parts, points, tuple(out), notes=notes)


def _pairs(readings: Sequence[Reading]) -> list[Pair]:
    """(label, up, down) for each label and round in which both were read, in order."""
    found = []
    for label in dict.fromkeys(r.label for r in readings):
        ups, downs = ([r for r in readings if r.label == label and r.side == side] for side in Approach)
        # A reading without a partner gives no difference and is left out.
        found += [(label, up, down) for up, down in zip(ups, downs, strict=False)]
    return found


def _level(
    kept: Sequence[Reading],
    out: Sequence[LeftOut],
    caliper: Caliper,
    kind: EntryKind,
    sign: int,
    extra: tuple[Component, ...],
    scale: Component | None,
) -> Value:
    """`sign` times the level of value over x at x = 0: from a line if x differ enough, else from the mean.

    If the carriage's travel was calibrated and these readings don't contradict it, from the more certain of the two.
    """
    common = (Component("caliper's own error", rectangular(float(caliper.error))), *extra)
    by_mean = _by_mean(kept, caliper, kind, sign, common, scale)
    if not spread(kept) or len(kept) < LEAST_LINE:
        return replace(by_mean, left_out=tuple(out))
    line, points = _fitted(kept)
    by_resolution, slope_by_resolution = _resolution_line(kept, caliper)
    parts = (
        Component("scatter of the readings", with_students_factor(line.u_intercept, line.dof), line.dof),
        Component("caliper's resolution", by_resolution),
        *common,
    )
    u_slope = math.hypot(with_students_factor(line.u_slope, line.dof), slope_by_resolution)
    level = sign * line.intercept
    found = Value(kind, level, combined(parts), parts, points, (), line.slope, u_slope)
    if scale is not None:
        agrees = abs(line.slope - 1) <= COVERAGE * math.hypot(u_slope, scale.u)
        # The screw may have been calibrated on another day, so U is widened to include what these readings show.
        shown = replace(scale, u=math.hypot(scale.u, (line.slope - 1) / COVERAGE))
        by_mean = _by_mean(kept, caliper, kind, sign, common, shown)
        found = by_mean if agrees and by_mean.u < found.u else found
    return replace(found, left_out=tuple(out))


def _by_mean(
    kept: Sequence[Reading],
    caliper: Caliper,
    kind: EntryKind,
    sign: int,
    common: tuple[Component, ...],
    scale: Component | None,
) -> Value:
    level, sd, points = _mean(kept)
    count = len(kept)
    given = scale or Component("carriage's travel (assumed)", ASSUMED_SCALE)
    parts = (
        Component("scatter of the readings", with_students_factor(sd / math.sqrt(count), count - 1), count - 1),
        Component("caliper's resolution", resolution(float(caliper.step))),
        # A travel that is off by a share moves each reading by that share of its x.
        Component(given.name, given.u * math.fsum(float(r.x) for r in kept) / count, given.dof),
        *common,
    )
    return Value(kind, sign * level, combined(parts), parts, points)


def _mean(readings: Sequence[Reading]) -> tuple[float, float, tuple[CountedReading, ...]]:
    """(mean of value - x, standard deviation, residuals)."""
    differences = [float(r.value - r.x) for r in readings]
    mean = math.fsum(differences) / len(differences)
    sd = math.sqrt(math.fsum((d - mean) ** 2 for d in differences) / (len(differences) - 1))
    return mean, sd, tuple(CountedReading(r, d - mean) for r, d in zip(readings, differences, strict=True))


def _fitted(readings: Sequence[Reading]) -> tuple[FittedLine, tuple[CountedReading, ...]]:
    line = fit_line([r.x for r in readings], [r.value for r in readings])
    return line, tuple(CountedReading(r, float(r.value) - line.at(float(r.x))) for r in readings)


def _resolution_line(readings: Sequence[Reading], caliper: Caliper) -> tuple[float, float]:
    """The uncertainty that the caliper's rounding adds to (level, slope): one rounding a place, however often read."""
    places = sorted({r.x for r in readings})
    one = resolution(float(caliper.step))
    # With uncertainties given, those of the line don't depend on y, so any will do.
    line = fit_line(places, places, [one] * len(places))
    return line.u_intercept, line.u_slope


def _screened(readings: Sequence[Reading], caliper: Caliper, least: int) -> tuple[list[Reading], list[LeftOut]]:
    kept, out = screen(readings, caliper)
    places = _averaged(kept)
    _refuse(len(places), len(readings), out, least, "readings", caliper.unit)
    return places, out


def _averaged(readings: Sequence[Reading]) -> list[Reading]:
    """Replace readings of the same lettered place by their mean, since all of them share the error of its cut."""
    found: dict[object, list[Reading]] = {}
    for n, reading in enumerate(readings):
        found.setdefault((reading.label, reading.x) if reading.label.isalpha() else n, []).append(reading)
    return [replace(same[0], value=sum((r.value for r in same), Fraction(0)) / len(same)) for same in found.values()]


def _refuse(kept: int, given: int, out: Sequence[LeftOut], least: int, what: str, unit: Unit) -> None:
    """Raise BadInput if too few readings are left, with the reason for each reading left out."""
    faults = list(reasons(out, unit))
    if given and len(out) > MOST_LEFT_OUT * given:
        mend = "look for the cause (chips in the jaws, a board that moved, mixed units) and measure again"
        raise BadInput([*faults, Fault(f"{len(out)} of {given} can't be right", "", "readings", mend)])
    if kept < least:
        mend = f"measure {least} or more; five to ten are better"
        few = f"there are too few {what} to work out a value and its uncertainty"
        raise BadInput([*faults, Fault(few, str(kept), "readings", mend)])
