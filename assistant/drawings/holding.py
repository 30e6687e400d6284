"""How a board is held for one setup: what a picture of it must show, taken from the job and its setup alone.

Which face is seen and which end is down follow from the same facts as what is said: end 1 is cut with the marked face
to the backing, end 2 after the board has been turned end over end, so that the other face comes to the backing and the
same edge stays at the stop. A slotted board has neither ends nor faces to mix up.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from assistant.joinery.halves import Half
from assistant.joinery.model import Register, StopSide
from assistant.plans.checks import BAR_CHECK, CLAMPS, CLAMPS_AND_GUARD, EDGE_AND_FACE, PIECE_CHECK, figures_of
from assistant.plans.model import Job, Setup
from assistant.session.effects import View
from assistant.session.turn import way_prompt
from assistant.wording.halves import marked_to_backing
from assistant.wording.prompts import NEVER_SPIN, Words

KEEP_CLEAR = "Keep clear: {reach} from the {edge} edge, up to {above} above the bed."
TURNED = f" Turn it end over end. {NEVER_SPIN}"


class Face(StrEnum):
    """The face to the backing."""

    MARKED = "marked"
    OTHER = "other"
    NONE = ""
    """Either."""


@dataclass(frozen=True, slots=True)
class Holding:
    """How the board of one setup is held. Lengths: mm, exact, off the reference edge or above the bed.

    setup: its number. end: the one that is down, 1 or 2; 0 for a slotted side. stop_side: as the operator sees it. bar:
    whether a setting bar comes between edge and stop. piece: whether a distance piece does. other_edge: whether the
    other edge is at the stop; all lengths are then off that one. turned: whether the board must be turned end over end,
    as it was held for its end 1 before. clamped: whether it is held so already; then it must not be turned, and the bar
    is out. copies: boards clamped together. width: the board's. kerf: where the first pass begins and ends. depth: of
    the cut. lowest, highest, above: no clamp may be between these, up to this height. reach, height: the same in the
    figures that are shown everywhere, rounded away from the blade: "5 to 84 mm", "26 mm". words: all of it in
    sentences, for whoever can't see the picture.
    """

    setup: int
    end: int
    stop_side: StopSide
    bar: bool
    piece: bool
    other_edge: bool
    face: Face
    turned: bool
    clamped: bool
    copies: int
    width: Fraction
    kerf: tuple[Fraction, Fraction]
    depth: Fraction
    lowest: Fraction
    highest: Fraction
    above: Fraction
    reach: str
    height: str
    words: str


def holding_of(job: Job, setup: Setup, view: View | None = None) -> Holding:
    """How the board of this setup, one of the job's, is held.

    view: of a session in this setup, so that nothing asks for a turn of what is clamped; None for before it is.
    """
    slotted = job.slotted
    pattern, carriage, words = job.patterns[setup.pattern], job.carriage, Words(job, figures=True)
    figures = figures_of(job, pattern)
    reach, height = words.keep_clear(figures)
    first, way = pattern.passes[0], words.one(way_prompt(job, setup.number))
    clamped = view is not None and _is_clamped(job, view)
    turned = not slotted and setup.end == 2 and setup.half in (Half.NONE, Half.PIECE_IN) and not clamped
    together = f"{setup.copies} boards clamped together. " if setup.copies > 1 else ""
    return Holding(
        setup=setup.number,
        end=0 if slotted else setup.end,
        stop_side=StopSide.RIGHT if carriage.stop_side == StopSide.RIGHT else StopSide.LEFT,
        bar=carriage.register == Register.SETTING_BAR,
        piece=setup.half == Half.PIECE_IN,
        other_edge=setup.half == Half.OTHER_EDGE,
        face=Face.NONE if slotted else Face.MARKED if marked_to_backing(setup.end, setup.half) else Face.OTHER,
        turned=turned,
        clamped=clamped,
        copies=setup.copies,
        width=pattern.width,
        kerf=(first.kerf_from, first.kerf_to),
        depth=figures["depth"],
        lowest=figures["lowest"],
        highest=figures["highest"],
        above=figures["above"],
        reach=reach,
        height=height,
        words=f"{together}{way[:1].upper()}{way[1:]}.{TURNED * turned} {keep_clear(setup, reach, height)}",
    )


def keep_clear(setup: Setup, reach: str, height: str) -> str:
    """What to keep clear, off the edge that is at the stop."""
    edge = "other" if setup.half == Half.OTHER_EDGE else "reference"
    return KEEP_CLEAR.format(reach=reach, edge=edge, above=height)


def _is_clamped(job: Job, view: View) -> bool:
    """Whether a cut of this setup counts, or the checks are past those that decide how the board is put to the stop.

    Those are the ones about the distance piece, edge and face and the setting bar; without any, those about the clamps.
    """
    names = [check.name for check in job.checks]
    deciding = [name for name in (PIECE_CHECK, EDGE_AND_FACE, BAR_CHECK) if name in names] or [CLAMPS]
    last = max((names.index(name) for name in deciding if name in names), default=-1)
    not_yet = {*names[: last + 1], *([CLAMPS_AND_GUARD] if deciding == [CLAMPS] else [])}
    return bool(view.cut) or view.check not in not_yet
