"""Repair keeps every committed fact that can be read, and keeps the damaged file."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from assistant.errors import JournalError, SessionLocked
from assistant.journal import pages
from assistant.journal.lock import SessionLock
from assistant.journal.repair import Salvage, repair
from assistant.journal.store import FILE_NAME, REBUILT, Journal
from assistant.session import facts as f
from tests.journal.build_fixture import small_job
from tests.journal.made import SAMPLE, UTC, edited, event, journal_with, records

SIZE = 4096


def long_session(state: Path, facts: int = 2000) -> str:
    """A session over some hundred pages, closed, so that no log is left."""
    with Journal.open(state) as journal:
        session = journal.new_session("long", "ab" * 32, "", UTC)
        journal.append(session, [record for n in range(1, facts, 2) for record in event(n)])
    return session


def held(state: Path, session: str) -> list[f.Record]:
    with Journal.open(state) as journal:
        return list(journal.replay(session, with_gaps=True))


def spoil(path: Path, page: int) -> None:
    data = bytearray(path.read_bytes())
    data[(page - 1) * SIZE : page * SIZE] = random.Random(page).randbytes(SIZE)
    path.write_bytes(data)


def page_types(path: Path) -> dict[int, int]:
    data = path.read_bytes()
    return {n + 1: data[n * SIZE + (100 if n == 0 else 0)] for n in range(len(data) // SIZE)}


def rows_by_sqlite(path: Path) -> set[tuple]:
    with closing(sqlite3.connect(path)) as connection:
        return set(connection.execute("SELECT * FROM facts"))


def test_pages_read_directly_hold_what_sqlite_says_they_hold(tmp_path: Path) -> None:
    """Against SQLite itself, rows over one page (a job of several thousand bytes) included."""
    session = long_session(tmp_path)
    job = small_job()
    with Journal.open(tmp_path) as journal:
        big = journal.new_session("big", "", "", UTC)
        journal.append(big, records([f.Started(job), f.Noted(1, 1, "tear-out " * 5000)]))
    database = tmp_path / FILE_NAME
    read = {row for _, row in pages.rows(database.read_bytes()) if len(row) == 8 and row[0] is not None}
    assert read == rows_by_sqlite(database)
    assert {row[0] for row in read} == {session, big}


def test_values_of_every_size_are_read_as_sqlite_reads_them(tmp_path: Path) -> None:
    """All serial types of a record: "Database File Format", sqlite.org/fileformat2.html, section 2.1."""
    edges = [edge for bits in (8, 16, 24, 32, 48, 64) for edge in (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)]
    values = [None, 0, 1, *edges, 0.5, b"", b"\xff", "", "\u00e9"]
    database = tmp_path / "values.sqlite3"
    with closing(sqlite3.connect(database)) as connection, connection:
        connection.execute("CREATE TABLE given (value)")
        connection.executemany("INSERT INTO given VALUES (?)", [(value,) for value in values])
    assert [row[0] for _, row in pages.rows(database.read_bytes()) if len(row) == 1] == values


def test_pages_of_the_log_hold_what_was_committed_and_not_yet_copied(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("t", "", "", UTC)
        for n in range(1, 100, 2):
            journal.append(session, event(n))
        database, log = (tmp_path / FILE_NAME).read_bytes(), (tmp_path / f"{FILE_NAME}-wal").read_bytes()
        found = {row[1] for _, row in pages.rows(database, log) if len(row) == 8 and row[0] is not None}
    assert found == set(range(1, 101))


def test_a_sound_journal_is_left_alone(tmp_path: Path) -> None:
    journal_with(tmp_path)
    before = (tmp_path / FILE_NAME).read_bytes()
    found = repair(tmp_path)
    assert (found.healthy, found.sessions, found.facts, found.lost, found.kept) == (True, 1, len(SAMPLE), (), None)
    assert (tmp_path / FILE_NAME).read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == [FILE_NAME, "locks"]


@pytest.mark.parametrize("what", ["header", "interior pages", "index pages"])
def test_nothing_is_lost_where_only_the_way_to_the_facts_is_damaged(tmp_path: Path, what: str) -> None:
    session = long_session(tmp_path)
    database = tmp_path / FILE_NAME
    before = held(tmp_path, session)
    wanted = {"header": (), "interior pages": (0x05,), "index pages": (0x02, 0x0A)}[what]
    chosen = [1] if what == "header" else [n for n, kind in page_types(database).items() if kind in wanted]
    assert chosen
    if what == "index pages":  # the sessions' own index is a leaf like these
        assert len(chosen) > 3
    for page in chosen:
        spoil(database, page)
    damaged = database.read_bytes()
    found = repair(tmp_path)
    assert not found.healthy
    assert (found.facts, found.lost) == (len(before), ())
    assert found.kept is not None and found.kept.read_bytes() == damaged
    assert held(tmp_path, session) == before
    assert repair(tmp_path).healthy


def test_a_damaged_leaf_loses_its_own_facts_only_and_they_are_named(tmp_path: Path) -> None:
    session = long_session(tmp_path)
    database = tmp_path / FILE_NAME
    leaf = [n for n, kind in page_types(database).items() if kind == 0x0D][20]
    data = database.read_bytes()
    gone = {row[1] for _, row in pages._leaf_rows(leaf, data[(leaf - 1) * SIZE : leaf * SIZE], {})}
    assert 10 < len(gone) < 200
    spoil(database, leaf)
    found = repair(tmp_path)
    assert found.lost == (f"session {session}: facts {min(gone)} to {max(gone)} are missing",)
    assert {record.n for record in held(tmp_path, session)} == set(range(1, 2001)) - gone
    with Journal.open(tmp_path) as journal, pytest.raises(JournalError, match="so it can't be resumed"):
        list(journal.replay(session))


def test_a_damaged_frame_of_the_log_does_not_take_the_ones_after_it(tmp_path: Path) -> None:
    """SQLite stops at the first bad frame. The acknowledged events after it are still found."""
    with Journal.open(tmp_path / "live") as journal:
        session = journal.new_session("t", "", "", UTC)
        for n in range(1, 60, 2):
            journal.append(session, event(n))
        shutil.copytree(tmp_path / "live", tmp_path / "copy", ignore=shutil.ignore_patterns("*-shm", "locks"))
    log = tmp_path / "copy" / f"{FILE_NAME}-wal"
    data = bytearray(log.read_bytes())
    frame = 32 + 20 * (SIZE + 24)
    data[frame + 24 : frame + 24 + SIZE] = random.Random(1).randbytes(SIZE)
    log.write_bytes(data)
    for way in (Journal.open, Journal.open_to_read):
        with pytest.raises(JournalError, match="a part of its log is damaged.*`kerfcall journal repair`"):
            way(tmp_path / "copy")
    assert log.read_bytes() == data, "what repair needs is left as it is"

    repair(tmp_path / "copy")
    assert held(tmp_path / "copy", session) == [record for n in range(1, 60, 2) for record in event(n)]


def test_a_fact_that_reads_as_nothing_is_set_apart_and_named(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE facts SET body = '{\"setup\":1' WHERE n = 5")
    found = repair(tmp_path)
    assert not found.healthy
    assert found.lost[0].startswith(f"session {session}, fact 5: a fact of kind 'pass_cut' can't be read")
    assert [record.n for record in held(tmp_path, session)] == [n for n in range(1, len(SAMPLE) + 1) if n != 5]


@pytest.mark.parametrize("good_one_first", [False, True])
def test_a_fact_with_one_good_copy_is_not_lost(tmp_path: Path, good_one_first: bool) -> None:
    """The database and its log can each hold a copy: the log's is newer."""
    bad = "UPDATE facts SET body = '' WHERE n = 5"
    session = journal_with(tmp_path / "live")
    before = held(tmp_path / "live", session)
    with closing(sqlite3.connect(tmp_path / "live" / FILE_NAME)) as connection:
        (body,) = connection.execute("SELECT body FROM facts WHERE n = 5").fetchone()
        good = f"UPDATE facts SET body = '{body}' WHERE n = 5"
        for statement in (good, bad) if good_one_first else (bad, good):
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            with connection:
                connection.execute(statement)
        shutil.copytree(tmp_path / "live", tmp_path / "copy", ignore=shutil.ignore_patterns("*-shm", "locks"))
    spoil(tmp_path / "copy" / FILE_NAME, 1)  # SQLite itself no longer sees anything
    found = repair(tmp_path / "copy")
    assert not found.healthy and found.lost == ()
    assert held(tmp_path / "copy", session) == before


def test_a_fact_of_a_newer_kerfcall_is_kept(tmp_path: Path) -> None:
    journal_with(tmp_path)
    edited(tmp_path, "UPDATE facts SET kind = 'sharpened', version = 4 WHERE n = 5")
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE facts SET body = '' WHERE n = 6")
    repair(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        assert connection.execute("SELECT kind, version FROM facts WHERE n = 5").fetchall() == [("sharpened", 4)]


def test_a_lost_session_row_is_made_again_from_its_facts(tmp_path: Path) -> None:
    job = small_job()
    first = journal_with(tmp_path, [f.Started(job), f.SetupStarted(1), f.EndedEarly(1, 0)])
    second = journal_with(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        connection.execute("DELETE FROM sessions WHERE seq = 1")
    assert not repair(tmp_path).healthy
    with Journal.open(tmp_path) as journal:
        rows = journal.sessions()
    assert [(row.id, row.title, row.state) for row in rows] == [
        (first, job.title, "ended early"),
        (second, "Nesting tea trays", "finished"),
    ]
    assert rows[0].plan_digest == job.plan_digest


def test_a_running_session_is_not_repaired_under(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    with SessionLock(tmp_path, session), pytest.raises(SessionLocked, match=session):
        repair(tmp_path)
    assert repair(tmp_path).healthy


def test_a_repair_cut_off_between_its_last_steps_is_finished_at_the_next_opening(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    before = held(tmp_path, session)
    os_view = (tmp_path / FILE_NAME).read_bytes()
    (tmp_path / REBUILT).write_bytes(os_view)
    (tmp_path / FILE_NAME).write_bytes(b"damaged" * 1000)
    (tmp_path / f"{FILE_NAME}-wal").write_bytes(b"stale log")
    assert held(tmp_path, session) == before
    assert not (tmp_path / REBUILT).exists()


def test_no_old_log_ever_lies_beside_a_repaired_journal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite would play it into the journal."""
    session = journal_with(tmp_path)
    before, log = held(tmp_path, session), tmp_path / f"{FILE_NAME}-wal"
    (tmp_path / FILE_NAME).rename(tmp_path / REBUILT)
    log.write_bytes(b"stale log")
    moved = os.replace

    def move(source: Path, target: Path) -> None:
        assert not log.exists()
        moved(source, target)

    monkeypatch.setattr(os, "replace", move)
    assert held(tmp_path, session) == before
    assert (tmp_path / FILE_NAME).exists() and not (tmp_path / REBUILT).exists()


@pytest.mark.parametrize("content", [b"", b"no database, and nothing in it" * 500])
def test_an_unreadable_file_is_left_alone(tmp_path: Path, content: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(content)
    if content:
        with pytest.raises(JournalError, match="nothing can be read .* left as it is"):
            repair(tmp_path)
    else:
        assert repair(tmp_path).facts == 0
    assert (tmp_path / FILE_NAME).read_bytes() == content


def test_another_programs_file_is_not_touched(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    with pytest.raises(JournalError, match="another program's"):
        repair(tmp_path)
    with pytest.raises(JournalError, match="no journal"):
        repair(tmp_path / "none")


def changed(state: Path, statement: str) -> None:
    with closing(sqlite3.connect(state / FILE_NAME)) as connection, connection:
        assert connection.execute(statement).rowcount > 0


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE facts SET seal = replace(seal, substr(seal, 1, 1), 'x') WHERE n = 5",
        f"UPDATE facts SET seal = 'x' WHERE n = {len(SAMPLE)}",
        "UPDATE sessions SET last = 7",
        "UPDATE sessions SET last = 25",
        "UPDATE sessions SET state = 'open'",
    ],
)
def test_where_only_a_checksum_or_a_count_is_damaged_nothing_is_lost(tmp_path: Path, statement: str) -> None:
    """What it should be follows from the rest."""
    session = journal_with(tmp_path)
    with Journal.open(tmp_path) as journal:
        before = journal.sessions()
    changed(tmp_path, statement)
    found = repair(tmp_path)
    assert not found.healthy and not [line for line in found.lost if "fact" in line]
    with Journal.open(tmp_path) as journal:
        assert list(journal.replay(session)) == records(SAMPLE)
        assert journal.sessions() == before
    assert repair(tmp_path).healthy


def test_a_row_from_before_the_newest_facts_takes_them_all_the_same(tmp_path: Path) -> None:
    """As an older copy of its page holds it: its seal is right."""
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("Nesting tea trays", "ab" * 32, "trays.toml", UTC)
        journal.append(session, records(SAMPLE[:7]))
        with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
            (older,) = connection.execute("SELECT state, last, head, seal FROM sessions").fetchall()
        journal.append(session, records(SAMPLE[7:], first=8))
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE sessions SET state = ?, last = ?, head = ?, seal = ?", older)
    found = repair(tmp_path)
    assert not found.healthy and not found.lost
    assert held(tmp_path, session) == records(SAMPLE)
    assert repair(tmp_path).healthy


def test_what_a_checksum_disproves_is_set_apart_and_the_gap_is_recorded_once(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    changed(tmp_path, "UPDATE facts SET body = replace(body, '\"pass\":1', '\"pass\":2') WHERE n = 5")
    changed(tmp_path, f"DELETE FROM facts WHERE n > {len(SAMPLE) - 2}")
    end = len(SAMPLE)
    assert repair(tmp_path).lost == (
        f"session {session}, fact 5 (pass_cut) doesn't match its checksum",
        f"session {session}: facts 5 to 5 are missing",
        f"session {session}: facts {end - 1} to {end} are missing",
    )
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        gaps = connection.execute("SELECT * FROM gaps ORDER BY first").fetchall()
    assert [gap[:3] for gap in gaps] == [(session, 5, 5), (session, end - 1, end)]
    assert [record.n for record in held(tmp_path, session)] == [1, 2, 3, 4, *range(6, end - 1)]
    with Journal.open(tmp_path) as journal, pytest.raises(JournalError, match="facts 5 to 5 are lost, so it can't be"):
        list(journal.replay(session))
    spoil(tmp_path / FILE_NAME, 1)
    repair(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        assert connection.execute("SELECT * FROM gaps ORDER BY first").fetchall() == gaps, "and when it was found"


def test_facts_that_are_lost_after_a_repair_show_although_it_has_recorded_a_gap_at_the_end(tmp_path: Path) -> None:
    journal_with(tmp_path)
    end = len(SAMPLE)
    changed(tmp_path, f"DELETE FROM facts WHERE n > {end - 2}")
    repair(tmp_path)
    with Journal.open(tmp_path) as journal:
        assert [row.fault for row in journal.sessions()] == [""]
    changed(tmp_path, f"DELETE FROM facts WHERE n = {end - 2}")
    with Journal.open(tmp_path) as journal:
        assert [row.fault for row in journal.sessions()] == [f"its facts end at {end - 3}, not at {end}"]


@pytest.mark.parametrize("statement", ["UPDATE facts SET session = 'x' WHERE n = 5", "UPDATE sessions SET id = 'x'"])
def test_a_damaged_name_makes_no_session(tmp_path: Path, statement: str) -> None:
    session = journal_with(tmp_path)
    changed(tmp_path, statement)
    repair(tmp_path)
    with Journal.open(tmp_path) as journal:
        assert [row.id for row in journal.sessions()] == [session]


def test_a_lost_row_gets_its_place_by_when_its_facts_were_written(tmp_path: Path) -> None:
    """Not by its date, because the clock may have been set back."""
    utcs = ("2026-11-25T09:00:00+00:00", "2026-11-20T09:00:00+00:00", "2026-11-26T09:00:00+00:00")
    with Journal.open(tmp_path) as journal:
        ids = [journal.new_session("t", "", "", utc) for utc in utcs]
        for session in ids:
            journal.append(session, event(1))
    changed(tmp_path, "DELETE FROM sessions WHERE seq = 2")
    repair(tmp_path)
    with Journal.open(tmp_path) as journal:
        assert [row.id for row in journal.sessions()] == ids
        assert journal.latest_open() == ids[-1]
        assert journal.last_utc() == event(1)[-1].utc


def test_a_log_torn_after_its_last_commit_is_repaired_although_sqlite_shows_every_fact(tmp_path: Path) -> None:
    live, torn = tmp_path / "live", tmp_path / "torn"
    with Journal.open(live) as journal:
        session = journal.new_session("t", "", "", UTC)
        journal.append(session, records(SAMPLE))
        shutil.copytree(live, torn, ignore=shutil.ignore_patterns("*-shm", "locks"))
    log = torn / f"{FILE_NAME}-wal"
    written = log.read_bytes()
    frame = 24 + int.from_bytes(written[8:12], "big")
    log.write_bytes(written + written[-frame:])  # its checksum is right only in its first place
    with pytest.raises(JournalError, match="log is damaged, or power was cut"):
        Journal.open(torn)
    found = repair(torn)
    assert not found.healthy and found.facts == len(SAMPLE)
    assert held(torn, session) == records(SAMPLE)


def test_what_was_perhaps_not_committed_counts_only_with_a_seal() -> None:
    found = Salvage()
    content = ("2026-11-25-1", 7, 14.0, UTC, "setup_started", 1, '{"setup": 1}')
    found.add(1, content, doubtful=True)
    found.add(2, (*content, ""), doubtful=True)
    assert not found.doubtful and not found.rowids
    found.add(3, (*content, "ab" * 32), doubtful=True)
    assert list(found.doubtful) == [("2026-11-25-1", 7)] and not found.facts


def test_a_log_that_was_begun_again_is_whole_with_what_is_left_of_the_older_one(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "live") as journal:
        session = journal.new_session("t", "", "", UTC)
        for n in range(1, 60, 2):
            journal.append(session, event(n))
        journal._connection.execute("PRAGMA wal_checkpoint(RESTART)")
        journal.append(session, event(61))
        log = (tmp_path / "live" / f"{FILE_NAME}-wal").read_bytes()
        shutil.copytree(tmp_path / "live", tmp_path / "copy", ignore=shutil.ignore_patterns("*-shm", "locks"))
    assert len(log) > 60 * (SIZE + 24), "most of it is left over"
    assert pages.log_is_whole(log)
    assert len(held(tmp_path / "copy", session)) == 62


@pytest.mark.parametrize("committed", [False, True])
def test_what_a_killed_process_had_not_committed_is_no_damage(tmp_path: Path, committed: bool) -> None:
    session = long_session(tmp_path / "live", 400)
    with Journal.open(tmp_path / "live") as journal:
        if committed:
            journal.append(session, event(401))
        connection = journal._connection
        connection.execute("PRAGMA cache_size = 5")  # so that it is written before it is committed
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("UPDATE facts SET utc = utc || 'x'")
        connection.execute("UPDATE sessions SET title = 'x'")
        shutil.copytree(tmp_path / "live", tmp_path / "copy", ignore=shutil.ignore_patterns("*-shm", "locks"))
        connection.execute("ROLLBACK")
    assert (tmp_path / "copy" / f"{FILE_NAME}-wal").stat().st_size > 3 * SIZE
    assert len(held(tmp_path / "copy", session)) == (402 if committed else 400)


def test_an_empty_log_and_one_that_was_never_written_are_whole() -> None:
    assert pages.log_is_whole(b"") and pages.log_is_whole(bytes(9000)) and pages.log_is_whole(b"\1" * 32)
    assert not pages.log_is_whole(b"\1" * 9000)
