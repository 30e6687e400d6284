"""Whether work clamped again lies where it lay: which cut the still blade is tried in, and its setting."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from assistant.joinery.model import Pass, Pattern
from assistant.joinery.settings import approach
from assistant.session.state import State


class Meets(StrEnum):
    """What the still blade meets of the wood beside it."""

    KERF = "kerf"
    """Wood stands on both its sides."""
    FAR_WALL = "far wall"
    """Only on the side farther from the reference edge, since the socket is wider than the kerf."""
    NEAR_WALL = "near wall"
    """Only on the side nearer to it."""
    EDGE = "edge"
    """On one side too, and the other is open, as no cut but that of an edge is there."""
    NOTHING = ""


@dataclass(frozen=True, slots=True)
class Trial:
    """The still blade at the setting of `pass_`, which is cut: what it meets there shows whether the work has moved.

    setting, previous, approach: mm, as when a pass is called; previous is where the carriage stands now.
    """

    pass_: int
    where: Meets
    setting: Fraction
    previous: Fraction | None
    approach: Fraction | None


def trial(state: State) -> Trial | None:
    """A kerf of its own where there is one, else a socket's wall, else the edge; of like ones the last pass.

    None where nothing is cut, or no wall of it stands.
    """
    pattern = state.pattern
    cut = [one for one in pattern.passes if state.is_cut(one.number)]
    tries = [(where, one) for one in cut if (where := _meets(one, cut, pattern))]
    for wanted in ((Meets.KERF,), (Meets.FAR_WALL, Meets.NEAR_WALL), (Meets.EDGE,)):
        found = [(where, one) for where, one in tries if where in wanted]
        if found:
            where, one = found[-1]
            stands = state.carriage_at
            point = approach(state.the_job.carriage, stands, one.setting, one.down)
            return Trial(one.number, where, one.setting, stands, point)
    return None


def _meets(one: Pass, cut: list[Pass], pattern: Pattern) -> Meets:
    far = one.kerf_to < pattern.width and not any(p.kerf_from <= one.kerf_to < p.kerf_to for p in cut)
    near = one.kerf_from > 0 and not any(p.kerf_from < one.kerf_from <= p.kerf_to for p in cut)
    if far and near:
        return Meets.KERF
    if not (far or near):
        return Meets.NOTHING
    socket = pattern.sockets[one.socket - 1]
    if socket.start <= 0 or socket.end >= pattern.width:
        return Meets.EDGE
    return Meets.FAR_WALL if far else Meets.NEAR_WALL
