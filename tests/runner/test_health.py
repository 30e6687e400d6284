"""The wall clock that dates the journal is plausible, its time zone is known, and there is a way to answer."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest

from assistant import RELEASED
from assistant.health import BROKEN, LIMITED, WORKS, Finding
from assistant.runner import health

DAY = 86400.0
RELEASED_AT = datetime.fromisoformat(f"{RELEASED}T00:00:00+00:00").timestamp()


def none() -> None:
    return None


def test_a_clock_before_this_release_is_wrong() -> None:
    line = health.clock(lambda: 0.0, none)
    assert line.state == LIMITED and RELEASED in line.text and "1970-01-01" in line.text
    assert health.clock(lambda: RELEASED_AT - 1, none).state == LIMITED
    assert "release" not in health.clock(lambda: RELEASED_AT, none).text


@pytest.mark.parametrize(("after_s", "state"), [(-DAY, LIMITED), (-61, LIMITED), (-30, WORKS), (DAY, WORKS)])
def test_a_clock_before_the_journals_last_entry_is_wrong(
    after_s: float, state: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(health, "zone_name", lambda environ: "Europe/Oslo")
    newest = RELEASED_AT + 10 * DAY
    written = datetime.fromtimestamp(newest).astimezone().isoformat()
    line = health.clock(lambda: newest + after_s, lambda: written)
    assert line.state == state and ("last entry" in line.text) is (state == LIMITED)


def unreadable() -> str:
    raise OSError(5, "Input/output error")


@pytest.mark.parametrize("last", [unreadable, lambda: "no date", none])
def test_an_unreadable_journal_does_not_blame_the_clock(
    last: Callable[[], str | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(health, "zone_name", lambda environ: "Europe/Oslo")
    assert health.clock(lambda: RELEASED_AT + DAY, last).state == WORKS


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    def put(name: str) -> None:
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield put
    monkeypatch.undo()
    time.tzset()


@pytest.mark.skipif(sys.platform == "win32", reason="TZ is POSIX")
@pytest.mark.parametrize(
    ("name", "known"),
    [
        ("Europe/Oslo", True),
        (":Europe/Oslo", True),
        ("CET-1CEST,M3.5.0,M10.5.0/3", True),
        ("<+03>-3", True),
        ("Nowhere/Land", False),
        ("../../etc/passwd", False),
        ("/no/such/zone", False),
    ],
)
def test_a_time_zone_that_the_system_does_not_know_is_reported(
    name: str, known: bool, zone: Callable[[str], None]
) -> None:
    """POSIX, "Environment Variables", TZ: a name of the database with or without a colon, or a rule."""
    zone(name)
    line = health.clock(lambda: RELEASED_AT + DAY, none)
    assert (line.state == WORKS) is known, line
    assert line.data["zone"] == (name.removeprefix(":") if known else None)
    assert ("timedatectl" in line.mend) is not known


@pytest.mark.skipif(sys.platform == "win32", reason="there is no /etc/localtime")
def test_the_systems_own_zone(tmp_path: Path) -> None:
    zones = tmp_path / "zoneinfo" / "Asia"
    zones.mkdir(parents=True)
    (zones / "Tokyo").write_bytes(b"")
    link = tmp_path / "localtime"
    assert health.zone_name({}, link) == ""
    link.symlink_to(zones / "Tokyo")
    assert health.zone_name({}, link) == "Asia/Tokyo"


# --- whether there is any way to answer

WAYS = ("pedal", "terminal keys", "microphone", "level", "recogniser")


def test_without_pedal_terminal_and_voice_there_is_no_way_to_answer() -> None:
    down = {part: Finding(part, LIMITED, "") for part in WAYS}
    assert health.answers(*down.values()).state == BROKEN
    for part in WAYS[:2]:
        line = health.answers(*(down | {part: Finding(part, WORKS, "")}).values())
        assert (line.state, line.data) == (WORKS, {"by": [part]})


def test_voice_is_a_way_only_with_microphone_level_and_recogniser() -> None:
    up = {part: Finding(part, WORKS if part in WAYS[2:] else LIMITED, "") for part in WAYS}
    assert health.answers(*up.values()).text == "by voice"
    for part in WAYS[2:]:
        assert health.answers(*(up | {part: Finding(part, LIMITED, "")}).values()).state == BROKEN
