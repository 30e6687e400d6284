"""`kerfcall suggest`: which fingers suit a board and a blade, ranked, and a plan to start from.

Nothing is cut, spoken or journalled. JSON lengths are millimetres to 1e-6.
"""

from __future__ import annotations

import argparse
import json
import textwrap
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from assistant.commands.figures import length_option
from assistant.errors import BadInput, Fault
from assistant.joinery.model import Blade
from assistant.joinery.suggest import Advice, Candidate, Wanted, suggest
from assistant.joinery.units import MM_PER_UNIT, format_number, plain_length
from assistant.plans.document import cleaned

PLACES = {"mm": 2, "in": 4}
USUAL_CLEARANCE = "0.1 mm"
USUAL_TOP = 8
MOST_TOP = 1000
WIDTH = 100


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--width", required=True, metavar="LENGTH", help="of the boards, e.g. 84 or '3 1/2 in'")
    thick = "of the boards; two lengths where parts A and B differ"
    parser.add_argument("--thickness", required=True, nargs="+", metavar="LENGTH", help=thick)
    parser.add_argument("--shop", type=Path, metavar="FILE", help="the shop file with the blade (default: your own)")
    parser.add_argument("--kerf", metavar="LENGTH", help="the kerf measured, instead of the shop file's")
    parser.add_argument("--clearance", default=USUAL_CLEARANCE, metavar="LENGTH", help="default: %(default)s")
    parser.add_argument(
        "--unit", choices=sorted(MM_PER_UNIT), help="of bare numbers (default: the shop file's, else mm)"
    )
    parser.add_argument(
        "--top", type=int, default=USUAL_TOP, metavar="N", help="how many to list (default: %(default)s)"
    )
    parser.add_argument(
        "--write", type=Path, metavar="FILE", help="write a plan to edit; never over a file that is there"
    )
    parser.add_argument("--pick", type=int, metavar="RANK", help="with --write: which one (default: the first)")
    parser.add_argument("--json", action="store_true", help="print JSON instead of the table")


def run(args: argparse.Namespace) -> int:
    """Print what suits, and write a plan where asked. Returns 0; raises BadInput with every fault."""
    faults: list[Fault] = []
    blade, unit = _blade(args, faults)
    wanted = _wanted(args, unit, faults)
    faults += _count_faults(args)
    if faults or wanted is None or blade is None:
        raise BadInput(faults)
    try:
        advice = suggest(wanted, blade, unit=unit)
    except BadInput as error:
        raise BadInput([replace(fault, where=_option(fault.where)) for fault in error.faults]) from error
    written = _written(args, advice, wanted, blade, unit)
    if args.json:
        print(json.dumps(advice_json(advice, wanted, blade, args.top), indent=1))
    else:
        print("\n".join(table(advice, wanted, blade, unit, args.top)))
        if written:
            print(f"Written: {cleaned(str(args.write))}, with {written}. Edit it, then: kerfcall layout, kerfcall fit.")
    return 0


def _blade(args: argparse.Namespace, faults: list[Fault]) -> tuple[Blade | None, str]:
    """The blade of --kerf, of the shop file, or of the shop file with --kerf's; and the unit of bare numbers."""
    from assistant.plans.shop_file import default_shop_path, try_shop

    shop = None
    if args.shop is not None or args.kerf is None or default_shop_path().exists():
        shop, found = try_shop(args.shop)
        if shop is None and args.shop is None and args.kerf is None and not default_shop_path().exists():
            mend = "give --kerf, the width that the blade really cuts, or --shop FILE"
            found = [Fault("no blade is named, and a kerf is never guessed", "", "--kerf", mend)]
        faults += found
    unit = args.unit or (shop.unit if shop is not None else "mm")
    kerf = None if args.kerf is None else length_option(faults, "--kerf", args.kerf, unit)
    if args.kerf is None:
        return (None if shop is None else shop.blade), unit
    if kerf is None:
        return None, unit
    return (Blade(kerf) if shop is None else replace(shop.blade, kerf=kerf)), unit


def _wanted(args: argparse.Namespace, unit: str, faults: list[Fault]) -> Wanted | None:
    width = length_option(faults, "--width", args.width, unit)
    thick = [length_option(faults, "--thickness", text, unit) for text in args.thickness[:2]]
    if len(args.thickness) > 2:
        mend = 'give one, or one for each part; quote a length with a space in it, as in "1 3/8 in"'
        faults.append(Fault("more than two thicknesses", " ".join(args.thickness), "--thickness", mend))
    clearance = length_option(faults, "--clearance", args.clearance, unit, zero=True)
    if width is None or clearance is None or thick[0] is None or thick[-1] is None:
        return None
    return Wanted(width, thick[0], thick[-1], clearance)


def _count_faults(args: argparse.Namespace) -> Iterator[Fault]:
    if not 1 <= args.top <= MOST_TOP:
        yield Fault(f"from 1 to {MOST_TOP:,} can be listed", str(args.top), "--top", "give a number within these")
    if args.pick is not None and args.write is None:
        yield Fault("means nothing without --write", str(args.pick), "--pick", "name the plan to write")


def _option(where: str) -> str:
    return "blade.overlap" if where == "overlap" else f"--{where}"


def _written(args: argparse.Namespace, advice: Advice, wanted: Wanted, blade: Blade, unit: str) -> str:
    """Write the plan asked for; what was written, in words, or "" where nothing was asked for."""
    if args.write is None:
        return ""
    rank = args.pick if args.pick is not None else 1
    if not 1 <= rank <= len(advice.ranked):
        mend = f"give 1 to {len(advice.ranked)}"
        raise BadInput([Fault("there is no such rank", str(rank), "--pick", mend)])
    one = advice.ranked[rank - 1]
    given = cleaned(str(args.write))
    try:
        with args.write.open("x", encoding="utf-8", newline="\n") as file:
            file.write(plan_text(one, wanted, blade, unit))
    except FileExistsError as error:
        mend = "give another name, or move the old file away"
        raise BadInput([Fault("there is such a file, and it is not written over", given, "--write", mend)]) from error
    except (OSError, ValueError) as error:
        reason = cleaned(getattr(error, "strerror", None) or str(error))
        mend = "check the folder and your right to write there"
        raise BadInput([Fault(f"cannot be written: {reason}", given, "--write", mend)]) from error
    return _fingers(one, unit)


# The plan


def plan_text(one: Candidate, wanted: Wanted, blade: Blade, unit: str) -> str:
    """A plan file with this candidate, ready to edit; its layout is the candidate exactly."""
    thickness = f"thickness = {toml_length(wanted.thickness_a, unit)}"
    if wanted.thickness_a != wanted.thickness_b:
        thickness += f"\n[stock.B]\nthickness = {toml_length(wanted.thickness_b, unit)}"
    kerf = plain_length(blade.kerf, unit)
    return f"""\
# {_fingers(one, unit)}: {one.passes} passes for both parts of a corner with a kerf of {kerf}.
# The kerf itself belongs to the shop file.
title = "Box joint of {one.division.count} fingers"
unit = "{unit}"

[stock]
width = {toml_length(wanted.width, unit)}
{thickness}

[joint]
layout = "even"
finger = {_toml_finger(one, unit)}
remainder = "{one.division.remainder}"
clearance = {toml_length(wanted.clearance, unit)}
sand_allowance = "0.3 mm"

[[boards]]
name = "long side"
part = "A"
count = 2
ends = 2

[[boards]]
name = "short side"
part = "B"
count = 2
ends = 2
"""


def _toml_finger(one: Candidate, unit: str) -> str:
    """With "stretch" the count nearest to the finger counts, so an endless decimal may be cut off."""
    if one.division.remainder == "stretch":
        return _plain(one.division.finger / MM_PER_UNIT[unit], 6)
    return toml_length(one.division.finger, unit)


def toml_length(mm: Fraction, unit: str) -> str:
    """A length for a plan file in this unit, exact: a number, a number in the other unit, or a fraction."""
    for each in (unit, *(other for other in MM_PER_UNIT if other != unit)):
        value = mm / MM_PER_UNIT[each]
        if (value * 10**9).denominator == 1:
            text = _plain(value, 9)
            return text if each == unit else f'"{text} {each}"'
    value = mm / MM_PER_UNIT[unit]
    return f'"{value.numerator}/{value.denominator} {unit}"'


def _plain(value: Fraction, places: int) -> str:
    return format_number(value, places).rstrip("0").rstrip(".")


# In words


def table(advice: Advice, wanted: Wanted, blade: Blade, unit: str, top: int) -> Iterator[str]:
    """The best as lines to read, and the finger that takes one pass a socket."""
    a, b = (plain_length(length, unit) for length in (wanted.thickness_a, wanted.thickness_b))
    thick = f"{a} thick" if a == b else f"part A {a}, part B {b} thick"
    yield (
        f"Boards {plain_length(wanted.width, unit)} wide, {thick}; kerf {plain_length(blade.kerf, unit)}, clearance "
        + (f"{plain_length(wanted.clearance, unit)}.")
    )
    yield ""
    yield f"  rank  fingers  width {unit}  passes  a socket   glue  wood left  score  why"
    for rank, one in enumerate(advice.ranked[:top], 1):
        yield from _row(rank, one, unit)
    yield ""
    yield from _wrapped(_one_pass(advice, wanted, blade, unit))
    yield from _wrapped(LEGEND)


LEGEND = (
    "Fingers: of both parts together; an odd count gives both edges of a board the same. Passes: for both parts of "
    "one corner. Glue: side-grain glue area, a butt joint's being 1. Wood left: of the width, in the weaker part."
)


def _row(rank: int, one: Candidate, unit: str) -> Iterator[str]:
    finger = format_number(one.division.finger / MM_PER_UNIT[unit], PLACES[unit])
    glue, left = f"{float(one.glue):.1f} x", f"{100 * float(one.wood_left):.0f} %"
    socket = str(one.passes_a_socket or "-")
    head = f"  {rank:>4}  {one.division.count:>7}  {finger:>8}  {one.passes:>6}  {socket:>8}  {glue:>5}  {left:>9}"
    head += f"  {one.score:>5.1f}  "
    why = textwrap.wrap("; ".join(one.reasons), WIDTH - len(head), break_on_hyphens=False)
    yield head + why[0]
    yield from (" " * len(head) + line for line in why[1:])


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="  ", break_on_hyphens=False)


def _one_pass(advice: Advice, wanted: Wanted, blade: Blade, unit: str) -> str:
    single = plain_length(advice.one_pass, unit)
    text = f"One pass a socket: fingers of {single}, the kerf less half the clearance"
    if not advice.one_pass_ranks:
        return f"{text}; the board is too narrow for them." if wanted.width < 3 * advice.one_pass else f"{text}."
    rank = advice.one_pass_ranks[0]
    one = advice.ranked[rank - 1]
    return f"{text}: rank {rank}, {_fingers(one, unit)}, {one.passes} passes; {'; '.join(one.reasons)}."


def _fingers(one: Candidate, unit: str) -> str:
    """What it is, in words: count, width, and how the edges differ."""
    division, width = one.division, plain_length(one.division.finger, unit)
    if division.first == division.last == division.finger:
        return f"{division.count} fingers of {width}"
    first, last = plain_length(division.first, unit), plain_length(division.last, unit)
    edges = f"{first} at both edges" if division.first == division.last else f"{last} at the far edge"
    return f"{division.count} fingers of {width}, {edges}"


# As JSON


def advice_json(advice: Advice, wanted: Wanted, blade: Blade, top: int) -> dict[str, Any]:
    """The advice as JSON-ready data; `considered` counts all candidates, `candidates` holds the best."""
    return {
        "width": _number(wanted.width),
        "thickness": {"A": _number(wanted.thickness_a), "B": _number(wanted.thickness_b)},
        "kerf": _number(blade.kerf),
        "clearance": _number(wanted.clearance),
        "one_pass": {"finger": _number(advice.one_pass), "ranks": list(advice.one_pass_ranks)},
        "considered": len(advice.ranked),
        "candidates": [_candidate_json(rank, one) for rank, one in enumerate(advice.ranked[:top], 1)],
    }


def _candidate_json(rank: int, one: Candidate) -> dict[str, Any]:
    division = one.division
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
        "why": list(one.reasons),
    }


def _number(value: Fraction) -> float:
    return round(float(value), 9)
