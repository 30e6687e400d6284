"""Which session is meant: never another in the place of the one that should be."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from assistant.errors import BadInput, CouldNotRun
from assistant.journal.choosing import all_rows, chosen_row, latest_begun, open_sessions, replayed, row_to_resume
from assistant.journal.store import FILE_NAME, Journal
from assistant.session import facts as f
from tests.journal.build_fixture import small_job
from tests.journal.made import records


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path) as journal:
        yield journal


def begun(journal: Journal, utc: str = "2026-03-02T09:00:00+00:00", *more: f.Fact, rehearsed: bool = False) -> str:
    session = journal.new_session("Tray", "ab" * 32, "", utc)
    journal.append(session, records([f.Started(small_job(), rehearsed), f.SetupStarted(1), *more]))
    return session


def test_the_newest_is_known_by_its_place_and_not_by_a_clock_that_was_set_back(journal: Journal) -> None:
    begun(journal, "2026-03-02T09:00:00+00:00")
    second = begun(journal, "2026-03-01T09:00:00+00:00")
    assert latest_begun(journal, rehearsed=False).id == second
    assert row_to_resume(journal, None, False, None).id == second


def test_a_rehearsal_and_a_cut_never_take_each_others_place(journal: Journal) -> None:
    real = begun(journal)
    rehearsal = begun(journal, rehearsed=True)
    assert latest_begun(journal, rehearsed=False).id == real
    assert latest_begun(journal, rehearsed=True).id == rehearsal
    assert row_to_resume(journal, rehearsal, False, None).id == rehearsal, "as it was named"
    with pytest.raises(CouldNotRun, match=f"session {real} cuts real wood"):
        row_to_resume(journal, real, True, None)
    with pytest.raises(CouldNotRun, match="there is no session 2020-01-01-1 in"):
        row_to_resume(journal, "2020-01-01-1", False, None)


def test_one_that_is_damaged_may_be_of_either_kind_so_no_older_one_takes_its_place(
    journal: Journal, tmp_path: Path
) -> None:
    begun(journal)
    begun(journal, rehearsed=True)
    damaged = begun(journal, rehearsed=True)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE facts SET body = '{}' WHERE session = ? AND n = 1", (damaged,))
    assert latest_begun(journal, rehearsed=False).id == latest_begun(journal, rehearsed=True).id == damaged


def test_one_that_is_over_is_opened_again_by_its_command(journal: Journal, tmp_path: Path) -> None:
    over = begun(journal, "2026-03-02T09:00:00+00:00", f.EndedEarly(1, 0))
    for look in (lambda: latest_begun(journal, False, tmp_path), lambda: replayed(journal, over, tmp_path)):
        with pytest.raises(CouldNotRun, match=f"kerfcall job {over} --state {tmp_path} --reopen"):
            look()


def test_what_was_left_open_has_cut_wood_and_is_told_newest_first(journal: Journal, tmp_path: Path) -> None:
    first, second = begun(journal), begun(journal)
    begun(journal, rehearsed=True)
    begun(journal, "2026-03-02T09:00:00+00:00", f.EndedEarly(1, 0))
    journal.new_session("Tray", "ab" * 32, "", "2026-03-02T09:00:00+00:00")
    found = open_sessions(journal, tmp_path)
    assert [one.command for one in found] == [f"kerfcall resume {name} --state {tmp_path}" for name in (second, first)]


def test_an_unknown_session_is_refused_with_those_like_it(journal: Journal, tmp_path: Path) -> None:
    session = begun(journal)
    rows = all_rows(tmp_path)
    assert chosen_row(rows, None, tmp_path, "job").id == session == chosen_row(rows, session, tmp_path, "job").id
    with pytest.raises(BadInput, match=f"similar ones: {session}"):
        chosen_row(rows, session[:-1] + "9", tmp_path, "job")
    assert all_rows(tmp_path / "nowhere") == [] and not (tmp_path / "nowhere").exists(), "looking makes no journal"
    with pytest.raises(CouldNotRun, match="No sessions yet"):
        chosen_row([], None, tmp_path, "job")
