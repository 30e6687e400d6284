"""The statistics under a calibration: uncertainties combined, coverage factors, straight lines, weighted means.

Terms and rules follow JCGM 100:2008, the Guide to the Expression of Uncertainty in Measurement (GUM): a
component is a standard uncertainty with its degrees of freedom, uncorrelated components add as squares, and the
coverage factor is Student's.

Sums are taken over exact fractions and become floats at the end, so a fit has as many correct digits as a float holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from statistics import NormalDist

Number = Fraction | float | int

# The share of a normal distribution that k = 2 covers: the level at which Student's factor is compared with it.
TWO_SIGMA = 0.9545
COVERAGE = 2  # k: what is shown beside a value is so many times its standard uncertainty
MANY = 1e6  # with this many degrees of freedom, Student's distribution is taken as the normal distribution


@dataclass(frozen=True, slots=True)
class Component:
    """One source of uncertainty.

    u: standard uncertainty, >= 0, in the result's unit. dof: degrees of freedom; None, for infinitely many, if u
    doesn't come from scatter but is known or assumed (type B).
    """

    name: str
    u: float
    dof: float | None = None


@dataclass(frozen=True, slots=True)
class FittedLine:
    """y = intercept + slope x, by (weighted) least squares.

    u_intercept, u_slope: from the scatter about the line; with given uncertainties, from those.
    sd: residual standard deviation (with given uncertainties: of the residuals in units of them). dof: points - 2.
    mean_x, sxx: (weighted) mean of x and sum of squares about it.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    sd: float
    dof: int
    mean_x: float
    sxx: float

    def at(self, x: float) -> float:
        return self.intercept + self.slope * x


@dataclass(frozen=True, slots=True)
class Mean:
    """A weighted mean.

    u: its standard uncertainty, never less than the given uncertainties imply. birge: how much more the values vary
    than these imply, as a ratio of standard deviations (1: as expected); None for a single value.
    """

    value: float
    u: float
    birge: float | None
    count: int


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value equally likely anywhere within +- half_width (GUM 4.3.7)."""
    return half_width / math.sqrt(3)


def resolution(step: float) -> float:
    """Standard uncertainty of a display that shows multiples of `step`: half a step either way, rectangular."""
    return rectangular(step / 2)


def combined(components: Sequence[Component]) -> float:
    """The standard uncertainty of uncorrelated components: root of the sum of squares (GUM 5.1.2)."""
    return math.hypot(*(c.u for c in components))


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Continued fraction of the incomplete beta function, by Lentz's method; for x < (a + 1) / (a + b + 2)."""
    # Lentz's method divides by what may be zero, and puts this in its place.
    tiny = 1e-300
    c, d = 1.0, 1 / max(1 - (a + b) * x / (a + 1), tiny)
    result = d
    for m in range(1, 10_000):
        # The fraction's terms: Abramowitz and Stegun, 26.5.8.
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        step = 1.0
        for term in (even, odd):
            d = 1 / ((1 + term * d) or tiny)
            c = (1 + term / c) or tiny
            step = c * d
            result *= step
        if abs(step - 1) < 1e-15:
            break
    return result


def _beta(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function I_x(a, b); 0 <= x <= 1."""
    if x <= 0 or x >= 1:
        return float(x >= 1)
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))
    if x < (a + 1) / (a + b + 2):
        return front * _beta_fraction(a, b, x) / a
    # Here the fraction converges slowly, but quickly from the other side: I_x(a, b) = 1 - I_(1 - x)(b, a).
    return 1 - front * _beta_fraction(b, a, 1 - x) / b


@cache
def student(level: float, dof: float) -> float:
    """The factor k for which a share `level` (over 0, under 1) of Student's distribution lies within +- k.

    dof: over 0; from `MANY` on, the normal distribution's factor. Raises ValueError outside these ranges.
    """
    if not 0 < level < 1 or dof <= 0:
        raise ValueError(f"a level lies between 0 and 1 and degrees of freedom over 0; got {level}, {dof}")
    if dof >= MANY:
        return NormalDist().inv_cdf((1 + level) / 2)
    low, high = 0.0, 1.0
    while _outside(high, dof) > 1 - level:
        high *= 2
    # Bisection ends when no float lies between the two.
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if _outside(middle, dof) > 1 - level else (low, middle)
    return (low + high) / 2


def _outside(t: float, dof: float) -> float:
    """The share of Student's distribution beyond +- t."""
    # Abramowitz and Stegun, 26.7.1.
    return _beta(dof / 2, 0.5, dof / (dof + t * t))


def with_students_factor(u: float, dof: float) -> float:
    """A standard uncertainty from scatter, widened for few readings, so that twice it covers 95.45 %.

    u times Student's factor at that level over 2.
    """
    return u * student(TWO_SIGMA, dof) / 2


def fit_line(x: Sequence[Number], y: Sequence[Number], u: Sequence[Number] | None = None) -> FittedLine:
    """The straight line through points, by least squares, weighted with 1/u^2 if standard uncertainties are given.

    Raises ValueError for fewer than two points, for different lengths, for a single x, and for u not over 0.
    """
    if len(x) != len(y) or len(x) < 2 or (u is not None and (len(u) != len(x) or min(u) <= 0)):
        raise ValueError("a line needs two points or more, an x and a y for each, and uncertainties over 0")
    xs, ys = [Fraction(v) for v in x], [Fraction(v) for v in y]
    ws = [1 / Fraction(v) ** 2 for v in u] if u is not None else [Fraction(1)] * len(xs)
    total = sum(ws)
    mean_x = sum((w * a for w, a in zip(ws, xs, strict=True)), Fraction(0)) / total
    mean_y = sum((w * b for w, b in zip(ws, ys, strict=True)), Fraction(0)) / total
    sxx = sum((w * (a - mean_x) ** 2 for w, a in zip(ws, xs, strict=True)), Fraction(0))
    if sxx == 0:
        raise ValueError("a line needs two different x")
    sxy = sum((w * (a - mean_x) * (b - mean_y) for w, a, b in zip(ws, xs, ys, strict=True)), Fraction(0))
    syy = sum((w * (b - mean_y) ** 2 for w, b in zip(ws, ys, strict=True)), Fraction(0))
    slope = sxy / sxx
    rest = syy - slope * sxy
    dof = len(xs) - 2
    variance = Fraction(1) if u is not None else rest / dof if dof else Fraction(0)
    return FittedLine(
        intercept=float(mean_y - slope * mean_x),
        slope=float(slope),
        # At x = 0: that of the mean, and the slope's at this distance from it.
        u_intercept=math.sqrt(variance * (1 / total + mean_x**2 / sxx)),
        u_slope=math.sqrt(variance / sxx),
        sd=math.sqrt(rest / dof) if dof else 0.0,
        dof=dof,
        mean_x=float(mean_x),
        sxx=float(sxx),
    )


def weighted_mean(values: Sequence[float], u: Sequence[float]) -> Mean:
    """The mean with weights 1/u^2, its uncertainty widened if the values vary more than u implies (Birge's ratio).

    Raises ValueError for no value, different lengths, and u not over 0.
    """
    if not values or len(values) != len(u) or min(u) <= 0:
        raise ValueError("a weighted mean needs values, and an uncertainty over 0 for each")
    ws = [1 / each**2 for each in u]
    total = math.fsum(ws)
    value = math.fsum(w * v for w, v in zip(ws, values, strict=True)) / total
    alone = 1 / math.sqrt(total)
    dof = len(values) - 1
    if not dof:
        return Mean(value, alone, None, 1)
    birge = math.sqrt(math.fsum(w * (v - value) ** 2 for w, v in zip(ws, values, strict=True)) / dof)
    return Mean(value, alone * max(1.0, birge), birge, len(values))
