"""Works out a value from readings, and what the shop file should say with that value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from assistant.calibrating.blunders import Caliper, Reading
from assistant.calibrating.mixups import (
    ANY_KERF,
    SAME_KERF,
    cuts_among,
    cuts_measured,
    other_side,
    some_on_the_other_side,
)
from assistant.calibrating.uncertainty import COVERAGE, Component
from assistant.calibrating.values import Value, backlash, kerf, screw, zero
from assistant.errors import BadInput, Fault
from assistant.joinery.model import CarriageKind, Drive, HomeKind, Register, Zero
from assistant.joinery.units import MM_PER_UNIT, PLACES, Unit, format_number, plain_length
from assistant.plans.model import Shop
from assistant.plans.shop_writer import EntryKind, HistoryEntry, value_text

# The standard uncertainty assumed for a kerf that was never calibrated, mm.
ASSUMED_KERF_U = 0.01
# A blade's kerf differs less than this from the width printed on it: by a few tenths of a millimetre at most (common
# practice, no source). A greater change needs a second confirmation.
MOST_UNASKED = Fraction(3, 10)
SCREW_PLACES = 6


@dataclass(frozen=True, slots=True)
class ShopChange:
    """What to write into the shop file.

    key: "" if there is nothing to write. text: TOML. before: the present text, or None. why: if nothing is written,
    what to do by hand; else a warning to show before it is written. moved: how far a kerf would move, mm, 0 or over;
    0 for anything else.
    """

    key: str = ""
    text: str = ""
    before: str | None = None
    why: str = ""
    moved: Fraction = Fraction(0)


def computed(
    kind: EntryKind, readings: Sequence[Reading], caliper: Caliper, shop: Shop, known: Sequence[HistoryEntry]
) -> Value:
    """The value of this kind. known: the calibrations in force, some of which it depends on.

    Raises BadInput if the readings give no value, or if something else seems to have been measured.
    """
    if kind == EntryKind.SCREW:
        return screw(readings, caliper)
    width = shop.blade.kerf
    if kind == EntryKind.BACKLASH:
        by_cuts = all(r.label.isalpha() for r in readings)
        if by_cuts and (faults := list(cuts_measured(readings, width, shop.unit))):
            raise BadInput(faults)
        return backlash(readings, caliper, by_cuts=by_cuts, kerf=width)
    u_travel = _last_u(known, EntryKind.SCREW)
    scale = None if u_travel is None else Component("carriage's travel (calibrated)", u_travel)
    if kind == EntryKind.KERF:
        if faults := list(cuts_measured(readings, width, shop.unit)):
            raise BadInput(faults)
        try:
            return _near_enough(kerf(readings, caliper, scale), shop)
        except BadInput as error:
            raise BadInput([*cuts_among(readings, width), *error.faults]) from error
    return _zero_of(readings, caliper, shop, known, scale)


def _zero_of(
    readings: Sequence[Reading], caliper: Caliper, shop: Shop, known: Sequence[HistoryEntry], scale: Component | None
) -> Value:
    width = shop.blade.kerf
    outside = width if shop.carriage.zero == Zero.OUTSIDE else None
    odd = some_on_the_other_side(readings, width)
    what = "some readings are about a kerf away from the others: were they taken on the other side of the kerf?"
    mend = "measure every place to the near wall of its cut, the wall towards the reference edge"
    mixed = [Fault(what, ", ".join(odd), "readings", mend)] if odd else []
    u_kerf = _last_u(known, EntryKind.KERF)
    if u_kerf is None:
        u_kerf = ASSUMED_KERF_U
    try:
        found = zero(readings, caliper, outside_kerf=outside, u_kerf=u_kerf, scale=scale)
    except BadInput as error:
        raise BadInput([*mixed, *error.faults]) from error
    # With as many on either side, none is odd by itself, but the level between the two is wrong for all.
    if not set(odd) <= {each.reading.label for each in found.left_out}:
        raise BadInput(mixed)
    if faults := list(other_side(Fraction(found.value), width, shop.carriage.zero, shop.unit)):
        raise BadInput(faults)
    note = f"{', '.join(odd)}: about a kerf away from the others. Were they taken on the other side of the kerf?"
    return replace(found, notes=(*found.notes, note)) if odd else found


def _near_enough(value: Value, shop: Shop) -> Value:
    """The value, unless it is far from the shop file's kerf: then it was probably read off another board.

    Raises BadInput in that case.
    """
    stated = float(shop.blade.kerf)
    off = abs(value.value - stated)
    if off <= SAME_KERF * stated:
        return value
    found = plain_length(Fraction(value.value), shop.unit)
    mend = "check that these readings are from this board, and that each is only the wood between two cuts"
    if off <= ANY_KERF * stated:
        mend += f"; if so, first put about {found} into blade.kerf"
    what = f"the kerf is far from the {plain_length(shop.blade.kerf, shop.unit)} in the shop file"
    raise BadInput([Fault(what, found, "readings", mend)])


def _last_u(known: Sequence[HistoryEntry], kind: EntryKind) -> float | None:
    """The standard uncertainty of the last calibration of this kind, None if there is none."""
    return next((float(entry.data["u"]) for entry in reversed(known) if entry.kind == kind), None)


def change_for(value: Value, shop: Shop) -> ShopChange:
    """The change that this value makes to the shop file. Raises BadInput if it can't be right."""
    return _CHANGES[value.kind](value, shop)


def _length(mm: float, unit: Unit) -> str:
    return _number(Fraction(mm) / MM_PER_UNIT[unit], PLACES[unit])


def _number(value: Fraction, places: int) -> str:
    text = format_number(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _change_at(shop: Shop, key: str, text: str) -> ShopChange:
    before = value_text(Path(shop.path), key)
    if before == text:
        return ShopChange(why=f"The shop file already says {key} = {text}.")
    return ShopChange(key, text, before)


def _change_of_kerf(value: Value, shop: Shop) -> ShopChange:
    change = _change_at(shop, "blade.kerf", _length(value.value, shop.unit))
    if not change.key:
        return change
    moved = abs(Fraction(change.text) * MM_PER_UNIT[shop.unit] - shop.blade.kerf)
    why = ""
    if moved > MOST_UNASKED:
        why = (
            f"That would change the kerf by {plain_length(moved, shop.unit)}, which is a lot for one blade. Measure "
            "again, unless you know the reason."
        )
    return replace(change, why=why, moved=moved)


def _change_of_backlash(value: Value, shop: Shop) -> ShopChange:
    if value.value < -COVERAGE * value.u:
        play = f"{_length(value.value, shop.unit)} {shop.unit}"
        mend = "check whether the readings taken coming up and coming down were exchanged, and take them again"
        raise BadInput([Fault("play can't be below zero", play, "readings", mend)])
    if value.value < COVERAGE * value.u and not shop.carriage.backlash:
        return ShopChange(why="The readings show no play, and the shop file states none.")
    return _change_at(shop, "carriage.backlash", _length(max(0.0, value.value), shop.unit))


def _change_of_screw(value: Value, shop: Shop) -> ShopChange:
    off = value.value - 1
    if abs(off) <= value.expanded:
        return ShopChange(why="Within the uncertainty, the carriage moves as the shop file says.")
    ratio = Fraction(value.value)
    carriage = shop.carriage
    # If the carriage moves further than it is set, fewer steps or threads make up a length, and the pitch is longer.
    if carriage.kind == CarriageKind.STEPS:
        return _change_at(shop, "carriage.steps_per_mm", _number(1 / carriage.resolution / ratio, SCREW_PLACES))
    if carriage.drive is not None:
        return _change_of_motor(ratio, shop, carriage.drive)
    if carriage.pitch is not None:
        if value_text(Path(shop.path), "carriage.threads_per_inch") is not None:
            threads = MM_PER_UNIT[Unit.INCH] / (carriage.pitch * ratio)
            return _change_at(shop, "carriage.threads_per_inch", _number(threads, SCREW_PLACES))
        pitch = carriage.pitch * ratio / MM_PER_UNIT[shop.unit]
        return _change_at(shop, "carriage.pitch", _number(pitch, SCREW_PLACES))
    return ShopChange(
        why=(
            f"The readout is off by {1000 * off:+.2f} mm in a metre, which the shop file can't correct. Change the "
            f"readout's own linear compensation by {1e6 * off:+.0f} parts in a million, and measure again."
        )
    )


def _change_of_motor(ratio: Fraction, shop: Shop, drive: Drive) -> ShopChange:
    """A motor goes by its own steps, whatever readout or handwheel is on the screw."""
    if drive.steps_per_mm is not None:
        return _change_at(shop, "carriage.drive.steps_per_mm", _number(drive.steps_per_mm / ratio, SCREW_PLACES))
    return ShopChange(
        why=(
            f"The carriage is off by {1000 * float(ratio - 1):+.2f} mm in a metre. The shop file has no steps a "
            f"millimetre to correct: give it those of the controller as carriage.drive.steps_per_mm, times "
            f"{_number(1 / ratio, SCREW_PLACES)}. Then run `kerfcall carriage configure`, and measure again."
        )
    )


def _change_of_zero(value: Value, shop: Shop) -> ShopChange:
    if abs(value.value) <= value.expanded:
        return ShopChange(why="Within the uncertainty, the zero is right.")
    drive = shop.carriage.drive
    if drive is not None and drive.home == HomeKind.SWITCH:
        # Where the switch closes the carriage is off by as much as anywhere else.
        return _change_at(shop, "carriage.drive.home_reads", _length(float(drive.home_reads) + value.value, shop.unit))
    by = f"{_length(value.value, shop.unit)} {shop.unit}"
    bar = ""
    if shop.carriage.register == Register.SETTING_BAR:
        bar = " Or check whether the setting bar is as thick as the kerf."
    why = f"Bring the carriage to zero and set its reading there to {by}. The shop file has no key for this.{bar}"
    return ShopChange(why=why)


_CHANGES = {
    EntryKind.KERF: _change_of_kerf,
    EntryKind.SCREW: _change_of_screw,
    EntryKind.ZERO: _change_of_zero,
    EntryKind.BACKLASH: _change_of_backlash,
}
