"""The journal's tables, their versions, and how a connection is opened.

The tables are a documented format: any SQLite program may read them.

sessions    seq (order of creation), id, title, plan_digest (SHA-256, hex), plan_path,
            started_utc (ISO 8601), state (open | finished | ended early), program_version
facts       session (sessions.id), n (from 1 within the session), at (s since its start),
            utc (ISO 8601), kind, version (of the body's shape), body (JSON)
migrations  version, applied_utc, program_version: one row per step taken

`PRAGMA user_version` is the schema's version, `PRAGMA application_id` marks the file as ours.
Each migration, its row and the new `user_version` commit together.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from assistant import __version__
from assistant.errors import JournalError

APPLICATION_ID = 0x4B455246  # "KERF"
STATES = ("open", "finished", "ended early")


def _create(connection: sqlite3.Connection) -> None:
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


MIGRATIONS: tuple[Callable[[sqlite3.Connection], None], ...] = (_create,)
"""MIGRATIONS[v] takes a database of version v to version v + 1, inside an open transaction."""


def connect(path: Path, create: bool) -> sqlite3.Connection:
    """A connection in autocommit mode that waits up to 5 s for another writer. Raises sqlite3.Error."""
    mode = "rwc" if create else "rw"
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode={mode}", uri=True, isolation_level=None, timeout=5.0)


def connect_read_only(path: Path) -> sqlite3.Connection:
    """For a folder that may only be read. Raises sqlite3.Error.

    Reading beside a write-ahead log needs a shared-memory file; where none can be made and the
    log is empty, the database file alone holds everything.
    """
    uri = path.absolute().as_uri()
    log = path.with_name(path.name + "-wal")
    if not log.exists() or log.stat().st_size == 0:
        uri += "?immutable=1"
    else:
        uri += "?mode=ro"
    return sqlite3.connect(uri, uri=True, isolation_level=None, timeout=5.0)


def connect_beside(path: Path) -> sqlite3.Connection:
    """Only to read, beside a process that may be writing: never `immutable`, which would miss what it writes."""
    connection = sqlite3.connect(path.absolute().as_uri() + "?mode=ro", uri=True, isolation_level=None, timeout=5.0)
    connection.execute("PRAGMA query_only = ON")
    return connection


def make_durable(connection: sqlite3.Connection, path: Path) -> None:
    """Write-ahead log, and every commit on the disk before it returns: power may go at any moment."""
    (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode.lower() != "wal":
        raise JournalError(
            f"journal {path}: this folder can't hold a write-ahead log (a network share?); "
            "choose one on a local disk with --state DIR"
        )
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")


def version_of(connection: sqlite3.Connection, path: Path) -> int:
    """The schema's version; 0 for an empty file. Raises JournalError for a newer one or another program's file."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (owner,) = connection.execute("PRAGMA application_id").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if (version or tables) and owner != APPLICATION_ID:
        raise JournalError(f"{path} is another program's database, not a journal; move it, or use --state DIR")
    if version > len(MIGRATIONS):
        raise JournalError(
            f"journal {path} has schema version {version}, this Kerfcall ({__version__}) knows up to "
            f"{len(MIGRATIONS)}; upgrade Kerfcall, or use --state DIR for a new journal"
        )
    return int(version)


def migrate(connection: sqlite3.Connection, path: Path) -> None:
    """Bring the schema up to date, one transaction per step; safe when two processes do it at once."""
    while version_of(connection, path) < len(MIGRATIONS):
        connection.execute("BEGIN IMMEDIATE")
        try:
            version = version_of(connection, path)
            if version < len(MIGRATIONS):
                _step(connection, version)
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def _step(connection: sqlite3.Connection, version: int) -> None:
    MIGRATIONS[version](connection)
    now = datetime.now(UTC).isoformat(timespec="milliseconds")
    connection.execute("INSERT INTO migrations VALUES (?, ?, ?)", (version + 1, now, __version__))
    connection.execute(f"PRAGMA user_version = {version + 1}")
