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
from fractions import Fraction
from pathlib import Path
from typing import Any

from assistant.calibrating.history import blade_name, current_blade, new_blade, now
from assistant.calibrating.joints import (
    ANY_WOOD,
    MOST_OFF,
    JointOrigin,
    JointReport,
    Proposal,
    entry_of,
    joints_of,
    last_joint_cut,
    propose,
    too_far_off,
    wanted_clearance,
    wood_of,
)
from assistant.calibrating.learned import COVERAGE, GAP, LOOSE, TIGHT
from assistant.commands.figures import length_option
from assistant.errors import BadInput, Fault
from assistant.joinery.units import LengthError, parse_length, plain_length
from assistant.plans.document import cleaned
from assistant.plans.model import Shop
from assistant.plans.plan_file import read_plan
from assistant.plans.shop_writer import in_force, read_history

PLACES = {"mm": 3, "in": 4}
WAYS = {TIGHT: "too_tight", LOOSE: "too_loose", GAP: "gap"}


def run_fit(args: argparse.Namespace, shop: Shop) -> int:
    """Note the joint, where one is reported, and propose.

    Returns 0, or 1 where --json came without --yes and so nothing was noted; raises BadInput with every fault.
    """
    joint = _reported_joint(args, shop)
    path = Path(shop.path)
    on_the_saw = current_blade(in_force(path, read_history(path)))
    before = [] if args.new_blade is not None else joints_of(path, on_the_saw, joint.species)
    # Another blade's plan may hold a clearance that was corrected; what was wanted stays wanted.
    wanted = wanted_clearance(joint, before or joints_of(path, None, joint.species))
    noting = args.yes or not args.json
    if args.new_blade is None:
        blade = on_the_saw
    else:
        blade = new_blade(path, args.new_blade, now()) if noting else blade_name(path, args.new_blade)
    joints = before
    if joint.what:
        joints = [*before, entry_of(path, joint, blade, wanted, noting)]
    proposal = propose(shop, blade, joint, wanted, joints)
    if args.json:
        print(json.dumps(proposal_json(proposal, bool(joint.what) and noting), indent=1))
    else:
        print("\n".join(proposal_lines(proposal, shop, joint)))
    if noting or not (joint.what or args.new_blade is not None):
        return 0
    print("Nothing was noted in the history; --json notes only with --yes.", file=sys.stderr)
    return 1


def _reported_joint(args: argparse.Namespace, shop: Shop) -> JointReport:
    """What the options say of a joint. Raises BadInput with every fault."""
    faults: list[Fault] = []
    given = [what for what, name in WAYS.items() if getattr(args, name) is not None]
    if len(given) > 1:
        mend = "tell of one joint at a time, in one way"
        faults.append(Fault("says two things of one joint", ", ".join(given), "--too-tight", mend))
    what = given[0] if given else ""
    origin = _origin(args, shop, bool(what), faults)

    def length(name: str) -> Fraction | None:
        text, option = getattr(args, name), f"--{name.replace('_', '-')}"
        return None if text is None else length_option(faults, option, text, origin.unit, zero=True)

    def signed(option: str, text: str) -> Fraction | None:
        """A joint that jams has a gap below zero."""
        try:
            return parse_length(text, origin.unit)
        except LengthError as error:
            faults.append(Fault(error.what, error.value, option, error.mend))
            return None

    amount = signed("--gap", args.gap) if what == GAP else length(WAYS[what]) if what else None
    written = origin.clearance if args.clearance is None else length("clearance")
    wanted = length("wanted")
    if amount is not None and too_far_off(what, amount, wanted if wanted is not None else written or Fraction(0)):
        most, given_as = (plain_length(mm, origin.unit, PLACES[origin.unit]) for mm in (MOST_OFF, amount))
        mend = f"see to the unit, the kerf and the cuts: a fit is off by {most} at most, more is another fault"
        option = f"--{WAYS[what].replace('_', '-')}"
        faults.append(Fault("is too much for a matter of fit", given_as, option, mend))
    if faults:
        raise BadInput(faults)
    kerf = origin.kerf or shop.blade.kerf
    if args.species is not None:
        species = cleaned(args.species).casefold() or ANY_WOOD
    else:
        species = ANY_WOOD if origin.plan is None else wood_of(origin.plan)
    return JointReport(
        what, amount or Fraction(0), written, wanted, kerf, species, origin.title, origin.digest, origin.session
    )


def _origin(args: argparse.Namespace, shop: Shop, needed: bool, faults: list[Fault]) -> JointOrigin:
    """The plan named; where a joint is reported and neither plan nor clearance is named, the last one cut."""
    if args.plan is not None:
        try:
            plan = read_plan(args.plan)
        except BadInput as error:
            faults += error.faults
        else:
            return JointOrigin(plan.unit, plan.joint.clearance, None, plan.title, plan.digest, plan)
    elif needed and args.clearance is None:
        found = last_joint_cut(args.state, shop.unit)
        if found is not None:
            return found
        mend = "name the joint's plan with --plan FILE, or its clearance with --clearance LENGTH"
        what = "the clearance that the joint was laid out with is missing, and no session was finished"
        faults.append(Fault(what, "", "--plan", mend))
    return JointOrigin(shop.unit, None, None, "", "", None)


def proposal_lines(proposal: Proposal, shop: Shop, joint: JointReport) -> Iterator[str]:
    """What to write in the next plan, and how sure it is."""
    if joint.what:
        which = joint.title or f"a joint in {joint.species}"
        jams = ", so the finger is wider than its socket" if joint.amount < 0 else ""
        amount = plain_length(joint.amount, shop.unit, PLACES[shop.unit])
        how = f"{joint.what} {amount}{jams}" if joint.what == GAP else f"{joint.what} by {amount}"
        yield f"Noted: {which}, {how}. Take it back with: kerfcall calibrate fit --undo"
    for text in _sentences(proposal, shop):
        yield from textwrap.wrap(text, 100, subsequent_indent="  ", break_on_hyphens=False)


def _sentences(proposal: Proposal, shop: Shop) -> Iterator[str]:
    unit, places = shop.unit, PLACES[shop.unit]

    def size(mm: float) -> str:
        return plain_length(Fraction(mm), unit, places)

    blade = f"blade {proposal.blade}" if proposal.blade else "this blade"
    wanted = plain_length(proposal.wanted, unit)
    if proposal.learned is None:
        yield f"No joint of {blade} in {proposal.species} yet: write the clearance you want, {wanted}."
        return
    found = proposal.learned
    joints = "1 joint" if found.count == 1 else f"{found.count} joints"
    if proposal.clearance is not None:
        yield f"Write in the next plan: clearance = {plain_length(proposal.clearance, unit).removesuffix(f' {unit}')}"
    else:
        off = size(abs(found.correction) / 2)
        yield f"No clearance gives {wanted}: the kerf is about {off} over the shop file's. Calibrate the kerf."
    yield (
        f"That is the {wanted} wanted and a correction of {size(found.correction)}, standard uncertainty "
        f"{size(found.u)}; with about 95 % within {size(COVERAGE * found.u)} (k = {COVERAGE}), "
        f"from {joints} of {blade} in {proposal.species}."
    )
    if found.birge is not None and found.birge > 1:
        yield f"The joints scatter {found.birge:.1f} times as much as told; the uncertainty is widened by that."
    for n in found.far:
        yield f"Entry {n} stands apart from the others; was it cut with the same blade, kerf and sharpness?"
    for n in found.other:
        yield f"Entry {n} was cut with another kerf, so with another blade; it doesn't count. Use --new-blade NAME."
    if proposal.repeated:
        yield f"{_entries(proposal.repeated)} the same joint as a later entry; it counts once."
    if proposal.same_plan:
        yield (
            f"{_entries(proposal.same_plan)} a joint of this plan too; "
            "if it is the same joint, take one back with --undo."
        )
    yield "Nothing was written into a plan or the shop file: layout and cut use what the plan says."


def _entries(numbers: Sequence[int]) -> str:
    verb = "reports" if len(numbers) == 1 else "report"
    return f"{'Entry' if len(numbers) == 1 else 'Entries'} {', '.join(map(str, numbers))} {verb}"


def proposal_json(proposal: Proposal, noted: bool) -> dict[str, Any]:
    """The same as JSON-ready data; lengths mm. noted: whether a joint was reported and is in the history now."""
    found = proposal.learned
    return {
        "species": proposal.species,
        "blade": proposal.blade,
        "noted": noted,
        "wanted": float(proposal.wanted),
        "clearance": None if proposal.clearance is None else float(proposal.clearance),
        "joints": 0 if found is None else found.count,
        "correction": None if found is None else round(found.correction, 9),
        "standard_uncertainty": None if found is None else round(found.u, 9),
        "expanded_uncertainty": None if found is None else round(COVERAGE * found.u, 9),
        "scatter_ratio": None if found is None else found.birge,
        "apart": [] if found is None else list(found.far),
        "other_blade": [] if found is None else list(found.other),
        "repeated": list(proposal.repeated),
        "same_plan": list(proposal.same_plan),
    }
