"""The test joint that `cut` offers before a job of which no joint is known: the offer, and what follows its session."""

from __future__ import annotations

import argparse
import shlex
import sys
import textwrap
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path

from assistant.asking import agreed, chosen
from assistant.calibrating.joints import ANY_WOOD, last_joint_cut, reported, wood_of
from assistant.calibrating.learned import GAP, Reported
from assistant.calibrating.test_joint import parse_report, untested
from assistant.commands.calibrate_fit import WAYS, noted
from assistant.commands.driving import is_rehearsed
from assistant.errors import BadInput, CouldNotRun, Fault, NoSuchPart
from assistant.joinery.units import PLACES, Unit, length_to_copy, plain_length
from assistant.plans.document import cleaned
from assistant.plans.model import Plan, Shop
from assistant.plans.plan_file import try_plan
from assistant.plans.plan_writer import write_clearance
from assistant.plans.shop_writer import HistoryEntry
from assistant.plans.test_joint import FINGERS, Offcuts, build_test_joint, can_be_tested
from assistant.wording.numbers import cardinal


class OfferAnswer(StrEnum):
    """What `cut` does about a test joint."""

    NOT_ASKED = "not asked"
    """A joint like this one is known, none can be tested, or nobody is there to answer."""
    CUT = "cut"
    SKIP = "skip"
    LEAVE = "leave"


ANSWERS = {
    OfferAnswer.CUT: ("t", "test", "test joint"),
    OfferAnswer.SKIP: ("s", "skip"),
    OfferAnswer.LEAVE: ("n", "not now", "no", "leave"),
}
HOW_TO_REPORT = (
    "--too-tight 0 if they are right, else --too-tight LENGTH, --too-loose LENGTH or --gap LENGTH (measured)"
)
LATER = "later"


def add_test_joint_options(parser: argparse.ArgumentParser) -> None:
    cut = "cut a test joint of this plan: the first fingers of A and B, in two offcuts"
    parser.add_argument("--test-joint", action="store_true", help=cut)
    skip = "cut the boards without a test joint, even if no joint like theirs is known"
    parser.add_argument("--no-test-joint", action="store_true", help=skip)


def faults_of(args: argparse.Namespace, plan: Plan | None) -> Iterator[Fault]:
    """What is wrong with the options. plan: None if it can't be read."""
    if args.test_joint and args.no_test_joint:
        yield Fault("does another thing than --no-test-joint", "", "--test-joint", "give one of them")
    if args.test_joint and plan is not None and not can_be_tested(plan):
        what = "is only for joints of a part A and a part B, cut in one stage"
        mend = "leave it out, and try kerf and clearance on offcuts with a small plan of their own"
        yield Fault(what, "", "--test-joint", mend)


def choice(args: argparse.Namespace, plan: Plan, shop: Shop) -> OfferAnswer:
    """Whether a test joint is cut: as the options say, or as the operator answers at a terminal.

    Without a terminal, one line says what is missing. A rehearsal asks nothing and misses nothing: it cuts no wood.
    """
    if args.test_joint:
        return OfferAnswer.CUT
    if is_rehearsed(args) and not args.no_test_joint:
        return OfferAnswer.NOT_ASKED
    try:
        found = untested(plan, shop)
    except (CouldNotRun, NoSuchPart) as error:
        print(f"!! No earlier joint can be looked up: {error}", file=sys.stderr)
        return OfferAnswer.NOT_ASKED
    if found is None:
        return OfferAnswer.NOT_ASKED
    if args.no_test_joint:
        return OfferAnswer.SKIP
    why = _why(plan, found.joint)
    if sys.stdin is None or not sys.stdin.isatty():
        print(f"!! {why} To cut a test joint first: {_cut(args)} --test-joint", file=sys.stderr)
        return OfferAnswer.NOT_ASKED
    try:
        _, offcuts = build_test_joint(plan, shop)
    except BadInput as error:  # the boards can be cut all the same
        print(f"!! {why} {error}", file=sys.stderr)
        return OfferAnswer.NOT_ASKED
    print(textwrap.fill(why, 100, break_on_hyphens=False))
    if found.joint is not None:  # a command to copy stays on one line
        print(f"For a better clearance: {_fit(args.plan, args.shop)}")
    print(textwrap.fill(_what(offcuts, plan.unit), 100, break_on_hyphens=False))
    try:
        question = "Cut the test joint (t), skip it (s), or not now (n)? "
        return chosen(input, print, question, ANSWERS)
    except EOFError:
        print()
        # Ctrl-D is no answer, and nothing is cut unasked.
        return OfferAnswer.LEAVE
    except KeyboardInterrupt as stop:
        raise KeyboardInterrupt("no session was started") from stop


def _why(plan: Plan, joint: HistoryEntry | None) -> str:
    """Why a test joint is worth cutting. joint: the last one like the plan's, which didn't come out right."""
    wood, unit = wood_of(plan), plan.unit
    kind = f"{'' if wood == ANY_WOOD else f'in {wood} '}with a clearance of {plain_length(plan.joint.clearance, unit)}"
    if joint is None:
        return f"No joint is known that was cut with this blade {kind}."
    report, size = reported(joint)
    amount = plain_length(size, unit, PLACES[unit])
    how = f"had a gap of {amount}" if report == GAP else f"was {report} by {amount}"
    return f"The last joint cut with this blade {kind} {how}."


def _what(offcuts: Offcuts, unit: Unit) -> str:
    """What a test joint is, and the offcuts that it takes."""
    cut = "the joint over its full width" if offcuts.whole else f"the first {cardinal(FINGERS)} fingers of A and B"
    wide, long = plain_length(offcuts.width, unit), plain_length(offcuts.length, unit)
    return (
        f"A test joint shows whether kerf and clearance are right before a board is cut. It is {cut}, at the same "
        f"blade height and with the same backing, in two offcuts of the same stock: {wide} wide and at least {long} "
        "long, with the reference edge and one face marked as on the boards."
    )


def _line(shop: Path | None, *words: str) -> str:
    """A command line, with the shop file if one is named."""
    return shlex.join(["kerfcall", *words, *([] if shop is None else ["--shop", cleaned(str(shop))])])


def _cut(args: argparse.Namespace) -> str:
    return _line(args.shop, "cut", cleaned(str(args.plan)))


def _fit(plan: Path, shop: Path | None) -> str:
    return _line(shop, "calibrate", "fit", "--plan", cleaned(str(plan)))


def reporting(plan: Path, shop: Path | None, state: Path | None) -> str:
    """How to report a finished test joint later, in lines.

    shop: the file, None for the user's own. state: the journal's folder, None for the user's own.
    """
    return _other_kerf(plan, shop, state) or (
        "Put the two pieces together, by hand and without glue. Then report how they fit with this command and\n"
        f"{HOW_TO_REPORT}:\n"
        f"  {_fit(plan, shop)}"
    )


def _other_kerf(plan: Path, shop: Path | None, state: Path | None) -> str:
    """What to do where the last joint was cut with a kerf that its shop file didn't have; "" where it had it."""
    found = last_joint_cut(state, Unit.MM)
    kerf = None if found is None else found.kerf_of_its_session
    if found is None or found.began_with is None or kerf is None:
        return ""
    began_with, unit = found.began_with, found.unit
    where = [] if state is None else ["--state", cleaned(str(state))]
    cut = _line(shop, "cut", cleaned(str(plan)))
    why = (
        f"This session began with the shop file's kerf, {plain_length(began_with, unit)}, and ended with a kerf of "
        f"{plain_length(kerf, unit)}. The kerf given in a session counts for that session only, so no clearance is "
        "proposed before the shop file has it too."
    )
    again = ""
    if not found.kerf_changed_by:
        again = (
            "\nThis joint was cut by that kerf alone, so it will do as well. Report how it fits with this command and\n"
            f"{HOW_TO_REPORT}:\n"
            f"  {_line(shop, 'calibrate', 'fit', *where)}"
        )
    return (
        f"{textwrap.fill(why, 100, break_on_hyphens=False)}\n"
        "First measure the kerf (with another blade, add --new-blade NAME):\n"
        f"  {_line(shop, 'calibrate', 'kerf')}\n"
        f"or write this into the shop file, under [blade]:\n"
        f"  kerf = {length_to_copy(kerf, unit)}\n"
        "Then cut another test joint:\n"
        f"  {cut} --test-joint{again}"
    )


def judge(args: argparse.Namespace, plan: Plan, shop: Shop) -> None:
    """Ask how the finished test joint fits, note it, and write a corrected clearance into the plan on a yes.

    Without a terminal, say how to report it. Where another kerf was given in its session, ask and propose nothing, and
    say what comes first.
    """
    if sys.stdin is None or not sys.stdin.isatty():
        print(f"-- {reporting(args.plan, args.shop, args.state)}")
        return
    if first := _other_kerf(args.plan, args.shop, args.state):
        print(first)
        return
    print("Put the two pieces together, by hand and without glue, reference edges level.")
    report = _asked(plan)
    while report is not None:
        # Without a plan the last joint cut is meant, with kerf and clearance of its session; that is this one.
        options = dict.fromkeys(("plan", "clearance", "wanted", "new_blade", "most_change", *WAYS.values()))
        what, amount = report
        given = options | {WAYS[what]: amount, "species": wood_of(plan), "state": args.state}
        try:
            proposal = noted(argparse.Namespace(**given), shop)
        except BadInput as error:
            print("\n".join(f"  {fault}" for fault in error.faults))
            report = _asked(plan)
            continue
        if untested(plan, shop) is None:
            print(f"The test joint is right. Cut the boards with: {_cut(args)}")
        elif proposal.clearance is not None:
            _correct(args, plan, length_to_copy(proposal.clearance, plan.unit))
        return
    print(reporting(args.plan, args.shop, args.state))


def _asked(plan: Plan) -> tuple[Reported, str] | None:
    """(what, amount) of the joint, as `parse_report`; None for later."""
    print(f"Type right, or tight, loose or gap with a length in {plan.unit} (a gap is measured), or {LATER}.")
    while True:
        try:
            typed = input("How do they go together? ").strip()
        except (EOFError, KeyboardInterrupt):
            print()
            return None
        if typed.casefold().partition(" ")[0] == LATER:
            return None
        if (report := parse_report(typed, plan.unit)) is not None:
            return report
        print('  Please type right, tight LENGTH, loose LENGTH, gap LENGTH or later, such as "tight 0.05".')


def _correct(args: argparse.Namespace, plan: Plan, clearance: str) -> None:
    """Show the old and the new clearance, and write the new one on a yes. clearance: TOML text."""
    now, _ = try_plan(args.plan)
    again = f"Cut another test joint with: {_cut(args)}"
    # A session may take hours: the figure was worked out for the plan as it was then.
    if now is None or now.digest != plan.digest:
        print(f"The plan has changed meanwhile: write the clearance there yourself. {again}")
        return
    name, old = cleaned(Path(args.plan).name), plain_length(plan.joint.clearance, plan.unit)
    if not agreed(input, print, f"Write clearance = {clearance} into {name} (it is {old})?"):
        print(f"{name} was not changed.")
        return
    write_clearance(args.plan, clearance)
    print(f"{name}: joint.clearance = {clearance}. {again}")
