"""Clocks: session time never falls; wall time goes with it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from assistant.runner.clock import SetClock, utc_text


def test_a_set_clock_stays_until_it_is_set_and_never_falls() -> None:
    clock = SetClock(100.0)
    clock.set(103.25)
    clock.set(50.0)
    assert clock.at() == 103.25


def test_its_wall_time_moves_by_the_session_time_gone_by() -> None:
    clock = SetClock(100.0)
    before = datetime.fromisoformat(clock.utc())
    clock.set(190.5)
    assert datetime.fromisoformat(clock.utc()) - before == timedelta(seconds=90.5)


def test_utc_is_iso_8601_to_the_millisecond_with_z() -> None:
    """ISO 8601: the designator Z is UTC; the example's offset is taken off."""
    moment = datetime(2026, 3, 2, 10, 0, 0, 123456, timezone(timedelta(hours=1)))
    assert utc_text(moment) == "2026-03-02T09:00:00.123Z"
    assert datetime.fromisoformat(utc_text(moment)).tzinfo == UTC
