"""Readings that can't be right are left out, each with the reason; nothing else is.

Two sieves. First what the instrument can't have shown: a value beyond its range, or between two of its
steps. Then what lies off the line that the other readings make: a least-median line, which half of the readings
can't pull, names suspects; each suspect is then held against the least-squares line of the rest by Student's
test, at a level so strict that of 500 sound sets one loses a reading. For what is left out, the slip that would
explain it is looked for: the other unit, the decimal point, two digits exchanged, one digit wrong.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from statistics import NormalDist

from assistant.calibrating.uncertainty import FittedLine, fit_line, student
from assistant.joinery.units import MM_PER_UNIT, format_number, plain_length

# A screw further off than this share is a wrong pitch in the shop file; a line that needs it is still tried.
GREATEST_SLOPE = 0.1
FALSE_ALARMS = 0.002
# Scale of a normal distribution from its median absolute deviation; and how far off a suspect lies, in scales.
MAD, SUSPECT = 1.4826, 4.0
LEAST_FOR_SCREENING = 4


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading.

    label: the operator's name for the place. x: what was set, mm: a setting, or the spacing of two cuts. value: what
    was read, mm, exact. side: "up" or "down", the way the carriage came; for backlash only.
    """

    label: str
    x: Fraction
    value: Fraction
    side: str = "up"


@dataclass(frozen=True, slots=True)
class Caliper:
    """What was measured with.

    step: its resolution. longest: the greatest it shows. error: limit of its own error; all mm, over 0 (error from 0).
    unit: "mm" or "in", for messages.
    """

    step: Fraction = Fraction(1, 100)
    longest: Fraction = Fraction(150)
    error: Fraction = Fraction(1, 100)
    unit: str = "mm"


@dataclass(frozen=True, slots=True)
class LeftOut:
    reading: Reading
    why: str


def screen(readings: Sequence[Reading], caliper: Caliper) -> tuple[list[Reading], list[LeftOut]]:
    """(those that stay, those left out and why). The value is taken to grow with x, about one to one."""
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
    """Those that the instrument can't have shown."""
    unit, out = caliper.unit, []
    for one in readings:
        if not 0 <= one.value <= caliper.longest:
            out.append(LeftOut(one, f"beyond the {plain_length(caliper.longest, unit)} that the instrument shows"))
        elif (one.value / caliper.step).denominator != 1:
            why = f"an instrument with steps of {plain_length(caliper.step, unit, 6)} can't show it"
            out.append(LeftOut(one, why))
    return out


def sieve(readings: Sequence[Reading], caliper: Caliper) -> tuple[list[Reading], list[LeftOut]]:
    """As `screen`, for values that no instrument showed as they are: differences of readings."""
    if len(readings) < LEAST_FOR_SCREENING:
        return list(readings), []
    off = _least_median(readings)
    ranked = sorted(readings, key=lambda r: abs(off[id(r)]))
    half = len(readings) // 2 + 1
    # Few readings lie nearer to a line chosen to suit them than many do, for which 5 / (n - 2) makes up: the usual
    # correction with a least-median line (recalled from memory).
    scale = MAD * (1 + 5 / (len(readings) - 2)) * abs(off[id(ranked[half - 1])])
    limit = max(SUSPECT * scale, 2 * float(caliper.step))
    kept = [r for r in ranked if abs(off[id(r)]) <= limit]
    odd: list[Reading] = []
    for suspect in ranked[len(kept) :]:
        # They come by their distance: beyond one that stands off, all do.
        if odd or _stands_off(suspect, kept, caliper, len(readings)):
            odd.append(suspect)
        else:
            kept.append(suspect)
    stays = {id(r) for r in kept}
    in_order = [r for r in readings if id(r) in stays]
    line = _line(in_order)
    return in_order, [LeftOut(r, _why_odd(r, in_order, line, caliper)) for r in odd]


def _least_median(readings: Sequence[Reading]) -> dict[int, float]:
    """Each reading's distance from the line whose half-way distance is least, over lines through two readings."""
    points = [(float(r.x), float(r.value - r.x)) for r in readings]
    half = len(points) // 2
    best: tuple[float, float, float] = (math.inf, 0.0, 0.0)
    for slope, level in _candidate_lines(points):
        middle = sorted(abs(y - level - slope * x) for x, y in points)[half]
        best = min(best, (middle, slope, level))
    _, slope, level = best
    return {id(r): y - level - slope * x for r, (x, y) in zip(readings, points, strict=True)}


def _candidate_lines(points: Sequence[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """(slope, level) of y - x: flat through each point, and through every two with different x."""
    for _, y in points:
        yield 0.0, y
    for (x1, y1), (x2, y2) in combinations(points, 2):
        if x1 != x2 and abs(y2 - y1) <= GREATEST_SLOPE * abs(x2 - x1):
            slope = (y2 - y1) / (x2 - x1)
            yield slope, y1 - slope * x1


def _line(readings: Sequence[Reading]) -> FittedLine | None:
    """Least squares where two x differ; else flat, value - x at its mean; None without readings."""
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
        sxx=math.inf,  # it is flat, so at another x it is no less sure
    )


def _stands_off(suspect: Reading, kept: Sequence[Reading], caliper: Caliper, count: int) -> bool:
    """Student's test of one more reading against the line of the others, shared out over all readings."""
    line = _line(kept)
    if line is None or line.dof < 1:
        return False
    x = float(suspect.x)
    off = abs(float(suspect.value) - line.at(x))
    # Readings that all agree to the last digit scatter less than the digit tells.
    sd = max(line.sd * _trimmed(len(kept) / count), float(caliper.step) / math.sqrt(12))
    spread = sd * math.sqrt(1 + 1 / len(kept) + (x - line.mean_x) ** 2 / line.sxx)
    return off > max(student(1 - FALSE_ALARMS / count, line.dof) * spread, 2 * float(caliper.step))


def _trimmed(share: float) -> float:
    """How much more all of a normal sample scatters than the innermost `share` (over 0 to 1) of it."""
    if share >= 1:
        return 1.0
    normal = NormalDist()
    z = normal.inv_cdf((1 + share) / 2)
    return 1 / math.sqrt(1 - 2 * z * normal.pdf(z) / share)


def _why_odd(reading: Reading, kept: Sequence[Reading], line: FittedLine | None, caliper: Caliper) -> str:
    if line is None:
        return "the others don't agree either"
    off = Fraction(float(reading.value) - line.at(float(reading.x))).limit_denominator(10**6)
    scatter = Fraction(max(line.sd, float(caliper.step) / math.sqrt(12))).limit_denominator(10**6)
    unit, places = caliper.unit, 4 if caliper.unit == "in" else 3
    side = "over" if off > 0 else "under"
    why = (
        f"{plain_length(abs(off), unit, places)} {side} what the other {len(kept)} make expected, "
        f"which scatter by {plain_length(scatter, unit, places)}"
    )
    slip = _slip(reading, line, caliper, line.sd)
    return f"{why}; {slip}" if slip else why


def _slip(reading: Reading, line: FittedLine | None, caliper: Caliper, sd: float) -> str:
    """The slip of the pen that would explain the reading, or ""."""
    if line is None:
        return ""
    wanted = line.at(float(reading.x))
    near = max(4 * sd, 3 * float(caliper.step))
    for text, value in _slips(reading.value, caliper):
        # What the last digit written may hide grows with the factor.
        hidden = float(caliper.step / 2 * max(Fraction(1), value / reading.value)) if reading.value else 0.0
        if abs(float(value) - wanted) <= near + hidden:
            return text
    return ""


def _slips(value: Fraction, caliper: Caliper) -> Iterator[tuple[str, Fraction]]:
    inch = MM_PER_UNIT["in"]
    yield "it fits when taken as mm, not inches", value / inch
    yield "it fits when taken as inches, not mm", value * inch
    for factor, text in ((10, "right"), (Fraction(1, 10), "left"), (100, "right"), (Fraction(1, 100), "left")):
        yield f"it fits with the decimal point further to the {text}", value * factor
    # Digits as they are written, in the instrument's unit: two neighbours exchanged, then one of them another.
    size = MM_PER_UNIT[caliper.unit]
    text = format_number(value / size, 4 if caliper.unit == "in" else 2)
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
