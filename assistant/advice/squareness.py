"""How far blade and carriage were last found out of square: noted by `kerfcall ready --square`, used by `fit`."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from assistant.errors import CouldNotRun
from assistant.plans.model import Plan
from assistant.plans.shop_writer import HistoryEntry, in_force, read_history

SQUARE = "square"
MOST_DEGREES = 10.0
UNREADABLE = "the last check of squareness in the history can't be read; note it again: kerfcall ready --square DEGREES"


@dataclass(frozen=True, slots=True)
class Squareness:
    """degrees: blade tilt and carriage error together, None where it isn't known.

    noted: when it was noted beside the shop file, None where the plan gives it. trouble: why a note couldn't be used.
    """

    degrees: float | None
    noted: datetime | None = None
    trouble: str = ""


def out_of_square(degrees: float, depth: float) -> float:
    """How far a wall leans over the depth, mm. degrees: blade tilt and carriage error together, 0 to under 90."""
    return math.tan(math.radians(degrees)) * depth


def most_out_of_square(clearance: float, depth: float) -> float:
    """The greatest blade tilt and carriage error together, degrees: they may lean a wall by c/4 over the depth."""
    return math.degrees(math.atan2(max(0.0, clearance) / 4, depth))


def degrees_of(entry: HistoryEntry) -> float:
    """What a noted check found, 0 to 10 degrees. Raises KeyError, TypeError or ValueError where it holds no such."""
    degrees = float(entry.data["degrees"])
    if not 0 <= degrees <= MOST_DEGREES:
        raise ValueError("no lean")
    return degrees


def noted_at(entry: HistoryEntry) -> datetime:
    """When it was noted, with its offset. Raises ValueError where its date can't be read."""
    when = datetime.fromisoformat(entry.utc)
    return when if when.tzinfo else when.replace(tzinfo=UTC)


def squareness(plan: Plan, shop: Path) -> Squareness:
    """The plan's own figure; else the last that was noted in the history of the shop file at this path."""
    given = plan.uncertainty.out_of_square if plan.uncertainty else None
    if given is not None:
        return Squareness(float(given))
    try:
        entries = [entry for entry in read_history(shop) if entry.kind == SQUARE]
        live = in_force(shop, entries)
        return Squareness(degrees_of(live[-1]), noted_at(live[-1])) if live else Squareness(None)
    except CouldNotRun as error:
        return Squareness(None, trouble=str(error))
    except (KeyError, TypeError, ValueError):
        return Squareness(None, trouble=UNREADABLE)
