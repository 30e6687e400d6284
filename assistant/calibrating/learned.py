"""Learns from the joints already made which clearance to write for the next one.

Each joint, reported in terms of clearance, gives one correction: what to add to the clearance wanted so that the saw
really produces it. The overall correction is their mean by weighted least squares, each joint with the weight 1/u^2.
Its uncertainty is widened if the joints disagree more than they should.

If the saw cuts a wider kerf than the shop file says, sockets get wider and fingers thinner, so clearance is off by
twice the difference. If the shop file's kerf has been corrected since, a joint's correction moves by twice the change.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from assistant.calibrating.uncertainty import weighted_mean

# A kerf further off than this belongs to another blade, mm.
SAME_BLADE = 0.2
# How well a hand feels a fit, and a caliper measures it: standard uncertainties, mm; assumed, no source.
FELT, FELT_SHARE, MEASURED = 0.02, 0.25, 0.01
# A joint differs from the others if it is this many times the combined uncertainty away from their mean.
FAR_OFF = 3.0


class Reported(StrEnum):
    """What is reported about a joint."""

    TIGHT = "too tight"
    """By `amount` of clearance, as felt."""
    LOOSE = "too loose"
    """Likewise."""
    GAP = "gap"
    """`amount` is the clearance measured, below zero if the finger is wider than its socket."""


TIGHT, LOOSE, GAP = Reported.TIGHT, Reported.LOOSE, Reported.GAP


@dataclass(frozen=True, slots=True)
class Correction:
    """One joint. number: in the history. kerf: the shop file's then. correction, u: of `correction_of`. Lengths mm."""

    number: int
    kerf: float
    correction: float
    u: float


@dataclass(frozen=True, slots=True)
class Learned:
    """The correction from all joints, mm. u: standard uncertainty. count: joints. birge: see `weighted_mean`.

    far: numbers of the joints that differ from the rest. other: numbers of those left out as cut with another blade.
    """

    correction: float
    u: float
    count: int
    birge: float | None
    far: tuple[int, ...]
    other: tuple[int, ...]


def correction_of(what: Reported, amount: float, written: float, wanted: float) -> tuple[float, float]:
    """(correction, its standard uncertainty) from one joint, mm.

    written: the clearance in its plan. wanted: what the saw should produce.
    """
    felt = max(FELT, FELT_SHARE * amount)
    # Of a felt joint: what would have been right, less what was wanted. Of a measured one: written, less measured.
    match what:
        case Reported.TIGHT:
            return written + amount - wanted, felt
        case Reported.LOOSE:
            return written - amount - wanted, felt
        case Reported.GAP:
            return written - amount, MEASURED


def learned(joints: Sequence[Correction], kerf: float) -> Learned | None:
    """The correction for the next plan. kerf: the shop file's now, mm. None if no joint was cut with this blade."""
    ours = [j for j in joints if abs(j.kerf - kerf) <= SAME_BLADE]
    other = tuple(j.number for j in joints if j not in ours)
    if not ours:
        return None
    values = [j.correction + 2 * (kerf - j.kerf) for j in ours]
    uncertainties = [j.u for j in ours]
    mean = weighted_mean(values, uncertainties)
    far = []
    for n, joint in enumerate(ours):
        # If there are only two, nothing shows which of them is the odd one.
        if len(ours) > 2:
            others = weighted_mean(values[:n] + values[n + 1 :], uncertainties[:n] + uncertainties[n + 1 :])
            if abs(values[n] - others.value) > FAR_OFF * math.hypot(joint.u, others.u):
                far.append(joint.number)
    return Learned(mean.value, mean.u, len(ours), mean.birge, tuple(far), other)
