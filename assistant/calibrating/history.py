"""Reads blades and calibrations from the history beside a shop file, and notes new ones there."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from assistant.calibrating.blunders import Reading
from assistant.calibrating.change import ShopChange
from assistant.calibrating.values import Value
from assistant.errors import BadInput, Fault
from assistant.plans.document import cleaned
from assistant.plans.model import Shop
from assistant.plans.shop_writer import EntryKind, HistoryEntry, in_force, read_history, record

SAME_MM = 0.003
"""The most that a kerf as written, rounded, differs from the kerf as measured."""


def note_value(
    shop: Path, value: Value, change: ShopChange, readings: Sequence[Reading], another_blade: str | None = None
) -> None:
    """Note a value in the history of this shop file, and write its change into the shop file.

    another_blade: the name of the blade on the saw from now on. Raises as `record` and `new_blade` do.
    """
    data: dict[str, Any] = {
        "value": value.value,
        "u": value.u,
        "scale": value.scale,
        "u_scale": value.u_scale,
        "kept": len(value.points),
        "left_out": [{"place": each.reading.label, "why": each.why} for each in value.left_out],
        "readings": [
            # As text, since JSON has no fractions.
            {"place": one.label, "x_mm": str(one.x), "reading_mm": str(one.value), "side": one.side}
            for one in readings
        ],
    }
    utc = now()
    blade = current_blade(in_force(shop, read_history(shop)))
    if another_blade is not None:
        blade = new_blade(shop, another_blade, utc)
    record(shop, value.kind, utc, blade, data, key=change.key, value=change.text)


def current_blade(entries: Sequence[HistoryEntry]) -> str:
    """The name of the blade on the saw: the last noted as new, "" for the first."""
    return next((e.blade for e in reversed(entries) if e.kind == EntryKind.BLADE), "")


def kerf_measured(shop: Shop, entries: Sequence[HistoryEntry]) -> HistoryEntry | None:
    """The measurement of the kerf that the shop file holds, made with the blade on the saw; None if it never was.

    entries: those in force, oldest first.
    """
    last = next((e for e in reversed(entries) if e.kind == EntryKind.KERF), None)
    if last is None or last.blade != current_blade(entries):
        return None
    return last if abs(float(last.data["value"]) - float(shop.blade.kerf)) <= SAME_MM else None


def new_blade(shop: Path, name: str, utc: str) -> str:
    """Note that another blade is on the saw. Raises BadInput if the name is empty or was used before."""
    name = blade_name(shop, name)
    record(shop, EntryKind.BLADE, utc, name, {})
    return name


def blade_name(shop: Path, name: str) -> str:
    """The name of another blade, as it will be noted. Raises BadInput if it is empty or was used before."""
    name = cleaned(name)
    known = {e.blade for e in read_history(shop)}
    if not name or name in known:
        mend = "give the blade a name that you have not used before"
        raise BadInput([Fault("a new blade needs a new name", f'"{name}"', "--new-blade", mend)])
    return name


def now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
