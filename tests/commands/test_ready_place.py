"""The journal can be read and written, the disk has room, and the clock is sane."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from assistant import RELEASED
from assistant.commands import ready_place
from assistant.commands.ready_line import BROKEN, STANDS_IN, WORKS
from assistant.journal.store import FILE_NAME, Journal
from tests.journal.made import SAMPLE, journal_with, records

DAY = 86400.0
RELEASED_AT = datetime.fromisoformat(f"{RELEASED}T00:00:00+00:00").timestamp()


def test_a_journal_folder_that_can_not_be_written_is_broken(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    assert ready_place.journal(lambda: blocked).state == BROKEN
    assert ready_place.journal(lambda: tmp_path / "not" / "there" / "yet").state == WORKS
    assert list(tmp_path.iterdir()) == [blocked], "looking makes no journal"


def test_a_journal_tells_its_last_entry(tmp_path: Path) -> None:
    journal_with(tmp_path)
    line = ready_place.journal(lambda: tmp_path)
    assert line.state == WORKS and "last entry 2026-11-25" in line.text
    assert line.data["last_entry_utc"] == records(SAMPLE)[-1].utc
    with Journal.open(tmp_path) as journal:
        assert journal.last_utc() == records(SAMPLE)[-1].utc


def test_an_empty_journal_has_no_last_entry(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        assert journal.last_utc() is None
    line = ready_place.journal(lambda: tmp_path)
    assert line.state == WORKS and line.text.endswith("empty")


def test_a_journal_beside_the_one_who_writes_it_can_be_looked_at(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    with Journal.open(tmp_path) as journal:
        assert ready_place.journal(lambda: tmp_path).state == WORKS
        assert list(journal.replay(session))


@pytest.mark.parametrize("damage", [b"no database at all" * 100, b""])
def test_a_journal_that_can_not_be_read_is_broken(tmp_path: Path, damage: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(damage)
    line = ready_place.journal(lambda: tmp_path)
    assert (line.state, bool(line.mend)) == (BROKEN, True), line


def test_a_journal_that_may_not_be_written_is_broken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journal_with(tmp_path)
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert "may not be written" in ready_place.journal(lambda: tmp_path).text


@pytest.mark.parametrize(("free", "state"), [(49_999_999, BROKEN), (50_000_000, WORKS), (10**12, WORKS)])
def test_disk_room(free: int, state: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("shutil.disk_usage", lambda path: SimpleNamespace(free=free))
    line = ready_place.disk(lambda: tmp_path / "not yet there")
    assert (line.state, line.data) == (state, {"free_mb": free // 1_000_000})
    assert ("is little" in line.text) is (50_000_000 <= free < 500_000_000)


def none() -> None:
    return None


def test_a_clock_before_this_release_is_wrong() -> None:
    line = ready_place.clock(lambda: 0.0, none)
    assert line.state == STANDS_IN and RELEASED in line.text and "1970-01-01" in line.text
    assert ready_place.clock(lambda: RELEASED_AT - 1, none).state == STANDS_IN
    assert "release" not in ready_place.clock(lambda: RELEASED_AT, none).text


@pytest.mark.parametrize(("after_s", "state"), [(-DAY, STANDS_IN), (-61, STANDS_IN), (-30, WORKS), (DAY, WORKS)])
def test_a_clock_before_the_journals_last_entry_is_wrong(
    after_s: float, state: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ready_place, "zone_name", lambda environ: "Europe/Oslo")
    newest = RELEASED_AT + 10 * DAY
    written = datetime.fromtimestamp(newest).astimezone().isoformat()
    line = ready_place.clock(lambda: newest + after_s, lambda: written)
    assert line.state == state and ("last entry" in line.text) is (state == STANDS_IN)


def unreadable() -> str:
    raise OSError(5, "Input/output error")


@pytest.mark.parametrize("last", [unreadable, lambda: "no date", none])
def test_a_journal_that_tells_nothing_does_not_blame_the_clock(
    last: Callable[[], str | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ready_place, "zone_name", lambda environ: "Europe/Oslo")
    assert ready_place.clock(lambda: RELEASED_AT + DAY, last).state == WORKS


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
def test_a_time_zone_that_the_system_does_not_know_is_told(name: str, known: bool, zone: Callable[[str], None]) -> None:
    """POSIX, "Environment Variables", TZ: a name of the database with or without a colon, or a rule."""
    zone(name)
    line = ready_place.clock(lambda: RELEASED_AT + DAY, none)
    assert (line.state == WORKS) is known, line
    assert line.data["zone"] == (name.removeprefix(":") if known else None)
    assert ("timedatectl" in line.mend) is not known


@pytest.mark.skipif(sys.platform == "win32", reason="there is no /etc/localtime")
def test_the_systems_own_zone(tmp_path: Path) -> None:
    zones = tmp_path / "zoneinfo" / "Asia"
    zones.mkdir(parents=True)
    (zones / "Tokyo").write_bytes(b"")
    link = tmp_path / "localtime"
    assert ready_place.zone_name({}, link) == ""
    link.symlink_to(zones / "Tokyo")
    assert ready_place.zone_name({}, link) == "Asia/Tokyo"
