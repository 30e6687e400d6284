"""Cuts a board that is wider than the travel in two clampings of each end.

With a distance piece: zero is set with the piece between the stop and the reference edge, so with the piece in its
place a setting means what it always means. When the piece is taken out and the same edge put to the stop itself, the
board lies nearer to the stop by the piece's length, and the setting of every pass is less by it. Both halves are laid
out from the same edge, so that any layout can be cut so, and the board's true width doesn't matter.

From the other edge: the second half is cut with the other edge at the stop. That needs no piece, but a layout that is
the same from both edges, and boards as wide as they were laid out, and all alike.

Both are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from assistant.errors import Fault
from assistant.joinery.model import Carriage, Pass, Pattern, Segment
from assistant.joinery.settings import exact_setting, rounding_error, travel_faults, without_piece
from assistant.joinery.units import Unit, at_least, plain_length, round_to_step


class Half(StrEnum):
    """Which half of an end is cut in a clamping, and how the board lies."""

    NONE = ""
    """All of it: the travel reaches every pass of the job."""
    PIECE_IN = "piece in"
    """The first half, the distance piece at the stop."""
    PIECE_OUT = "piece out"
    """The second half, the same edge against the stop itself."""
    THIS_EDGE = "this edge"
    """The first half of an end whose second one is cut from the other edge."""
    OTHER_EDGE = "other edge"
    """The second half, the other edge at the stop."""

    @property
    def is_second(self) -> bool:
        return self in (Half.PIECE_OUT, Half.OTHER_EDGE)


class Clamping(NamedTuple):
    """What is cut into an end in one of its clampings."""

    half: Half
    pattern: Pattern


def needs_two(patterns: Sequence[Pattern], carriage: Carriage) -> bool:
    """Whether any of these ends has a pass beyond the travel."""
    if carriage.travel is None:
        return False
    return any(one.setting > carriage.travel[1] for each in patterns for one in each.passes)


def with_piece(whole: Pattern, carriage: Carriage) -> tuple[Clamping, ...]:
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
    both = (
        Clamping(Half.PIECE_IN, replace(whole, passes=first)),
        Clamping(Half.PIECE_OUT, replace(whole, passes=second, before=first)),
    )
    return tuple(each for each in both if each.pattern.passes) or both[:1]


def from_both_edges(whole: Pattern, carriage: Carriage) -> tuple[Clamping, ...]:
    """The clampings of one end, at least one: up to the middle from the reference edge, the rest from the other.

    Both parts of a joint change over at the middle, so that a board that is wider than it was laid out has that in its
    middle finger or socket, and its mate, as wide, in the socket or finger there. whole, carriage: without a fault
    (`other_edge_faults`).
    """
    # By the middle of the kerf; one in the very middle is cut from the reference edge.
    first = [one for one in whole.passes if one.kerf_from + one.kerf_to <= whole.width]
    rest = whole.passes[len(first) :]
    second = sorted((_from_the_other_edge(one, whole, carriage) for one in rest), key=lambda one: one.kerf_from)
    mirrored = replace(
        whole,
        segments=mirrored_segments(whole.segments, whole.width),
        passes=_numbered(second),
        before=_numbered(sorted((_mirrored(p, whole, carriage) for p in first), key=lambda one: one.kerf_from)),
        mirrored=True,
    )
    both = Clamping(Half.THIS_EDGE, replace(whole, passes=tuple(first))), Clamping(Half.OTHER_EDGE, mirrored)
    return tuple(each for each in both if each.pattern.passes) or both[:1]


def takes_up_no_width(end: Pattern) -> bool:
    """Whether a single pass clears a socket in the middle, which then doesn't grow with the board."""
    middle = [one for one in end.passes if one.kerf_from + one.kerf_to == end.width]
    return any(sum(other.socket == one.socket for other in end.passes) == 1 for one in middle)


def mirrored_segments(segments: Sequence[Segment], width: Fraction) -> tuple[Segment, ...]:
    """The same segments, measured from the other edge."""
    return tuple(Segment(width - each.end, width - each.start, each.is_finger) for each in reversed(segments))


def _numbered(passes: Sequence[Pass]) -> tuple[Pass, ...]:
    return tuple(replace(one, number=n) for n, one in enumerate(passes, start=1))


def _from_the_other_edge(one: Pass, of: Pattern, carriage: Carriage) -> Pass:
    """The same kerf cut with the other edge at the stop."""
    there = _mirrored(one, of, carriage)
    exact = exact_setting(there.kerf_from, there.kerf_to, carriage)
    return replace(there, setting=round_to_step(exact, carriage.resolution))


def _mirrored(one: Pass, of: Pattern, carriage: Carriage) -> Pass:
    """The same kerf, measured from the other edge. Its setting there is what would cut it just where it is cut."""
    left, right = of.width - one.kerf_to, of.width - one.kerf_from
    setting = exact_setting(left, right, carriage) - rounding_error(one, carriage)
    return Pass(one.number, len(of.sockets) + 1 - one.socket, left, right, setting, one.down)


def whole(pattern: Pattern, carriage: Carriage) -> Pattern:
    """The end with the passes of all its clampings up to this one, from the reference edge, numbered through.

    Of what is cut from the other edge each setting is the one that would cut the same kerf from the reference edge.
    """
    if not pattern.before and not pattern.mirrored:
        return pattern
    # Those of two halves ascend as it is, but what is left for another blade lies between what is there.
    passes = sorted((*pattern.before, *pattern.passes), key=lambda one: (one.kerf_from, one.kerf_to))
    if not pattern.mirrored:
        return replace(pattern, passes=_numbered(passes), before=())
    back = sorted((_mirrored(one, pattern, carriage) for one in passes), key=lambda one: one.kerf_from)
    segments = mirrored_segments(pattern.segments, pattern.width)
    return replace(pattern, segments=segments, passes=_numbered(back), before=(), mirrored=False)


def reached_again(pattern: Pattern, carriage: Carriage) -> tuple[Pass, ...]:
    """The passes of the first half to which the carriage comes with the piece out too, with their settings there."""
    if carriage.travel is None or carriage.distance_piece is None or pattern.mirrored:
        return ()
    shift, low = carriage.distance_piece, carriage.travel[0]
    there = (replace(one, setting=without_piece(one, carriage), shift=shift) for one in pattern.before)
    return tuple(one for one in there if one.setting >= low)


def other_edge_faults(pattern: Pattern, carriage: Carriage, unit: Unit) -> list[Fault]:
    """Why this end can't be cut from both edges; [] if it can, or if the travel reaches all of it.

    pattern: laid out as if the travel had no end. unit: for messages only.
    """
    within = replace(carriage, distance_piece=None)
    if carriage.travel is None or not needs_two([pattern], within):
        return travel_faults(pattern.passes, within)
    if uneven := _not_symmetrical(pattern, unit):
        mend = 'set joint.far_half = "distance piece", which any layout allows'
        return [Fault(f"the layout is not the same from both edges: {uneven}", "", "joint.far_half", mend)]
    cut = [one for clamping in from_both_edges(pattern, carriage) for one in clamping.pattern.passes]
    # Only the lower end of the travel: the upper one is judged below, by how much is missing in the middle.
    faults = travel_faults(cut, replace(within, travel=(carriage.travel[0], max(one.setting for one in cut))))
    short = max(one.setting for one in cut) - carriage.travel[1]
    if short > 0:
        what = f"the travel reaches the middle of the board from neither edge: it is {at_least(short, unit)} too short"
        mend = 'set joint.far_half = "distance piece", or use a narrower board'
        faults.append(Fault(what, plain_length(pattern.width, unit), "stock.width", mend))
    return faults


def _not_symmetrical(pattern: Pattern, unit: Unit) -> str:
    """Where the layout differs from its mirror image, in words; "" if it doesn't."""
    segments = pattern.segments
    if segments[0].is_finger != segments[-1].is_finger:
        kinds = ("finger", "socket") if segments[0].is_finger else ("socket", "finger")
        return f"it begins with a {kinds[0]} and ends with a {kinds[1]}"
    # Fingers and sockets alternate, so nothing but the walls is left to compare.
    walls, others = ({each.start for each in side} for side in (segments, mirrored_segments(segments, pattern.width)))
    for wall in sorted(walls - others):
        return f"a wall lies {plain_length(wall, unit)} from the reference edge, and none so far from the other"
    return ""
