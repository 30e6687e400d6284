"""`kerfcall calibrate fit`: you report how a joint fits, and it proposes the clearance for the next plan.

It writes nothing into the shop file or a plan. It proposes the clearance and notes the joint in the history; with
--json it notes the joint only if --yes is given too.
"""

from __future__ import annotations

import argparse
import json
import sys
import textwrap
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from assistant.calibrating.joints import (
    ANY_WOOD,
    MOST_OFF,
    JointOrigin,
    JointReport,
    Proposal,
    kerf_changed,
    last_joint_cut,
    proposal_of,
    too_far_off,
    wood_of,
)
from assistant.calibrating.learned import GAP, LOOSE, TIGHT
from assistant.calibrating.uncertainty import COVERAGE
from assistant.commands.figures import length_option
from assistant.errors import BadInput, Fault
from assistant.joinery.units import PLACES, LengthError, length_to_copy, parse_length, plain_length
from assistant.plans.document import cleaned
from assistant.plans.model import Shop
from assistant.plans.plan_file import read_plan

WAYS = {TIGHT: "too_tight", LOOSE: "too_loose", GAP: "gap"}


def run_fit(args: argparse.Namespace, shop: Shop) -> int:
    """Note the joint, if one is reported, and propose a clearance.

    Returns 0, or 1 if --json was given without --yes, so that nothing was noted. Raises BadInput with every fault.
    """
    joint = _reported_joint(args, shop)
    noting = args.yes or not args.json
    proposal = proposal_of(shop, joint, args.new_blade, noting)
    if args.json:
        print(json.dumps(proposal_json(proposal, bool(joint.what) and noting), indent=1))
    else:
        print("\n".join(proposal_lines(proposal, shop, joint)))
    if noting or not (joint.what or args.new_blade is not None):
        return 0
    print("Nothing was noted in the history: with --json, add --yes to note the joint.", file=sys.stderr)
    return 1


def noted(args: argparse.Namespace, shop: Shop) -> Proposal:
    """Note the joint that these options report, show what `run_fit` shows, and give the proposal. Raises BadInput."""
    joint = _reported_joint(args, shop)
    proposal = proposal_of(shop, joint, args.new_blade, noting=True)
    print("\n".join(proposal_lines(proposal, shop, joint)))
    return proposal


def _reported_joint(args: argparse.Namespace, shop: Shop) -> JointReport:
    """What the options say about a joint. Raises BadInput with every fault."""
    faults: list[Fault] = []
    given = [what for what, name in WAYS.items() if getattr(args, name) is not None]
    if len(given) > 1:
        mend = "report one joint at a time, with one of --too-tight, --too-loose and --gap"
        faults.append(Fault("the joint is reported in more than one way", ", ".join(given), "--too-tight", mend))
    what = given[0] if given else None
    origin = _origin(args, shop, bool(what), faults)

    def length(name: str) -> Fraction | None:
        text, option = getattr(args, name), f"--{name.replace('_', '-')}"
        return None if text is None else length_option(faults, option, text, origin.unit, zero=True)

    def signed(option: str, text: str) -> Fraction | None:
        """A length that may be below zero, as the gap of a joint that jams is."""
        try:
            return parse_length(text, origin.unit)
        except LengthError as error:
            faults.append(Fault(error.what, error.value, option, error.mend))
            return None

    amount = signed("--gap", args.gap) if what == GAP else length(WAYS[what]) if what else None
    written = origin.clearance if args.clearance is None else length("clearance")
    wanted = length("wanted")
    if (
        what
        and amount is not None
        and too_far_off(what, amount, wanted if wanted is not None else written or Fraction(0))
    ):
        most, given_as = (plain_length(mm, origin.unit, PLACES[origin.unit]) for mm in (MOST_OFF, amount))
        mend = f"check the unit, the kerf and the cuts: an error of more than {most} can't be corrected with clearance"
        option = f"--{WAYS[what].replace('_', '-')}"
        faults.append(Fault("is too much to correct with clearance", given_as, option, mend))
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
    """Where the joint comes from: the plan given, or the last joint cut if neither plan nor clearance is given.

    needed: whether a joint is reported. Faults are noted in `faults`.
    """
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
            most: Fraction | None = Fraction(0)
            if args.most_change is not None:
                most = length_option(faults, "--most-change", args.most_change, found.unit, zero=True)
            if most is not None:
                faults += kerf_changed(found, most)
            return found
        mend = "give the joint's plan with --plan FILE, or its clearance with --clearance LENGTH"
        what = "the clearance in the joint's plan is not known, and there is no finished session to take it from"
        faults.append(Fault(what, "", "--plan", mend))
    return JointOrigin(shop.unit, None, None, "", "", None)


def proposal_lines(proposal: Proposal, shop: Shop, joint: JointReport) -> Iterator[str]:
    """The clearance to write in the next plan and how certain it is, as lines to read."""
    if joint.what:
        which = joint.title or f"a joint in {joint.species}"
        jams = ", so the finger is wider than its socket" if joint.amount < 0 else ""
        amount = plain_length(joint.amount, shop.unit, PLACES[shop.unit])
        how = f"{joint.what} {amount}{jams}" if joint.what == GAP else f"{joint.what} by {amount}"
        if joint.what != GAP and not joint.amount:
            how = "right"
        yield f"Noted: {which}, {how}. Take it back with: kerfcall calibrate fit --undo"
        if joint.written is not None:
            yield f"Its plan has a clearance of {plain_length(joint.written, shop.unit, PLACES[shop.unit])}."
    for text in _sentences(proposal, shop):
        yield from textwrap.wrap(text, 100, subsequent_indent="  ", break_on_hyphens=False)


def _sentences(proposal: Proposal, shop: Shop) -> Iterator[str]:
    unit, places = shop.unit, PLACES[shop.unit]

    def size(mm: float) -> str:
        return plain_length(Fraction(mm), unit, places)

    blade = f"blade {proposal.blade}" if proposal.blade else "this blade"
    wanted = plain_length(proposal.wanted, unit)
    if proposal.learned is None:
        yield f"No joint cut with {blade} in {proposal.species} yet."
        yield f"In the plan, write the clearance you want: clearance = {length_to_copy(proposal.wanted, unit)}"
        return
    found = proposal.learned
    joints = "1 joint" if found.count == 1 else f"{found.count} joints"
    if proposal.clearance is not None:
        yield f"In the next plan, write: clearance = {length_to_copy(proposal.clearance, unit)}"
    else:
        off = size(abs(found.correction) / 2)
        yield (
            f"No clearance in the plan gives {wanted}: the blade cuts about {off} wider than the kerf in the shop "
            "file. Calibrate the kerf."
        )
    yield (
        f"That is the {wanted} wanted plus a correction of {size(found.correction)}, from {joints} cut with {blade} in "
        f"{proposal.species}. The correction's standard uncertainty is {size(found.u)}: it is right to within "
        f"{size(COVERAGE * found.u)} in about 95 % of cases (k = {COVERAGE})."
    )
    if found.birge is not None and found.birge > 1:
        yield (
            f"The joints vary {found.birge:.1f} times more than their stated uncertainties. "
            "The uncertainty above allows for it."
        )
    for n in found.far:
        yield f"Entry {n} differs from the others. Was it cut with the same blade, kerf and sharpness?"
    for n in found.other:
        yield (
            f"Entry {n} was cut with a different kerf, so with another blade, and is not counted. "
            "Report another blade with --new-blade NAME."
        )
    if proposal.repeated:
        yield f"{_entries(proposal.repeated)} the same joint as a later entry. It is counted once."
    if proposal.same_plan:
        yield (
            f"You already reported a joint from this plan ({_numbers(proposal.same_plan)}). "
            "If it is the same joint, take one back with --undo."
        )
    yield "No plan and no shop file was changed: layout and cut use the clearance in the plan."


def _entries(numbers: Sequence[int]) -> str:
    """Such as "Entry 2 reports", "Entries 2, 3 report"."""
    verb = "reports" if len(numbers) == 1 else "report"
    return f"{_numbers(numbers).capitalize()} {verb}"


def _numbers(numbers: Sequence[int]) -> str:
    """Such as "entry 2", "entries 2, 3"."""
    return f"{'entry' if len(numbers) == 1 else 'entries'} {', '.join(map(str, numbers))}"


def proposal_json(proposal: Proposal, noted: bool) -> dict[str, Any]:
    """The proposal as JSON-ready data; lengths mm. noted: whether a joint was reported and is in the history now."""
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
