"""What is said of a board that is wider than the travel: which half is cut, and whether the distance piece is in."""

from __future__ import annotations

from assistant.joinery.halves import Half
from assistant.joinery.model import Register, StopSide
from assistant.plans.model import Setup
from assistant.session.slip import Meets

HALVES = {half: "second half" if half.is_second else "first half" for half in Half if half}


def which_half(setup: Setup) -> str:
    """What follows the name of an end that is cut in two halves, comma included; "" where one clamping is enough."""
    return f", {HALVES[setup.half]}" if setup.half else ""


CLAMPED = {
    Half.PIECE_IN: "first half with the distance piece at the stop",
    Half.PIECE_OUT: "second half with the distance piece out",
    Half.THIS_EDGE: "first half",
    Half.OTHER_EDGE: "second half with the other edge to the stop",
}
"""Which half of a board wider than the travel is cut, and how it is clamped for that."""


def marked_to_backing(end: int, half: str) -> bool:
    """Whether the marked face is at the backing: for end 1; with the other edge at the stop, for end 2."""
    return (end == 1) != (half == Half.OTHER_EDGE)


def edge_at_stop(half: str) -> str:
    """The edge that is put to the stop."""
    return "other edge" if half == Half.OTHER_EDGE else "reference edge"


def to_the_stop(register: Register, side: StopSide | None = None, half: Half = Half.NONE) -> str:
    """What the reference edge is put to: the stop, or the bar that takes the place of the kerf in front of it.

    half: which one is cut of a board wider than the travel, for a distance piece may lie between.
    """
    stop = f"the {side} stop" if side else "the stop"
    if half == Half.PIECE_IN:
        return f"to the distance piece at {stop}"
    if half == Half.PIECE_OUT:
        return f"to {stop} itself, the distance piece out"
    return f"against the setting bar at {stop}" if register == Register.SETTING_BAR else f"to {stop}"


_TRIED = {
    Meets.KERF: "just enters the kerf there",
    Meets.FAR_WALL: "just meets the wall there away from the reference edge",
    Meets.NEAR_WALL: "just meets the wall there towards the reference edge",
    Meets.EDGE: "just meets the shoulder there",
}
"""What the still blade does in a cut of the first half, by the place where it is tried."""


def zeroing(half: str) -> str:
    """What it takes to zero the carriage, with which piece, and which edge it is zeroed to."""
    edge = f"{edge_at_stop(half)} at zero"
    if half in (Half.PIECE_IN, Half.PIECE_OUT):
        edge = "distance piece back at the stop, reference edge against it and at zero"
    return f"with the saw off and isolated: {edge}, reading at zero"


def piece_asked(half: str, length: str, place: str = "", where: Meets = Meets.NOTHING) -> dict[str, str]:
    """What is asked about the distance piece, in the whole question and in the short one.

    length: of the piece. place: the setting, in words, at which the still blade is tried in a cut of the first half, ""
    where it is not. where: what it meets there.
    """
    if half != Half.PIECE_OUT:
        piece = f"of {length} at the stop, its ends clean"
        whole = f"distance piece {piece}, the reference edge against it and zero set with it in place"
        return {"piece": whole, "short_piece": f"piece {piece}, zero set with it in"}
    tried, short = "", ""
    if where:
        tried = f"; saw off and unplugged, the carriage brought up to {place}, the still blade {_TRIED[where]}"
        short = f"; plug out, carriage up to {place}, still blade {_TRIED[where]}"
    whole = f"distance piece out, reference edge against the stop itself, zero as it was{tried}"
    return {"piece": whole, "short_piece": f"piece out, edge to the stop itself{short}"}
