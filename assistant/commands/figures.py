"""Reads figures given as options: lengths as in a plan, with every fault noted."""

from __future__ import annotations

from fractions import Fraction

from assistant.errors import Fault
from assistant.joinery.units import LengthError, Unit, parse_length


def length_option(faults: list[Fault], option: str, text: str, unit: Unit, *, zero: bool = False) -> Fraction | None:
    """A length in mm, over 0 (with `zero`: 0 or over), or None with its fault noted. unit: of a bare number."""
    try:
        return parse_length(text, unit, negative=False, zero=zero)
    except LengthError as error:
        faults.append(Fault(error.what, error.value, option, error.mend))
        return None
