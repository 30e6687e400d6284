"""Cuts a board that is wider than the travel in two clampings, with a distance piece at the stop and without it.

Zero is set with the piece between the stop and the reference edge, so with the piece in its place a setting means what
it always means. When the piece is taken out and the same edge put to the stop itself, the board lies nearer to the stop
by the piece's length, and the setting of every pass is less by it. Both halves are laid out from the same edge, so that
any layout can be cut so, and the board's width doesn't matter. (Common practice, no source.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from assistant.joinery.model import Carriage, Pass, Pattern
from assistant.joinery.settings import without_piece

FIRST, SECOND = 1, 2
"""The half cut with the piece at the stop, and the one cut without it."""


class Half(NamedTuple):
    """What is cut into an end in one of its clampings. which: `FIRST` or `SECOND`; 0 where one clamping is enough."""

    which: int
    pattern: Pattern


def needs_two(patterns: Sequence[Pattern], carriage: Carriage) -> bool:
    """Whether any of these ends has a pass beyond the travel, and there is a distance piece to reach it."""
    if carriage.travel is None or carriage.distance_piece is None:
        return False
    return any(one.setting > carriage.travel[1] for each in patterns for one in each.passes)


def halves(whole: Pattern, carriage: Carriage) -> tuple[Half, ...]:
    """The clampings of one end, at least one: every pass within the travel with the piece, then the others without it.

    whole: laid out as if the travel had no end. carriage: with a travel and a distance piece, which reach every pass
    together (`settings.travel_faults`).
    """
    assert carriage.travel is not None and carriage.distance_piece is not None
    # Settings ascend, so those within the travel come first.
    first = tuple(one for one in whole.passes if one.setting <= carriage.travel[1])
    second = tuple(
        replace(one, number=n, setting=without_piece(one, carriage), shift=carriage.distance_piece)
        for n, one in enumerate(whole.passes[len(first) :], start=1)
    )
    found = (Half(FIRST, replace(whole, passes=first)), Half(SECOND, replace(whole, passes=second, before=first)))
    return tuple(half for half in found if half.pattern.passes) or found[:1]


def reached_again(pattern: Pattern, carriage: Carriage) -> tuple[Pass, ...]:
    """The passes of the first half to which the carriage comes in the second one too, with their settings there."""
    if carriage.travel is None or carriage.distance_piece is None:
        return ()
    shift, low = carriage.distance_piece, carriage.travel[0]
    there = (replace(one, setting=without_piece(one, carriage), shift=shift) for one in pattern.before)
    return tuple(one for one in there if one.setting >= low)
