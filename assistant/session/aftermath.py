"""What follows from each mishap, whatever is answered after it: what is checked again, and whether the work is tried.

What to do after a mishap is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.plans.checks import After
from assistant.plans.mishaps import Mishap


@dataclass(frozen=True, slots=True)
class Aftermath:
    """What follows from one mishap. happened: what makes checks due again.

    moved: the work, or the carriage, may not stand as it did, so it is tried against the still blade before a pass is
    called. unsure: it may have happened before a pass was recorded as cut, so it is asked which cuts are good. marks:
    the wood may be damaged, so the place is named again once all is cut. asks_on: what follows hangs on more answers,
    which an interruption must not lose.
    """

    happened: tuple[After, ...] = (After.HANDS_IN,)
    moved: bool = False
    unsure: bool = False
    marks: bool = False
    asks_on: bool = False


OF: dict[Mishap, Aftermath] = {
    Mishap.SLIPPED: Aftermath(moved=True, unsure=True),
    Mishap.BUMPED: Aftermath(moved=True, unsure=True),
    Mishap.MISPLACED: Aftermath(asks_on=True),
    Mishap.SHALLOW: Aftermath((After.HANDS_IN, After.BLADE_MOVED), asks_on=True),
    Mishap.DEEP: Aftermath((After.HANDS_IN, After.BLADE_MOVED), asks_on=True),
    Mishap.MISSED: Aftermath(asks_on=True),
    # Nothing is cut there and no hand goes near the blade: the setting is called again.
    Mishap.OVERSHOT: Aftermath(()),
    Mishap.JAMMED: Aftermath((After.HANDS_IN, After.BLADE_MOVED), moved=True, marks=True),
    Mishap.TRIPPED: Aftermath(moved=True),
    Mishap.LOOSE: Aftermath(),
    Mishap.DUST: Aftermath(moved=True, unsure=True),
    # Work that is clamped flat, or taken off for a fresh face of the backing, may lie elsewhere afterwards. So may work
    # that another blade goes on with, for the backing and for zero.
    Mishap.CUPPED: Aftermath(moved=True),
    Mishap.CHIPPED: Aftermath((After.HANDS_IN, After.FACE_SPOILT), moved=True, marks=True),
    Mishap.SWAPPED: Aftermath(asks_on=True),
    Mishap.KERF: Aftermath((), asks_on=True),
    # The backing, whose kerfs are the old blade's, hangs on which blade stays: `apply_mishaps.settled`.
    Mishap.BLADE: Aftermath((After.HANDS_IN, After.BLADE_FITTED), moved=True, asks_on=True),
    # What was touched meanwhile is asked when the operator is back.
    Mishap.BREAK: Aftermath(()),
}
