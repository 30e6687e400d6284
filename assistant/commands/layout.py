"""`kerfcall layout PLAN`: lays out both parts of a joint, as a readable table or as JSON.

It cuts, says and records nothing. JSON lengths are millimetres, exact to 1e-6: `kerf_from` and
`kerf_to` as laid out, `setting` and `approach` (null where there is none) as rounded for the carriage.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from assistant import CAUTION
from assistant.joinery.model import Pattern, Segment
from assistant.joinery.passes import outside
from assistant.joinery.settings import reading
from assistant.joinery.sizes import ListRow, RowKind
from assistant.joinery.units import MM_PER_UNIT, PLACES, Unit, at_least, at_most, format_number, plain_length
from assistant.plans.boards import board_list
from assistant.plans.checks import figures_of
from assistant.plans.job import build_job
from assistant.plans.model import Check, Job, Plan, Setup, When
from assistant.plans.pieces import depth_terms, socket_numbers
from assistant.plans.plan_file import read_both
from assistant.session.due import PassStep, cuts
from assistant.session.turn import way_prompt
from assistant.wording import dial
from assistant.wording.halves import HALVES, which_half
from assistant.wording.numbers import outward, shown_depth, spoken_setting
from assistant.wording.prompts import Words

# Decimals of a table's lengths: a thousandth of a millimetre, a tenth of a thousandth of an inch.
ROUNDING_PLACES = 5
JSON_PLACES = 9


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan, a TOML file")
    parser.add_argument("--shop", type=Path, metavar="FILE", help="the shop file (default: your own shop.toml)")
    parser.add_argument("--json", action="store_true", help="print JSON instead of the table")


def run(args: argparse.Namespace) -> int:
    """Print the layout. Returns 0; raises BadInput with every fault of both files."""
    plan, shop = read_both(args.plan, args.shop)
    job = build_job(plan, shop)
    boards = board_list(plan)
    if args.json:
        print(json.dumps(layout_json(job, boards), indent=1))
    else:
        print("\n".join(table(job, plan, boards)))
    return 0


def layout_json(job: Job, boards: Sequence[ListRow] = ()) -> dict[str, Any]:
    """The whole layout as JSON-ready data, setups in cutting order. boards: what to prepare, for the key "boards"."""
    stages: list[dict[str, Any]] = [{"name": name, "setups": []} for name in job.stages]
    for setup, passes in cuts(job):
        stages[setup.stage - 1]["setups"].append(_setup_json(job, setup, passes))
    return {
        "title": job.title,
        "kerf": _mm(job.kerf),
        "clearance": _mm(job.clearance),
        "assumed_kerf": _mm(job.assumed_kerf),
        "warnings": list(job.warnings),
        "checks": [{"name": c.name, "answer": c.answer, "when": _when(c)} for c in job.checks],
        "stages": stages,
        "totals": {"setups": len(job.setups), "passes": job.total_passes},
        "rounding": {"greatest_error": _mm(job.greatest_error), "worst_clearance": _mm(job.worst_clearance)},
        "boards": [_board_json(row) for row in boards],
    }


def _setup_json(job: Job, setup: Setup, passes: Sequence[PassStep]) -> dict[str, Any]:
    pattern = job.patterns[setup.pattern]
    # As the check of the clamps says it: rounded away from the blade to the whole mm or 1/16 in.
    unit, figures = job.carriage.unit, figures_of(job, pattern)
    keep_clear = {
        "from": outward(figures["lowest"], unit, up=False),
        "to": outward(figures["highest"], unit, up=True),
        "below": outward(figures["above"], unit, up=True),
    }
    return {
        "board": setup.board,
        "part": setup.part,
        "end": setup.end,
        "half": HALVES.get(setup.half, ""),
        "edge": "other" if pattern.mirrored else "reference",
        "copies": setup.copies,
        "depth": _mm(pattern.depth),
        "fingers": [_span(each) for each in pattern.fingers],
        "sockets": [_span(each) for each in pattern.sockets],
        "passes": [_pass_json(job, step) for step in passes],
        "held": _held(job, setup),
        "keep_clear": {name: _mm(length * MM_PER_UNIT[unit]) for name, length in keep_clear.items()},
    }


def _pass_json(job: Job, step: PassStep) -> dict[str, Any]:
    one, previous, via = step.pass_, step.previous, step.approach
    carriage, reads = job.carriage, job.voice.reads
    if dial.has_dial(carriage):
        spoken = dial.spoken_call(carriage, one.setting, previous if via is None else via, None, full=False)
    else:
        spoken = spoken_setting(carriage, reads, one.setting)
    return {
        "number": one.number,
        "socket": one.socket,
        "kerf_from": _mm(one.kerf_from),
        "kerf_to": _mm(one.kerf_to),
        "setting": _mm(one.setting),
        "approach": None if via is None else _mm(via),
        "reading": reading(carriage, one.setting),
        "spoken": spoken,
    }


def _board_json(row: ListRow) -> dict[str, Any]:
    lengths = {"length": row.length, "width": row.width, "thickness": row.thickness}
    sizes = {name: None if length is None else _mm(length) for name, length in lengths.items()}
    return {"kind": row.kind, "name": row.name, "part": row.part, "count": row.count, **sizes}


def _held(job: Job, setup: Setup) -> str:
    """How the board is held, in the session's own words: which end, edge and face, and on which side the stop is."""
    return Words(job).one(way_prompt(job, setup.number))


def _mm(length: Fraction) -> float:
    return round(float(length), JSON_PLACES)


def _span(segment: Segment) -> dict[str, float]:
    return {"from": _mm(segment.start), "to": _mm(segment.end)}


def _when(check: Check) -> str:
    return f"every {check.every}" if check.when == When.EVERY else check.when


def table(job: Job, plan: Plan, boards: Sequence[ListRow] = ()) -> Iterator[str]:
    """The layout as lines to read, in the carriage's unit."""
    yield job.title
    yield from _fit_lines(job)
    if job.warnings:
        yield f"!! {len(job.warnings)} warning{_s(len(job.warnings))}: see the end."
    yield from _board_lines(boards, job.carriage.unit)
    stage_of = {setup.pattern: setup.stage for setup in job.setups}
    numbers = socket_numbers(job)
    for index, pattern in enumerate(job.patterns):
        if pattern.is_second_half:
            continue  # the first half stands for the whole end
        yield ""
        yield from _part_lines(job, plan, pattern, stage_of.get(index, 1), numbers[index])
    stage = 0
    for setup, passes in cuts(job):
        yield ""
        if setup.stage != stage and len(job.stages) > 1:
            stage = setup.stage
            yield f"Stage {stage}: {job.stages[stage - 1]}"
            if stage > 1:
                yield GLUED
        yield from _setup_lines(job, setup, passes, numbers[setup.pattern])
    yield ""
    setups, passes_in_all = len(job.setups), job.total_passes
    yield f"{setups} setup{_s(setups)}, {passes_in_all} pass{'' if passes_in_all == 1 else 'es'}"
    yield "Checks, in order: " + ", ".join(f"{check.name} ({_when(check)})" for check in job.checks)
    yield from (f"!! {line}" for line in job.warnings)
    yield CAUTION


def _fit_lines(job: Job) -> Iterator[str]:
    unit = job.carriage.unit
    yield f"Kerf {plain_length(job.kerf, unit)}, clearance {plain_length(job.clearance, unit)}."
    assumed = plain_length(job.assumed_kerf, unit)
    yield f"A layout without clearance would need an assumed kerf of {assumed} for the same fit."
    # The openings and blanks of the first stage are glued and cut away: they have no part in the joint's fit.
    which = "final setting" if len(job.stages) > 1 else "setting"
    if not job.greatest_error:
        yield f"No {which} needs rounding."
        return
    greatest = at_least(job.greatest_error, unit, ROUNDING_PLACES)
    worst = at_most(job.worst_clearance, unit, ROUNDING_PLACES)
    yield f"{which.capitalize()}s are rounded by {greatest} at most. At worst, {worst} of the clearance is left."


def _board_lines(boards: Sequence[ListRow], unit: Unit) -> Iterator[str]:
    """The boards to prepare, if the plan gives lengths or a lining needs blanks."""
    if not any(row.length for row in boards):
        return
    yield ""
    yield "Boards to prepare:"
    for row in boards:
        length = "" if row.length is None else f"{plain_length(row.length, unit)} long"
        if row.kind == RowKind.BLANK:
            length += BLANKS
        size = f"{plain_length(row.width, unit)} wide, {plain_length(row.thickness, unit)} thick"
        blank = " blank" if row.kind == RowKind.BLANK else ""
        yield f"  {row.count} x {row.name}{blank} (part {row.part}): {size}" + (f", {length}" if length else "")


STRIP = 80
"""Characters for a board's whole width."""
GLUED = (
    "  First let the glue dry overnight, cut the blanks off at the board's end, trim the ends flush "
    "and scrape off the glue."
)
BLANKS = (
    " or more, of lining wood with the grain lengthwise, one for each lined end; "
    "cut deeper than the sockets so that the tips seat"
)


def _strip(pattern: Pattern) -> str:
    """The board's end as seen with the end down, reference edge at the left: # is wood, . is a socket."""
    middles = ((2 * column + 1) * pattern.width / (2 * STRIP) for column in range(STRIP))
    ends = [(segment.end, "#" if segment.is_finger else ".") for segment in pattern.segments]
    return "".join(next((mark for end, mark in ends if x < end), "#") for x in middles)


def _part_lines(job: Job, plan: Plan, pattern: Pattern, stage: int, numbers: Mapping[int, int]) -> Iterator[str]:
    unit, slots = job.carriage.unit, job.slotted
    width, depth = plain_length(pattern.width, unit), shown_depth(pattern.depth, unit, job.voice.reads)
    made_of = "" if slots else _made_of(plan, pattern, unit)
    part = f"{pattern.part}, stage {stage}" if len(job.stages) > 1 else pattern.part
    yield f"Part {part}: {width} wide, cut {depth} deep{made_of}; from the reference edge ({unit}):"
    yield f"  {_strip(pattern)}"
    counts = {True: 0, False: 0}
    for segment in pattern.segments:
        counts[segment.is_finger] += 1
        number = counts[segment.is_finger]
        if slots and segment.is_finger:
            continue  # slots of another depth can lie in it, so its width would mislead
        kind = "finger" if segment.is_finger else _socket_word(job)
        number = number if segment.is_finger else numbers[number]
        start, end, width = (_shown(x, unit) for x in (segment.start, segment.end, segment.width))
        yield f"  {kind} {number:>3} {start:>10} to {end:>10}   {width:>9} wide"


def _made_of(plan: Plan, pattern: Pattern, unit: Unit) -> str:
    """What a joint's depth is made up of: " (12 + 0.3 sanding allowance)"; without a unit, which the sum has."""
    terms = zip(depth_terms(plan, pattern), ("", " sanding allowance", " lining", " room for the tips"), strict=True)
    shown = [plain_length(size, unit).removesuffix(f" {unit}") + name for size, name in terms if size]
    return f" ({' + '.join(shown)})" if len(shown) > 1 else ""


def _socket_word(job: Job) -> str:
    return "slot" if job.slotted else "socket"


def _setup_lines(job: Job, setup: Setup, passes: Sequence[PassStep], numbers: Mapping[int, int]) -> Iterator[str]:
    pattern, unit = job.patterns[setup.pattern], job.carriage.unit
    last = setup.first_copy + setup.copies - 1
    which = f"{setup.first_copy}" if setup.copies == 1 else f"{setup.first_copy} to {last}, clamped together"
    depth = shown_depth(pattern.depth, unit, job.voice.reads)
    end = "" if job.slotted else f", end {setup.end}"
    yield f"Setup {setup.number}: {setup.board} {which}; part {setup.part}{end}{which_half(setup)}, {depth} deep"
    yield f"  held: {_held(job, setup)}"
    reach, above = Words(job, figures=True).keep_clear(figures_of(job, pattern))
    edge = "other" if pattern.mirrored else "reference"
    yield f"  keep clear: {reach} from the {edge} edge, up to {above} above the bed"
    shown = [_pass_row(job, pattern, step) for step in passes]
    wide = max((len(row[2]) for row in shown), default=0)
    wide = max(wide, len("set to"))
    yield f"  pass  {_socket_word(job):>6}  {'set to':>{wide}}  {'kerf from':>10} {'to':>10}  ({unit})"
    for number, socket, set_to, start, end, notes in shown:
        yield f"  {number:>4}  {numbers[socket]:>6}  {set_to:>{wide}}  {start:>10} {end:>10}{notes}"


def _pass_row(job: Job, pattern: Pattern, step: PassStep) -> tuple[int, int, str, str, str, str]:
    one, previous, via = step.pass_, step.previous, step.approach
    carriage, unit = job.carriage, job.carriage.unit
    notes = f"  {dial.shown_move(carriage, previous or Fraction(0), one.setting)}" if dial.has_dial(carriage) else ""
    if via is not None and via != previous:
        first, last = dial.ways(previous, via, one.setting)
        notes = f"  {first} to {reading(carriage, via)} first, then {'on ' if first == last else ''}{last}"
        if dial.has_dial(carriage):
            notes += f" {dial.shown_move(carriage, via, one.setting).partition(' ')[2]}"
    beyond = outside(one, pattern.width)
    if beyond:
        notes += f"  !! {plain_length(beyond, unit)} past the edge"
    kerf = (_shown(one.kerf_from, unit), _shown(one.kerf_to, unit))
    return one.number, one.socket, reading(carriage, one.setting), *kerf, notes


def _shown(length: Fraction, unit: Unit) -> str:
    return format_number(length / MM_PER_UNIT[unit], PLACES[unit])


def _s(count: int) -> str:
    return "" if count == 1 else "s"
