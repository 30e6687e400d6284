"""Whether work clamped afresh lies where it lay: which cut the still blade is tried in, and where that stands."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assistant.joinery.model import Pass, Pattern
from assistant.joinery.settings import approach
from assistant.session.state import State

KERF, FAR_WALL, NEAR_WALL, EDGE = "kerf", "far wall", "near wall", "edge"


@dataclass(frozen=True, slots=True)
class Trial:
    """The still blade at the setting of `pass_`, which is cut: what it meets there shows whether the work has moved.

    where: "kerf": wood stands on both its sides. "far wall", "near wall": only on the side farther from the reference
    edge, or nearer to it, since the socket is wider than the kerf. "edge": only on one side too, and the other is open,
    as no cut but that of an edge is there. setting, previous, approach: mm, as when a pass is called; previous is where
    the carriage stands now.
    """

    pass_: int
    where: str
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
    for wanted in ((KERF,), (FAR_WALL, NEAR_WALL), (EDGE,)):
        found = [(where, one) for where, one in tries if where in wanted]
        if found:
            where, one = found[-1]
            stands = state.carriage_at
            point = approach(state.the_job.carriage, stands, one.setting, one.down)
            return Trial(one.number, where, one.setting, stands, point)
    return None


def _meets(one: Pass, cut: list[Pass], pattern: Pattern) -> str:
    """Where wood stands beside the blade at this pass; "" for nowhere."""
    far = one.kerf_to < pattern.width and not any(p.kerf_from <= one.kerf_to < p.kerf_to for p in cut)
    near = one.kerf_from > 0 and not any(p.kerf_from < one.kerf_from <= p.kerf_to for p in cut)
    if far and near:
        return KERF
    if not (far or near):
        return ""
    socket = pattern.sockets[one.socket - 1]
    if socket.start <= 0 or socket.end >= pattern.width:
        return EDGE
    return FAR_WALL if far else NEAR_WALL
