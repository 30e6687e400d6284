"""Takes reports of how joints fit: finds the joint, notes the report, and proposes a clearance from all of them.

Each joint is recorded in the history beside the shop file, with the blade that cut it and its wood. A proposal uses
only joints of the same blade and wood.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from assistant.advice.prediction import ASSUMED, STEPS
from assistant.calibrating.history import blade_name, current_blade, kerf_measured, new_blade, now
from assistant.calibrating.learned import FELT, Correction, Learned, Reported, correction_of, learned
from assistant.calibrating.uncertainty import COVERAGE
from assistant.errors import BadInput, Fault, JournalError
from assistant.joinery.other_kerf import kerf_of
from assistant.joinery.units import round_to_step
from assistant.journal.schema import SessionState
from assistant.journal.store import Journal, journal_path
from assistant.plans.document import cleaned
from assistant.plans.members import member
from assistant.plans.model import TEST_BOARD, Job, Plan, Shop
from assistant.plans.plan_file import try_plan
from assistant.plans.shop_writer import EntryKind, HistoryEntry, in_force, read_history, record
from assistant.session import facts as f
from assistant.session.concerned import KERF_STEP

ANY_WOOD = "any wood"
# What two reports of the same joint have in common.
SAME = ("told", "amount", "written", "kerf", "plan", "title")
MOST_OFF = Fraction(1, 2)  # mm, off the clearance wanted: five times a usual one; common practice, no source


@dataclass(frozen=True, slots=True)
class JointReport:
    """What was reported about a joint.

    what: None if nothing was. amount: mm, below zero only for a gap, if the finger is wider than its socket. written:
    the clearance in its plan; wanted: the clearance wanted; mm, None if not known. kerf: the kerf in effect when it was
    cut, mm. session: the session that cut it, "" if not known.
    """

    what: Reported | None
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
    """What is known about this blade and wood. clearance: to write in the next plan, None if no clearance will do.

    repeated: entries that aren't counted, since a later entry reports the same joint. same_plan: earlier entries that
    report another joint of this plan.
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
    """What a joint was laid out with, from its plan or the session that cut it.

    kerf: None for the shop's present. began_with: the kerf with which its session began, which was the shop file's;
    None where no session is known. kerfs: those by which its passes were laid out, mm, in the order in which they were
    cut; () where no session is known.
    """

    unit: str
    clearance: Fraction | None
    kerf: Fraction | None
    title: str
    digest: str
    plan: Plan | None
    session: str = ""
    began_with: Fraction | None = None
    kerfs: tuple[Fraction, ...] = ()

    @property
    def kerf_changed_by(self) -> Fraction:
        """By how much the kerf changed while the joint was cut, mm; 0 if by no more than it could be given."""
        moved = max(self.kerfs) - min(self.kerfs) if self.kerfs else Fraction(0)
        return moved if moved * 2 > KERF_STEP[self.unit] else Fraction(0)

    @property
    def kerf_of_its_session(self) -> Fraction | None:
        """The kerf that was given in its session, mm, where that counted for that session only.

        None where the shop file had it, as nearly as a kerf can be given. Otherwise the joint says nothing of the next
        clearance: the next cut would be laid out with the shop file's kerf.
        """
        if self.kerf is None or self.began_with is None:
            return None
        return None if abs(self.kerf - self.began_with) * 2 <= KERF_STEP[self.unit] else self.kerf


def last_joint_cut(state: Path | None, unit: str) -> JointOrigin | None:
    """The joint of the last finished session that cut one in wood. Test boards don't count.

    state: the journal's folder, None for the user's own. unit: of bare numbers, if the plan has changed
    since.
    """
    path = journal_path(state)
    if not path.exists():
        return None
    with Journal.open_to_read(state) as journal:
        rows = [r for r in journal.sessions() if r.state == SessionState.FINISHED and not r.rehearsed]
        row = next((r for r in reversed(rows) if not r.title.startswith(TEST_BOARD)), None)
        records = iter(()) if row is None else journal.replay(row.id, with_gaps=True)
        started = next((record.fact for record in records), None)
        if row is None or not isinstance(started, f.Started):
            return None
        kerf, kerfs = _kerfs(started.job, records)
    # A plan changed since then no longer says what was cut, but the session does.
    plan, _ = try_plan(Path(row.plan_path))
    same = plan if plan is not None and plan.digest == row.plan_digest else None
    job = started.job
    return JointOrigin(
        unit if same is None else same.unit,
        job.clearance,
        kerf,
        job.title,
        job.plan_digest,
        same,
        str(row.id),
        began_with=job.kerf,
        kerfs=kerfs,
    )


def _kerfs(job: Job, records: Iterator[f.Record]) -> tuple[Fraction, tuple[Fraction, ...]]:
    """The kerf with which a session ended, and those by which the boards that it kept were laid out, as they were cut.

    What can't be read, or is lost, changes nothing.
    """
    cut: dict[int, None] = {}
    try:
        for record in records:
            match record.fact:
                case f.JobExtended() as fact:
                    job = fact.extend(job)
                case f.PassCut(setup):
                    cut[setup] = None
                case f.SetupReopened(setup, socket=0, deeper=False):
                    cut.pop(setup, None)
                case f.BoardSpoilt(setups):
                    cut = {setup: None for setup in cut if setup not in setups}
    except JournalError:
        pass
    return job.kerf, tuple(dict.fromkeys(kerf_of(job.pattern_of(setup)) for setup in cut))


def wood_of(plan: Plan) -> str:
    """The wood of both parts, in one name that keeps joints of different woods apart."""
    woods = [wood.species or plan.species for _, wood in sorted(plan.woods.items())] or [plan.species]
    named = dict.fromkeys(cleaned(name).casefold() for name in woods if name)
    return " and ".join(named) or ANY_WOOD


def joint_like(shop: Shop, plan: Plan) -> HistoryEntry | None:
    """The latest joint in force that was cut as this plan's will be, None if none was.

    That is with the blade on the saw, its kerf the same within its uncertainty, in the plan's wood and with the plan's
    clearance. Raises CouldNotRun if the history can't be read.
    """
    path = Path(shop.path)
    entries = in_force(path, read_history(path))
    blade, wood = current_blade(entries), wood_of(plan)
    measured = kerf_measured(shop, entries)
    apart = COVERAGE * (float(measured.data["u"]) if measured else ASSUMED["kerf"])
    for entry in reversed(entries):
        if entry.kind != EntryKind.JOINT or (entry.blade, entry.data["species"]) != (blade, wood):
            continue
        same_kerf = abs(float(Fraction(entry.data["kerf"]) - shop.blade.kerf)) <= apart
        # A joint reported by its gap alone may be of a plan whose clearance nobody knows: "None".
        if same_kerf and entry.data["written"] == str(plan.joint.clearance):
            return entry
    return None


def was_right(joint: HistoryEntry) -> bool:
    """Whether a joint came out as wanted, or nearer to it than a hand feels."""
    what, amount = reported(joint)
    return abs(amount - Fraction(joint.data["wanted"]) if what == Reported.GAP else amount) <= FELT


def reported(joint: HistoryEntry) -> tuple[Reported, Fraction]:
    """(what, amount) of a joint in the history, as in `JointReport`."""
    return member(Reported, joint.data["told"]), Fraction(joint.data["amount"])


def too_far_off(what: Reported, amount: Fraction, aim: Fraction) -> bool:
    """Whether a joint is off by more than clearance can correct: it wasn't cut as laid out, and misleads.

    what, amount: as in `JointReport`. aim: the clearance wanted, mm.
    """
    return (abs(amount - aim) if what == Reported.GAP else amount) > MOST_OFF


def joints_of(shop: Path, blade: str | None, species: str) -> list[HistoryEntry]:
    """The joints in force of this blade (None: of any blade) and wood, oldest first."""
    entries = in_force(shop, read_history(shop))
    joints = (entry for entry in entries if entry.kind == EntryKind.JOINT)
    return [joint for joint in joints if blade in (None, joint.blade) and joint.data["species"] == species]


def wanted_clearance(joint: JointReport, before: list[HistoryEntry]) -> Fraction:
    """The clearance wanted, mm: the one reported, or that of the joint before, or that in the plan.

    Raises BadInput if none of these is known.
    """
    if joint.wanted is not None:
        return joint.wanted
    if before:
        return Fraction(before[-1].data["wanted"])
    if joint.written is not None:
        return joint.written
    mend = "give --wanted LENGTH or --plan FILE: no joint of this blade and wood has been reported yet"
    raise BadInput([Fault("the clearance wanted is not known", "", "--wanted", mend)])


def entry_of(shop: Path, joint: JointReport, blade: str, wanted: Fraction, noting: bool) -> HistoryEntry:
    """The joint as an entry of the history. noting: whether to write it there."""
    assert joint.what is not None
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
        return record(shop, EntryKind.JOINT, now(), blade, data)
    return HistoryEntry(len(read_history(shop)) + 1, now(), EntryKind.JOINT, blade, "", None, None, 0, data)


def _same_joint(one: HistoryEntry, other: HistoryEntry) -> bool:
    """Whether two entries report the same joint.

    They do if they report it in the same way, with the same figures, for the same plan, and not from two sessions. Two
    joints of a plan that came out exactly alike are then taken for one, which errs on the safe side.
    """
    sessions = {entry.data.get("session", "") for entry in (one, other)} - {""}
    return len(sessions) < 2 and all(one.data.get(name, "") == other.data.get(name, "") for name in SAME)


def proposal_of(shop: Shop, joint: JointReport, fitted: str | None, noting: bool) -> Proposal:
    """What all joints of this blade and wood say, this one included.

    fitted: the name of another blade that was fitted for it, None if none was. noting: whether joint and blade are
    noted in the history. Raises BadInput if the clearance wanted is not known.
    """
    path = Path(shop.path)
    on_the_saw = current_blade(in_force(path, read_history(path)))
    before = [] if fitted is not None else joints_of(path, on_the_saw, joint.species)
    # A plan for another blade can hold a corrected clearance. The clearance wanted stays the same.
    wanted = wanted_clearance(joint, before or joints_of(path, None, joint.species))
    blade = on_the_saw
    if fitted is not None:
        blade = new_blade(path, fitted, now()) if noting else blade_name(path, fitted)
    joints = [*before, entry_of(path, joint, blade, wanted, noting)] if joint.what else before
    return propose(shop, blade, joint, wanted, joints)


def propose(shop: Shop, blade: str, joint: JointReport, wanted: Fraction, joints: Sequence[HistoryEntry]) -> Proposal:
    """What to write in the next plan.

    joints: of this blade and wood, oldest first, including `joint` if it is reported.
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
