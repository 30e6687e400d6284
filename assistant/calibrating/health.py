"""What `ready` asks about calibration: how old each value is, and whether blade and carriage were found square.

The history beside the shop file says what was calibrated, what was taken back and on which blade. If a value was
never measured, or not for a long time, `ready` reports it, and a session still uses the shop file's value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from assistant.advice.squareness import (
    SQUARE,
    degrees_of,
    most_out_of_square,
    noted_at,
    out_of_square,
)
from assistant.calibrating.history import SAME_MM, current_blade, kerf_measured
from assistant.calibrating.values import KINDS
from assistant.errors import CouldNotRun, NoSuchPart
from assistant.health import BROKEN, LIMITED, WORKS, Finding
from assistant.joinery.units import plain_length
from assistant.plans.model import JointPlan, Layout, Shop
from assistant.plans.shop_writer import EntryKind, HistoryEntry, in_force, read_history, value_text

PARTS = (*KINDS, SQUARE)
# Days after which a figure should be measured again; common practice, no source. A blade's kerf changes with every
# sharpening, the zero with every knock, play with wear, and a screw hardly at all.
OLD_AFTER_DAYS = {
    EntryKind.KERF: 90,
    EntryKind.SCREW: 365,
    EntryKind.ZERO: 90,
    EntryKind.BACKLASH: 180,
    SQUARE: 90,
}
OF_THE_BLADE = (EntryKind.KERF, EntryKind.ZERO)  # another blade cuts in another place
SQUARE_DEPTH_MM = 20.0  # the thickness of a usual board, to show how much a wall leans
# Common practice, no source. The lean of the wall decides how the joint fits, so it is measured in the wood.
HOW_SQUARE = (
    "isolate the saw and set a square to blade and table; measure how much a cut leans, from edge to wall at tip and "
    "bottom and on both faces (0.02 mm in 20 is 0.06 degrees); note it: kerfcall ready --square DEGREES"
)


def ages(shop: Shop | None, at: datetime | None = None) -> Sequence[Finding]:
    """A line for each calibration and one for squareness. at: the time now, with its offset; for tests."""
    if shop is None:
        mend = "see the line of the shop file"
        return [Finding(part, LIMITED, "not known", mend) for part in PARTS]
    path = Path(shop.path)
    try:
        entries = read_history(path)
        live = in_force(path, entries)
    except NoSuchPart as error:
        text, _, mend = str(error).partition(": ")
        return [Finding(part, LIMITED, f"not known: {text}", mend) for part in PARTS]
    except CouldNotRun as error:
        text, _, mend = str(error).partition("; ")
        return [Finding(part, BROKEN, text, mend) for part in PARTS]
    history = _ShopHistory(shop, entries, live, at or datetime.now(UTC))
    return [*(_calibration(history, kind) for kind in KINDS), _square(history)]


def kerf_days(shop: Shop, at: datetime | None = None) -> int | None:
    """Whole days since the kerf in the shop file was measured, 0 for a date in the future.

    None if it never was, or if the history can't be read: `ready` then says why. at: as for `ages`.
    """
    path = Path(shop.path)
    try:
        measured = kerf_measured(shop, in_force(path, read_history(path)))
        return None if measured is None else max(0, ((at or datetime.now(UTC)) - noted_at(measured)).days)
    except (CouldNotRun, NoSuchPart, KeyError, TypeError, ValueError):
        return None


@dataclass(frozen=True, slots=True)
class _ShopHistory:
    """A shop and its history: all entries, those in force, and the time from which ages count."""

    shop: Shop
    entries: list[HistoryEntry]
    live: list[HistoryEntry]
    at: datetime

    def last(self, kind: EntryKind) -> HistoryEntry | None:
        return next((entry for entry in reversed(self.live) if entry.kind == kind), None)

    def taken_back(self, kind: EntryKind, since: int) -> HistoryEntry | None:
        """The entry that undoes one of this kind later than number `since`."""
        return next((e for e in reversed(self.entries) if e.kind == kind and e.undoes > since), None)

    def days(self, entry: HistoryEntry) -> float:
        """Days since it was noted; negative for a date in the future. Raises ValueError for a bad date."""
        return (self.at - noted_at(entry)).total_seconds() / 86400

    def data(self, kind: EntryKind, entry: HistoryEntry | None) -> dict[str, Any]:
        limit = {"limit_days": OLD_AFTER_DAYS[kind]}
        if entry is None:
            return {"utc": None, "days": None, "blade": None, **limit}
        return {"utc": entry.utc, "days": round(self.days(entry), 2), "blade": entry.blade, **limit}


def ago(days: float) -> str:
    """An age in plain words."""
    whole = math.floor(days)
    return "today" if whole < 1 else f"{whole} day{'s' if whole > 1 else ''} ago"


def _calibration(history: _ShopHistory, kind: EntryKind) -> Finding:
    shop, entry = history.shop, history.last(kind)
    stated = {EntryKind.KERF: shop.blade.kerf, EntryKind.BACKLASH: shop.carriage.backlash}.get(kind)
    used = "" if stated is None else f": using {plain_length(stated, shop.unit)} from the shop file"
    mend = f"kerfcall calibrate {kind}"
    gone = history.taken_back(kind, entry.n if entry else 0)
    try:
        data = history.data(kind, entry) | {"taken_back_utc": gone.utc if gone else None}
        when = ago(history.days(entry)) if entry else ""
        gone_when = f"taken back {ago(history.days(gone))}" if gone else ""
        doubt = _doubt(history, kind, entry) if entry else ""
    except (ValueError, KeyError, TypeError):
        return Finding(kind, BROKEN, "the history has a calibration that can't be read", f"{mend} records a new one")
    if entry is None:
        return Finding(kind, LIMITED, f"{gone_when or 'not calibrated'}{used}", mend, data)
    calibrated = f"calibrated {when}"
    if doubt:
        return Finding(kind, LIMITED, f"{calibrated}, {doubt}", mend, data)
    value = f"{plain_length(shop.blade.kerf, shop.unit)}, " if kind == EntryKind.KERF else ""
    later = f"; a later calibration was {gone_when}" if gone else ""
    return Finding(kind, WORKS, f"{value}{calibrated}{later}", "", data)


def _doubt(history: _ShopHistory, kind: EntryKind, entry: HistoryEntry) -> str:
    """Why a calibration in force can't be relied on, "" where it can."""
    blade = current_blade(history.live)
    if kind in OF_THE_BLADE and entry.blade != blade:
        return f'with another blade than "{blade}", the blade on the saw now'
    if entry.key and (stands := value_text(Path(history.shop.path), entry.key)) != entry.after:
        return f"but since then {entry.key} was changed by hand: {entry.after} to {stands or 'nothing'}"
    kerf = float(history.shop.blade.kerf)
    if kind == EntryKind.KERF and not entry.key and abs(kerf - float(entry.data["value"])) > SAME_MM:
        return "but since then blade.kerf was changed by hand"
    return _aged(history, kind, entry)


def _aged(history: _ShopHistory, kind: EntryKind, entry: HistoryEntry) -> str:
    days = history.days(entry)
    if days < -1:
        return "a date in the future: the clock was wrong, then or now"
    return f"over {OLD_AFTER_DAYS[kind]} days" if days > OLD_AFTER_DAYS[kind] else ""


def _square(history: _ShopHistory) -> Finding:
    entry = history.last(SQUARE)
    try:
        data = history.data(SQUARE, entry) | {"degrees": None}
        if entry is None:
            return Finding(SQUARE, LIMITED, "not checked", HOW_SQUARE, data)
        degrees = degrees_of(entry)
        when = ago(history.days(entry))
    except (ValueError, KeyError, TypeError):
        return Finding(SQUARE, BROKEN, "the history has a check that can't be read", HOW_SQUARE)
    data["degrees"] = degrees
    lean = out_of_square(degrees, SQUARE_DEPTH_MM)
    found = f"{degrees:g} degrees out, checked {when}"
    clearance = float(JointPlan(Layout.EVEN).clearance)
    if degrees > most_out_of_square(clearance, SQUARE_DEPTH_MM):
        text = f"{found}: a wall {SQUARE_DEPTH_MM:g} mm deep leans {lean:.3f} mm, over a quarter of {clearance:g} mm"
        mend = "set blade and carriage square, then check again; `kerfcall fit PLAN` shows how much a joint tolerates"
        return Finding(SQUARE, LIMITED, text, mend, data)
    if aged := _aged(history, SQUARE, entry):
        return Finding(SQUARE, LIMITED, f"{found}, {aged}", HOW_SQUARE, data)
    return Finding(SQUARE, WORKS, found, "", data)
