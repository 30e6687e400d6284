"""Builds a job from a plan and a shop: what is cut, in which order, at which settings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate
from pathlib import PurePath

from assistant.errors import BadInput, Fault
from assistant.joinery import settings, walls
from assistant.joinery.halves import (
    Clamping,
    Half,
    from_both_edges,
    needs_two,
    other_edge_faults,
    takes_up_no_width,
    whole,
    with_piece,
)
from assistant.joinery.model import Pattern, Tooth
from assistant.joinery.passes import MOST_PASSES
from assistant.joinery.pattern import pattern
from assistant.joinery.units import at_least, at_most, plain_length
from assistant.plans import slips
from assistant.plans.checks import GLUE_CHECK, PIECE_CHECK, ZERO_CHECK
from assistant.plans.document import cleaned
from assistant.plans.model import TEST_BOARD, FarHalf, Job, Plan, Setup, Shop
from assistant.plans.pieces import SHARE_OUT, Piece, board_ends, leaves_over, nominal, pieces, stages
from assistant.plans.shop_file import read_alike

# A fin up to the first thickness comes away under a fingernail. A fin as thin as the second is no thicker than a fibre
# of wood and doesn't stand at all. mm (common practice, no source)
THICKEST_LOOSE_FIN = Fraction(1, 10)
THINNEST_FIN = Fraction(1, 50)
# Common practice, no source: table-saw blades cut 1.6 mm or more, and the thinnest slotting blades about half that.
THINNEST_KERF = Fraction(4, 5)
LEAST_LOOSENESS = Fraction(1, 20)  # mm: less can't be felt by hand
SHORT_APPROACH = (
    "the travel leaves too little room below at least one setting to take up the screw's play: come up to it slowly"
)
# Faults at these keys belong to the shop file, all others to the plan.
SHOP_TABLES = ("blade.", "carriage.", "pedal.", "voice.", "page.")


def build_job(plan: Plan, shop: Shop) -> Job:
    """Lay out a plan for this machine.

    Raises BadInput with all faults at once, each with its file and key: an impossible allowance (`slips`), sockets too
    narrow for the blade, settings outside the travel, a cut deeper than the blade reaches, over 20,000 passes in all.
    """
    shop = read_alike(shop)
    faults = list(slips.faults(plan, shop.blade))
    # A refused allowance is replaced, so that its consequences aren't reported as further faults.
    sound = slips.mended(plan, shop.blade)
    with_boards = {board.part for board in plan.boards}
    found: tuple[Piece, ...] = ()
    try:
        found = tuple(piece for piece in pieces(sound, shop.blade) if piece.of in with_boards)
    except BadInput as error:
        faults += error.faults
    laid_out = _patterns(sound, shop, found, faults)
    faults += _depth_faults(sound, found, shop)
    if not faults:  # with faults, some pieces have no pattern whose passes could be counted
        faults += _count_faults(plan, found, laid_out)
    if faults:
        placed = []
        for fault in dict.fromkeys(faults):
            path = shop.path if fault.where.startswith(SHOP_TABLES) else plan.path
            placed.append(replace(fault, where=f"{cleaned(PurePath(path).name) or 'plan'}: {fault.where}"))
        raise BadInput(placed)
    in_two, both_edges = needs_two(laid_out, shop.carriage), plan.joint.far_half == FarHalf.OTHER_EDGE
    has_piece = in_two and not both_edges
    split = from_both_edges if both_edges else with_piece
    of_piece = [split(each, shop.carriage) if in_two else (Clamping(Half.NONE, each),) for each in laid_out]
    patterns = tuple(clamping.pattern for each in of_piece for clamping in each)
    starts = list(accumulate((len(each) for each in of_piece), initial=0))
    setups: list[Setup] = []
    for place, name, end, first, copies in board_ends(found, plan.boards, plan.order):
        piece = found[place]
        for index, each in enumerate(of_piece[place], start=starts[place]):
            number = len(setups) + 1
            setups.append(Setup(number, piece.stage, name, piece.part, end, copies, first, index, each.half))
    last = len(stages(plan))
    wholes = tuple(whole(each[-1].pattern, shop.carriage) for each in of_piece)
    # The last stage decides the joint's fit: what the stages before it cut is glued up and cut away.
    cut = [one for piece, end in zip(found, wholes, strict=True) if piece.stage == last for one in end.passes]
    kerf, clearance = shop.blade.kerf, plan.joint.clearance
    greatest, worst = settings.rounding_report(cut, shop.carriage, clearance, width=plan.width)
    # A slot gets the whole clearance, not half of it, since the piece that goes into it isn't cut.
    slotted = plan.joint.slotted
    if in_two and both_edges:
        worst -= _lost_to_width(plan.measured_widths, plan.width, wholes, slotted)
    assumed_kerf = kerf - clearance if slotted else walls.assumed_kerf(kerf, clearance)
    warnings = dict.fromkeys(warnings_of(plan, shop, wholes, worst, has_piece))
    if _short_approach(patterns, setups, shop):
        warnings[SHORT_APPROACH] = None
    return Job(
        title=plan.title,
        plan_digest=plan.digest,
        kerf=kerf,
        clearance=clearance,
        assumed_kerf=assumed_kerf,
        warnings=tuple(warnings),
        checks=tuple(check for check in shop.checks if check.name not in _not_asked(shop, last, has_piece)),
        stages=stages(plan),
        patterns=patterns,
        setups=tuple(setups),
        order=tuple(setup.number for setup in setups),
        carriage=shop.carriage,
        pedal=shop.pedal,
        voice=shop.voice,
        greatest_error=greatest,
        worst_clearance=worst,
        layout=plan.joint.layout,
        page=shop.page,
        run_down_s=shop.run_down_s,
        clear_above=shop.blade.clear_above,
        overlap=shop.blade.overlap,
        overrun=shop.blade.overrun,
        highest=shop.blade.highest,
    )


def _lost_to_width(widths: Sequence[Fraction], width: Fraction, ends: Iterable[Pattern], slotted: bool) -> Fraction:
    """How much less clearance there may be because the boards, cut from both edges, are not of one width (mm)."""
    off = max(abs(each - width) for each in widths)
    if slotted:  # what goes into the slots isn't cut, and only one in the middle has its walls from both edges
        return off
    # Mates of different widths have their far halves that much apart.
    return max(widths) - min(widths) + (off if any(takes_up_no_width(end) for end in ends) else 0)


def _not_asked(shop: Shop, stages: int, has_piece: bool) -> tuple[str, ...]:
    """The checks that this job has no use for. A driven carriage is homed in each run, so nobody has to zero it."""
    needless = {GLUE_CHECK: stages == 1, ZERO_CHECK: shop.carriage.drive is not None, PIECE_CHECK: not has_piece}
    return tuple(name for name, is_needless in needless.items() if is_needless)


def _patterns(plan: Plan, shop: Shop, found: Sequence[Piece], faults: list[Fault]) -> tuple[Pattern, ...]:
    """A pattern for each piece that has boards, in the order of the pieces. Faults are noted."""
    # The key to blame for a socket too narrow for the blade.
    where = "joint.widths" if plan.joint.widths else "joint.finger"
    if plan.joint.slotted:
        where = "slots"
    made = []
    both_edges = plan.joint.far_half == FarHalf.OTHER_EDGE
    # From both edges no setting of the whole end counts; `other_edge_faults` judges the travel by the halves'.
    carriage = replace(shop.carriage, travel=None) if both_edges else shop.carriage
    for piece in found:
        try:
            one = pattern(
                piece.part,
                piece.segments,
                plan.width,
                piece.depth,
                shop.blade,
                carriage,
                where=where,
                unit=plan.unit,
            )
            if both_edges and (beyond := other_edge_faults(one, shop.carriage, plan.unit)):
                raise BadInput(beyond)
            made.append(_come_down(one, plan.joint.come_down, faults) if piece.part == "A" else one)
        except BadInput as error:
            part = "" if plan.joint.slotted else f"part {piece.part}: "
            faults += [replace(fault, what=part + fault.what) for fault in error.faults]
    if both_edges and needs_two(made, shop.carriage):
        faults += _width_faults(plan)
    return tuple(made)


def _width_faults(plan: Plan) -> Iterator[Fault]:
    """Why boards of these measured widths can't be cut from both edges: each may differ by a quarter of the clearance.

    More would show: the far half of a board lies as far off as its width, and its mate's as that one's.
    """
    widths, boards = plan.measured_widths, sum(board.count for board in plan.boards)
    where, allowed, unit = "stock.measured_widths", plan.joint.clearance / 4, plan.unit
    piece = 'set joint.far_half = "distance piece", which needs no widths'
    if len(widths) < boards:
        mend = f"measure every board and list its width, or {piece}"
        yield Fault(f"must have a width for each of the {boards} boards", f"{len(widths)} widths", where, mend)
    if not widths:
        return
    limit = f"by more than {at_most(allowed, unit)}, a quarter of the clearance"
    mend = f"plane the boards to one width, or {piece}"
    for n, each in enumerate(widths, start=1):
        if abs(each - plan.width) > allowed:
            off = plain_length(abs(each - plan.width), unit)
            what = f"differs from stock.width by {off}, {limit}"
            yield Fault(what, plain_length(each, unit), f"{where}[{n}]", mend)
    if max(widths) - min(widths) > allowed:
        narrow, wide = (f"{where}[{widths.index(edge(widths)) + 1}]" for edge in (min, max))
        off = plain_length(max(widths) - min(widths), unit)
        yield Fault(f"differs from {narrow} by {off}, {limit}", plain_length(max(widths), unit), wide, mend)


def _come_down(one: Pattern, wanted: tuple[int, ...], faults: list[Fault]) -> Pattern:
    """Mark the passes of these sockets as approached from above. wanted: socket numbers, from 1."""
    missing = sorted(set(wanted) - set(range(1, len(one.sockets) + 1)))
    if missing:
        mend = f"give numbers from 1 to {len(one.sockets)}: part A has no more sockets"
        faults.append(Fault("names sockets that don't exist", ", ".join(map(str, missing)), "joint.come_down", mend))
    return replace(one, passes=tuple(replace(each, down=each.socket in wanted) for each in one.passes))


def _depth_faults(plan: Plan, found: Sequence[Piece], shop: Shop) -> Iterator[Fault]:
    highest = shop.blade.highest
    key = "slots" if plan.joint.slotted else "stock.thickness"
    for piece in found:
        if highest is not None and piece.depth > highest:
            what = f"part {piece.part} must be cut deeper than the blade reaches, {plain_length(highest, shop.unit)}"
            mend = "use thinner stock, or correct blade.highest in the shop file if the blade reaches higher"
            yield Fault(what, plain_length(piece.depth, plan.unit), key, mend)


def _count_faults(plan: Plan, found: Sequence[Piece], patterns: Sequence[Pattern]) -> Iterator[Fault]:
    total = sum(len(patterns[each.piece].passes) for each in board_ends(found, plan.boards, plan.order))
    if total > MOST_PASSES:
        mend = "split the job into several plans, or cut boards in stacks"
        yield Fault(f"more than {MOST_PASSES:,} passes in one job", f"{total:,} passes", "boards", mend)


def warnings_of(
    plan: Plan, shop: Shop, patterns: tuple[Pattern, ...], worst: Fraction, has_piece: bool = False
) -> Iterator[str]:
    """What to look out for when these patterns of a plan are cut: whole ends, with the settings of all their clampings.

    worst: the clearance left at the worst, mm.
    """
    yield from slips.warnings(plan)
    yield from _thin_between(plan, shop, patterns) if plan.joint.slotted else _slivers(plan, shop)
    # A joint of one's own may be called a test board too, but it has a clearance.
    has_no_mate = plan.joint.slotted or (plan.title.startswith(TEST_BOARD) and plan.joint.clearance == 0)
    wanted = {"A"} if has_no_mate else {"A", "B"}
    missing = wanted - {board.part for board in plan.boards}
    for part in sorted(missing):
        yield f"this plan has no board of part {part}: the mate must come from another plan"
    if shop.blade.tooth == Tooth.ALTERNATE:
        yield "alternate teeth leave notched socket bottoms: a flat-tooth blade cuts them level"
    if shop.blade.kerf < THINNEST_KERF:
        kerf, thinnest = (plain_length(length, shop.unit) for length in (shop.blade.kerf, THINNEST_KERF))
        why = f"no common blade cuts less than {thinnest}: check the decimal point"
        yield f"blade.kerf in the shop file is {kerf}, but {why}"
    for each in patterns:
        at_reference = max((-one.kerf_from for one in each.passes), default=Fraction(0))
        at_far = max((one.kerf_to - each.width for one in each.passes), default=Fraction(0))
        if at_reference > 0:
            length = plain_length(at_reference, shop.unit)
            what = "distance piece" if has_piece else "stop"
            yield f"part {each.part}: a pass cuts {length} past the reference edge, into the {what} or beyond"
        if at_far > 0:
            length = plain_length(at_far, shop.unit)
            yield f"part {each.part}: a pass cuts {length} past the far edge: keep clamps and hold-down clear of it"
    yield from _rounding(patterns, shop, worst, plan.joint.clearance)
    for each in patterns:
        for one in each.passes:
            if one.down and settings.descent_is_short(shop.carriage, one.setting):
                room = f"the travel leaves too little room above socket {one.socket} to come down to it"
                yield f"part {each.part}: {room}: remove it from joint.come_down"


def _slivers(plan: Plan, shop: Shop) -> Iterator[str]:
    mend = f": {SHARE_OUT}" if leaves_over(plan) else ""
    for part, segments in nominal(plan).items():
        last = sum(segment.is_finger for segment in segments)
        clearance, step = plan.joint.clearance, shop.carriage.resolution
        for line in walls.slivers(segments, shop.blade.kerf, clearance, step, unit=plan.unit):
            yield f"part {part}: {line}" + (mend if line.startswith(f"finger {last}:") else "")


def _thin_between(plan: Plan, shop: Shop, patterns: Iterable[Pattern]) -> Iterator[str]:
    """Warnings of wood that may break between neighbouring slots of any depth, or at an edge."""
    limit = max(walls.SLIVER_MM, shop.blade.kerf)
    cut = sorted((socket.start, socket.end) for each in patterns for socket in each.sockets)
    starts = [*(start for start, _ in cut), plan.width]
    ends = [Fraction(0), *(end for _, end in cut)]
    names = ["the reference edge", *(f"slot {n}" for n in range(1, len(cut) + 1)), "the far edge"]
    for n, wood in enumerate(start - end for start, end in zip(starts, ends, strict=True)):
        if 0 < wood < limit:
            between = f"between {names[n]} and {names[n + 1]}"
            why = walls.unsettable_warning(wood, shop.carriage.resolution, unit=plan.unit) or "it may break"
            yield f"only {plain_length(wood, plan.unit)} of wood is left {between}: {why}"


def _rounding(patterns: tuple[Pattern, ...], shop: Shop, worst: Fraction, clearance: Fraction) -> Iterator[str]:
    rounded = "with settings rounded to the carriage's steps, the joint"
    if worst < 0:
        yield f"{rounded} may be {at_least(-worst, shop.unit)} too tight: give it more clearance"
    elif worst < clearance / 2:
        left, asked = at_most(worst, shop.unit), plain_length(clearance, shop.unit)
        yield f"{rounded} may keep only {left} of its {asked} clearance: give it more if that is too tight"
    if worst - clearance > max(clearance / 2, LEAST_LOOSENESS):
        loose = plain_length(worst - clearance, shop.unit)
        mend = "give less clearance, or widths in whole steps of the carriage"
        yield f"{rounded} is {loose} looser than you asked for, even where it is tightest: {mend}"
    for each in patterns:
        fin = settings.widest_fin(each.passes, shop.carriage)
        if fin > 0:
            length = at_least(fin, shop.unit)
            yield f"part {each.part}: rounded settings may leave a fin of {length} in a socket: increase blade.overlap"
        edge = settings.widest_edge_fin(each.passes, shop.carriage, each.width)
        if edge > THINNEST_FIN:
            mend = f"set blade.overrun to {at_least(shop.carriage.resolution / 2, shop.unit)}"
            if edge <= THICKEST_LOOSE_FIN:
                mend = f"it comes away under a fingernail, or {mend}"
            yield f"part {each.part}: rounded settings leave a fin of {at_least(edge, shop.unit)} at an edge: {mend}"


def _short_approach(patterns: tuple[Pattern, ...], setups: Iterable[Setup], shop: Shop) -> bool:
    previous: Fraction | None = None
    for setup in setups:
        # Settings ascend within a setup, so only its first pass can lie below the carriage's last position.
        cut = patterns[setup.pattern].passes
        if not cut:
            continue
        if settings.approach_is_short(shop.carriage, previous, cut[0].setting):
            return True
        previous = cut[-1].setting
    return False
