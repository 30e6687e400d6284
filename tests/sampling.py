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


FINE = 2**24 - 1


def fractions(least: Fraction | int, most: Fraction | int, *, max_denominator: int) -> st.SearchStrategy[Fraction]:
    """Between these, both included; at most FINE numerators of a denominator. It shrinks towards the least.

    Hypothesis's own builds a strategy for every number, which takes longer than most of what is tried with it.
    """
    low, high = Fraction(least), Fraction(most)

    def number(drawn: tuple[int, int]) -> Fraction:
        denominator, share = drawn
        first, last = math.ceil(low * denominator), math.floor(high * denominator)
        return Fraction(first + share * (last - first) // FINE, denominator) if first <= last else low

    return st.tuples(st.integers(1, max_denominator), st.integers(0, FINE)).map(number)
