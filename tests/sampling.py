"""Which of many like cases are tried in every run (the others wait for the long one); numbers that are drawn fast."""

from __future__ import annotations

import math
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import strategies as st

long = pytest.mark.long


def every(step: int, cases: Iterable[Any]) -> list[Any]:
    """These cases for `parametrize`: the first of each `step` in every run, all the others in the long one."""
    found = []
    for n, case in enumerate(cases):
        values = case if isinstance(case, tuple) else (case,)
        found.append(pytest.param(*values, marks=() if n % step == 0 else long))
    return found


MANY = 2**24 - 1


def fractions(least: Fraction | int, most: Fraction | int, *, max_denominator: int) -> st.SearchStrategy[Fraction]:
    """Between these, both included; they span less than 2**24 steps of the finest. It shrinks towards the least.

    Hypothesis's own builds a strategy for every number, which takes longer than most of what is tried with it.
    """
    low, high = Fraction(least), Fraction(most)

    def number(drawn: tuple[int, int]) -> Fraction:
        denominator, n = drawn
        first, last = math.ceil(low * denominator), math.floor(high * denominator)
        if first > last:  # too coarse for what lies between them
            return low
        # The remainder, not a share: most numbers that are drawn are small, and would all lie at the least.
        return Fraction(last if n == MANY else first + n % (last - first + 1), denominator)

    return st.tuples(st.integers(1, max_denominator), st.integers(0, MANY)).map(number)
