"""The journal's tables, their versions, and how a connection is opened.

The tables are a documented format: any SQLite program may read them.

sessions    seq (order of creation), id, title, plan_digest (SHA-256, hex), plan_path,
            started_utc (ISO 8601), state (open | finished | ended early), program_version,
            last (the number of its last fact, 0 for none), head (that fact's seal, "" for none), seal
facts       session (sessions.id), n (from 1 within the session), at (s since its start),
            utc (ISO 8601), kind, version (of the body's shape), body (JSON), seal
gaps        session, first, last (numbers of facts that are lost), found_utc: what a repair or a migration found
migrations  version, applied_utc, program_version: one row per step taken

`seals.py` says how a seal is made. Version 1 had no `last`, `head`, `seal` and no `gaps`.

`PRAGMA user_version` is the schema's version, `PRAGMA application_id` marks the file as ours.
Each migration, its row and the new `user_version` commit together.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from assistant import __version__
from assistant.errors import Fault, JournalError
from assistant.journal.faults import RECOVERS
from assistant.journal.seals import START, fact_seal, row_seal

APPLICATION_ID = 0x4B455246  # "KERF"

# Text is read as bytes, so that damaged text can be read too, and its seal shows the damage. Seals are made of bytes
# in any case.
ROWS = (
    "SELECT seq, CAST(id AS BLOB), CAST(title AS BLOB), CAST(plan_digest AS BLOB), CAST(plan_path AS BLOB), "
    "CAST(started_utc AS BLOB), CAST(state AS BLOB), CAST(program_version AS BLOB)"
)
FACTS = "n, at, CAST(utc AS BLOB), CAST(kind AS BLOB), version, CAST(body AS BLOB)"


class SessionState(StrEnum):
    """The state of a session, as its row has it."""

    OPEN = "open"
    FINISHED = "finished"
    ENDED_EARLY = "ended early"


class HeaderDamaged(JournalError):
    """The file is our journal, but its first page doesn't say so, or gives another schema version than it has."""


def _make_tables(connection: sqlite3.Connection) -> None:
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(
        "CREATE TABLE sessions (seq INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, title TEXT NOT NULL, "
        "plan_digest TEXT NOT NULL, plan_path TEXT NOT NULL, started_utc TEXT NOT NULL, "
        "state TEXT NOT NULL CHECK (state IN ('open', 'finished', 'ended early')), program_version TEXT NOT NULL)"
    )
    connection.execute(
        "CREATE TABLE facts (session TEXT NOT NULL REFERENCES sessions (id), n INTEGER NOT NULL CHECK (n >= 1), "
        "at REAL NOT NULL, utc TEXT NOT NULL, kind TEXT NOT NULL, version INTEGER NOT NULL, body TEXT NOT NULL, "
        "PRIMARY KEY (session, n))"
    )
    connection.execute(
        "CREATE TABLE migrations (version INTEGER PRIMARY KEY, applied_utc TEXT NOT NULL, "
        "program_version TEXT NOT NULL)"
    )


def _add_seals_and_gaps(connection: sqlite3.Connection) -> None:
    """Seal every fact and row as it is. Damage from before there were seals can't be detected."""
    # SQLite adds a NOT NULL column only with a default, if rows are there already.
    connection.execute("ALTER TABLE facts ADD COLUMN seal TEXT NOT NULL DEFAULT ''")
    for column in ("last INTEGER NOT NULL DEFAULT 0", "head TEXT NOT NULL DEFAULT ''", "seal TEXT NOT NULL DEFAULT ''"):
        connection.execute(f"ALTER TABLE sessions ADD COLUMN {column}")
    connection.execute(
        "CREATE TABLE gaps (session TEXT NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL, "
        "found_utc TEXT NOT NULL, PRIMARY KEY (session, first))"
    )
    seal_all(connection)


def seal_all(connection: sqlite3.Connection) -> None:
    """Seal all facts as they are, in the order of their numbers. Missing numbers are recorded as gaps."""
    now = utc_now()
    # All at once: what a cursor shows of rows that are changed under it is undefined.
    for seq, *texts in connection.execute(f"{ROWS} FROM sessions").fetchall():
        session = texts[0]
        last, head, numbers, seals = 0, START, [], []
        # By the id as it is stored: read as bytes, it would equal no text in SQLite.
        theirs = "session = (SELECT id FROM sessions WHERE seq = ?) ORDER BY n"
        for rowid, *fact in connection.execute(f"SELECT rowid, {FACTS} FROM facts WHERE {theirs}", (seq,)):
            head = fact_seal(head, session or b"", *fact)
            seals.append((head.decode(), rowid))
            if type(fact[0]) is int:
                last = fact[0]
                numbers.append(last)
        connection.executemany("UPDATE facts SET seal = ? WHERE rowid = ?", seals)
        connection.execute(
            "UPDATE sessions SET last = ?, head = ?, seal = ? WHERE seq = ?",
            (last, head.decode(), row_seal(seq, tuple(texts), last, head).decode(), seq),
        )
        gaps = [(seq, first, end, now) for first, end in missing(numbers, last)]
        connection.executemany("INSERT OR IGNORE INTO gaps SELECT id, ?2, ?3, ?4 FROM sessions WHERE seq = ?1", gaps)


MIGRATIONS: tuple[Callable[[sqlite3.Connection], None], ...] = (_make_tables, _add_seals_and_gaps)
"""MIGRATIONS[v] takes a database of version v to version v + 1, inside an open transaction."""


def missing(numbers: Iterable[int], last: int) -> Iterator[tuple[int, int]]:
    """(first, last) of each run of numbers from 1 to `last` that is missing. numbers: ascending."""
    expected = 1
    for n in numbers:
        if n > expected:
            yield expected, n - 1
        expected = n + 1
    if last >= expected:
        yield expected, last


def utc_now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def connect(path: Path, create: bool) -> sqlite3.Connection:
    """A connection in autocommit mode that waits up to 5 s for another writer. Raises sqlite3.Error."""
    # By default Python silently begins a transaction at the first INSERT, and closing would lose it.
    mode = "rwc" if create else "rw"
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode={mode}", uri=True, isolation_level=None, timeout=5.0)


def connect_read_only(path: Path) -> sqlite3.Connection:
    """A connection for a folder that may only be read. Raises sqlite3.Error.

    Reading beside a write-ahead log needs a shared-memory file. If none can be made but the
    log is empty, the database file alone has everything.
    """
    uri = path.absolute().as_uri()
    log = path.with_name(path.name + "-wal")
    if not log.exists() or log.stat().st_size == 0:
        uri += "?immutable=1"
    else:
        uri += "?mode=ro"
    return sqlite3.connect(uri, uri=True, isolation_level=None, timeout=5.0)


def connect_beside(path: Path) -> sqlite3.Connection:
    """A read-only connection beside a process that may be writing: not `immutable`, which would miss what it writes."""
    connection = sqlite3.connect(path.absolute().as_uri() + "?mode=ro", uri=True, isolation_level=None, timeout=5.0)
    connection.execute("PRAGMA query_only = ON")
    return connection


def make_durable(connection: sqlite3.Connection, path: Path) -> None:
    """Use a write-ahead log, and sync every commit before it returns, since power may fail at any moment."""
    (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode.lower() != "wal":
        raise JournalError(
            f"journal {path}: this folder can't hold a write-ahead log (a network share?); "
            "choose a folder on a local disk with --state DIR"
        )
    # With NORMAL the last commits may be lost if the computer is switched off at the wall.
    connection.execute("PRAGMA synchronous = FULL")
    # Off in every new connection, and never stored in the file.
    connection.execute("PRAGMA foreign_keys = ON")


def version_of(connection: sqlite3.Connection, path: Path) -> int:
    """The schema's version; 0 for an empty file.

    Raises JournalError for a newer version or another program's file, HeaderDamaged if the file's own list of
    migrations gives another version than its header.
    """
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (owner,) = connection.execute("PRAGMA application_id").fetchone()
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    ours = {"sessions", "facts", "migrations"} <= tables
    if (version or tables) and owner != APPLICATION_ID and not ours:
        raise JournalError(f"{path} is another program's database, not a journal; move it, or use --state DIR")
    listed: Any = 0
    if ours:
        (listed,) = connection.execute("SELECT max(version) FROM migrations").fetchone()
    agree = version == listed
    if version > len(MIGRATIONS):
        text = (
            f"journal {path} has schema version {version}, this Kerfcall ({__version__}) knows up to "
            f"{len(MIGRATIONS)}; upgrade Kerfcall, or use --state DIR for a new journal"
        )
        if agree:
            raise JournalError(text)
        raise HeaderDamaged(f"{text}; its own list of migrations ends at {listed}, so it may be damaged: {RECOVERS}")
    if owner != APPLICATION_ID and (version or tables):
        raise HeaderDamaged(str(Fault("its mark as a journal is damaged", f"{owner}", f"journal {path}", RECOVERS)))
    if not agree or version < 0:
        what = f"its header gives another schema version than its own list of migrations, {listed}"
        raise HeaderDamaged(str(Fault(what, f"{version}", f"journal {path}", RECOVERS)))
    return int(version)


def migrate(connection: sqlite3.Connection, path: Path) -> None:
    """Bring the schema up to date, with one transaction for each step. Safe if two processes do it at once."""
    while version_of(connection, path) < len(MIGRATIONS):
        connection.execute("BEGIN IMMEDIATE")
        try:
            # Read again, since another process may have taken this step while this one waited for the lock.
            version = version_of(connection, path)
            if version < len(MIGRATIONS):
                MIGRATIONS[version](connection)
                connection.execute("INSERT INTO migrations VALUES (?, ?, ?)", (version + 1, utc_now(), __version__))
                connection.execute(f"PRAGMA user_version = {version + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def brought_up(connection: sqlite3.Connection, path: Path) -> sqlite3.Connection:
    """The same connection if its schema is up to date, else a read-only connection to an updated copy in memory.

    For journals that may not be written now, or at all. Takes over the connection. Raises as `version_of` does.
    """
    version = version_of(connection, path)
    if version == len(MIGRATIONS):
        return connection
    if version == 0:
        raise JournalError(f"journal {path} is empty; `kerfcall cut` begins one")
    copy = sqlite3.connect(":memory:", isolation_level=None)
    try:
        connection.backup(copy)
        migrate(copy, path)
        copy.execute("PRAGMA query_only = ON")
    except BaseException:
        copy.close()
        raise
    connection.close()
    return copy
