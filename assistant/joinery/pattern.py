"""Turns a part's walls into its pattern: the passes and settings for one board end."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from assistant.errors import BadInput
from assistant.joinery.model import Blade, Carriage, Pattern, Segment
from assistant.joinery.passes import cuts
from assistant.joinery.settings import as_passes, travel_faults
from assistant.joinery.units import Unit


def depth_of(mating_thickness: Fraction, sand_allowance: Fraction) -> Fraction:
    """How deep the sockets are cut, mm: the fingers then stand proud of the mate by `sand_allowance`."""
    return mating_thickness + sand_allowance


def pattern(
    part: str,
    segments: Sequence[Segment],
    width: Fraction,
    depth: Fraction,
    blade: Blade,
    carriage: Carriage,
    *,
    where: str = "joint",
    unit: Unit = Unit.MM,
) -> Pattern:
    """The passes and settings for one part.

    segments: with their clearance (`walls.open_walls`). width, depth: mm. where: the layout's
    key for faults. unit: for messages only.

    Raises: BadInput if a socket can't be cut with this blade or a setting lies outside the travel.
    """
    passes = as_passes(cuts(segments, width, blade, where=where, unit=unit), carriage)
    faults = travel_faults(passes, carriage)
    if faults:
        raise BadInput(faults)
    return Pattern(part, width, depth, tuple(segments), passes)
