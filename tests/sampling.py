"""Which of many like cases are tried in every run; the others wait for the long one."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest

long = pytest.mark.long


def every(step: int, cases: Iterable[Any]) -> list[Any]:
    """These cases for `parametrize`: the first of each `step` in every run, all the others in the long one."""
    found = []
    for n, case in enumerate(cases):
        values = case if isinstance(case, tuple) else (case,)
        found.append(pytest.param(*values, marks=() if n % step == 0 else long))
    return found
