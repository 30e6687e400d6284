"""`kerfcall suggest`: ranks the fingers that suit a board and a blade, and writes a plan to start from.

It cuts, says and records nothing. JSON lengths are millimetres to 1e-6.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from assistant.advice.plan_to_edit import fingers, plan_text
from assistant.advice.suggest import Advice, Candidate, WantedJoint, refusals, suggest
from assistant.commands.figures import length_option
from assistant.commands.suggest_text import table, wrapped
from assistant.errors import BadInput, Fault
from assistant.joinery.model import Blade
from assistant.joinery.units import Unit, unit_of
from assistant.plans.document import cleaned
from assistant.plans.model import Shop
from assistant.plans.new_file import write_new_file

USUAL_CLEARANCE = {Unit.MM: "0.1 mm", Unit.INCH: "0.004 in"}
USUAL_TOP = {Unit.MM: 8, Unit.INCH: 12}
MOST_TOP = 1000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--width", required=True, metavar="LENGTH", help="the boards' width, e.g. 84 or '3 1/2 in'")
    thick = "the boards' thickness; two lengths if parts A and B differ"
    parser.add_argument("--thickness", required=True, nargs="+", metavar="LENGTH", help=thick)
    parser.add_argument("--shop", type=Path, metavar="FILE", help="the shop file with the blade (default: your own)")
    parser.add_argument("--kerf", metavar="LENGTH", help="the measured kerf, to use instead of the shop file's")
    clearance = "a finger's clearance in its socket (default: 0.1 mm, or 0.004 in when working in inches)"
    parser.add_argument("--clearance", metavar="LENGTH", help=clearance)
    parser.add_argument(
        "--unit",
        choices=sorted(Unit),
        help="of the answer, and of numbers without a unit (default: the unit that every length given here has, "
        "else the shop file's, or mm)",
    )
    top = "how many to list (default: 8, or 12 when working in inches)"
    parser.add_argument("--top", type=int, metavar="N", help=top)
    parser.add_argument(
        "--write", type=Path, metavar="FILE", help="write a plan to edit; an existing file is never overwritten"
    )
    parser.add_argument("--pick", type=int, metavar="RANK", help="with --write: the rank to write (default: 1)")
    parser.add_argument("--json", action="store_true", help="print JSON instead of the table")


def run(args: argparse.Namespace) -> int:
    """Print the ranking, and write a plan with --write. Returns 0; raises BadInput with every fault."""
    faults: list[Fault] = []
    shop, blade, unit = _machine(args, faults)
    wanted = _wanted(args, unit, faults)
    top = args.top if args.top is not None else USUAL_TOP[unit]
    if args.top is not None and not 1 <= args.top <= MOST_TOP:
        mend = f"give a number from 1 to {MOST_TOP:,}"
        faults.append(Fault(f"from 1 to {MOST_TOP:,} can be listed", str(top), "--top", mend))
    if args.pick is not None and args.write is None:
        mend = "give the plan to write with --write FILE"
        faults.append(Fault("means nothing without --write", str(args.pick), "--pick", mend))
    if faults or wanted is None or blade is None:
        raise BadInput(faults)
    try:
        advice = suggest(wanted, blade, unit=unit)
    except BadInput as error:
        # Everything it objects to was an option here, except the overlap, which comes from the shop file.
        wheres = ("blade.overlap" if fault.where == "overlap" else f"--{fault.where}" for fault in error.faults)
        faults = [replace(fault, where=where) for fault, where in zip(error.faults, wheres, strict=True)]
        raise BadInput(faults) from error
    rank = args.pick if args.pick is not None else 1
    if not 1 <= rank <= len(advice.ranked):
        raise BadInput([Fault("there is no such rank", str(rank), "--pick", f"give 1 to {len(advice.ranked)}")])
    picked = advice.ranked[rank - 1]
    if args.write is not None:
        write_new_file(args.write, plan_text(picked, wanted, blade, unit), "--write")
    refused = refusals(picked, wanted, replace(shop, blade=blade), unit) if shop is not None else ()
    if args.json:
        print(json.dumps(advice_json(advice, wanted, blade, top, refused), indent=1))
        return 0
    print("\n".join(table(advice, wanted, blade, unit, top)))
    for fault in refused:
        print("\n".join(wrapped(f"Warning: layout would refuse {fingers(picked, unit)}: {fault}")))
    if args.write is not None:
        name = cleaned(str(args.write))
        print(f"Written: {name}, with {fingers(picked, unit)}. Edit it, then run kerfcall layout and kerfcall fit.")
    return 0


def _machine(args: argparse.Namespace, faults: list[Fault]) -> tuple[Shop | None, Blade | None, Unit]:
    """The shop, if any; its blade, with the kerf of --kerf if that is given; and the unit to work in."""
    from assistant.plans.shop_file import default_shop_path, try_shop

    shop = None
    if args.shop is not None or default_shop_path().exists():
        shop, found = try_shop(args.shop)
        faults += found
    elif args.kerf is None:
        mend = "give --kerf, the width that the blade really cuts, or --shop FILE"
        faults.append(Fault("no kerf is given, and a kerf is never guessed", "", "--kerf", mend))
    unit = Unit(args.unit) if args.unit else _unit_given(args) or (shop.unit if shop is not None else Unit.MM)
    if args.kerf is None:
        return shop, (None if shop is None else shop.blade), unit
    kerf = length_option(faults, "--kerf", args.kerf, unit)
    if kerf is None:
        return shop, None, unit
    return shop, (Blade(kerf) if shop is None else replace(shop.blade, kerf=kerf)), unit


def _unit_given(args: argparse.Namespace) -> Unit | None:
    """The unit that every length among the options names; None if they differ or one of them is a bare number."""
    given = [args.width, *args.thickness, args.kerf, args.clearance]
    units = {unit_of(text) for text in given if text is not None}
    return units.pop() if len(units) == 1 else None


def _wanted(args: argparse.Namespace, unit: Unit, faults: list[Fault]) -> WantedJoint | None:
    width = length_option(faults, "--width", args.width, unit)
    thick = [length_option(faults, "--thickness", text, unit) for text in args.thickness[:2]]
    if len(args.thickness) > 2:
        mend = 'give one, or one for each part; put a length with a space in quotes, as in "1 3/8 in"'
        faults.append(Fault("more than two thicknesses", " ".join(args.thickness), "--thickness", mend))
    text = args.clearance if args.clearance is not None else USUAL_CLEARANCE[unit]
    clearance = length_option(faults, "--clearance", text, unit, zero=True)
    if width is None or clearance is None or thick[0] is None or thick[-1] is None:
        return None
    return WantedJoint(width, thick[0], thick[-1], clearance)


def advice_json(
    advice: Advice, wanted: WantedJoint, blade: Blade, top: int, refused: Sequence[str] = ()
) -> dict[str, Any]:
    """The advice as JSON-ready data. `considered` counts all candidates, `candidates` holds the best.

    refused: why this machine can't cut the candidate picked, by default the first.
    """
    return {
        "width": _number(wanted.width),
        "thickness": {"A": _number(wanted.thickness_a), "B": _number(wanted.thickness_b)},
        "kerf": _number(blade.kerf),
        "clearance": _number(wanted.clearance),
        "one_pass": {"finger": _number(advice.one_pass), "ranks": list(advice.one_pass_ranks)},
        "considered": len(advice.ranked),
        "candidates": [_candidate_json(rank, one) for rank, one in enumerate(advice.ranked[:top], 1)],
        "warnings": list(refused),
    }


def _candidate_json(rank: int, one: Candidate) -> dict[str, Any]:
    division, saving = one.division, None
    if one.saving is not None:
        saving = {"rank": one.saving.rank, "finger": _number(one.saving.finger), "passes": one.saving.passes}
    return {
        "rank": rank,
        "fingers": division.count,
        "finger": _number(division.finger),
        "edges": [_number(division.first), _number(division.last)],
        "remainder": division.remainder,
        "like_edges": division.like_edges,
        "passes": one.passes,
        "passes_a_socket": one.passes_a_socket,
        "narrowest": _number(one.narrowest),
        "sliver": one.is_sliver,
        "glue": _number(one.glue),
        "wood_left": _number(one.wood_left),
        "score": round(one.score, 3),
        "trade": one.trade,
        "saving": saving,
        "why": list(one.reasons),
    }


def _number(value: Fraction) -> float:
    return round(float(value), 9)
