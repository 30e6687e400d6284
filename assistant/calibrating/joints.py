"""Joints reported in terms of clearance: which joint is meant, how it is noted, and what all of them propose.

Each joint is recorded in the history beside the shop file, with the blade that cut it and its wood; a proposal uses the
joints of the same blade and wood only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from assistant.advice.prediction import STEPS
from assistant.calibrating.board import TITLE
from assistant.calibrating.history import now
from assistant.calibrating.learned import GAP, Correction, Learned, correction_of, learned
from assistant.errors import BadInput, Fault
from assistant.joinery.units import round_to_step
from assistant.journal.store import Journal, journal_path
from assistant.plans.document import cleaned
from assistant.plans.model import Plan, Shop
from assistant.plans.plan_file import try_plan
from assistant.plans.shop_writer import HistoryEntry, in_force, read_history, record
from assistant.session.facts import Started

ANY_WOOD = "any wood"
# What two reports of one joint have in common.
SAME = ("told", "amount", "written", "kerf", "plan", "title")
MOST_OFF = Fraction(1, 2)  # mm, off the clearance wanted: five times a usual one; common practice, no source


@dataclass(frozen=True, slots=True)
class JointReport:
    """What was reported of a joint.

    what: "too tight", "too loose", "gap", or "" where nothing was. amount: mm, below zero only for a gap, where the
    finger is wider than its socket. written: the clearance in its plan, wanted: the one wanted, mm; None where not
    known. kerf: it was cut with, mm. session: that cut it, "" where not known.
    """

    what: str
    amount: Fraction
    written: Fraction | None
    wanted: Fraction | None
    kerf: Fraction
    species: str
    title: str
    digest: str
    session: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """What is known of this blade and wood. clearance: to write in the next plan, or None where none can be.

    repeated: entries that don't count, since a later one reports the same joint. same_plan: earlier entries that
    report another joint of the plan at hand.
    """

    species: str
    blade: str
    wanted: Fraction
    learned: Learned | None
    clearance: Fraction | None
    repeated: tuple[int, ...] = ()
    same_plan: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class JointOrigin:
    """What a joint was laid out with, by its plan or the session that cut it. kerf: None for the shop's now."""

    unit: str
    clearance: Fraction | None
    kerf: Fraction | None
    title: str
    digest: str
    plan: Plan | None
    session: str = ""


def last_joint_cut(state: Path | None, unit: str) -> JointOrigin | None:
    """The joint of the last finished session that cut wood for one; test boards are none.

    state: the journal's folder, None for the user's own. unit: of bare numbers, where that plan is another
    now.
    """
    path = journal_path(state)
    if not path.exists():
        return None
    with Journal.open_to_read(state) as journal:
        rows = [r for r in journal.sessions() if r.state == "finished" and not r.rehearsed]
        row = next((r for r in reversed(rows) if not r.title.startswith(TITLE)), None)
        # Only the first fact is needed, so a gap behind it does no harm.
        started = None if row is None else next(iter(journal.replay(row.id, with_gaps=True))).fact
    if row is None or not isinstance(started, Started):
        return None
    # A plan changed since no longer says what was cut; the session has that of its own.
    plan, _ = try_plan(Path(row.plan_path))
    same = plan if plan is not None and plan.digest == row.plan_digest else None
    job = started.job
    return JointOrigin(
        unit if same is None else same.unit, job.clearance, job.kerf, job.title, job.plan_digest, same, str(row.id)
    )


def wood_of(plan: Plan) -> str:
    """The wood of both parts, as joints are told apart by it."""
    woods = [wood.species or plan.species for _, wood in sorted(plan.woods.items())] or [plan.species]
    named = dict.fromkeys(cleaned(name).casefold() for name in woods if name)
    return " and ".join(named) or ANY_WOOD


def too_far_off(what: str, amount: Fraction, aim: Fraction) -> bool:
    """Whether a joint is off by more than a matter of fit: it was not cut as laid out, and would spoil the next plan.

    what, amount: as in `JointReport`. aim: the clearance wanted, mm.
    """
    return (abs(amount - aim) if what == GAP else amount) > MOST_OFF


def joints_of(shop: Path, blade: str | None, species: str) -> list[HistoryEntry]:
    """The joints of this blade (None: of any) and wood that stand, oldest first."""
    entries = in_force(shop, read_history(shop))
    return [e for e in entries if e.kind == "joint" and blade in (None, e.blade) and e.data["species"] == species]


def wanted_clearance(joint: JointReport, before: list[HistoryEntry]) -> Fraction:
    """The clearance wanted: as reported, as with the joint before, or as the plan has it; mm.

    Raises BadInput where none of these is known.
    """
    if joint.wanted is not None:
        return joint.wanted
    if before:
        return Fraction(before[-1].data["wanted"])
    if joint.written is not None:
        return joint.written
    mend = "give --wanted LENGTH or --plan FILE; nothing is known yet of this blade and wood"
    raise BadInput([Fault("the clearance wanted is not known", "", "--wanted", mend)])


def entry_of(shop: Path, joint: JointReport, blade: str, wanted: Fraction, noting: bool) -> HistoryEntry:
    """The joint as an entry of the history; written there where `noting`."""
    correction, u = correction_of(joint.what, float(joint.amount), float(joint.written or 0), float(wanted))
    data: dict[str, Any] = {
        "told": joint.what,
        "amount": str(joint.amount),
        "written": str(joint.written),
        "wanted": str(wanted),
        "kerf": str(joint.kerf),
        "correction": correction,
        "u": u,
        "species": joint.species,
        "title": joint.title,
        "plan": joint.digest,
        "session": joint.session,
    }
    if noting:
        return record(shop, "joint", now(), blade, data)
    return HistoryEntry(len(read_history(shop)) + 1, now(), "joint", blade, "", None, None, 0, data)


def _same_joint(one: HistoryEntry, other: HistoryEntry) -> bool:
    """Whether two entries report one joint.

    They do in the same way, with the same figures, of the same plan, and not of two sessions. Where two joints of a
    plan came out exactly alike this takes them for one, which errs on the safe side.
    """
    sessions = {entry.data.get("session", "") for entry in (one, other)} - {""}
    return len(sessions) < 2 and all(one.data.get(name, "") == other.data.get(name, "") for name in SAME)


def propose(shop: Shop, blade: str, joint: JointReport, wanted: Fraction, joints: Sequence[HistoryEntry]) -> Proposal:
    """What to write in the next plan.

    joints: of this blade and wood, oldest first, `joint` among them where it is reported.
    """
    once = [e for n, e in enumerate(joints) if not any(_same_joint(e, later) for later in joints[n + 1 :])]
    counted = {e.n for e in once}
    repeated = tuple(e.n for e in joints if e.n not in counted)
    earlier = once[:-1] if joint.what and joint.digest else []
    same_plan = tuple(e.n for e in earlier if e.data.get("plan") == joint.digest)
    rows = [
        Correction(e.n, float(Fraction(e.data["kerf"])), float(e.data["correction"]), float(e.data["u"])) for e in once
    ]
    found = learned(rows, float(shop.blade.kerf))
    if found is None:
        return Proposal(joint.species, blade, wanted, None, wanted, repeated, same_plan)
    clearance = round_to_step(wanted + Fraction(found.correction), STEPS[shop.unit])
    return Proposal(joint.species, blade, wanted, found, clearance if clearance >= 0 else None, repeated, same_plan)
