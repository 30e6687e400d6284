"""The test boards of a calibration: plans that `cut` takes like any other, and the places to measure on them.

Cuts stand at whole turns of a handwheel, or at whole steps of the carriage, so that no setting is rounded and no
error of a dial's marks comes in. What was set is read back from the plan, in steps of the carriage as it was when
the plan was written: a pitch calibrated since doesn't change what was cut.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from assistant.calibrating.blunders import Caliper
from assistant.errors import BadInput, Fault
from assistant.joinery.settings import reading
from assistant.joinery.units import MM_PER_UNIT, format_number, toml_length
from assistant.plans.model import Shop
from assistant.plans.pieces import nominal
from assistant.plans.plan_file import read_plan

WOOD = {"mm": Fraction(8), "in": Fraction(5, 16) * MM_PER_UNIT["in"]}
SHORT_WOOD, LONG_WOOD = Fraction(6), Fraction(28)
THICKNESS = {"mm": Fraction(12), "in": Fraction(1, 2) * MM_PER_UNIT["in"]}
# Ten fingers of the kerf's board: five short, then five long. By simulation (2,000 boards, each finger read once, one
# reading of each board off by 0.1 to 1 mm): of five alike the misread one is outvoted, and 1.4 % of the boards have to
# be measured again; with 8 and 2 it is 19 %, since which of two is right can't be told; with 6 and 4, 2.3 %; with three
# spacings (4, 3, 3), 57 %. U without a slip: 0.031 mm for 5 and 5; 0.028, 0.029 and 0.033 for the others.
# Those of one spacing lie side by side: neighbours share a cut, whose error cancels in their mean.
SHORT, LONG, PAIRS = 5, 5, 4
# Between short and long spacings, mm; nearer ones tell too little of a slope (12.7 mm apart U is 0.04 mm).
LEAST_APART = Fraction(12)
DOWN = tuple(range(2, 3 * PAIRS, 3))  # of three cuts the middle one is come down to
SCREW_CUTS, ZERO_CUTS = 10, 6
SCREW_REACH, ZERO_REACH = Fraction(130), Fraction(60)
TITLE = "Test board: "
# No I and no O, which are read as 1 and 0.
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
_STEP = re.compile(r"^# carriage step: (\d+(?:/\d+)?) mm$", re.MULTILINE)
_KIND = re.compile(r"^# calibrates: (\w+)$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Place:
    """Where to measure.

    label: "A", or "A1" and "A2" beside a cut that was come down to. x: what was set there, mm of the carriage as the
    shop file has it now. side: as in `Reading`. what: in words.
    """

    label: str
    x: Fraction
    side: str
    what: str


def board_text(kind: str, shop: Shop, caliper: Caliper) -> str:
    """A plan whose cuts calibrate this; kind: of `values.KINDS`. Raises BadInput where the travel has no room."""
    unit, kerf = shop.unit, shop.blade.kerf
    settings = list(_SETTINGS[kind](shop, caliper))
    walls = [(s, s + kerf) if shop.carriage.zero == "inside" else (s - kerf, s) for s in settings]
    # Fingers and sockets in turn, from the reference edge; behind the last cut some wood to hold by.
    widths, at = [], Fraction(0)
    for start, end in walls:
        widths += [start - at, end - start]
        at = end
    widths.append(settings[0] + WOOD[unit])
    down = f"\ncome_down = {list(DOWN)}" if kind == "backlash" else ""
    listed = ", ".join(toml_length(width, unit) for width in widths)
    return f"""\
# A test board; cut it as any plan, out and back, with the strokes in use.
# calibrates: {kind}
# carriage step: {shop.carriage.resolution} mm
title = "{TITLE}{kind}"
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
    """The steps that settings are chosen from: a turn, or a millimetre (1/16 in), in whole steps of the carriage."""
    carriage = shop.carriage
    if carriage.pitch is not None and carriage.pitch <= 4:
        return carriage.pitch
    usual = Fraction(1) if shop.unit == "mm" else MM_PER_UNIT["in"] / 16
    return -(-usual // carriage.resolution) * carriage.resolution


def _rounded_up(length: Fraction, step: Fraction) -> Fraction:
    return -(-length // step) * step


def _first_setting(shop: Shop, step: Fraction) -> Fraction:
    wood = WOOD[shop.unit]
    return _rounded_up(wood if shop.carriage.zero == "inside" else wood + shop.blade.kerf, step)


def _spaced(start: Fraction, spacings: Sequence[Fraction]) -> Iterator[Fraction]:
    yield start
    for spacing in spacings:
        start += spacing
        yield start


def _kerf_settings(shop: Shop, caliper: Caliper) -> Iterator[Fraction]:
    """Short fingers, then long ones: shorter where the travel ends sooner, as long as the two still tell a slope."""
    step = _setting_step(shop)
    first = _first_setting(shop, step)
    short, far = (_rounded_up(wood + shop.blade.kerf, step) for wood in (SHORT_WOOD, LONG_WOOD))
    if shop.carriage.travel is not None:
        room = shop.carriage.travel[1] - first - SHORT * short
        far = min(far, room / LONG // step * step)
    if far - short < LEAST_APART:
        cuts = 1 + SHORT + LONG
        mend = "give spacings of your own, five readings or more of each: --reading SPACING=LENGTH"
        raise BadInput([Fault(f"there is no room for {cuts} cuts on a test board", "", "carriage.travel", mend)])
    return _spaced(first, [short] * SHORT + [far] * LONG)


def _backlash_settings(shop: Shop, caliper: Caliper) -> Iterator[Fraction]:
    step = _setting_step(shop)
    return _spaced(_first_setting(shop, step), [_rounded_up(WOOD[shop.unit] + shop.blade.kerf, step)] * (3 * PAIRS - 1))


def _reaching(shop: Shop, reach: Fraction, caliper: Caliper, cuts: int) -> Iterator[Fraction]:
    """Cuts spread as far as board, caliper and travel let them."""
    step = _setting_step(shop)
    first = _first_setting(shop, step)
    most = min(reach, caliper.longest - WOOD[shop.unit])
    if shop.carriage.travel is not None:
        most = min(most, shop.carriage.travel[1])
    spacing = (most - first) / (cuts - 1) // step * step
    if spacing < WOOD[shop.unit] / 2 + shop.blade.kerf:
        mend = "measure the carriage itself at settings of your own: --reading SETTING=LENGTH"
        raise BadInput([Fault(f"there is no room for {cuts} cuts on a test board", "", "carriage.travel", mend)])
    return _spaced(first, [spacing] * (cuts - 1))


_SETTINGS = {
    "kerf": _kerf_settings,
    "backlash": _backlash_settings,
    "screw": lambda shop, caliper: _reaching(shop, SCREW_REACH, caliper, SCREW_CUTS),
    "zero": lambda shop, caliper: _reaching(shop, ZERO_REACH, caliper, ZERO_CUTS),
}


def read_places(path: Path, kind: str, shop: Shop) -> list[Place]:
    """The places to measure on the board of this plan. Raises BadInput where it is no plan for this calibration."""
    plan = read_plan(path)
    head = path.read_text(encoding="utf-8-sig")
    meant = _KIND.search(head)
    # One board serves screw and zero: both are measured from the reference edge.
    if meant is not None and meant[1] != kind and {meant[1], kind} != {"screw", "zero"}:
        mend = f"use kerfcall calibrate {meant[1]}, or let calibrate {kind} write another plan"
        raise BadInput([Fault(f"this test board is for another calibration than {kind}", meant[1], path.name, mend)])
    sockets = [s for s in nominal(plan).get("A", ()) if not s.is_finger]
    step = _STEP.search(head)
    now = shop.carriage.resolution / Fraction(step[1]) if step else Fraction(1)
    inside = shop.carriage.zero == "inside"
    settings = [(s.start if inside else s.end) * now for s in sockets]
    if len(settings) > len(LETTERS) or len(settings) < 2:
        mend = f"let kerfcall calibrate {kind} --plan write one"
        raise BadInput([Fault(f"is no test board: it has {len(settings)} cuts", "", path.name, mend)])
    return list(_PLACES[kind](settings))


def _wood_between(settings: Sequence[Fraction]) -> Iterator[Place]:
    for n, (one, other) in enumerate(zip(settings, settings[1:], strict=False), 1):
        yield Place(LETTERS[n - 1], other - one, "up", f"the wood between cuts {n} and {n + 1}")


def _from_edge(settings: Sequence[Fraction]) -> Iterator[Place]:
    for n, setting in enumerate(settings, 1):
        yield Place(LETTERS[n - 1], setting, "up", f"from the reference edge to the near wall of cut {n}")


def _wood_beside(settings: Sequence[Fraction]) -> Iterator[Place]:
    for n in range(len(settings) // 3):
        first, second, third = settings[3 * n : 3 * n + 3]
        cut = 3 * n + 2
        yield Place(f"{LETTERS[n]}1", second - first, "down", f"the wood between cuts {cut - 1} and {cut}")
        yield Place(f"{LETTERS[n]}2", third - second, "up", f"the wood between cuts {cut} and {cut + 1}")


_PLACES = {"kerf": _wood_between, "screw": _from_edge, "zero": _from_edge, "backlash": _wood_beside}


def sheet(kind: str, places: Sequence[Place], shop: Shop, path: Path, option: str) -> Iterator[str]:
    """What to do with the board, in lines. option: of the shop file, as given."""
    unit, decimals = shop.unit, 4 if shop.unit == "in" else 3
    size = MM_PER_UNIT[unit]
    carriage = shop.carriage
    yield f"Cut it with: kerfcall cut {path}{option}   (kerfcall layout shows every setting)"
    yield from textwrap.wrap(HOW[kind], 100, break_on_hyphens=False)
    yield "  place  what to measure"
    for place in places:
        name = "set apart" if kind in ("kerf", "backlash") else "set"
        x = reading(carriage, place.x) if carriage.fractions else format_number(place.x / size, decimals)
        yield f"  {place.label:<5}  {place.what}; {name} {x} {unit}"
    yield f"Then: kerfcall calibrate {kind} --plan {path}{option}"


HOW = {
    "kerf": (
        "Mark the fingers A, B, C .. from the reference edge before you cut; cut out and back as always. Close the "
        "caliper, zero it, and measure each finger with the outside jaws, at half its height, chips brushed off; "
        "then all of them once more."
    ),
    "screw": "Measure each from the reference edge, one jaw in the cut, at its near wall; always at the same height.",
    "zero": "Measure each from the reference edge, one jaw in the cut, at its near wall; always at the same height.",
    "backlash": (
        "Cuts 2, 5, 8, 11 are come DOWN to: the session calls where to go on to first. All others are come up to, as "
        "always. Without wood: a dial gauge on the carriage, --reading 'SETTING up=..' "
        "and 'SETTING down=..', three settings or more."
    ),
}


def expected(kind: str, x: Fraction, kerf: Fraction, zero: str) -> Fraction:
    """About what a place of a test board should give, mm: the wood between two cuts, or the distance of a near wall."""
    return x - kerf if kind in ("kerf", "backlash") or zero == "outside" else x
