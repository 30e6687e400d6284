"""A suggestion as the plan that it makes: the text of a plan file, ready to edit, and its fingers in words."""

from __future__ import annotations

from fractions import Fraction

from assistant.advice.suggest import Candidate, WantedJoint
from assistant.joinery.layout import Remainder
from assistant.joinery.model import Blade
from assistant.joinery.units import MM_PER_UNIT, Unit, format_number, mixed, plain_length, toml_length

SAND = {Unit.MM: '"0.3 mm"', Unit.INCH: '"1/64"'}


def plan_text(one: Candidate, wanted: WantedJoint, blade: Blade, unit: Unit) -> str:
    """The text of a plan file with this candidate, ready to edit. Its layout is exactly the candidate."""
    thickness = f"thickness = {_toml(wanted.thickness_a, unit)}"
    if wanted.thickness_a != wanted.thickness_b:
        thickness += f"\n[stock.B]\nthickness = {_toml(wanted.thickness_b, unit)}"
    finger = _toml(one.division.finger, unit)
    # "stretch" takes the number of fingers that comes nearest, so an endless decimal can be cut off.
    if one.division.remainder == Remainder.STRETCH and not in_64ths(one.division.finger, unit):
        finger = format_number(one.division.finger / MM_PER_UNIT[unit], 6).rstrip("0").rstrip(".")
    kerf = shown(blade.kerf, unit)
    return f"""\
# {fingers(one, unit)}: {one.passes} passes for both parts of a corner with a kerf of {kerf}.
# The kerf itself belongs in the shop file.
title = "Box joint of {one.division.count} fingers"
unit = "{unit}"

[stock]
width = {_toml(wanted.width, unit)}
{thickness}

[joint]
layout = "even"
finger = {finger}
remainder = "{one.division.remainder}"
clearance = {_toml(wanted.clearance, unit)}
sand_allowance = {SAND[unit]}

[[boards]]
name = "long side"
part = "A"
count = 2
ends = 2

[[boards]]
name = "short side"
part = "B"
count = 2
ends = 2
"""


def fingers(one: Candidate, unit: Unit) -> str:
    """The candidate in words: number and width of its fingers, and how the edges differ."""
    division, width = one.division, shown(one.division.finger, unit)
    if division.first == division.last == division.finger:
        return f"{division.count} fingers of {width}"
    first, last = shown(division.first, unit), shown(division.last, unit)
    edges = f"{first} at both edges" if division.first == division.last else f"{last} at the far edge"
    return f"{division.count} fingers of {width}, {edges}"


def in_64ths(mm: Fraction, unit: Unit) -> str:
    """A length in 64ths of an inch as the trade writes it, "3 1/2"; "" for any other, and in mm."""
    inches = mm / MM_PER_UNIT[Unit.INCH]
    return mixed(inches) if unit == Unit.INCH and (inches * 64).denominator == 1 else ""


def shown(mm: Fraction, unit: Unit) -> str:
    """A length to read, with its unit: "3 1/2 in", "0.2333 in", "6 mm"."""
    fraction = in_64ths(mm, unit)
    return f"{fraction} {unit}" if fraction else plain_length(mm, unit)


def _toml(mm: Fraction, unit: Unit) -> str:
    fraction = in_64ths(mm, unit)
    return f'"{fraction}"' if "/" in fraction else toml_length(mm, unit)
