"""Every fact carries a checksum of itself and of all before it; the session's row says where they end."""

from __future__ import annotations

import hashlib
import sqlite3
import struct
from contextlib import closing
from pathlib import Path

import pytest

from assistant.errors import JournalError
from assistant.journal import schema
from assistant.journal.seals import fact_seal
from assistant.journal.store import FILE_NAME, Journal
from assistant.session import facts as f
from tests.journal.made import SAMPLE, journal_with, records


def changed(state: Path, statement: str) -> None:
    with closing(sqlite3.connect(state / FILE_NAME)) as connection, connection:
        assert connection.execute(statement).rowcount > 0


def test_another_program_can_compute_the_seals_from_the_description(tmp_path: Path) -> None:
    """SHA-256 (FIPS 180-4) by Python's hashlib, over the fields as the module's description has them."""
    session = journal_with(tmp_path)

    def digest(*fields: object) -> str:
        data = b"\n".join(field if isinstance(field, bytes) else str(field).encode() for field in fields)
        return hashlib.sha256(data).hexdigest()[:32]

    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        before = ""
        for n, at, utc, kind, version, body, seal in connection.execute(
            "SELECT n, at, utc, kind, version, body, seal FROM facts ORDER BY n"
        ):
            before = digest(before, session, struct.pack(">qdq", n, at, version), utc, kind, body)
            assert seal == before
        (row,) = connection.execute(
            "SELECT seq, id, title, plan_digest, plan_path, started_utc, state, program_version, last, head, seal "
            "FROM sessions"
        )
    assert row[8:10] == (len(SAMPLE), before)
    assert row[10] == digest(*row[:10])


@pytest.mark.parametrize(
    "change",
    [
        "at = at + 0.001",
        "utc = replace(utc, '09', '08')",
        "kind = 'setting_called'",
        "version = 2",
        "body = replace(body, 'pedal', 'voice')",
        "body = body || ' '",
        "seal = upper(seal)",
        "n = 100",
        "session = 'x'",
    ],
)
def test_every_change_in_a_fact_is_noticed_and_named(tmp_path: Path, change: str) -> None:
    session = journal_with(tmp_path)
    changed(tmp_path, f"UPDATE facts SET {change} WHERE n = 5")
    with Journal.open(tmp_path) as journal:
        named = (
            rf"session {session}(, fact 5 \('.*'\): it doesn't match its checksum|: facts 5 to 5 are missing); `kerf"
        )
        with pytest.raises(JournalError, match=named):
            list(journal.replay(session))


@pytest.mark.parametrize("gone", ["n = 24", "n > 20", "n = 1", "n = 7", "n > 0"])
def test_a_fact_taken_out_is_noticed_at_either_end_too(tmp_path: Path, gone: str) -> None:
    session = journal_with(tmp_path)
    changed(tmp_path, f"DELETE FROM facts WHERE {gone}")
    with Journal.open(tmp_path) as journal:
        for with_gaps in (False, True):
            with pytest.raises(JournalError, match=rf"session {session}: facts \d+ to \d+ are missing"):
                list(journal.replay(session, with_gaps))
        assert journal.sessions()[0].fault


def test_facts_that_change_places_are_noticed(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    for statement in ("n = 99 WHERE n = 5", "n = 5 WHERE n = 7", "n = 7 WHERE n = 99"):
        changed(tmp_path, f"UPDATE facts SET {statement}")
    with Journal.open(tmp_path) as journal, pytest.raises(JournalError, match="fact 5 .*checksum"):
        list(journal.replay(session))


def test_facts_beyond_those_in_the_row_are_noticed(tmp_path: Path) -> None:
    """As if the disk had kept a new page of facts and an old page of sessions."""
    session = journal_with(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        (old,) = connection.execute("SELECT state, last, head, seal FROM sessions")
    with Journal.open(tmp_path) as journal:
        journal.append(session, records([f.SteppedBack(1, 2)], len(SAMPLE) + 1))
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE sessions SET state = ?, last = ?, head = ?, seal = ?", old)
    with Journal.open(tmp_path) as journal:
        with pytest.raises(JournalError, match="don't end where its row says"):
            list(journal.replay(session))
        with pytest.raises(JournalError):
            journal.append(session, records([f.Noted(1, 2, "")], len(SAMPLE) + 1))


@pytest.mark.parametrize(
    "change", ["state = 'open'", "seq = seq + 7", "started_utc = ''", "title = 'x'", "last = last - 1", "head = ''"]
)
def test_a_row_that_was_changed_is_not_believed(tmp_path: Path, change: str) -> None:
    """Not even when another session is asked for, because nobody knows any more which open session is the newest."""
    session = journal_with(tmp_path)
    changed(tmp_path, f"UPDATE sessions SET {change}")
    with Journal.open(tmp_path) as journal:
        for look in (journal.sessions, journal.latest_open, lambda: journal.replay(session)):
            with pytest.raises(
                JournalError, match=rf"session {session}: its row doesn't match its checksum; `kerfcall"
            ):
                look()
        with pytest.raises(JournalError, match="its row doesn't match"):
            journal.append(session, records([f.Finished()], len(SAMPLE) + 1))


def test_a_row_that_is_gone_is_noticed_by_its_facts(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    changed(tmp_path, "DELETE FROM sessions")
    with Journal.open(tmp_path) as journal, pytest.raises(JournalError, match=f"{session}: it has facts, but its row"):
        journal.sessions()


def test_a_damaged_session_does_not_hide_the_others(tmp_path: Path) -> None:
    first = journal_with(tmp_path)
    second = journal_with(tmp_path)
    changed(tmp_path, f"UPDATE facts SET body = '' WHERE n = 5 AND session = '{first}'")
    with Journal.open(tmp_path) as journal:
        rows = {row.id: row.fault for row in journal.sessions()}
        assert list(journal.replay(second)) == records(SAMPLE)
    assert rows[second] == "" and rows[first].startswith(
        "fact 5 ('pass_cut') can't be read: it doesn't match its checksum"
    )


def test_values_of_any_type_can_be_sealed() -> None:
    odd = fact_seal(b"", b"s", None, "soon", None, b"\xff", b"1", None)
    assert len(odd) == 32 and odd != fact_seal(b"", b"s", None, "later", None, b"\xff", b"1", None)


def test_times_are_sealed_as_sqlite_gives_them_back(tmp_path: Path) -> None:
    """Whole, tiny, huge and negative zero, which SQLite doesn't keep."""
    times = [-0.0, 0.1 + 0.2, 1e-300, 1e300, 3, 2.0**53]
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("t", "", "", "2026-11-25T09:30:00+00:00")
        journal.append(session, [f.Record(n, at, "", f.StoodBy("keys")) for n, at in enumerate(times, 1)])
        assert [record.at for record in journal.replay(session)] == times


def test_sealing_again_changes_nothing_that_is_sound(tmp_path: Path) -> None:
    journal_with(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        before = connection.execute("SELECT * FROM facts, sessions").fetchall()
        schema.seal_all(connection)
        assert connection.execute("SELECT * FROM facts, sessions").fetchall() == before
