"""`kerfcall calibrate fit`: joints reported in terms of clearance, and the clearance to write in the next plan.

Nothing is written into the shop file or a plan: the clearance is proposed, and the joint noted in the history; with
--json only where --yes is given too.
"""

from __future__ import annotations

import argparse
import json
import sys
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from assistant.commands.calibrate import blade_name, current_blade, new_blade, now
from assistant.commands.calibrate_board import TITLE
from assistant.commands.figures import length_option
from assistant.errors import BadInput, Fault
from assistant.joinery.calibration_fit import COVERAGE, GAP, LOOSE, TIGHT, Learned, Told, learned, told
from assistant.joinery.units import LengthError, parse_length, plain_length, round_to_step
from assistant.journal.store import Journal, journal_path
from assistant.plans.document import cleaned
from assistant.plans.model import Plan, Shop
from assistant.plans.plan_file import read_plan, try_plan
from assistant.plans.shop_writer import Entry, in_force, read_history, record
from assistant.session.facts import Started

ANY_WOOD = "any wood"
STEPS = {"mm": Fraction(1, 100), "in": Fraction(127, 10_000)}
PLACES = {"mm": 3, "in": 4}
WAYS = {TIGHT: "too_tight", LOOSE: "too_loose", GAP: "gap"}
# What two reports of one joint have in common.
SAME = ("told", "amount", "written", "kerf", "plan", "title")
MOST_OFF = Fraction(1, 2)  # mm, off the clearance wanted: five times a usual one; common practice, no source
NOT_HERE = ("reading", "csv", "wav", "dictate", "plot", "caliper", "caliper_range", "caliper_error", "most_change")


@dataclass(frozen=True, slots=True)
class Joint:
    """What was reported. what: "" where nothing was. Lengths mm; amount below zero only for a gap, where the finger is
    wider than its socket; wanted, written: None where not known. session: that cut it, "" where not known."""

    what: str
    amount: Fraction
    written: Fraction | None
    wanted: Fraction | None
    u: Fraction | None
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
class Cut:
    """What the joint was laid out with, by its plan or the session that cut it. kerf: None for the shop's now."""

    unit: str
    clearance: Fraction | None
    kerf: Fraction | None
    title: str
    digest: str
    plan: Plan | None
    session: str = ""


def run_fit(args: argparse.Namespace, shop: Shop) -> int:
    """Note the joint, where one is reported, and propose. Returns 0, or 1 where --json came without --yes and so
    nothing was noted; raises BadInput with every fault."""
    joint = _joint(args, shop)
    path = Path(shop.path)
    before = [] if args.new_blade is not None else _joints(path, _blade(path), joint.species)
    # Another blade's plan may hold a clearance that was corrected; what was wanted stays wanted.
    wanted = _wanted(joint, before or _joints(path, None, joint.species))
    noting = args.yes or not args.json
    if args.new_blade is None:
        blade = _blade(path)
    else:
        blade = new_blade(path, args.new_blade, now()) if noting else blade_name(path, args.new_blade)
    joints = before
    if joint.what:
        joints = [*before, _noted(path, joint, blade, wanted, noting)]
    made = _propose(shop, blade, joint, wanted, joints)
    if args.json:
        print(json.dumps(proposal_json(made, bool(joint.what) and noting), indent=1))
    else:
        print("\n".join(proposal_lines(made, shop, joint)))
    if noting or not (joint.what or args.new_blade is not None):
        return 0
    print("Nothing was noted in the history; --json notes only with --yes.", file=sys.stderr)
    return 1


def _joint(args: argparse.Namespace, shop: Shop) -> Joint:
    """What the options tell. Raises BadInput with every fault."""
    faults = [
        Fault("means nothing with fit", "", f"--{name.replace('_', '-')}", "leave it out")
        for name in NOT_HERE
        if getattr(args, name)
    ]
    given = [what for what, name in WAYS.items() if getattr(args, name) is not None]
    if len(given) > 1:
        mend = "tell of one joint at a time, in one way"
        faults.append(Fault("says two things of one joint", ", ".join(given), "--too-tight", mend))
    what = given[0] if given else ""
    cut = _cut(args, shop, bool(what), faults)

    def length(name: str, zero: bool = True) -> Fraction | None:
        text, option = getattr(args, name), f"--{name.replace('_', '-')}"
        return None if text is None else length_option(faults, option, text, cut.unit, zero=zero)

    def signed(option: str, text: str) -> Fraction | None:
        """A joint that jams has a gap below zero."""
        try:
            return parse_length(text, cut.unit)
        except LengthError as error:
            faults.append(Fault(error.what, error.value, option, error.mend))
            return None

    amount = signed("--gap", args.gap) if what == GAP else length(WAYS[what]) if what else None
    written = cut.clearance if args.clearance is None else length("clearance")
    wanted, u = length("wanted"), length("uncertainty", zero=False)
    _not_far_off(what, amount, written, wanted, cut.unit, faults)
    if faults:
        raise BadInput(faults)
    kerf = cut.kerf or shop.blade.kerf
    species = _species(args, cut.plan)
    return Joint(what, amount or Fraction(0), written, wanted, u, kerf, species, cut.title, cut.digest, cut.session)


def _not_far_off(
    what: str,
    amount: Fraction | None,
    written: Fraction | None,
    wanted: Fraction | None,
    unit: str,
    faults: list[Fault],
) -> None:
    """A joint that is off by more was not cut as laid out; what it tells would spoil the next plan."""
    if amount is None:
        return
    option = f"--{WAYS[what].replace('_', '-')}"
    aim = wanted if wanted is not None else written or Fraction(0)
    off = abs(amount - aim) if what == GAP else amount
    if off > MOST_OFF:
        most = plain_length(MOST_OFF, unit, PLACES[unit])
        mend = f"see to the unit, the kerf and the cuts: a fit is off by {most} at most, more is another fault"
        faults.append(Fault("is too much for a matter of fit", plain_length(amount, unit, PLACES[unit]), option, mend))


def _cut(args: argparse.Namespace, shop: Shop, needed: bool, faults: list[Fault]) -> Cut:
    """The plan named; where a joint is told of and neither plan nor clearance is named, the last one cut."""
    if args.plan is not None:
        try:
            plan = read_plan(args.plan)
        except BadInput as error:
            faults += error.faults
        else:
            return Cut(plan.unit, plan.joint.clearance, None, plan.title, plan.digest, plan)
    elif needed and args.clearance is None:
        found = _last_cut(args.state, shop.unit)
        if found is not None:
            return found
        mend = "name the joint's plan with --plan FILE, or its clearance with --clearance LENGTH"
        what = "the clearance that the joint was laid out with is missing, and no session was finished"
        faults.append(Fault(what, "", "--plan", mend))
    return Cut(shop.unit, None, None, "", "", None)


def _last_cut(state: Path | None, unit: str) -> Cut | None:
    """The joint of the last finished session that cut wood for one; test boards are none."""
    path = journal_path(state)
    if not path.exists():
        return None
    with Journal.open_to_read(state) as journal:
        rows = [r for r in journal.sessions() if r.state == "finished" and not r.rehearsed]
        row = next((r for r in reversed(rows) if not r.title.startswith(TITLE)), None)
        started = None if row is None else next(iter(journal.replay(row.id, with_gaps=True))).fact
    if row is None or not isinstance(started, Started):
        return None
    plan, _ = try_plan(Path(row.plan_path))
    same = plan if plan is not None and plan.digest == row.plan_digest else None
    job = started.job
    return Cut(
        unit if same is None else same.unit, job.clearance, job.kerf, job.title, job.plan_digest, same, str(row.id)
    )


def _species(args: argparse.Namespace, plan: Plan | None) -> str:
    if args.species is not None:
        return cleaned(args.species).casefold() or ANY_WOOD
    if plan is None:
        return ANY_WOOD
    woods = [wood.species or plan.species for _, wood in sorted(plan.woods.items())] or [plan.species]
    named = dict.fromkeys(cleaned(name).casefold() for name in woods if name)
    return " and ".join(named) or ANY_WOOD


def _blade(shop: Path) -> str:
    return current_blade(in_force(shop, read_history(shop)))


def _joints(shop: Path, blade: str | None, species: str) -> list[Entry]:
    """The joints of this blade (None: of any) and wood that stand, oldest first."""
    entries = in_force(shop, read_history(shop))
    return [e for e in entries if e.kind == "joint" and blade in (None, e.blade) and e.data["species"] == species]


def _wanted(joint: Joint, before: list[Entry]) -> Fraction:
    """The clearance wanted: as told, as with the joint before, or as the plan has it; mm."""
    if joint.wanted is not None:
        return joint.wanted
    if before:
        return Fraction(before[-1].data["wanted"])
    if joint.written is not None:
        return joint.written
    mend = "give --wanted LENGTH or --plan FILE; nothing is known yet of this blade and wood"
    raise BadInput([Fault("the clearance wanted is not known", "", "--wanted", mend)])


def _noted(path: Path, joint: Joint, blade: str, wanted: Fraction, noting: bool) -> Entry:
    """The joint as an entry of the history; written there where `noting`."""
    correction, u = told(joint.what, float(joint.amount), float(joint.written or 0), float(wanted))
    data: dict[str, Any] = {
        "told": joint.what,
        "amount": str(joint.amount),
        "written": str(joint.written),
        "wanted": str(wanted),
        "kerf": str(joint.kerf),
        "correction": correction,
        "u": u if joint.u is None else float(joint.u),
        "species": joint.species,
        "title": joint.title,
        "plan": joint.digest,
        "session": joint.session,
    }
    if noting:
        return record(path, "joint", now(), blade, data)
    return Entry(len(read_history(path)) + 1, now(), "joint", blade, "", None, None, 0, data)


def _same_joint(one: Entry, other: Entry) -> bool:
    """Whether two entries report one joint: in the same way, with the same figures, of the same plan, and not of two
    sessions. Where two joints of a plan came out exactly alike this takes them for one, which errs on the safe side."""
    sessions = {entry.data.get("session", "") for entry in (one, other)} - {""}
    return len(sessions) < 2 and all(one.data.get(name, "") == other.data.get(name, "") for name in SAME)


def _propose(shop: Shop, blade: str, joint: Joint, wanted: Fraction, joints: Sequence[Entry]) -> Proposal:
    """joints: of this blade and wood, oldest first, `joint` among them where it is reported."""
    once = [e for n, e in enumerate(joints) if not any(_same_joint(e, later) for later in joints[n + 1 :])]
    counted = {e.n for e in once}
    repeated = tuple(e.n for e in joints if e.n not in counted)
    earlier = once[:-1] if joint.what and joint.digest else []
    same_plan = tuple(e.n for e in earlier if e.data.get("plan") == joint.digest)
    rows = [Told(e.n, float(Fraction(e.data["kerf"])), float(e.data["correction"]), float(e.data["u"])) for e in once]
    found = learned(rows, float(shop.blade.kerf))
    if found is None:
        return Proposal(joint.species, blade, wanted, None, wanted, repeated, same_plan)
    clearance = round_to_step(wanted + Fraction(found.correction), STEPS[shop.unit])
    return Proposal(joint.species, blade, wanted, found, clearance if clearance >= 0 else None, repeated, same_plan)


def proposal_lines(made: Proposal, shop: Shop, joint: Joint) -> Iterator[str]:
    """What to write in the next plan, and how sure it is."""
    if joint.what:
        which = joint.title or f"a joint in {joint.species}"
        jams = ", so the finger is wider than its socket" if joint.amount < 0 else ""
        amount = plain_length(joint.amount, shop.unit, PLACES[shop.unit])
        how = f"{joint.what} {amount}{jams}" if joint.what == GAP else f"{joint.what} by {amount}"
        yield f"Noted: {which}, {how}. Take it back with: kerfcall calibrate fit --undo"
    for text in _sentences(made, shop):
        yield from textwrap.wrap(text, 100, subsequent_indent="  ", break_on_hyphens=False)


def _sentences(made: Proposal, shop: Shop) -> Iterator[str]:
    unit, places = shop.unit, PLACES[shop.unit]

    def size(mm: float) -> str:
        return plain_length(Fraction(mm), unit, places)

    blade = f"blade {made.blade}" if made.blade else "this blade"
    wanted = plain_length(made.wanted, unit)
    if made.learned is None:
        yield f"No joint of {blade} in {made.species} yet: write the clearance you want, {wanted}."
        return
    found = made.learned
    joints = "1 joint" if found.count == 1 else f"{found.count} joints"
    if made.clearance is not None:
        yield f"Write in the next plan: clearance = {_toml(made.clearance, unit)}"
    else:
        off = size(abs(found.correction) / 2)
        yield f"No clearance gives {wanted}: the kerf is about {off} over the shop file's. Calibrate the kerf."
    yield (
        f"That is the {wanted} wanted and a correction of {size(found.correction)}, standard uncertainty "
        f"{size(found.u)}; with about 95 % within {size(COVERAGE * found.u)} (k = {COVERAGE}), "
        f"from {joints} of {blade} in {made.species}."
    )
    if found.birge is not None and found.birge > 1:
        yield f"The joints scatter {found.birge:.1f} times as much as told; the uncertainty is widened by that."
    for n in found.far:
        yield f"Entry {n} stands apart from the others; was it cut with the same blade, kerf and sharpness?"
    for n in found.other:
        yield f"Entry {n} was cut with another kerf, so with another blade; it doesn't count. Use --new-blade NAME."
    if made.repeated:
        yield f"{_entries(made.repeated)} the same joint as a later entry; it counts once."
    if made.same_plan:
        yield (
            f"{_entries(made.same_plan)} a joint of this plan too; if it is the same joint, take one back with --undo."
        )
    yield "Nothing was written into a plan or the shop file: layout and cut use what the plan says."


def _entries(numbers: Sequence[int]) -> str:
    verb = "reports" if len(numbers) == 1 else "report"
    return f"{'Entry' if len(numbers) == 1 else 'Entries'} {', '.join(map(str, numbers))} {verb}"


def _toml(mm: Fraction, unit: str) -> str:
    return plain_length(mm, unit).removesuffix(f" {unit}")


def proposal_json(made: Proposal, noted: bool) -> dict[str, Any]:
    """The same as JSON-ready data; lengths mm. noted: whether a joint was reported and is in the history now."""
    found = made.learned
    return {
        "species": made.species,
        "blade": made.blade,
        "noted": noted,
        "wanted": float(made.wanted),
        "clearance": None if made.clearance is None else float(made.clearance),
        "joints": 0 if found is None else found.count,
        "correction": None if found is None else round(found.correction, 9),
        "standard_uncertainty": None if found is None else round(found.u, 9),
        "expanded_uncertainty": None if found is None else round(COVERAGE * found.u, 9),
        "scatter_ratio": None if found is None else found.birge,
        "apart": [] if found is None else list(found.far),
        "other_blade": [] if found is None else list(found.other),
        "repeated": list(made.repeated),
        "same_plan": list(made.same_plan),
    }
