"""Makes the test boards of a calibration: plans that `cut` treats like any other, and the places to measure on them.

Cuts lie at whole turns of a handwheel, or at whole steps of the carriage, so that no setting is rounded and errors
of a dial's marks play no part. What was set is read back from the plan, in steps of the carriage as it was when
the plan was written: a pitch calibrated since then doesn't change what was cut.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from assistant.calibrating.blunders import Approach, Caliper
from assistant.errors import BadInput, Fault
from assistant.joinery.model import Zero
from assistant.joinery.settings import reading
from assistant.joinery.units import MM_PER_UNIT, PLACES, Unit, format_number, plain_length, toml_length
from assistant.plans.model import TEST_BOARD, Shop
from assistant.plans.pieces import nominal
from assistant.plans.plan_file import read_plan
from assistant.plans.shop_writer import EntryKind

WOOD = {Unit.MM: Fraction(8), Unit.INCH: Fraction(5, 16) * MM_PER_UNIT[Unit.INCH]}
SHORT_WOOD, LONG_WOOD = Fraction(6), Fraction(28)  # mm, what is left of the fingers
THICKNESS = {Unit.MM: Fraction(12), Unit.INCH: Fraction(1, 2) * MM_PER_UNIT[Unit.INCH]}
# The board for the kerf has ten fingers: five short, then five long. By simulation (2,000 boards, each finger read
# once, one reading of each board off by 0.1 to 1 mm), five alike outvote a misread one, and 1.4 % of the boards have to
# be measured again. With 8 and 2 it is 19 %, since nothing shows which of two is right; with 6 and 4, 2.3 %; with three
# spacings (4, 3, 3), 57 %. U without a misreading is 0.031 mm for 5 and 5, and 0.028, 0.029 and 0.033 for the others.
# Fingers of one spacing lie side by side: neighbours share a cut, whose error cancels in their mean.
SHORT, LONG, PAIRS = 5, 5, 4
# The least difference between short and long spacings, mm. Closer ones show too little of a slope (with 12.7 mm, U is
# 0.04 mm).
LEAST_APART = Fraction(12)
ROUNDS = {"kerf": 2}  # how often a place is asked for, where more than once
DOWN = tuple(range(2, 3 * PAIRS, 3))  # the middle one of every three cuts is approached from above
SCREW_CUTS, ZERO_CUTS = 10, 6
SCREW_REACH, ZERO_REACH = Fraction(130), Fraction(60)
# Without I and O, which could be read as 1 and 0.
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
_STEP = re.compile(r"^# carriage step: (\d+(?:/\d+)?) mm$", re.MULTILINE)
_KIND = re.compile(r"^# calibrates: (\w+)$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Place:
    """Where to measure.

    label: "A", or "A1" and "A2" beside a cut that was approached from above. x: what was set there, mm of the carriage
    as the shop file has it now. side: as in `Reading`. what: in words.
    """

    label: str
    x: Fraction
    side: Approach
    what: str


def board_text(kind: EntryKind, shop: Shop, caliper: Caliper) -> str:
    """The plan of a test board. kind: one of `values.KINDS`. Raises BadInput if the travel has no room for it."""
    unit, kerf = shop.unit, shop.blade.kerf
    settings = list(_SETTINGS[kind](shop, caliper))
    walls = [(s, s + kerf) if shop.carriage.zero == Zero.INSIDE else (s - kerf, s) for s in settings]
    # Fingers and sockets in turn, from the reference edge, then some wood after the last cut to hold the board by.
    widths, at = [], Fraction(0)
    for start, end in walls:
        widths += [start - at, end - start]
        at = end
    widths.append(settings[0] + WOOD[unit])
    down = f"\ncome_down = {list(DOWN)}" if kind == EntryKind.BACKLASH else ""
    listed = ", ".join(toml_length(width, unit) for width in widths)
    return f"""\
# A test board. Cut it like any plan: push out and draw back as you always do.
# calibrates: {kind}
# carriage step: {shop.carriage.resolution} mm
title = "{TEST_BOARD}{kind}"
unit = "{unit}"

[stock]
width = {toml_length(sum(widths, Fraction(0)), unit)}
thickness = {toml_length(THICKNESS[unit], unit)}

[joint]
layout = "listed"
widths = [{listed}]
clearance = 0
sand_allowance = 0{down}

[[boards]]
name = "test board"
part = "A"
"""


def _setting_step(shop: Shop) -> Fraction:
    """The step between possible settings, mm: a turn, or a millimetre (1/16 in), in whole steps of the carriage."""
    carriage = shop.carriage
    # Whole turns keep errors of the dial's marks out, but only of a screw fine enough to place the cuts.
    if carriage.pitch is not None and carriage.pitch <= 4:
        return carriage.pitch
    usual = Fraction(1) if shop.unit == Unit.MM else MM_PER_UNIT[Unit.INCH] / 16
    return -(-usual // carriage.resolution) * carriage.resolution


def _rounded_up(length: Fraction, step: Fraction) -> Fraction:
    return -(-length // step) * step


def _first_setting(shop: Shop, step: Fraction) -> Fraction:
    wood = WOOD[shop.unit]
    # With the zero outside, a setting is the far wall of its cut, so the kerf comes on top of the wood before it.
    return _rounded_up(wood if shop.carriage.zero == Zero.INSIDE else wood + shop.blade.kerf, step)


def _spaced(start: Fraction, spacings: Sequence[Fraction]) -> Iterator[Fraction]:
    yield start
    for spacing in spacings:
        start += spacing
        yield start


def _kerf_settings(shop: Shop, caliper: Caliper) -> Iterator[Fraction]:
    """Short fingers, then long ones. Less travel makes the long ones shorter, down to where they show too little."""
    step = _setting_step(shop)
    first = _first_setting(shop, step)
    short, far = (_rounded_up(wood + shop.blade.kerf, step) for wood in (SHORT_WOOD, LONG_WOOD))
    if shop.carriage.travel is not None:
        room = shop.carriage.travel[1] - first - SHORT * short
        far = min(far, room / LONG // step * step)
    if far - short < LEAST_APART:
        cuts = 1 + SHORT + LONG
        mend = "choose your own spacings and give five readings or more for each: --reading SPACING=LENGTH"
        what = f"the travel leaves no room for a test board's {cuts} cuts"
        raise BadInput([Fault(what, "", "carriage.travel", mend)])
    return _spaced(first, [short] * SHORT + [far] * LONG)


def _backlash_settings(shop: Shop, caliper: Caliper) -> Iterator[Fraction]:
    step = _setting_step(shop)
    return _spaced(_first_setting(shop, step), [_rounded_up(WOOD[shop.unit] + shop.blade.kerf, step)] * (3 * PAIRS - 1))


def _reaching(shop: Shop, reach: Fraction, caliper: Caliper, cuts: int) -> Iterator[Fraction]:
    """Cuts spread as far apart as board, caliper and travel allow."""
    step = _setting_step(shop)
    first = _first_setting(shop, step)
    most = min(reach, caliper.longest - WOOD[shop.unit])
    if shop.carriage.travel is not None:
        most = min(most, shop.carriage.travel[1])
    spacing = (most - first) / (cuts - 1) // step * step
    if spacing < WOOD[shop.unit] / 2 + shop.blade.kerf:
        mend = "measure the carriage itself at settings you choose: --reading SETTING=LENGTH"
        what = f"the travel leaves no room for a test board's {cuts} cuts"
        raise BadInput([Fault(what, "", "carriage.travel", mend)])
    return _spaced(first, [spacing] * (cuts - 1))


_SETTINGS = {
    EntryKind.KERF: _kerf_settings,
    EntryKind.BACKLASH: _backlash_settings,
    EntryKind.SCREW: lambda shop, caliper: _reaching(shop, SCREW_REACH, caliper, SCREW_CUTS),
    EntryKind.ZERO: lambda shop, caliper: _reaching(shop, ZERO_REACH, caliper, ZERO_CUTS),
}


def read_places(path: Path, kind: EntryKind, shop: Shop) -> list[Place]:
    """The places to measure on the board of this plan. Raises BadInput if the plan is not for this calibration."""
    plan = read_plan(path)
    head = path.read_text(encoding="utf-8-sig")
    meant = _KIND.search(head)
    # One board serves screw and zero: both are measured from the reference edge.
    if meant is not None and meant[1] != kind and {meant[1], kind} != {EntryKind.SCREW, EntryKind.ZERO}:
        mend = f"use kerfcall calibrate {meant[1]}, or let calibrate {kind} write another plan"
        raise BadInput([Fault(f"this test board is not for calibrating {kind}", meant[1], path.name, mend)])
    sockets = [s for s in nominal(plan).get("A", ()) if not s.is_finger]
    step = _STEP.search(head)
    now = shop.carriage.resolution / Fraction(step[1]) if step else Fraction(1)
    inside = shop.carriage.zero == Zero.INSIDE
    settings = [(s.start if inside else s.end) * now for s in sockets]
    if len(settings) > len(LETTERS) or len(settings) < 2:
        mend = f"let kerfcall calibrate {kind} --plan FILE write a test board"
        raise BadInput([Fault(f"is not a test board: it has {len(settings)} cuts", "", path.name, mend)])
    return list(_PLACES[kind](settings))


def _wood_between(settings: Sequence[Fraction]) -> Iterator[Place]:
    for n, (one, other) in enumerate(zip(settings, settings[1:], strict=False), 1):
        yield Place(LETTERS[n - 1], other - one, Approach.UP, f"the wood between cuts {n} and {n + 1}")


def _from_edge(settings: Sequence[Fraction]) -> Iterator[Place]:
    for n, setting in enumerate(settings, 1):
        yield Place(LETTERS[n - 1], setting, Approach.UP, f"from the reference edge to the near wall of cut {n}")


def _wood_beside(settings: Sequence[Fraction]) -> Iterator[Place]:
    for n in range(len(settings) // 3):
        first, second, third = settings[3 * n : 3 * n + 3]
        cut = 3 * n + 2
        yield Place(f"{LETTERS[n]}1", second - first, Approach.DOWN, f"the wood between cuts {cut - 1} and {cut}")
        yield Place(f"{LETTERS[n]}2", third - second, Approach.UP, f"the wood between cuts {cut} and {cut + 1}")


_PLACES = {
    EntryKind.KERF: _wood_between,
    EntryKind.SCREW: _from_edge,
    EntryKind.ZERO: _from_edge,
    EntryKind.BACKLASH: _wood_beside,
}


def driven_places(kind: EntryKind, shop: Shop, caliper: Caliper) -> list[Place]:
    """Settings at which the carriage itself is measured, without a board, where a motor brings it there.

    Each is called by its setting, as `--reading` takes it. kind: screw, zero or backlash. Raises BadInput as
    `board_text` does.
    """
    sides: tuple[Approach, ...] = (Approach.UP,)
    if kind == EntryKind.BACKLASH:
        # A dial gauge has 10 mm or a little more (common practice, no source).
        step = _rounded_up(Fraction(2), shop.carriage.resolution)
        settings = list(_spaced(_first_setting(shop, _setting_step(shop)), [step] * (PAIRS - 1)))
        sides = tuple(Approach)
    else:
        settings = list(_SETTINGS[kind](shop, caliper))
    return [
        Place(f"{plain_length(x, shop.unit)}{' down' if side == Approach.DOWN else ''}", x, side, BY_THE_CARRIAGE[kind])
        for x in settings
        for side in sides
    ]


BY_THE_CARRIAGE = {
    EntryKind.SCREW: "how far the carriage stands from one fixed point",
    EntryKind.ZERO: "from the face of the stop to the near side of a tooth",
    EntryKind.BACKLASH: "what the dial gauge on the carriage shows",
}


def sheet(kind: EntryKind, places: Sequence[Place], shop: Shop, path: Path, option: str) -> Iterator[str]:
    """What to do with the board, in lines. option: the shop file's option, as given."""
    unit, decimals = shop.unit, PLACES[shop.unit]
    size = MM_PER_UNIT[unit]
    carriage = shop.carriage
    yield f"Cut it with: kerfcall cut {path}{option}   (kerfcall layout shows every setting)"
    yield from textwrap.wrap(HOW[kind], 100, break_on_hyphens=False)
    yield "  place  what to measure"
    for place in places:
        name = "cuts spaced" if kind in (EntryKind.KERF, EntryKind.BACKLASH) else "set to"
        x = reading(carriage, place.x) if carriage.fractions else format_number(place.x / size, decimals)
        yield f"  {place.label:<5}  {place.what} ({name} {x} {unit})"
    yield f"Then: kerfcall calibrate {kind} --plan {path}{option}"


HOW = {
    EntryKind.KERF: (
        "Before you cut, mark the fingers A, B, C ... from the reference edge. Push out and draw back as you always "
        "do. Then close the caliper and zero it. Brush off the chips and measure each finger with the outside jaws, "
        "at half its height. When you have measured them all, measure them all again."
    ),
    EntryKind.SCREW: (
        "Measure each distance from the reference edge, with one jaw in the cut against its near wall. Keep to the "
        "same height."
    ),
    EntryKind.ZERO: (
        "Measure each distance from the reference edge, with one jaw in the cut against its near wall. Keep to the "
        "same height."
    ),
    EntryKind.BACKLASH: (
        "The carriage must come DOWN to cuts 2, 5, 8 and 11: the session calls the point to go past to first. It "
        "comes up to all others, as always. To do it without wood, put a dial gauge on the carriage and read it at "
        "three settings or more: --reading 'SETTING up=..' and 'SETTING down=..'."
    ),
}


def expected(kind: EntryKind, x: Fraction, kerf: Fraction, zero: Zero) -> Fraction:
    """Roughly what a place on a test board should give, mm: wood between two cuts, or the distance of a near wall."""
    return x - kerf if kind in (EntryKind.KERF, EntryKind.BACKLASH) or zero == Zero.OUTSIDE else x
