"""The test joint: the first fingers of a plan's joint, cut into two offcuts before any of its boards.

It is cut as a session of its own. Every finger and every setting is the job's own, so what the two pieces show about
kerf and clearance holds for the boards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from assistant.errors import BadInput, Fault
from assistant.joinery import settings
from assistant.joinery.halves import Half
from assistant.joinery.model import Pattern, Segment
from assistant.joinery.units import MM_PER_UNIT, Unit
from assistant.plans.job import build_job, warnings_of
from assistant.plans.model import TEST_BOARD, TEST_JOINT, Job, Layout, Plan, Setup, Shop

FINGERS = 3
"""So many of each part: enough to prove kerf and clearance (common practice, no source)."""
WHOLE_FROM = 15
"""With so many fingers in one part, the screw's own errors add up over the board's width: it is tested in full."""
LEAST_LENGTH = {Unit.MM: Fraction(200), Unit.INCH: 8 * MM_PER_UNIT[Unit.INCH]}
"""An offcut shorter than this is no longer held safely (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Offcuts:
    """The two offcuts that a test joint takes, mm. length: at least. whole: the joint's full width is tested.

    width: to rip them to. A hair more does no harm: the last finger's far side lies in an open socket.
    """

    width: Fraction
    length: Fraction
    whole: bool


def can_be_tested(plan: Plan) -> bool:
    """Whether a test joint says anything of this plan: a joint of two parts, both on its boards.

    A lined joint is left out: its final sockets go through glued linings, which a test piece would need as well.
    """
    parts = {board.part for board in plan.boards}
    itself = plan.title.startswith((TEST_BOARD, TEST_JOINT))
    return plan.joint.layout in (Layout.EVEN, Layout.LISTED) and parts == {"A", "B"} and not itself


def build_test_joint(plan: Plan, shop: Shop) -> tuple[Job, Offcuts]:
    """The test joint of a plan that `can_be_tested`: a job of two setups, one for each part. Raises as `build_job`."""
    job = build_job(plan, shop)
    # Of a board wider than the travel only what its first clamping reaches: the second would prove nothing more.
    half = job.setups[0].half
    firsts = tuple(job.patterns[n] for n in sorted({s.pattern for s in job.setups if not s.half.is_second}))
    whole = half is Half.NONE and _is_whole(firsts)
    patterns = firsts if whole else _first_fingers(firsts)
    if any({one.socket for one in each.passes} != set(range(1, len(each.sockets) + 1)) for each in patterns):
        where, mend = "carriage.travel", "cut a joint in scrap by hand, and tell `kerfcall calibrate fit` how it fits"
        raise BadInput([Fault("does not reach the first three fingers, so no test joint can be cut", "", where, mend)])
    setups = tuple(
        Setup(number, 1, f"test piece {pattern.part}", pattern.part, 1, 1, 1, number - 1, half)
        for number, pattern in enumerate(patterns, 1)
    )
    cut = [one for pattern in patterns for one in pattern.passes]
    greatest, worst = settings.rounding_report(cut, shop.carriage, job.clearance, width=patterns[0].width)
    test = replace(
        job,
        title=f"{TEST_JOINT}{plan.title}",
        patterns=patterns,
        setups=setups,
        order=tuple(setup.number for setup in setups),
        greatest_error=greatest,
        worst_clearance=worst,
        warnings=tuple(dict.fromkeys(warnings_of(plan, shop, patterns, worst, half is Half.PIECE_IN))),
    )
    # A finger ends a quarter of the clearance before the nominal wall, which is the figure to rip to.
    width = plan.width if whole else patterns[0].width + job.clearance / 4
    return test, Offcuts(width, LEAST_LENGTH[plan.unit], whole)


def _is_whole(patterns: Sequence[Pattern]) -> bool:
    fingers = [len(pattern.fingers) for pattern in patterns]
    return max(fingers) >= WHOLE_FROM or min(fingers) < FINGERS


def _first_fingers(patterns: Sequence[Pattern]) -> tuple[Pattern, ...]:
    """The patterns up to the end of the third finger that lies further from the reference edge.

    That edge is ripped. Beyond it neither part may keep any wood: the other's uncut wood would be in its way.
    """
    width = max(pattern.fingers[FINGERS - 1].end for pattern in patterns)
    return tuple(_up_to(pattern, width) for pattern in patterns)


def _up_to(pattern: Pattern, width: Fraction) -> Pattern:
    kept = [segment for segment in pattern.segments if segment.start < width]
    last = Segment(kept[-1].start, width, kept[-1].is_finger)
    sockets = sum(not segment.is_finger for segment in kept)
    # A socket that the ripped edge opens is cut as the job cuts it, up to its wall: every setting is the job's own.
    passes = tuple(one for one in pattern.passes if one.socket <= sockets)
    return replace(pattern, width=width, segments=(*kept[:-1], last), passes=passes)
