"""Ranks the fingers that suit a board and a blade: every number of equal fingers, and the finger cut in one pass.

A candidate's score is the product of five marks from 0 to 1, times 100. The weights are our
own. The sizes at which a finger counts as slender or a sliver are common practice, no source:

- passes: the fewest of any candidate, divided by its own, for both parts of one corner.
- glue: g / (g + 1), where g is the side-grain glue area relative to that of a butt joint.
- wood left: what is left of the weaker part, relative to half the width.
- stoutness: the narrowest finger relative to half the thinner board, and halved if under 3 mm.
- edges: 1 if a part's two edges are alike (an odd number), 0.85 if they are not.

In inches the common trade widths come before all others, whatever their score (common practice, no source).

Lengths: Fraction, mm; nothing is rounded. Scores are floats.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from assistant.errors import BadInput, Fault
from assistant.joinery.layout import MOST_SEGMENTS, Remainder
from assistant.joinery.model import Blade, Segment
from assistant.joinery.passes import MOST_PASSES, passes_for
from assistant.joinery.units import Unit, plain_length
from assistant.joinery.walls import SLIVER_MM
from assistant.plans.job import build_job
from assistant.plans.model import BoardPlan, JointPlan, Layout, Plan, Shop

UNLIKE_EDGES = 0.85  # of the mark of a joint whose edges are alike: a matter of looks, common practice, no source
HALF = Fraction(1, 2)
TRADE_FINGERS = tuple(Fraction(254, 10) * Fraction(n, 16) for n in (2, 3, 4, 5, 6, 8, 10, 12, 16))
"""1/8 to 1 in, mm: the usual widths for boxes in inches (common practice, no source)."""
# A finger this much wider or narrower looks the same; saving fewer passes than this is no reason to change (our own).
SLIGHTLY, MANY = Fraction(1, 8), Fraction(1, 5)


@dataclass(frozen=True, slots=True)
class WantedJoint:
    """The joint wanted, lengths in mm, over 0. width: of the boards. thickness_a, _b: of the parts. clearance: >= 0."""

    width: Fraction
    thickness_a: Fraction
    thickness_b: Fraction
    clearance: Fraction = Fraction(1, 10)

    @property
    def thinner(self) -> Fraction:
        return min(self.thickness_a, self.thickness_b)


@dataclass(frozen=True, slots=True)
class Division:
    """How a width is divided: `count` fingers of both parts, all `finger` wide except the first and the last.

    remainder: with `Remainder.STRETCH` all are equal.
    """

    count: int
    finger: Fraction
    first: Fraction
    last: Fraction
    remainder: Remainder = Remainder.STRETCH

    @property
    def like_edges(self) -> bool:
        """Whether the two edges of each part are alike."""
        return self.count % 2 == 1 and self.first == self.last


@dataclass(frozen=True, slots=True)
class Saving:
    """A finger that differs slightly and takes many fewer passes. rank: of that candidate, from 1."""

    rank: int
    finger: Fraction
    passes: int


@dataclass(frozen=True, slots=True)
class Candidate:
    """One way to divide the width, and its score.

    passes: for both parts of a corner. passes_a_socket: in an inner socket, 0 if there is none.
    narrowest: the narrowest finger, before clearance. stands: what the clearance leaves of the thinnest finger, as a
    layout judges slivers. glue: side-grain glue area, where a butt joint has 1. wood_left: the share of its width that
    the weaker part keeps. score: 0 to 100. trade: whether its finger is in `TRADE_FINGERS`. saving: what a slightly
    different finger would save, if anything.
    """

    division: Division
    passes: int
    passes_a_socket: int
    narrowest: Fraction
    stands: Fraction
    glue: Fraction
    wood_left: Fraction
    score: float = 0.0
    reasons: tuple[str, ...] = ()
    trade: bool = False
    saving: Saving | None = None

    @property
    def is_sliver(self) -> bool:
        return self.stands < SLIVER_MM


@dataclass(frozen=True, slots=True)
class Advice:
    """The candidates for a board and a blade.

    ranked: all candidates, best first, with the trade widths before all others. one_pass: the finger whose sockets
    take one pass each, mm. one_pass_ranks: its ranks among them, from 1; empty if the board is too narrow
    for it.
    """

    ranked: tuple[Candidate, ...]
    one_pass: Fraction
    one_pass_ranks: tuple[int, ...]


def one_pass_finger(kerf: Fraction, clearance: Fraction) -> Fraction:
    """The finger, mm, whose inner sockets are as wide as the kerf: kerf - c/2."""
    return kerf - clearance / 2


def suggest(wanted: WantedJoint, blade: Blade, *, unit: Unit = Unit.MM) -> Advice:
    """Every candidate that this blade can cut on this board, ranked.

    unit: of messages and reasons. With inches the trade widths come first, if at least two fingers of them fit.

    Raises: BadInput, all faults at once: a length not over 0, a clearance as wide as the blade, an
    overlap of the kerf or more, a board too narrow for any joint.
    """
    faults = list(_faults(wanted, blade, unit))
    if faults:
        raise BadInput(faults)
    single = one_pass_finger(blade.kerf, wanted.clearance)
    trade = TRADE_FINGERS if unit == Unit.INCH else ()
    divisions = _divisions(wanted.width, single, trade)
    measured = [m for division in dict.fromkeys(divisions) if (m := _measure(division, wanted, blade)) is not None]
    if not measured:
        what, mend = f"every joint would take over {MOST_PASSES:,} passes", "use a wider blade or a narrower board"
        if wanted.width <= wanted.clearance / 2:
            least = plain_length(wanted.clearance / 2, unit)
            what, mend = "the clearance leaves no wood for a finger", f"use a board over {least} wide"
        raise BadInput([Fault(what, plain_length(wanted.width, unit), "width", mend)])
    fewest = min(each.passes for each in measured)
    judged = (_judged(each, fewest, wanted, blade, unit) for each in measured)
    marked = [replace(each, trade=each.division.finger in trade) for each in judged]
    marked.sort(key=lambda each: (-each.score, each.passes, each.division.count))
    # Each trade width is listed once, in its best layout. Its other layouts are left out.
    best_of_trade: dict[Fraction, Candidate] = {}
    for one in marked:
        if one.trade:
            best_of_trade.setdefault(one.division.finger, one)
    in_order = (*best_of_trade.values(), *(one for one in marked if not one.trade))
    ranked = tuple(_with_saving(one, in_order, unit) if one.trade else one for one in in_order)
    ranks = tuple(rank for rank, each in enumerate(ranked, 1) if each.division.finger == single)
    return Advice(ranked, single, ranks)


def _faults(wanted: WantedJoint, blade: Blade, unit: Unit) -> Iterator[Fault]:
    lengths = {"width": wanted.width, "thickness": wanted.thinner, "kerf": blade.kerf}
    for name, length in lengths.items():
        if length <= 0:
            yield Fault("must be over 0", plain_length(length, unit), name, "give its real size")
    if wanted.clearance < 0 or wanted.clearance >= blade.kerf > 0:
        mend = f"use {plain_length(Fraction(1, 10), unit)}, or any clearance from 0 to less than the kerf"
        yield Fault("is not possible with this blade", plain_length(wanted.clearance, unit), "clearance", mend)
    if not 0 <= blade.overlap < blade.kerf:
        mend = "use less than the kerf; 0.2 mm is usual"
        yield Fault("passes can't overlap by this much", plain_length(blade.overlap, unit), "overlap", mend)


def _divisions(width: Fraction, single: Fraction, trade: Iterable[Fraction]) -> Iterator[Division]:
    """Equal fingers in every number, then the layouts of the one-pass finger and of the trade widths.

    A finger narrower than the one-pass finger leaves a socket narrower than the kerf, which limits the number.
    """
    for count in range(2, min(MOST_SEGMENTS, max(2, width // single)) + 1):
        yield Division(count, width / count, width / count, width / count)
    for finger in (single, *trade):
        full, left = divmod(width, finger)
        if left and 2 <= full < MOST_SEGMENTS:
            edge = (finger + left) / 2
            yield Division(full + 1, finger, edge, edge, Remainder.BOTH_EDGES)
            yield Division(full + 1, finger, finger, left, Remainder.FAR_EDGE)


def _with_saving(one: Candidate, ranked: Sequence[Candidate], unit: Unit) -> Candidate:
    """The candidate, with what a slightly different finger among `ranked` would save, if there is one."""
    finger = one.division.finger
    found = [
        (other.passes, abs(other.division.finger - finger), rank)
        for rank, other in enumerate(ranked, 1)
        if abs(other.division.finger - finger) <= finger * SLIGHTLY
        and one.passes - other.passes >= one.passes * MANY
        and not other.is_sliver
    ]
    if not found:
        return one
    passes, _, rank = min(found)
    saving = Saving(rank, ranked[rank - 1].division.finger, one.passes - passes)
    why = f"{plain_length(saving.finger, unit)} saves {saving.passes} passes (rank {rank})"
    return replace(one, reasons=(*one.reasons, why), saving=saving)


def _measure(division: Division, wanted: WantedJoint, blade: Blade) -> Candidate | None:
    """The candidate's figures, without score and reasons; None if the clearance or the blade makes it impossible."""
    c, inner = wanted.clearance, division.count - 2
    # Each inner wall moves c/4 into its part's wood: a finger loses that at each inner wall, and a socket gains it.
    eaten = [division.first - c / 4, division.last - c / 4, *([division.finger - c / 2] if inner else [])]
    if min(eaten) <= 0 or (inner and division.finger <= 2 * c):
        return None
    a_socket = _passes(division.finger + c / 2, wanted.width, blade, at_edge=False) if inner else 0
    edges = [_passes(size + c / 4, wanted.width, blade, at_edge=True) for size in (division.first, division.last)]
    # Every segment is a socket in one of the two parts.
    passes = inner * a_socket + sum(edges)
    if (inner and a_socket == 0) or passes > MOST_PASSES:
        return None
    narrowest = min(division.first, division.last, division.finger)
    # count - 1 walls of one thickness by the other, where a butt joint has the width by the thicker board.
    glue = Fraction(division.count - 1) * wanted.thinner / wanted.width
    # Part A has the first finger and every second finger from there, part B the others.
    in_a = division.first + division.finger * (inner // 2) + (division.last if division.count % 2 else 0)
    wood_left = min(in_a, wanted.width - in_a) / wanted.width
    return Candidate(division, passes, a_socket, narrowest, min(eaten), glue, wood_left)


def _passes(size: Fraction, width: Fraction, blade: Blade, *, at_edge: bool) -> int:
    # The place of an inner socket doesn't change its passes, so 1 mm from the edge will do for all.
    start = Fraction(0) if at_edge else Fraction(1)
    return passes_for(Segment(start, start + size, False), max(width, size + 2), blade)


def _judged(one: Candidate, fewest: int, wanted: WantedJoint, blade: Blade, unit: Unit) -> Candidate:
    """The candidate with its score, and a few reasons for it."""
    stout = min(Fraction(1), one.narrowest / max(SLIVER_MM, wanted.thinner / 2))
    marks = (
        fewest / one.passes,
        float(one.glue / (one.glue + 1)),
        float(one.wood_left / HALF),
        float(stout) * (0.5 if one.is_sliver else 1.0),
        1.0 if one.division.like_edges else UNLIKE_EDGES,
    )
    score = 100.0
    for mark in marks:
        score *= mark
    more = one.passes - fewest
    reasons = [
        "edges alike" if one.division.like_edges else "edges differ",
        f"{more} more pass{'' if more == 1 else 'es'} than the fewest" if more else "fewest passes",
    ]
    if one.passes_a_socket == 1:
        reasons.append("one pass a socket")
    if one.glue < 1:
        reasons.append("less glue area than a butt joint")
    if one.is_sliver:
        reasons.append(f"fingers under {plain_length(SLIVER_MM, unit)} may break")
    elif one.narrowest < wanted.thinner / 2:
        reasons.append("fingers under half the thickness")
    if one.narrowest < blade.kerf and not one.is_sliver:
        reasons.append("fingers thinner than the kerf")
    return replace(one, score=score, reasons=tuple(reasons))


def refusals(one: Candidate, wanted: WantedJoint, shop: Shop, unit: Unit) -> tuple[str, ...]:
    """Why `layout` would refuse this candidate on this machine: too deep for the blade, or beyond the travel."""
    division = one.division
    joint = JointPlan(Layout.EVEN, division.finger, remainder=division.remainder, clearance=wanted.clearance)
    boards = tuple(BoardPlan(name, part) for name, part in (("long side", "A"), ("short side", "B")))
    thickness = {"A": wanted.thickness_a, "B": wanted.thickness_b}
    plan = Plan("Box joint", unit, wanted.width, thickness, joint, boards, path="the plan")
    try:
        build_job(plan, shop)
    except BadInput as error:
        return tuple(str(fault) for fault in error.faults)
    return ()
