"""What a calibration found, as lines to read and as JSON."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from assistant.calibrating.blunders import Caliper
from assistant.calibrating.change import ShopChange
from assistant.calibrating.uncertainty import COVERAGE
from assistant.calibrating.values import Value
from assistant.joinery.units import MM_PER_UNIT, PLACES, Unit, at_least, format_number, plain_length
from assistant.plans.model import Shop
from assistant.plans.shop_writer import EntryKind, HistoryEntry

WIDTH = 100
NAMES = {
    EntryKind.KERF: "Kerf",
    EntryKind.SCREW: "Carriage travel",
    EntryKind.ZERO: "Zero offset",
    EntryKind.BACKLASH: "Backlash",
}


def _number(mm: float, unit: Unit) -> str:
    # One decimal more than elsewhere, so that what is added up here can be checked.
    return format_number(Fraction(mm) / MM_PER_UNIT[unit], PLACES[unit] + 1)


def value_lines(value: Value, caliper: Caliper, shop: Shop, change: ShopChange) -> Iterator[str]:
    """Everything about the value, as lines for people. Lengths are in the shop's unit."""
    unit = shop.unit
    yield from _wrapped(_headline(value, unit))
    out = f"; {len(value.left_out)} left out" if value.left_out else ""
    what = "pairs of readings" if value.kind == EntryKind.BACKLASH else "places"
    step, error = (plain_length(length, caliper.unit, 5) for length in (caliper.step, caliper.error))
    yield f"From {len(value.points)} {what}{out}. The caliper reads in steps of {step} and is within {error}."
    yield f"  {'place':<10}  {f'set {unit}':>10}  {f'read {unit}':>10}  {'off':>9}"
    for point in value.points:
        reading = point.reading
        read = float(reading.value - reading.x) if value.kind == EntryKind.BACKLASH else float(reading.value)
        cells = (_number(float(reading.x), unit), _number(read, unit), _number(point.residual, unit))
        yield f"  {reading.label:<10}  {cells[0]:>10}  {cells[1]:>10}  {cells[2]:>9}"
    for each in value.left_out:
        yield from _wrapped(f"  left out: {each.reading.label}, {plain_length(each.reading.value, unit)}: {each.why}")
    yield "The standard uncertainty is made up of:"
    wide = max(len(part.name) for part in value.components) + 2
    for part in value.components:
        # A screw's uncertainty is a ratio, like its value. All others are lengths.
        size = f"{part.u:.6f}" if value.kind == EntryKind.SCREW else f"{_number(part.u, unit)} {unit}"
        free = "" if part.dof is None else f"  ({part.dof:.0f} degrees of freedom, Student's factor included)"
        yield f"  {part.name:<{wide}}{size}{free}"
    yield from _wrapped(_travel(value))
    for text in (*value.notes, change.why):
        yield from _wrapped(text)
    if value.kind == EntryKind.KERF:
        u = at_least(Fraction(value.u), unit, PLACES[unit])
        yield f'For kerfcall fit, in a plan: [uncertainty] kerf = "{u}"'


def _headline(value: Value, unit: Unit) -> str:
    name, expanded = NAMES[value.kind], value.expanded
    if value.kind == EntryKind.SCREW:
        low, high = value.value - expanded, value.value + expanded
        return (
            f"{name}: {value.value:.6f} mm for each mm set ({1000 * (value.value - 1):+.2f} mm a metre), standard "
            f"uncertainty {value.u:.6f}. The 95 % range is {low:.6f} to {high:.6f} (k = {COVERAGE})."
        )
    least, most = (_number(value.value + side * expanded, unit) for side in (-1, 1))
    return (
        f"{name}: {_number(value.value, unit)} {unit}, standard uncertainty {_number(value.u, unit)} {unit}. "
        f"The 95 % range is {least} to {most} {unit} (U = {_number(expanded, unit)} {unit}, k = {COVERAGE})."
    )


def _travel(value: Value) -> str:
    """What a line through remainders or distances also shows about the carriage; "" where it shows nothing."""
    if value.kind == EntryKind.SCREW or value.scale is None or value.u_scale is None:
        return ""
    off, sure = value.scale - 1, COVERAGE * value.u_scale
    if abs(off) <= sure:
        return ""
    return (
        f"By these readings the carriage moves {value.scale:.4f} mm for each mm set (+- {sure:.4f}). "
        f"The value above allows for it, but calibrate the screw."
    )


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="  ", break_on_hyphens=False)


def value_json(value: Value, change: ShopChange) -> dict[str, Any]:
    """The same as JSON-ready data; lengths mm."""
    return {
        "kind": value.kind,
        "value": round(value.value, 9),
        "standard_uncertainty": round(value.u, 9),
        "expanded_uncertainty": round(value.expanded, 9),
        "coverage_factor": COVERAGE,
        "components": [{"name": c.name, "u": round(c.u, 9), "degrees_of_freedom": c.dof} for c in value.components],
        "scale": value.scale,
        "scale_uncertainty": value.u_scale,
        "readings": [
            {
                "place": p.reading.label,
                "x": float(p.reading.x),
                "reading": float(p.reading.value),
                "residual": p.residual,
            }
            for p in value.points
        ],
        "left_out": [
            {"place": e.reading.label, "x": float(e.reading.x), "reading": float(e.reading.value), "why": e.why}
            for e in value.left_out
        ],
        "write": {"key": change.key, "value": change.text, "before": change.before} if change.key else None,
        "notes": [text for text in (*value.notes, change.why) if text],
    }


def history_lines(entries: Sequence[HistoryEntry], live: set[int], unit: Unit) -> Iterator[str]:
    """A line for each entry, oldest first. live: the numbers of those in force. unit: of the shop."""
    for e in entries:
        standing = "in force" if e.n in live else "taken back, or never written"
        state = f"takes back {e.undoes}" if e.undoes else standing
        blade = f"  blade {e.blade}" if e.blade else ""
        yield f"{e.n:>4}  {e.utc}  {e.kind:<8}  {_what_was_noted(e, unit)}  [{state}]{blade}"


def _what_was_noted(entry: HistoryEntry, unit: Unit) -> str:
    data = entry.data
    if entry.undoes:
        return f"{entry.key} = {entry.after}" if entry.key else "-"
    if entry.kind == EntryKind.JOINT:
        return (
            f"correction {_number(data['correction'], unit)} {unit} (u {_number(data['u'], unit)}), {data['species']}"
        )
    if entry.kind == EntryKind.BLADE:
        return "another blade"
    value = f"{data['value']:.6f}" if entry.kind == EntryKind.SCREW else f"{_number(data['value'], unit)} {unit}"
    u = f"{data['u']:.6f}" if entry.kind == EntryKind.SCREW else _number(data["u"], unit)
    written = f"; {entry.key} {entry.before} -> {entry.after}" if entry.key else ""
    return f"{value} (u {u}){written}"
