"""A plan and a shop become a job: what is cut, in which order, at which settings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import PurePath

from assistant.errors import BadInput, Fault
from assistant.joinery import layout, settings, walls
from assistant.joinery.model import Pattern, Segment
from assistant.joinery.pattern import depth_of, pattern
from assistant.joinery.units import plain_length
from assistant.plans.checks import GLUE_CHECK
from assistant.plans.document import cleaned
from assistant.plans.model import BoardPlan, Job, Plan, Setup, Shop

MOST_PASSES = 20_000
STAGE = "joint"
SHOP_TABLES = ("blade.", "carriage.", "pedal.", "voice.")


def build_job(plan: Plan, shop: Shop) -> Job:
    """Lay a plan out for this machine.

    Raises BadInput, all faults at once, each with its file and key: sockets too narrow, settings
    outside the travel, a cut deeper than the blade reaches, over 20,000 passes in all.
    """
    faults: list[Fault] = []
    patterns = _patterns(plan, shop, faults)
    faults += _depth_faults(plan, shop)
    if not faults:
        faults += _count_faults(plan, patterns)
    if faults:
        raise BadInput([_placed(fault, plan, shop) for fault in dict.fromkeys(faults)])
    setups = tuple(_setups(plan, patterns))
    cut = [one for each in patterns for one in each.passes]
    clearance = plan.joint.clearance
    greatest, worst = settings.rounding_report(cut, shop.carriage, clearance, width=plan.width)
    warnings = dict.fromkeys(_warnings(plan, shop, patterns, setups, worst))
    return Job(
        title=plan.title,
        plan_digest=plan.digest,
        kerf=shop.blade.kerf,
        clearance=clearance,
        assumed_kerf=walls.assumed_kerf(shop.blade.kerf, clearance),
        warnings=tuple(warnings),
        checks=tuple(check for check in shop.checks if check.name != GLUE_CHECK),
        stages=(STAGE,),
        patterns=patterns,
        setups=setups,
        carriage=shop.carriage,
        pedal=shop.pedal,
        voice=shop.voice,
        greatest_error=greatest,
        worst_clearance=worst,
    )


def segments_of(plan: Plan) -> dict[str, tuple[Segment, ...]]:
    """Fingers and sockets of parts A and B with their clearance, from the plan alone.

    Raises BadInput whose faults name keys only, all at once.
    """
    faults: list[Fault] = []
    found: dict[str, tuple[Segment, ...]] = {}
    for part, nominal in _nominal(plan).items():
        try:
            found[part] = walls.open_walls(nominal, plan.joint.clearance, unit=plan.unit)
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(tuple(dict.fromkeys(faults)))
    return found


def _nominal(plan: Plan) -> dict[str, tuple[Segment, ...]]:
    joint = plan.joint
    if joint.layout == "even" and joint.finger is not None:
        part_a = layout.even(plan.width, joint.finger, joint.starts_with, joint.remainder, unit=plan.unit)
    else:
        part_a = layout.listed(plan.width, joint.widths, joint.repeat, joint.mirror, joint.starts_with, unit=plan.unit)
    return {"A": part_a, "B": layout.mate(part_a)}


def depth(plan: Plan, part: str) -> Fraction:
    """How deep this part is cut, mm: its mate's thickness and the sand allowance."""
    return depth_of(plan.thickness["B" if part == "A" else "A"], plan.joint.sand_allowance)


def _parts(plan: Plan) -> list[str]:
    """The parts that have boards, in cutting order: the shallower first, then A before B."""
    return sorted({board.part for board in plan.boards}, key=lambda part: (depth(plan, part), part))


def _patterns(plan: Plan, shop: Shop, faults: list[Fault]) -> tuple[Pattern, ...]:
    where = "joint.finger" if plan.joint.layout == "even" else "joint.widths"
    found = []
    for part, segments in _segments_or_none(plan, faults).items():
        if part not in _parts(plan):
            continue
        try:
            found.append(
                pattern(
                    part,
                    segments,
                    plan.width,
                    depth(plan, part),
                    shop.blade,
                    shop.carriage,
                    where=where,
                    unit=plan.unit,
                )
            )
        except BadInput as error:
            faults += error.faults
    return tuple(found)


def _segments_or_none(plan: Plan, faults: list[Fault]) -> dict[str, tuple[Segment, ...]]:
    """`segments_of`, or nothing and its faults noted."""
    try:
        return segments_of(plan)
    except BadInput as error:
        faults += error.faults
        return {}


def _depth_faults(plan: Plan, shop: Shop) -> Iterator[Fault]:
    highest = shop.blade.highest
    for part in _parts(plan):
        deep = depth(plan, part)
        if highest is not None and deep > highest:
            what = f"part {part} is cut deeper than the blade's highest, {plain_length(highest, shop.unit)}"
            mend = "use thinner stock, or state the blade's real height in blade.highest"
            yield Fault(what, plain_length(deep, plan.unit), "stock.thickness", mend)


def _count_faults(plan: Plan, patterns: Iterable[Pattern]) -> Iterator[Fault]:
    per_end = {each.part: len(each.passes) for each in patterns}
    total = sum(per_end[board.part] * board.ends * -(-board.count // board.stack) for board in plan.boards)
    if total > MOST_PASSES:
        mend = "split the job over several plans, or cut stacks"
        yield Fault(f"more than {MOST_PASSES:,} passes in one job", f"{total:,} passes", "boards", mend)


def _placed(fault: Fault, plan: Plan, shop: Shop) -> Fault:
    path = shop.path if fault.where.startswith(SHOP_TABLES) else plan.path
    name = cleaned(PurePath(path).name) or "plan"
    return replace(fault, where=f"{name}: {fault.where}")


def _setups(plan: Plan, patterns: tuple[Pattern, ...]) -> Iterator[Setup]:
    """In cutting order: depth, part, board as in the file, end 1 of all copies, then end 2."""
    places = {each.part: index for index, each in enumerate(patterns)}
    number = 0
    for part in _parts(plan):
        for board in plan.boards:
            if board.part != part:
                continue
            for end, first, copies in _clampings(board):
                number += 1
                yield Setup(number, 1, board.name, part, end, copies, first, places[part])


def _clampings(board: BoardPlan) -> Iterator[tuple[int, int, int]]:
    """(end, first copy, copies clamped together); the last stack is what remains."""
    for end in range(1, board.ends + 1):
        for first in range(1, board.count + 1, board.stack):
            yield end, first, min(board.stack, board.count - first + 1)


def _warnings(
    plan: Plan, shop: Shop, patterns: tuple[Pattern, ...], setups: Iterable[Setup], worst: Fraction
) -> Iterator[str]:
    for part, nominal in _nominal(plan).items():
        for line in walls.slivers(nominal, shop.blade.kerf, unit=plan.unit):
            yield f"part {part}: {line}"
    missing = {"A", "B"} - {board.part for board in plan.boards}
    for part in sorted(missing):
        yield f"no board of part {part} is in this plan: its mate must come from elsewhere"
    if shop.blade.tooth == "alternate":
        yield "alternate teeth leave notched socket bottoms: a flat-tooth blade cuts them level"
    for each in patterns:
        yield from _outside(each, shop)
    yield from _rounding(patterns, shop, worst)
    if _short_approach(patterns, setups, shop):
        yield "the travel leaves too little room below some setting to take up the screw's play: come up to it slowly"


def _outside(each: Pattern, shop: Shop) -> Iterator[str]:
    at_reference = max((-one.kerf_from for one in each.passes), default=Fraction(0))
    at_far = max((one.kerf_to - each.width for one in each.passes), default=Fraction(0))
    if at_reference > 0:
        length = plain_length(at_reference, shop.unit)
        yield f"part {each.part}: a pass cuts {length} past the reference edge, into the stop or beyond"
    if at_far > 0:
        yield f"part {each.part}: a pass cuts {plain_length(at_far, shop.unit)} past the far edge"


def _rounding(patterns: tuple[Pattern, ...], shop: Shop, worst: Fraction) -> Iterator[str]:
    if worst < 0:
        short = plain_length(-worst, shop.unit)
        yield f"rounded to what the carriage can set, the joint may be {short} too tight: give it more clearance"
    for each in patterns:
        fin = settings.fin(each.passes, shop.carriage)
        if fin > 0:
            length = plain_length(fin, shop.unit)
            yield f"part {each.part}: rounded settings may leave a fin of {length} in a socket: raise blade.overlap"


def _short_approach(patterns: tuple[Pattern, ...], setups: Iterable[Setup], shop: Shop) -> bool:
    previous: Fraction | None = None
    for setup in setups:
        # Within a setup settings ascend, so only its first pass can lie below where the carriage stands.
        cut = patterns[setup.pattern].passes
        if not cut:
            continue
        if settings.approach_is_short(shop.carriage, previous, cut[0].setting):
            return True
        previous = cut[-1].setting
    return False
