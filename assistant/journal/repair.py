"""A fresh journal from what can be read of a damaged one; the damaged file stays beside it under another name."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from assistant.errors import JournalError
from assistant.journal import codec, pages, schema
from assistant.journal.faults import translated
from assistant.journal.lock import SessionLock
from assistant.journal.store import FILE_NAME, REBUILT, finish_repair, journal_path, one_at_a_time, state_after
from assistant.session.facts import Started

_TITLE_LOST = "(title lost)"
_TABLES = (  # columns as they stand on the pages: an INTEGER PRIMARY KEY is the rowid and NULL in its row
    "SELECT rowid, NULL, id, title, plan_digest, plan_path, started_utc, state, program_version "
    "FROM sessions NOT INDEXED",
    "SELECT rowid, session, n, at, utc, kind, version, body FROM facts NOT INDEXED",
)


@dataclass(frozen=True, slots=True)
class Repair:
    """What was found. healthy: nothing was changed. kept: where the damaged file is now. lost: in words."""

    healthy: bool
    sessions: int
    facts: int
    lost: tuple[str, ...]
    kept: Path | None


@dataclass(slots=True)
class Salvage:
    """Rows as in the tables: sessions by id, facts by session and number; what could not be read, in words."""

    sessions: dict[str, tuple[Any, ...]] = field(default_factory=dict)
    facts: dict[tuple[str, int], tuple[Any, ...]] = field(default_factory=dict)
    unreadable: dict[tuple[str, int], str] = field(default_factory=dict)
    seen_by_sqlite: int = 0

    @property
    def is_all_seen(self) -> bool:
        """SQLite itself shows every row that was found; it passes over all that follows a damaged log frame."""
        return not self.unreadable and len(self.sessions) + len(self.facts) == self.seen_by_sqlite

    def add(self, rowid: int, row: tuple[Any, ...]) -> None:
        """Take a row by its shape; the first readable one of a place stays."""
        if _is_fact(row):
            self._add_fact(row)
        elif _is_session(row):
            self.sessions.setdefault(row[1], (rowid, *row[1:]))

    def _add_fact(self, row: tuple[Any, ...]) -> None:
        place = (row[0], row[1])
        if place in self.facts:
            return
        fault = _fault_of(row)
        if fault:
            self.unreadable[place] = fault
        else:
            self.unreadable.pop(place, None)
            self.facts[place] = row


def repair(state_dir: Path | None = None) -> Repair:
    """Check the journal; rebuild it when damaged. No committed fact that can be read is lost.

    Raises SessionLocked while a session runs, JournalError when there is no journal, nothing
    can be read of it, it is another program's, or the disk refuses.
    """
    path = journal_path(state_dir)
    if not path.exists() and not path.with_name(REBUILT).exists():
        raise JournalError(f"there is no journal {path} to repair")
    with one_at_a_time(path.parent), _no_session_running(path.parent), _disk(path):
        finish_repair(path)
        with tempfile.TemporaryDirectory(prefix="repair-", dir=path.parent, ignore_cleanup_errors=True) as folder:
            return _repair_in(Path(folder), path)


def _repair_in(work: Path, path: Path) -> Repair:
    copy = work / "copy.sqlite3"
    _copy(path, copy)
    healthy = _is_healthy(copy)
    found = salvage(path, copy)
    lost = _losses(found)
    if healthy and found.is_all_seen:
        return Repair(True, len(found.sessions), len(found.facts), lost, None)
    if not found.sessions and not found.facts:
        raise JournalError(
            f"nothing can be read of journal {path}; it was left as it is: use --state DIR for a new one"
        )
    rebuilt = work / "rebuilt.sqlite3"
    sessions = _build(rebuilt, found)
    kept = path.with_name(f"journal-damaged-{datetime.now(UTC):%Y%m%dT%H%M%S%fZ}.sqlite3")
    _copy(path, kept)
    os.replace(rebuilt, path.with_name(REBUILT))
    finish_repair(path)
    return Repair(False, sessions, len(found.facts), lost, kept)


def salvage(path: Path, copy: Path) -> Salvage:
    """Everything readable: through SQLite on a copy that it may change, then from the untouched files' pages."""
    found = Salvage()
    with suppress(sqlite3.Error), closing(schema.connect(copy, create=False)) as connection:
        for query in _TABLES:
            with suppress(sqlite3.Error):
                for rowid, *row in connection.execute(query):
                    found.add(rowid, tuple(row))
    found.seen_by_sqlite = len(found.sessions) + len(found.facts)
    log = path.with_name(path.name + "-wal")
    for rowid, row in pages.rows(path.read_bytes(), log.read_bytes() if log.exists() else b""):
        found.add(rowid, row)
    return found


def _is_healthy(copy: Path) -> bool:
    """Raises JournalError for an undamaged file of another program or a newer schema."""
    try:
        with closing(schema.connect(copy, create=False)) as connection:
            if connection.execute("PRAGMA integrity_check").fetchall() != [("ok",)]:
                return False
            if connection.execute("PRAGMA foreign_key_check").fetchall():
                return False
            schema.version_of(connection, copy)
            return True
    except sqlite3.Error:
        return False


def _is_fact(row: tuple[Any, ...]) -> bool:
    kinds: tuple[Any, ...] = (str, int, int | float, str, str, int, str)
    return len(row) == 7 and all(isinstance(v, k) for v, k in zip(row, kinds, strict=True)) and row[1] >= 1


def _is_session(row: tuple[Any, ...]) -> bool:
    return (
        len(row) == 8
        and row[0] is None
        and all(isinstance(value, str) for value in row[1:])
        and row[6] in schema.STATES
    )


def _fault_of(row: tuple[Any, ...]) -> str:
    """Why this fact can't be read, or "". One of a newer version is not for us to judge, if it is JSON at all."""
    kind, version, body = row[4:]
    known = codec.CODECS.get(kind)
    try:
        if known is not None and version <= known.version:
            codec.decode(kind, version, body)
        else:
            json.loads(body)
    except (JournalError, ValueError) as error:
        return str(error)
    return ""


def _losses(found: Salvage) -> tuple[str, ...]:
    """What is missing, a line each: unreadable facts and gaps in the numbers."""
    lines = [f"session {s}, fact {n}: {why}" for (s, n), why in sorted(found.unreadable.items())]
    numbers: dict[str, list[int]] = defaultdict(list)
    for session, n in sorted(found.facts):
        numbers[session].append(n)
    for session, present in numbers.items():
        expected = 1
        for n in present:
            if n > expected:
                lines.append(f"session {session}: facts {expected} to {n - 1} are missing")
            expected = n + 1
    lines += [f"session {s}: its row is missing" for s in numbers if s not in found.sessions]
    return tuple(lines)


def _build(target: Path, found: Salvage) -> int:
    """Write the fresh database, whole and on the disk; returns the number of sessions."""
    by_session: dict[str, list[tuple[Any, ...]]] = defaultdict(list)
    for place in sorted(found.facts):
        by_session[place[0]].append(found.facts[place])
    rows = _session_rows(found, by_session)
    with translated(target), closing(schema.connect(target, create=True)) as connection:
        schema.make_durable(connection, target)
        schema.migrate(connection, target)
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany("INSERT INTO sessions VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)
        connection.executemany("INSERT INTO facts VALUES (?, ?, ?, ?, ?, ?, ?)", found.facts.values())
        connection.execute("COMMIT")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    _sync(target)
    return len(rows)


def _session_rows(found: Salvage, by_session: dict[str, list[tuple[Any, ...]]]) -> list[tuple[Any, ...]]:
    """Rows with states that agree with the facts. Lost rows are made again; then ids give the order, as created."""
    rows = sorted(found.sessions.values())
    again = [_row_from_facts(session, facts) for session, facts in by_session.items() if session not in found.sessions]
    if again:
        rows = [(seq, *row[1:]) for seq, row in enumerate(sorted(rows + again, key=_by_id), start=1)]
    return [(*row[:6], _state_of(by_session.get(row[1], [])), row[7]) for row in rows]


def _by_id(row: tuple[Any, ...]) -> tuple[str, int, str]:
    date, number = row[1][:10], row[1][11:]
    return date, int(number) if number.isdecimal() else 0, row[1]


def _row_from_facts(session: str, rows: list[tuple[Any, ...]]) -> tuple[Any, ...]:
    title, digest = _TITLE_LOST, ""
    first = rows[0]
    with suppress(JournalError):
        fact = codec.decode(*first[4:])
        if isinstance(fact, Started):
            title, digest = fact.job.title, fact.job.plan_digest
    return (0, session, title, digest, "", first[3], "open", "")


def _state_of(rows: list[tuple[Any, ...]]) -> str:
    state = "open"
    for row in rows:
        with suppress(JournalError):
            state = state_after(state, codec.decode(*row[4:]))
    return state


def _copy(source: Path, target: Path) -> None:
    """The database and its log, on the disk when this returns."""
    for suffix in ("", "-wal"):
        part = source.with_name(source.name + suffix)
        if part.exists():
            copied = target.with_name(target.name + suffix)
            shutil.copyfile(part, copied)
            _sync(copied)


def _sync(path: Path) -> None:
    with open(path, "r+b") as file:
        os.fsync(file.fileno())


@contextmanager
def _no_session_running(folder: Path) -> Iterator[None]:
    with ExitStack() as held:
        for path in sorted((folder / "locks").glob("*.lock")):
            if path.stem != Path(FILE_NAME).stem:
                held.enter_context(SessionLock(folder, path.stem))
        yield


@contextmanager
def _disk(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise JournalError(
            f"can't repair journal {path}: {error}; make room on the disk and see that you may write there; "
            "the journal was left as it is"
        ) from error
