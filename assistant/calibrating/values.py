"""What a saw and its carriage really do, from a caliper's readings: kerf, screw, zero and backlash.

Where a cut lies, when the carriage was set to s coming up: z + m s, z being the zero's offset and m how far the
carriage really moves for a millimetre set. So
- the wood left between two cuts spaced S apart is m S - kerf: the kerf is what a line through such
  remainders lacks at S = 0, or, with one spacing alone, spacing less remainder;
- the distance from the reference edge to the near wall of a cut is z + m s - kerf (with the zero
  outside; inside, without the kerf): its slope is m, its level gives z;
- coming down to s instead of up, the carriage stands further by the backlash.
Remainders are measured, never the slots: inside jaws misread narrow ones. The cuts are made as in use, out
and back, so the kerf is what both strokes leave.

Every value has a standard uncertainty, the root of the sum of squares of: the scatter of the readings (made greater
for few of them by Student's factor; repeated readings of a place count as one, their mean), the caliper's
resolution (rectangular; not made smaller by repetition, since the same rounding repeats), the caliper's own error
(rectangular, common to all readings), and what else went in. U is twice that: about 95 %. Neighbouring remainders
share a cut, whose error lengthens one and shortens the other: their scatter overstates the uncertainty of the
kerf, on the safe side.

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
from assistant.calibrating.blunders import Caliper, LeftOut, Reading, impossible, screen, sieve
from assistant.calibrating.uncertainty import (
    Component,
    FittedLine,
    combined,
    fit_line,
    rectangular,
    resolution,
    with_students_factor,
)
from assistant.errors import BadInput, Fault
from assistant.joinery.units import plain_length

KINDS = ("kerf", "screw", "zero", "backlash")
COVERAGE = 2
# The fewest to judge scatter by: readings for a mean, places for a line, which uses up two of them, and pairs.
LEAST_SAME, LEAST_LINE, LEAST_PAIRS = 3, 4, 3
# How far off an uncalibrated screw may be, as a share: common practice, no source.
ASSUMED_SCALE = 0.001
# Slips are single; where more readings than this can't be right, something else is wrong with all of them.
MOST_LEFT_OUT = Fraction(1, 3)


@dataclass(frozen=True, slots=True)
class Point:
    """A reading that counted, and its residual, mm."""

    reading: Reading
    residual: float


@dataclass(frozen=True, slots=True)
class Value:
    """What a calibration found.

    kind: of `KINDS`. value: mm; of a screw the ratio real over set. u: its standard uncertainty, same unit.
    components: what u is made of. scale, u_scale: real over set as these readings show it, or None where they can't.
    """

    kind: str
    value: float
    u: float
    components: tuple[Component, ...]
    points: tuple[Point, ...]
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

    scale: standard uncertainty, as a share, of what the carriage really moves; asked for only where all
    spacings are alike. Raises BadInput when too few readings are left or too many disagree, when those of one spacing
    don't agree, and when the carriage's travel is too far off.
    """
    kept, out = screen(readings, caliper)
    places = _averaged(kept)
    # What a lone place hides is reported only where no reading beside it was to go.
    faults = list(disagreements(readings, out, caliper)) or list(lone_places(places, caliper))
    if faults:
        raise BadInput(faults)
    _refuse(len(places), len(readings), out, LEAST_SAME, "readings", caliper.unit)
    found = _level(places, out, caliper, "kerf", -1, (), scale)
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

    readings: x the setting, value the distance from the reference edge to the near wall of its cut. outside_kerf: the
    kerf where the carriage's zero is "outside", None where it is "inside"; u_kerf its standard uncertainty.
    Raises BadInput as `kerf` does.
    """
    extra = (Component("kerf", u_kerf),) if outside_kerf is not None else ()
    kept, out = _screened(readings, caliper, LEAST_SAME)
    found = _level(kept, out, caliper, "zero", 1, extra, scale)
    return replace(found, value=found.value + float(outside_kerf or 0))


def screw(readings: Sequence[Reading], caliper: Caliper) -> Value:
    """How far the carriage really moves for a millimetre set: the slope of value over x.

    readings: x the setting (or spacing), value the distance from one fixed edge (or the remainder).
    Raises BadInput when too few readings are left, too many disagree, or all x are alike.
    """
    kept, out = _screened(readings, caliper, LEAST_LINE)
    if not spread(kept):
        mend = f"measure cuts {plain_length(SPREAD_FOR_LINE, caliper.unit, 2)} apart and more, the further the better"
        raise BadInput(
            [Fault("all readings are of one setting, and a screw's error shows over a distance", "", "readings", mend)]
        )
    line, points = _fitted(kept)
    reach = float(max(r.x for r in kept) - min(r.x for r in kept))
    parts = (
        Component("scatter of the readings", with_students_factor(line.u_slope, line.dof), line.dof),
        Component("caliper's resolution", _resolution_line(kept, caliper)[1]),
        # At both ends of the reach the caliper may be off, by another error at each.
        Component("caliper's own error", rectangular(float(caliper.error)) * math.sqrt(2) / reach),
    )
    u = combined(parts)
    return Value("screw", line.slope, u, parts, points, tuple(out), line.slope, u)


def backlash(
    readings: Sequence[Reading], caliper: Caliper, *, by_cuts: bool = False, kerf: Fraction | None = None
) -> Value:
    """The screw's play from both sides: how much further the carriage stands when it came down to a setting.

    readings: for each label one with side "up" and one with side "down", same x. by_cuts: they are
    remainders beside a cut that was come down to: the wood before it ("down") is longer by the backlash, the
    wood behind it ("up") shorter, so half the difference counts, and their sum is free of it: what that shows to be
    misread is left out. kerf: the shop file's, for that sum. Raises BadInput when too few pairs are left, and when all
    sums are far from what layout and kerf make.
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
        # Each is a difference of two readings, both rounded; what the caliper is off by drops out of it.
        Component("caliper's resolution", float(share) * math.sqrt(2) * resolution(float(caliper.step))),
    )
    u = combined(parts)
    notes = ("The play is within its uncertainty: none is shown.",) if abs(mean) < COVERAGE * u else ()
    return Value("backlash", mean, u, parts, points, tuple(out), notes=notes)


def _pairs(readings: Sequence[Reading]) -> list[Pair]:
    """(label, up, down) of each label and turn in which both were read, in order."""
    found = []
    for label in dict.fromkeys(r.label for r in readings):
        ups, downs = ([r for r in readings if r.label == label and r.side == side] for side in ("up", "down"))
        found += [(label, up, down) for up, down in zip(ups, downs, strict=False)]
    return found


def _level(
    kept: Sequence[Reading],
    out: Sequence[LeftOut],
    caliper: Caliper,
    kind: str,
    sign: int,
    extra: tuple[Component, ...],
    scale: Component | None,
) -> Value:
    """`sign` times the level of value over x at x = 0, by a line where x differ enough, else by the mean.

    Where the carriage's travel was calibrated, and these readings don't gainsay it, by what is the surer of the two.
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
        # What was calibrated may be of another day: U reaches as far as what these readings show besides.
        shown = replace(scale, u=math.hypot(scale.u, (line.slope - 1) / COVERAGE))
        by_mean = _by_mean(kept, caliper, kind, sign, common, shown)
        found = by_mean if agrees and by_mean.u < found.u else found
    return replace(found, left_out=tuple(out))


def _by_mean(
    kept: Sequence[Reading],
    caliper: Caliper,
    kind: str,
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
        Component(given.name, given.u * math.fsum(float(r.x) for r in kept) / count, given.dof),
        *common,
    )
    return Value(kind, sign * level, combined(parts), parts, points)


def _mean(readings: Sequence[Reading]) -> tuple[float, float, tuple[Point, ...]]:
    """(mean of value - x, standard deviation, residuals)."""
    differences = [float(r.value - r.x) for r in readings]
    mean = math.fsum(differences) / len(differences)
    sd = math.sqrt(math.fsum((d - mean) ** 2 for d in differences) / (len(differences) - 1))
    return mean, sd, tuple(Point(r, d - mean) for r, d in zip(readings, differences, strict=True))


def _fitted(readings: Sequence[Reading]) -> tuple[FittedLine, tuple[Point, ...]]:
    line = fit_line([r.x for r in readings], [r.value for r in readings])
    return line, tuple(Point(r, float(r.value) - line.at(float(r.x))) for r in readings)


def _resolution_line(readings: Sequence[Reading], caliper: Caliper) -> tuple[float, float]:
    """What the caliper's rounding does to (level, slope): one rounding for each place, however often it was read."""
    places = sorted({r.x for r in readings})
    one = resolution(float(caliper.step))
    line = fit_line(places, places, [one] * len(places))
    return line.u_intercept, line.u_slope


def _screened(readings: Sequence[Reading], caliper: Caliper, least: int) -> tuple[list[Reading], list[LeftOut]]:
    kept, out = screen(readings, caliper)
    places = _averaged(kept)
    _refuse(len(places), len(readings), out, least, "readings", caliper.unit)
    return places, out


def _averaged(readings: Sequence[Reading]) -> list[Reading]:
    """Readings of the same lettered place as their mean: what the cut is off by is the same in all of them."""
    found: dict[object, list[Reading]] = {}
    for n, reading in enumerate(readings):
        found.setdefault((reading.label, reading.x) if reading.label.isalpha() else n, []).append(reading)
    return [replace(same[0], value=sum((r.value for r in same), Fraction(0)) / len(same)) for same in found.values()]


def _refuse(kept: int, given: int, out: Sequence[LeftOut], least: int, what: str, unit: str) -> None:
    """Raise BadInput where too little is left to stand on, with the reason for each reading left out."""
    faults = list(reasons(out, unit))
    if given and len(out) > MOST_LEFT_OUT * given:
        mend = "look for the cause (chips in the jaws, a board that moved, mixed units) and measure anew"
        raise BadInput([*faults, Fault(f"{len(out)} of {given} can't be right", "", "readings", mend)])
    if kept < least:
        mend = f"measure {least} or more; five to ten are better"
        raise BadInput(
            [*faults, Fault(f"too few {what} to tell a value and its uncertainty", str(kept), "readings", mend)]
        )
