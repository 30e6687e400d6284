"""The journal can be read and written, and its disk has room."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from assistant.health import BROKEN, WORKS
from assistant.journal import health
from assistant.journal.store import FILE_NAME, Journal
from assistant.session import facts as f
from tests.journal.made import SAMPLE, journal_with, records


def test_a_journal_folder_that_can_not_be_written_is_broken(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    assert health.journal(lambda: blocked).state == BROKEN
    assert health.journal(lambda: tmp_path / "not" / "there" / "yet").state == WORKS
    assert list(tmp_path.iterdir()) == [blocked], "looking makes no journal"


def test_a_journal_gives_its_last_entry(tmp_path: Path) -> None:
    journal_with(tmp_path)
    line = health.journal(lambda: tmp_path)
    assert line.state == WORKS and "last entry 2026-11-25" in line.text
    assert line.data["last_entry_utc"] == records(SAMPLE)[-1].utc
    with Journal.open(tmp_path) as journal:
        assert journal.last_utc() == records(SAMPLE)[-1].utc


def test_the_last_entry_is_the_one_written_last_even_where_the_clock_was_set_back(tmp_path: Path) -> None:
    journal_with(tmp_path)
    back = replace(records([f.SetupStarted(1)])[0], utc="2026-11-20T09:00:00.000+00:00")
    with Journal.open(tmp_path) as journal:
        journal.append(journal.new_session("t", "", "", back.utc), [back])
        assert journal.last_utc() == back.utc


def test_an_empty_journal_has_no_last_entry(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        assert journal.last_utc() is None
    line = health.journal(lambda: tmp_path)
    assert line.state == WORKS and line.text.endswith("empty")


def test_a_journal_can_be_read_while_another_process_writes_it(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    with Journal.open(tmp_path) as journal:
        assert health.journal(lambda: tmp_path).state == WORKS
        assert list(journal.replay(session))


@pytest.mark.parametrize("damage", [b"no database at all" * 100, b""])
def test_a_journal_that_can_not_be_read_is_broken(tmp_path: Path, damage: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(damage)
    line = health.journal(lambda: tmp_path)
    assert (line.state, bool(line.mend)) == (BROKEN, True), line


def test_a_journal_that_may_not_be_written_is_broken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journal_with(tmp_path)
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert "can't be written" in health.journal(lambda: tmp_path).text


@pytest.mark.parametrize(("free", "state"), [(49_999_999, BROKEN), (50_000_000, WORKS), (10**12, WORKS)])
def test_disk_room(free: int, state: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("shutil.disk_usage", lambda path: SimpleNamespace(free=free))
    line = health.disk(lambda: tmp_path / "not yet there")
    assert (line.state, line.data) == (state, {"free_mb": free // 1_000_000})
    assert ("is not much" in line.text) is (50_000_000 <= free < 500_000_000)
