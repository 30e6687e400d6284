"""Figures given as options: lengths read as in a plan, every fault noted."""

from __future__ import annotations

from fractions import Fraction

from assistant.errors import Fault
from assistant.joinery.units import LengthError, parse_length


def length_option(faults: list[Fault], option: str, text: str, unit: str, *, zero: bool = False) -> Fraction | None:
    """A length in mm, over 0 (with `zero`: from 0), or None and its fault noted. unit: of a bare number."""
    try:
        return parse_length(text, unit, negative=False, zero=zero)
    except LengthError as error:
        faults.append(Fault(error.what, error.value, option, error.mend))
        return None
