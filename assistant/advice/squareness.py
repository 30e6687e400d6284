"""How far out of square blade and carriage were found: `kerfcall ready --square` notes it and `fit` uses it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from assistant.errors import CouldNotRun
from assistant.plans.model import Plan
from assistant.plans.shop_writer import EntryKind, HistoryEntry, in_force, read_history

SQUARE = EntryKind.SQUARE
MOST_DEGREES = 10.0  # more is a slip of the pen: nobody would cut with such a saw
UNREADABLE = "the last check of squareness in the history can't be read; note it again: kerfcall ready --square DEGREES"


@dataclass(frozen=True, slots=True)
class Squareness:
    """How far out of square. degrees: blade tilt and carriage error together, None if not known.

    noted: when it was noted beside the shop file, None if the plan gives it. trouble: why a note couldn't be used.
    """

    degrees: float | None
    noted: datetime | None = None
    trouble: str = ""


def out_of_square(degrees: float, depth: float) -> float:
    """How far a wall leans over the depth, mm. degrees: blade tilt and carriage error together, 0 to under 90."""
    return math.tan(math.radians(degrees)) * depth


def most_out_of_square(clearance: float, depth: float) -> float:
    """The most that blade tilt and carriage error together may be, degrees: a wall then leans c/4 over the depth."""
    return math.degrees(math.atan2(max(0.0, clearance) / 4, depth))


def degrees_of(entry: HistoryEntry) -> float:
    """The degrees in a noted check, 0 to 10. Raises KeyError, TypeError or ValueError if they can't be read."""
    degrees = float(entry.data["degrees"])
    if not 0 <= degrees <= MOST_DEGREES:
        raise ValueError("no lean")
    return degrees


def noted_at(entry: HistoryEntry) -> datetime:
    """When it was noted, with its offset. Raises ValueError if its date can't be read."""
    when = datetime.fromisoformat(entry.utc)
    return when if when.tzinfo else when.replace(tzinfo=UTC)


def squareness(plan: Plan, shop: Path) -> Squareness:
    """The plan's own figure, or else the last one noted in the history of this shop file. shop: its path."""
    given = plan.uncertainty.out_of_square if plan.uncertainty else None
    if given is not None:
        return Squareness(float(given))
    try:
        # Only these entries are passed on: they write no key, so the shop file itself needn't be read.
        entries = [entry for entry in read_history(shop) if entry.kind == SQUARE]
        live = in_force(shop, entries)
        return Squareness(degrees_of(live[-1]), noted_at(live[-1])) if live else Squareness(None)
    except CouldNotRun as error:
        return Squareness(None, trouble=str(error))
    except (KeyError, TypeError, ValueError):
        return Squareness(None, trouble=UNREADABLE)
