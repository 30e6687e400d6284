"""Finds which settings of the shop file have changed since a session was begun. Pure."""

from __future__ import annotations

from fractions import Fraction

from assistant.joinery.model import Carriage
from assistant.joinery.units import Unit, plain_length
from assistant.plans.model import Job, Shop

MOST_PLACES = 12


def changed(job: Job, shop: Shop) -> tuple[str, ...]:
    """The settings of blade and carriage that differ, each with both values: "kerf 3.18 mm, now 3.2 mm".

    Lengths are in the unit that the session was begun in. Settings of the voice, the pedal and the checks move no cut
    and are left out.
    """
    old, new, unit = job.carriage, shop.carriage, job.carriage.unit
    dialled = old.pitch is not None and new.pitch is not None  # their resolution follows from pitch and divisions
    pairs: tuple[tuple[str, object, object], ...] = (
        # With another kerf, given in the session itself, it goes by that, and the shop file need not have changed.
        ("kerf", job.kerf, job.kerf if job.kerf_since else shop.blade.kerf),
        ("room kept clear above the blade", job.clear_above, shop.blade.clear_above),
        ("run-down of the blade", f"{job.run_down_s:g} s", f"{shop.run_down_s:g} s"),
        ("kind of carriage", old.kind, new.kind),
        ("unit of the carriage", old.unit, new.unit),
        ("zero", old.zero, new.zero),
        ("pitch of the screw", old.pitch, new.pitch),
        ("divisions of the handwheel", old.divisions, new.divisions),
        ("resolution", *((None, None) if dialled else (old.resolution, new.resolution))),
        ("backlash", old.backlash, new.backlash),
        ("travel", _travel(old), _travel(new)),
        ("distance piece", old.distance_piece, new.distance_piece),
        ("register", old.register, new.register),
        ("side of the stop", old.stop_side, new.stop_side),
        # A motor that came later moves no cut.
        ("reading at the home switch", _home_reads(old), _home_reads(new if old.drive else old)),
    )
    lines = []
    for name, was, is_now in pairs:
        if was == is_now:
            continue
        before, now = _worded(was, unit), _worded(is_now, unit)
        for places in range(5, MOST_PLACES):  # as many decimals as it takes to show the difference
            if before != now:
                break
            before, now = _worded(was, unit, places), _worded(is_now, unit, places)
        lines.append(f"{name} {before}, now {now}")
    return tuple(lines)


def _worded(value: object, unit: Unit, places: int = 4) -> str:
    if isinstance(value, Fraction):
        return plain_length(value, unit, places)
    return "none" if value is None else str(value)


def _home_reads(carriage: Carriage) -> Fraction | None:
    return carriage.drive.home_reads if carriage.drive else None


def _travel(carriage: Carriage) -> str:
    if carriage.travel is None:
        return "not given"
    least, greatest = (plain_length(end, carriage.unit) for end in carriage.travel)
    return f"{least} to {greatest}"
