"""Leaves out readings that can't be right, each with the reason, and no others.

There are two sieves. The first removes what the instrument can't have shown: a value beyond its range, or between two
of its steps. The second removes what lies off the line of the other readings. A least-median line, which half of the
readings can't pull aside, finds suspects. Student's test then compares each suspect with the least-squares line of the
rest, at a level so strict that only one in 500 good sets loses a reading. For each reading left out, we look for the
mistake that would explain it: the other unit, the decimal point, two digits exchanged, one digit wrong.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from itertools import combinations
from statistics import NormalDist

from assistant.calibrating.uncertainty import FittedLine, fit_line, student
from assistant.joinery.units import MM_PER_UNIT, PLACES, Unit, format_number, plain_length

# A screw further off than this share means a wrong pitch in the shop file. Lines with slopes up to it are still tried.
GREATEST_SLOPE = 0.1
FALSE_ALARMS = 0.002
# The standard deviation of a normal distribution over its median absolute deviation; how many of them off a suspect is.
MAD, SUSPECT = 1.4826, 4.0
# Of three readings none may be left out: see `agreement`.
LEAST_FOR_SCREENING = 4


class Approach(StrEnum):
    """The direction in which the carriage came to a place."""

    UP = "up"
    DOWN = "down"


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading.

    label: the operator's name for the place. x: what was set, mm: a setting, or the spacing of two cuts. value: what
    was read, mm, exact. side: for backlash only.
    """

    label: str
    x: Fraction
    value: Fraction
    side: Approach = Approach.UP


@dataclass(frozen=True, slots=True)
class Caliper:
    """The caliper used to measure.

    step: its resolution. longest: the most it shows. error: the limit of its own error. All mm, over 0 (error from 0).
    unit: of messages.
    """

    step: Fraction = Fraction(1, 100)
    longest: Fraction = Fraction(150)
    error: Fraction = Fraction(1, 100)
    unit: Unit = Unit.MM


USUAL_CALIPER = {Unit.MM: ("0.01 mm", "150 mm", "0.01 mm"), Unit.INCH: ("0.0005 in", "6 in", "0.0005 in")}
"""step, longest and error of a digital caliper, as text; common practice, no source."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    reading: Reading
    why: str


def screen(readings: Sequence[Reading], caliper: Caliper) -> tuple[list[Reading], list[LeftOut]]:
    """(the readings kept, those left out and why). The value is assumed to grow with x, about one to one."""
    never = {id(each.reading): each.why for each in impossible(readings, caliper)}
    kept, out = sieve([r for r in readings if id(r) not in never], caliper)
    line = _line(kept)
    for one in readings:
        if id(one) in never:
            slip = _slip(one, line, caliper, 0.0)
            out.append(LeftOut(one, f"{never[id(one)]}; {slip}" if slip else never[id(one)]))
    order = {id(r): n for n, r in enumerate(readings)}
    return kept, sorted(out, key=lambda each: order[id(each.reading)])


def impossible(readings: Iterable[Reading], caliper: Caliper) -> list[LeftOut]:
    """The readings that the instrument can't have shown."""
    unit, out = caliper.unit, []
    for one in readings:
        if not 0 <= one.value <= caliper.longest:
            out.append(LeftOut(one, f"beyond the caliper's range of {plain_length(caliper.longest, unit)}"))
        elif (one.value / caliper.step).denominator != 1:
            why = f"a caliper with steps of {plain_length(caliper.step, unit, 6)} can't show it"
            out.append(LeftOut(one, why))
    return out


def sieve(readings: Sequence[Reading], caliper: Caliper) -> tuple[list[Reading], list[LeftOut]]:
    """Like `screen`, but for values that no instrument showed directly: differences of readings."""
    if len(readings) < LEAST_FOR_SCREENING:
        return list(readings), []
    off = _least_median(readings)
    ranked = sorted(readings, key=lambda r: abs(off[id(r)]))
    half = len(readings) // 2 + 1
    # A few readings lie nearer than many would to a line chosen to suit them. 5 / (n - 2) makes up for that: the usual
    # correction for a least-median line (recalled from memory).
    scale = MAD * (1 + 5 / (len(readings) - 2)) * abs(off[id(ranked[half - 1])])
    limit = max(SUSPECT * scale, 2 * float(caliper.step))
    kept = [r for r in ranked if abs(off[id(r)]) <= limit]
    odd: list[Reading] = []
    for suspect in ranked[len(kept) :]:
        # They are in order of distance, so all after the first odd reading are odd too.
        if odd or _stands_off(suspect, kept, caliper, len(readings)):
            odd.append(suspect)
        else:
            kept.append(suspect)
    stays = {id(r) for r in kept}
    in_order = [r for r in readings if id(r) in stays]
    line = _line(in_order)
    return in_order, [LeftOut(r, _why_odd(r, in_order, line, caliper)) for r in odd]


def _least_median(readings: Sequence[Reading]) -> dict[int, float]:
    """Each reading's distance from the line, among those through two readings, with the least median distance."""
    points = [(float(r.x), float(r.value - r.x)) for r in readings]
    half = len(points) // 2
    best: tuple[float, float, float] = (math.inf, 0.0, 0.0)
    for slope, level in _candidate_lines(points):
        middle = sorted(abs(y - level - slope * x) for x, y in points)[half]
        best = min(best, (middle, slope, level))
    _, slope, level = best
    return {id(r): y - level - slope * x for r, (x, y) in zip(readings, points, strict=True)}


def _candidate_lines(points: Sequence[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """(slope, level) of y - x for the lines to try: flat through each point, and through every two of different x."""
    for _, y in points:
        yield 0.0, y
    for (x1, y1), (x2, y2) in combinations(points, 2):
        if x1 != x2 and abs(y2 - y1) <= GREATEST_SLOPE * abs(x2 - x1):
            slope = (y2 - y1) / (x2 - x1)
            yield slope, y1 - slope * x1


def _line(readings: Sequence[Reading]) -> FittedLine | None:
    """The least-squares line if any two x differ, else a flat one at the mean of value - x; None without readings."""
    if len({r.x for r in readings}) > 1:
        return fit_line([r.x for r in readings], [r.value for r in readings])
    if not readings:
        return None
    count = len(readings)
    differences = [r.value - r.x for r in readings]
    mean = sum(differences, Fraction(0)) / count
    rest = float(sum((d - mean) ** 2 for d in differences))
    sd = math.sqrt(rest / (count - 1)) if count > 1 else 0.0
    return FittedLine(
        intercept=float(mean),
        slope=1.0,
        u_intercept=sd / math.sqrt(count),
        u_slope=0.0,
        sd=sd,
        dof=count - 1,
        mean_x=float(readings[0].x),
        sxx=math.inf,  # a flat line is just as certain at another x
    )


def _stands_off(suspect: Reading, kept: Sequence[Reading], caliper: Caliper, count: int) -> bool:
    """Whether Student's test finds a reading off the line of the others. count: of all readings, to share the level."""
    line = _line(kept)
    if line is None or line.dof < 1:
        return False
    x = float(suspect.x)
    off = abs(float(suspect.value) - line.at(x))
    # Readings that all agree to the last digit may still vary within that digit.
    sd = max(line.sd * _trimmed(len(kept) / count), float(caliper.step) / math.sqrt(12))
    # Of one new reading about a fitted line: its own scatter, that of the line's level and that of its slope.
    spread = sd * math.sqrt(1 + 1 / len(kept) + (x - line.mean_x) ** 2 / line.sxx)
    return off > max(student(1 - FALSE_ALARMS / count, line.dof) * spread, 2 * float(caliper.step))


def _trimmed(share: float) -> float:
    """How much more a whole normal sample varies than the innermost `share` (over 0 to 1) of it, as a ratio."""
    if share >= 1:
        return 1.0
    normal = NormalDist()
    z = normal.inv_cdf((1 + share) / 2)
    # The variance of a normal distribution cut off at +-z is 1 - 2 z pdf(z) / share.
    return 1 / math.sqrt(1 - 2 * z * normal.pdf(z) / share)


def _why_odd(reading: Reading, kept: Sequence[Reading], line: FittedLine | None, caliper: Caliper) -> str:
    if line is None:
        return "the others don't agree either"
    off = Fraction(float(reading.value) - line.at(float(reading.x))).limit_denominator(10**6)
    scatter = Fraction(max(line.sd, float(caliper.step) / math.sqrt(12))).limit_denominator(10**6)
    unit, places = caliper.unit, PLACES[caliper.unit]
    side = "over" if off > 0 else "under"
    why = (
        f"{plain_length(abs(off), unit, places)} {side} what the other {len(kept)} lead to expect, "
        f"which vary by {plain_length(scatter, unit, places)}"
    )
    slip = _slip(reading, line, caliper, line.sd)
    return f"{why}; {slip}" if slip else why


def _slip(reading: Reading, line: FittedLine | None, caliper: Caliper, sd: float) -> str:
    """The mistake in writing it down that would explain the reading, or ""."""
    if line is None:
        return ""
    wanted = line.at(float(reading.x))
    near = max(4 * sd, 3 * float(caliper.step))
    for text, value in _slips(reading.value, caliper):
        # A factor also multiplies the rounding of the last digit written.
        hidden = float(caliper.step / 2 * max(Fraction(1), value / reading.value)) if reading.value else 0.0
        if abs(float(value) - wanted) <= near + hidden:
            return text
    return ""


def _slips(value: Fraction, caliper: Caliper) -> Iterator[tuple[str, Fraction]]:
    inch = MM_PER_UNIT[Unit.INCH]
    yield "it fits if read as mm, not inches", value / inch
    yield "it fits if read as inches, not mm", value * inch
    for factor, text in ((10, "right"), (Fraction(1, 10), "left"), (100, "right"), (Fraction(1, 100), "left")):
        yield f"it fits with the decimal point further to the {text}", value * factor
    # Mistakes in the digits as written in the instrument's unit: two neighbours exchanged, then one digit wrong.
    size = MM_PER_UNIT[caliper.unit]
    text = format_number(value / size, 4 if caliper.unit == Unit.INCH else 2)
    spots = [i for i, c in enumerate(text) if c.isdigit()]
    for i, j in zip(spots, spots[1:], strict=False):
        digits = list(text)
        digits[i], digits[j] = digits[j], digits[i]
        swapped = "".join(digits)
        if swapped != text:
            yield f"two digits may have been exchanged: {swapped} {caliper.unit} fits", Fraction(swapped) * size
    for i in spots:
        for digit in "0123456789":
            other = f"{text[:i]}{digit}{text[i + 1 :]}"
            yield f"one digit may be wrong: {other} {caliper.unit} fits", Fraction(other) * size
