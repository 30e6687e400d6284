"""`Journal`: append facts, each event's in one transaction on the disk, and play them back.

A session's id is its local date and a count within that day, "2026-11-25-1": short enough to
say, and its parts sort as numbers. Creation order is kept apart (`seq`), so that "the latest"
holds even when the clock was set back.
"""

from __future__ import annotations

import json
import math
import os
import sqlite3
from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from assistant import __version__
from assistant.errors import JournalError
from assistant.journal import codec, schema
from assistant.journal.faults import explained, translated
from assistant.session.facts import EndedEarly, Fact, Finished, Jumped, Record, Resumed, SteppedBack

FILE_NAME = "journal.sqlite3"
REBUILT = FILE_NAME + ".rebuilt"  # a finished repair that has not yet taken the journal's place


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One session in the list. passes_cut: those cut and not taken back since. last_utc: of its newest fact, or "".

    rehearsed: no wood was cut.
    """

    id: str
    title: str
    plan_digest: str
    plan_path: str
    started_utc: str
    state: str
    program_version: str
    facts: int
    passes_cut: int
    last_at: float
    last_utc: str
    rehearsed: bool = False


def default_state_dir() -> Path:
    """The user's own data folder for Kerfcall."""
    from platformdirs import user_data_path

    return user_data_path("kerfcall", appauthor=False)


def journal_path(state_dir: Path | None) -> Path:
    """Where the journal of this state folder (None: the user's own) stands."""
    return (default_state_dir() if state_dir is None else Path(state_dir)) / FILE_NAME


class Journal:
    """An open journal; belongs to the thread that opened it. Every error is a JournalError."""

    def __init__(self, path: Path, connection: sqlite3.Connection):
        self.path = path
        self._connection = connection
        self._identity = _identity(path)

    @classmethod
    def open(cls, state_dir: Path | None = None) -> Journal:
        """Open the journal in this folder, making both where missing, and bring its schema up to date."""
        path = journal_path(state_dir)
        _make_folder(path.parent)
        with one_at_a_time(path.parent), translated(path):
            finish_repair(path)
            connection = schema.connect(path, create=True)
            try:
                schema.version_of(connection, path)
                schema.make_durable(connection, path)
                schema.migrate(connection, path)
            except BaseException:
                connection.close()
                raise
        return cls(path, connection)

    @classmethod
    def open_to_read(cls, state_dir: Path | None = None) -> Journal:
        """Like `open`, but a folder that may only be read will do. The journal must exist."""
        path = journal_path(state_dir)
        if not path.exists() and not path.with_name(REBUILT).exists():
            raise JournalError(f"there is no journal {path}; `kerfcall cut` begins one")
        try:
            return cls.open(state_dir)
        except JournalError as refusal:
            journal = cls._open_read_only(path)
            if journal is None:
                raise refusal
            return journal

    @classmethod
    def open_beside(cls, state_dir: Path | None = None) -> Journal:
        """Only to read, beside whoever may be writing: takes no lock, migrates nothing. The journal must exist."""
        path = journal_path(state_dir)
        if not path.exists():
            raise JournalError(f"there is no journal {path}; `kerfcall cut` begins one")
        with translated(path):
            connection = schema.connect_beside(path)
            try:
                if schema.version_of(connection, path) != len(schema.MIGRATIONS):
                    raise JournalError(f"journal {path} is of an older Kerfcall; `kerfcall journal list` brings it up")
            except BaseException:
                connection.close()
                raise
        return cls(path, connection)

    @classmethod
    def _open_read_only(cls, path: Path) -> Journal | None:
        """None where that doesn't help either: the first refusal then tells more."""
        try:
            connection = schema.connect_read_only(path)
        except (sqlite3.Error, OSError):
            return None
        try:
            if schema.version_of(connection, path) == len(schema.MIGRATIONS):
                return cls(path, connection)
        except (sqlite3.Error, JournalError):
            pass
        connection.close()
        return None

    def close(self) -> None:
        """Safe to repeat."""
        with translated(self.path):
            self._connection.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # Writing

    def new_session(self, title: str, plan_digest: str, plan_path: str, utc: str) -> str:
        """A new open session; returns its id. utc: ISO 8601 with its offset; the id takes its local date."""
        date = _local_date(utc)
        with self._transaction() as connection:
            ids = connection.execute("SELECT id FROM sessions WHERE substr(id, 1, 11) = ?", (f"{date}-",))
            number = max((int(row[0][11:]) for row in ids), default=0) + 1
            session_id = f"{date}-{number}"
            connection.execute(
                "INSERT INTO sessions (id, title, plan_digest, plan_path, started_utc, state, program_version) "
                "VALUES (?, ?, ?, ?, ?, 'open', ?)",
                (session_id, _storable(title), plan_digest, _storable(plan_path), utc, __version__),
            )
        return session_id

    def discard_unbegun(self, session_id: str) -> bool:
        """Take out a session that holds no fact; any other stays as it is. Returns whether it was taken out."""
        with self._transaction() as connection:
            gone = connection.execute(
                "DELETE FROM sessions WHERE id = ? AND NOT EXISTS (SELECT 1 FROM facts WHERE session = sessions.id)",
                (session_id,),
            )
            return gone.rowcount > 0

    def append(self, session_id: str, records: Sequence[Record]) -> None:
        """Commit one event's facts together; on return they are on the disk.

        Numbers must carry on from the session's last (from 1), else JournalError and nothing is
        written. The session's state follows its facts in the same transaction.
        """
        rows = [_row(session_id, record) for record in records]
        if not rows:
            return
        with self._transaction() as connection:
            state, last = self._standing(session_id)
            for offset, record in enumerate(records, start=1):
                if record.n != last + offset:
                    raise JournalError(
                        f"session {session_id}: fact {record.n} does not follow {last + offset - 1}; "
                        "nothing was written: resume the session from the journal"
                    )
            connection.executemany("INSERT INTO facts VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
            after = state
            for record in records:
                after = state_after(after, record.fact)
            if after != state:
                connection.execute("UPDATE sessions SET state = ? WHERE id = ?", (after, session_id))

    def _standing(self, session_id: str) -> tuple[str, int]:
        found = self._connection.execute(
            "SELECT state, (SELECT max(n) FROM facts WHERE session = id) FROM sessions WHERE id = ?", (session_id,)
        ).fetchone()
        if found is None:
            raise JournalError(f"there is no session {session_id} in journal {self.path}")
        return found[0], found[1] or 0

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        # A journal moved or repaired under us would take facts that nobody reads again.
        if _identity(self.path) != self._identity:
            raise JournalError(f"journal {self.path} was moved or replaced while open; resume the session")
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):
                    if self._connection.in_transaction:
                        self._connection.execute("ROLLBACK")
                raise
        except sqlite3.Error as error:
            raise explained(error, self.path) from error

    # Reading

    def replay(self, session_id: str, with_gaps: bool = False) -> Iterator[Record]:
        """The session's facts in order, from 1.

        Raises JournalError for an unknown session or an unreadable fact and, unless with_gaps,
        where facts are missing (lost before a repair): what stands after a gap can't be trusted
        to drive a cut.
        """
        with translated(self.path):
            self._standing(session_id)
        return self._records(session_id, with_gaps)

    def _records(self, session_id: str, with_gaps: bool) -> Iterator[Record]:
        expected = 1
        decode = codec.decode
        with translated(self.path):
            cursor = self._connection.execute(
                "SELECT n, at, utc, kind, version, body FROM facts WHERE session = ? ORDER BY n", (session_id,)
            )
            try:
                for n, at, utc, kind, version, body in cursor:
                    if n != expected and not with_gaps:
                        raise JournalError(
                            f"session {session_id}: facts {expected} to {n - 1} are lost, so it can't be resumed; "
                            f"`kerfcall journal show {session_id}` tells what is known"
                        )
                    expected = n + 1
                    try:
                        fact = decode(kind, version, body)
                    except JournalError as error:
                        raise JournalError(f"session {session_id}, fact {n}: {error}") from error
                    yield Record(n, at, utc, fact)
            finally:
                cursor.close()

    def sessions(self) -> list[SessionRow]:
        """All sessions in order of creation."""
        with translated(self.path):
            cut = self._passes_cut()
            rows = self._connection.execute(
                "SELECT id, title, plan_digest, plan_path, started_utc, state, program_version, "
                "(SELECT count(*) FROM facts WHERE session = id), "
                "(SELECT at FROM facts WHERE session = id ORDER BY n DESC LIMIT 1), "
                "(SELECT utc FROM facts WHERE session = id ORDER BY n DESC LIMIT 1), "
                "(SELECT json_valid(body) AND json_extract(body, '$.rehearsed') FROM facts "
                "WHERE session = id AND n = 1) FROM sessions ORDER BY seq"
            ).fetchall()
        return [_session_row(row, cut.get(row[0], 0)) for row in rows]

    def _passes_cut(self) -> dict[str, int]:
        cut: dict[str, set[tuple[int, int]]] = defaultdict(set)
        for session, kind, text in self._connection.execute(
            "SELECT session, kind, body FROM facts WHERE kind IN ('pass_cut', 'stepped_back', 'jumped') "
            "ORDER BY session, n"
        ):
            try:
                body = json.loads(text)
                place = (body["setup"], body["pass"])
            except (ValueError, KeyError, TypeError) as error:
                raise JournalError(
                    f"session {session}: a fact of kind {kind!r} can't be read ({error!r}); "
                    "`kerfcall journal repair` sets it apart"
                ) from error
            if kind == "pass_cut":
                cut[session].add(place)
            else:
                cut[session].discard(place)
        return {session: len(places) for session, places in cut.items()}

    def latest_open(self) -> str | None:
        """The newest session that is neither finished nor ended early."""
        return self._newest("WHERE state = 'open'")

    def latest(self) -> str | None:
        """The newest session of all."""
        return self._newest("")

    def last_utc(self) -> str | None:
        """When the fact written last was made, ISO 8601; None where there is none."""
        with translated(self.path):
            row = self._connection.execute("SELECT utc FROM facts ORDER BY rowid DESC LIMIT 1").fetchone()
        return None if row is None else str(row[0])

    def _newest(self, where: str) -> str | None:
        with translated(self.path):
            row = self._connection.execute(f"SELECT id FROM sessions {where} ORDER BY seq DESC LIMIT 1").fetchone()
        return None if row is None else str(row[0])


def state_after(state: str, fact: Fact) -> str:
    """The session's state once this fact holds: open | finished | ended early.

    Going back from a finished session opens it again, and so does resuming one ended early.
    """
    if isinstance(fact, Finished):
        return "finished"
    if isinstance(fact, EndedEarly):
        return "ended early"
    if isinstance(fact, SteppedBack | Jumped) or (isinstance(fact, Resumed) and state == "ended early"):
        return "open"
    return state


def finish_repair(path: Path) -> None:
    """Put a finished repair in the journal's place.

    A log left beside it would be played into it, so that goes first; cut off half-way, the
    next opening finishes the work.
    """
    rebuilt = path.with_name(REBUILT)
    if not rebuilt.exists():
        return
    try:
        for suffix in ("-wal", "-shm"):
            path.with_name(FILE_NAME + suffix).unlink(missing_ok=True)
        os.replace(rebuilt, path)
    except OSError as error:
        raise JournalError(f"can't put the repaired journal in the place of {path}: {error}") from error


def _session_row(row: tuple[Any, ...], passes_cut: int) -> SessionRow:
    id, title, digest, path, started_utc, state, program, facts, at, utc, rehearsed = row
    newest = (at or 0.0, utc or "")
    return SessionRow(id, title, digest, path, started_utc, state, program, facts, passes_cut, *newest, bool(rehearsed))


def _row(session_id: str, record: Record) -> tuple[str, int, float, str, str, int, str]:
    if not math.isfinite(record.at):
        raise JournalError(f"session {session_id}, fact {record.n}: its time is {record.at}, not a number of seconds")
    fact = record.fact
    return (session_id, record.n, record.at, record.utc, fact.kind, fact.version, codec.encode(fact))


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        status = os.stat(path)
    except OSError:
        return None
    return status.st_dev, status.st_ino


def _local_date(utc: str) -> str:
    try:
        return datetime.fromisoformat(utc).astimezone().date().isoformat()
    except (ValueError, OverflowError) as error:
        raise JournalError(f"{utc!r} is no ISO 8601 time") from error


def _storable(text: str) -> str:
    """File names may hold bytes that are no text; they are written as \\x escapes."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise JournalError(
            f"can't make the journal's folder {folder}: {error.strerror or error}; "
            "choose one that you may write to with --state DIR"
        ) from error


@contextmanager
def one_at_a_time(folder: Path) -> Iterator[None]:
    """Opening, migrating and repairing are done by one process at a time."""
    from filelock import FileLock, Timeout

    path = folder / "locks" / "journal.lock"
    try:
        path.parent.mkdir(exist_ok=True)
        lock = FileLock(str(path))
        lock.acquire(timeout=10)
    except Timeout as error:
        raise JournalError(f"the journal in {folder} is being repaired or opened by another Kerfcall; wait") from error
    except (OSError, NotImplementedError) as error:
        raise JournalError(
            f"can't write in the journal's folder {folder}: {error}; "
            "give yourself the right to write there, or use --state DIR"
        ) from error
    try:
        yield
    finally:
        lock.release()
