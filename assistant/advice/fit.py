"""Predicts whether a joint will go together: every glue gap as the saw will leave it, and the chances of the whole.

Three errors make a gap differ from its layout, and each moves several walls at once:

- setting: how far the carriage is from where it should be, drawn for each pass. Both walls
  of a socket cut in one pass share it.
- kerf: how far the real kerf is from the kerf in the shop file. It widens every socket of both
  parts alike, so it widens every gap by its full amount.
- reference: how far a board's edge is from the stop, drawn once for each part. It moves all walls
  of that part together.

Seen from part A's fingers, gaps lie on the left or on the right. Sliding one part along the other
opens all gaps on one side by as much as it closes those on the other. So the joint goes together by hand if
    min(left gaps) + min(right gaps) >= 0,
and the slide that this takes shows as a step between the boards' edges. A reference error alone can
therefore never keep a joint from going together. Pieces that go into slots find their own place,
so for slots only the play of each slot counts, and neither reference nor step.

An error that moves all walls of both parts alike changes no gap, so the carriage's zero and its
screw's error don't count if both parts are cut on it.

Errors are standard uncertainties, taken as normal and independent. Lengths: floats, mm, since
statistics begin here; x = 0 at the reference edge.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from assistant.joinery.model import Carriage, Pass, Pattern
from assistant.joinery.settings import rounding_error

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# The limit of an error in worst case and root-sum-square: three standard uncertainties (99.7 % of errors).
COVERAGE = 3
USUAL_JOINTS, MOST_JOINTS = 20_000, 1_000_000
# The draws are the same every time, so that two clearances, or two runs, don't differ by luck.
SEED = 1
# Numbers drawn at a time. This keeps memory at a few MB, however many joints and fingers there are.
DRAWN_AT_ONCE = 1 << 18
# Clearances within this of the best chance are as good as the best, and the tightest of them is chosen.
AS_GOOD = 0.005
# A clearance is at the edge of a cliff if a step less or more makes this many fewer good joints than beside the best.
CLIFF = 0.05
# Water-based glue swells fingers: common practice, no source.
SWELLING_FINGERS, SWELLING_MM = 15, 0.08


class GapSide(StrEnum):
    """On which side of part A's finger a gap is."""

    LEFT = "left"
    RIGHT = "right"
    SLOT = "slot"
    """None: it is a slot's play."""


LEFT, RIGHT, SLOT = GapSide.LEFT, GapSide.RIGHT, GapSide.SLOT


@dataclass(frozen=True, slots=True)
class Errors:
    """The standard uncertainties of a pass's setting, of the kerf and of a part's reference; mm, >= 0."""

    setting: float
    kerf: float
    reference: float


@dataclass(frozen=True, slots=True)
class Gap:
    """One glue gap, or one slot's play.

    at: the nominal wall. offset: what rounding and wood movement add to the gap that the clearance gives. opens,
    closes: the passes (numbered through the joint from 0) whose error adds to the gap and subtracts from it; the same
    pass if a slot is cut in one.
    """

    at: float
    side: GapSide
    offset: float
    opens: int
    closes: int


@dataclass(frozen=True, slots=True)
class Joint:
    """Two parts, or a board and the pieces for its slots. passes: how many have an independent error that counts.

    clearance: both gaps together. fingers: of both parts.
    """

    gaps: tuple[Gap, ...]
    passes: int
    clearance: float
    fingers: int

    @property
    def share(self) -> float:
        """The share of the clearance that one `Gap` gets: half, or all of it for a slot's play."""
        return 1.0 if self.gaps and self.gaps[0].side == SLOT else 0.5

    def gap(self, one: Gap) -> float:
        """The gap as laid out, with rounding and movement, mm."""
        return self.share * self.clearance + one.offset


@dataclass(frozen=True, slots=True)
class Band:
    """middle, and how far off it can be either way, by root-sum-square and at worst, with errors at their limits."""

    middle: float
    rss: float
    worst: float


@dataclass(frozen=True, slots=True)
class Chances:
    """Shares (0 to 1) of the joints simulated.

    goes: slides together by hand. flush: does so with both reference edges level. no_gap_over: of
    those that go, has no gap over the limit once together. serves: goes and has none.
    step, great_step: the edge step that half, and 19 of 20, of those that go don't exceed; mm.
    doubt: the standard error of `goes` from the simulation.
    """

    goes: float
    flush: float
    no_gap_over: float
    serves: float
    step: float
    great_step: float
    doubt: float

    def all_go(self, copies: int) -> float:
        """The least chance that all of this many joints (1 or more) of one job go together.

        If they were independent, it would be `goes` to the power of their number. The kerf that they
        share can only make it more likely that they succeed or fail together (Jensen's inequality).
        """
        return self.goes**copies


@dataclass(frozen=True, eq=False, slots=True)
class Draws:
    """Simulated joints: for each, how far the tightest and the widest gap on either side differ from c/2, mm."""

    least_left: Floats
    least_right: Floats
    most_left: Floats
    most_right: Floats
    clearance: float


def joint_of(a: Pattern, b: Pattern, clearance: Fraction, carriage: Carriage) -> Joint:
    """The joint of parts A and B, or of a board and its blank, as the carriage will be set for them.

    Both patterns have the same walls, with fingers in one where the other has sockets. clearance: mm.
    """
    numbers: dict[tuple[str, int], int] = {}

    def number(part: str, one: Pass) -> int:
        return numbers.setdefault((part, one.number), len(numbers))

    sockets_a, sockets_b = _sockets(a), _sockets(b)
    gaps = []
    before_a = before_b = -1
    for left_a, left_b in zip(a.segments[:-1], b.segments[:-1], strict=True):
        before_a += not left_a.is_finger
        before_b += not left_b.is_finger
        if left_a.is_finger:
            opens, closes, side = (("b", sockets_b[before_b][1]), ("a", sockets_a[before_a + 1][0]), RIGHT)
            laid = left_b.end - left_a.end
        else:
            opens, closes, side = (("a", sockets_a[before_a][1]), ("b", sockets_b[before_b + 1][0]), LEFT)
            laid = left_a.end - left_b.end
        offset = laid - clearance / 2 + rounding_error(opens[1], carriage) - rounding_error(closes[1], carriage)
        at = (left_a.end + left_b.end) / 2
        gaps.append(Gap(float(at), side, float(offset), number(*opens), number(*closes)))
    return Joint(tuple(gaps), len(numbers), float(clearance), len(a.fingers) + len(b.fingers))


def slots_of(board: Pattern, clearance: Fraction, carriage: Carriage) -> Joint:
    """The slots of a board, except those at its edges, where nothing holds the piece on one side."""
    numbers: dict[int, int] = {}
    gaps = []
    for socket, (first, last) in zip(board.sockets, _sockets(board), strict=True):
        if socket.start > 0 and socket.end < board.width:
            offset = float(rounding_error(last, carriage) - rounding_error(first, carriage))
            opens, closes = (numbers.setdefault(one.number, len(numbers)) for one in (last, first))
            gaps.append(Gap(float((socket.start + socket.end) / 2), SLOT, offset, opens, closes))
    return Joint(tuple(gaps), len(numbers), float(clearance), len(board.fingers))


def _sockets(part: Pattern) -> list[tuple[Pass, Pass]]:
    """(first pass, last pass) of each socket along x: the passes that make its left and its right wall."""
    found: dict[int, tuple[Pass, Pass]] = {}
    for one in part.passes:
        found[one.socket] = (found[one.socket][0] if one.socket in found else one, one)
    return [found[number] for number in sorted(found)]


def moved(joint: Joint, strain_a: float, strain_b: float) -> Joint:
    """The joint after its wood has moved across the grain, each part away from its reference edge.

    strain_a, strain_b: change as a fraction of the size, positive if the wood swells. Slots don't change: the
    pieces in them find their own place.
    """
    differ = strain_a - strain_b
    # A left gap lies before A's wall and after B's, so it opens as A's wall moves further along x; a right gap closes.
    way = {LEFT: 1.0, RIGHT: -1.0, SLOT: 0.0}
    return replace(joint, gaps=tuple(replace(g, offset=g.offset + way[g.side] * g.at * differ) for g in joint.gaps))


def bands(joint: Joint, errors: Errors) -> Iterator[Band]:
    """The band of every gap in order, with errors at three standard uncertainties."""
    for one in joint.gaps:
        references = 0 if one.side == SLOT else 2
        yield _band(joint.gap(one), errors, 1, references, 0 if one.opens == one.closes else 2)


def room(joint: Joint, errors: Errors) -> Band | None:
    """The room to slide at the tightest place; below zero the joint doesn't go together by hand.

    That place is the pair of a left and a right gap (for slots, the single slot) that leaves least at worst. None
    if the gaps lie on one side only: such a joint can always slide open.
    """
    if joint.share == 1.0:
        return min(bands(joint, errors), key=lambda band: band.middle - band.worst, default=None)
    left = [g for g in joint.gaps if g.side == LEFT]
    # A left gap shares passes with at most two right gaps, and sharing only makes a pair less uncertain.
    # So one of the three tightest right gaps leaves least together with it.
    right = sorted((g for g in joint.gaps if g.side == RIGHT), key=joint.gap)[:3]
    found: Band | None = None
    for one in left:
        for other in right:
            shared = (one.opens == other.closes) + (one.closes == other.opens)
            band = _band(joint.gap(one) + joint.gap(other), errors, 2, 0, 4 - 2 * shared)
            if found is None or band.middle - band.worst < found.middle - found.worst:
                found = band
    return found


def _band(middle: float, errors: Errors, kerfs: int, references: int, settings: int) -> Band:
    """The band of a sum of gaps. kerfs: how often the kerf error counts. references, settings: how many of them do."""
    # One kerf error is in all gaps alike and adds up in full. The others are independent: their squares add up.
    parts = (kerfs * errors.kerf, math.sqrt(references) * errors.reference, math.sqrt(settings) * errors.setting)
    worst = kerfs * errors.kerf + references * errors.reference + settings * errors.setting
    return Band(middle, COVERAGE * math.hypot(*parts), COVERAGE * worst)


def simulate(joint: Joint, errors: Errors, *, joints: int = USUAL_JOINTS, seed: int = SEED) -> Draws:
    """Draw the errors of this many joints (1 to 1,000,000). The same seed gives the same joints.

    It takes a few MB while it works, and 32 bytes a joint for the result. Raises ValueError for another number
    of joints, or for a joint without gaps.
    """
    import numpy as np

    if not 1 <= joints <= MOST_JOINTS:
        raise ValueError(f"1 to {MOST_JOINTS:,} joints can be simulated; got {joints:,}")
    if not joint.gaps:
        raise ValueError("a joint without inner walls has no gaps to simulate")
    random = np.random.default_rng(seed)
    at_once = max(1, DRAWN_AT_ONCE // max(1, joint.passes))
    kept = np.empty((4, joints))  # least left, least right, most left, most right
    sides = [[g for g in joint.gaps if g.side in which] for which in ((LEFT, SLOT), (RIGHT,))]
    for start in range(0, joints, at_once):
        some = slice(start, min(start + at_once, joints))
        settings = random.standard_normal((joint.passes, some.stop - some.start)) * errors.setting
        kerf = random.standard_normal(settings.shape[1]) * errors.kerf
        # Each part has its own reference error, but only the difference of the two moves gaps.
        reference = random.standard_normal(settings.shape[1]) * (errors.reference * math.sqrt(2))
        for row, (side, way) in enumerate(zip(sides, (1, -1), strict=True)):
            # Both walls of a slot are in one part, so its reference moves neither against the other.
            common = kerf if joint.share == 1.0 else kerf + way * reference
            kept[row, some], kept[row + 2, some] = _tightest_and_widest(np, side, settings, common)
    if joint.share == 1.0:
        # Half the play of a slot lies on either side of the piece in it.
        kept = np.stack([kept[0] / 2, kept[0] / 2, kept[2] / 2, kept[2] / 2])
    return Draws(kept[0], kept[1], kept[2], kept[3], joint.clearance)


def _tightest_and_widest(np: Any, side: Sequence[Gap], settings: Floats, common: Any) -> tuple[Any, Any]:
    """The tightest and the widest gap of one side in each joint, less the share of the clearance in it."""
    if not side:
        return np.inf, -np.inf  # never the tightest, never the widest
    off = settings[[g.opens for g in side]]
    off -= settings[[g.closes for g in side]]
    off += np.array([[g.offset] for g in side])
    return off.min(axis=0) + common, off.max(axis=0) + common


def chances(draws: Draws, limit: float, clearance: float | None = None) -> Chances:
    """What share of the simulated joints goes together, and how they look once together.

    limit: the widest gap that is still good, mm. clearance: pretend the joint was cut with this
    instead of its own. A joint that goes together is flush if it can be; otherwise it has slid no
    further than it must.
    """
    import numpy as np

    half = (draws.clearance if clearance is None else clearance) / 2
    left, right = half + draws.least_left, half + draws.least_right
    goes = left + right >= 0
    # The slide from flush. Towards smaller x it relieves the left gaps, towards greater x the right gaps.
    slide = np.minimum(left, 0) - np.minimum(right, 0)
    widest = np.maximum(half + draws.most_left - slide, half + draws.most_right + slide)
    count, total = int(goes.sum()), goes.size
    good = int((goes & (widest <= limit)).sum())
    steps = np.abs(slide[goes])
    step, great = np.quantile(steps, (0.5, 0.95)) if count else (0.0, 0.0)
    share = count / total
    return Chances(
        goes=share,
        flush=float((goes & (slide == 0)).mean()),
        no_gap_over=good / count if count else 0.0,
        serves=good / total,
        step=float(step),
        great_step=float(great),
        # Of a share of independent draws (binomial).
        doubt=math.sqrt(share * (1 - share) / total),
    )


def clearances(draws: Draws, limit: float, *, least: float = 0.0, step: float = 0.01) -> dict[float, float]:
    """The share of joints that serve (go together by hand, no gap over the limit) by clearance, from tight to loose.

    At every multiple of `step` (over 0) from `least` to twice the limit, rounding as it is in these draws.
    """
    # 1e-9, since a float that should be a multiple of the step may be slightly more or less.
    first, last = math.ceil(least / step - 1e-9), math.floor(2 * limit / step + 1e-9)
    return {count * step: chances(draws, limit, count * step).serves for count in range(first, last + 1)}


def best_of(shares: Mapping[float, float], among: Collection[float] | None = None) -> float | None:
    """The clearance that gives most good joints, even if it comes out a step tighter or looser.

    Its own share counts half, and the least share within a step of it counts half: a slightly better share is not worth
    the edge of a cliff. Of those as good as the best, to half a percentage point, the tightest is taken.

    shares: the share of good joints by clearance, a step apart. among: those that may be recommended (default: all).
    None if no clearance gives any good joint.
    """
    serving = [c for c in (shares if among is None else among) if shares[c]]
    worth = {c: (shares[c] + a_step_off(shares, c)) / 2 for c in serving}
    best = max(worth.values(), default=0.0)
    return min((c for c in serving if worth[c] >= best - AS_GOOD), default=None)


def a_step_off(shares: Mapping[float, float], clearance: float) -> float:
    """The least share with this clearance and its neighbours in `shares`. The clearance must be in `shares`."""
    order = sorted(shares)
    at = order.index(clearance)
    return min(shares[c] for c in order[max(0, at - 1) : at + 2])


def swells(clearance: float, fingers: int) -> bool:
    """Whether water-based glue may jam the joint during assembly: under 0.08 mm with 15 fingers or more.

    fingers: of both parts. Common practice, no source.
    """
    return fingers >= SWELLING_FINGERS and clearance < SWELLING_MM
