"""`Journal`: appends facts, those of each event in one transaction synced to the disk, and plays them back.

A session's id is its local date and a count within that day, "2026-11-25-1": short enough to
say, and its parts sort as numbers. The order of creation is stored separately (`seq`), so that "the latest"
is right even if the clock was set back.
"""

from __future__ import annotations

import math
import os
import re
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from assistant import __version__
from assistant.errors import Fault, JournalError, SessionLocked
from assistant.journal import codec, private, schema
from assistant.journal.faults import RECOVERS, explained, of_fact, of_session, translated
from assistant.journal.lock import no_session_running
from assistant.journal.pages import log_is_whole
from assistant.journal.rows import CheckedRow, SessionRow, Sum, session_row, state_after, text_of
from assistant.journal.schema import SessionState
from assistant.journal.seals import START, fact_seal, row_seal
from assistant.session.facts import Record

FILE_NAME = "journal.sqlite3"
_PATIENCE_S = (0.05, 0.2, 0.5)  # waits between looks at a log that another process may be writing
_COUNT = re.compile(r"[0-9]{1,9}")  # of a session within its day
REBUILT = FILE_NAME + ".rebuilt"  # a finished repair that has not yet taken the journal's place


def default_state_dir() -> Path:
    """The user's own data folder for Kerfcall."""
    from platformdirs import user_data_path

    return user_data_path("kerfcall", appauthor=False)


def journal_path(state_dir: Path | None) -> Path:
    """Where the journal of this state folder (None: the user's own) is."""
    return (default_state_dir() if state_dir is None else Path(state_dir)) / FILE_NAME


class Journal:
    """An open journal. It belongs to the thread that opened it. Every error is a JournalError."""

    def __init__(self, path: Path, connection: sqlite3.Connection):
        self.path = path
        self._connection = connection
        self._identity = _identity(path)

    @classmethod
    def open(cls, state_dir: Path | None = None) -> Journal:
        """Open the journal in this folder, making both if missing, and bring its schema up to date.

        Raises SessionLocked if its schema would have to change while a session is running.
        """
        path = journal_path(state_dir)
        folder = path.parent
        try:
            private.make_folder(folder, tighten_it=folder == default_state_dir())
        except OSError as error:
            raise JournalError(
                f"can't make the journal's folder {folder}: {error.strerror or error}; "
                "with --state DIR, choose a folder that you may write to"
            ) from error
        with one_at_a_time(folder), translated(path):
            # First of all: the log that lies here belongs to the journal that the repair replaces.
            finish_repair(path)
            _refuse_broken_log(path)
            _make_private(path)
            connection = schema.connect(path, create=True)
            try:
                with ExitStack() as held:
                    # Version 0 is a new, empty file, in which no session can be running.
                    if 0 < schema.version_of(connection, path) < len(schema.MIGRATIONS):
                        held.enter_context(no_session_running(folder))
                    schema.make_durable(connection, path)
                    schema.migrate(connection, path)
            except BaseException:
                connection.close()
                raise
        return cls(path, connection)

    @classmethod
    def open_to_read(cls, state_dir: Path | None = None) -> Journal:
        """Like `open`, but a read-only folder will do, and so will an older schema that may not be changed.

        The journal must exist.
        """
        path = journal_path(state_dir)
        if not path.exists() and not path.with_name(REBUILT).exists():
            raise JournalError(f"there is no journal {path}; `kerfcall cut` begins one")
        try:
            return cls.open(state_dir)
        except (JournalError, SessionLocked) as refusal:
            journal = cls._open_read_only(path)
            if journal is None:
                raise refusal
            return journal

    @classmethod
    def open_beside(cls, state_dir: Path | None = None) -> Journal:
        """Open only to read, even while another process writes: takes no lock, changes nothing. It must exist."""
        path = journal_path(state_dir)
        if not path.exists():
            raise JournalError(f"there is no journal {path}; `kerfcall cut` begins one")
        with translated(path):
            connection = schema.connect_beside(path)
            try:
                return cls(path, schema.brought_up(connection, path))
            except BaseException:
                connection.close()
                raise

    @classmethod
    def _open_read_only(cls, path: Path) -> Journal | None:
        """None if that fails too: the error of the first attempt then says more."""
        try:
            _refuse_broken_log(path)
            connection = schema.connect_read_only(path)
        except (sqlite3.Error, OSError, JournalError):
            return None
        try:
            with translated(path):
                return cls(path, schema.brought_up(connection, path))
        except JournalError:
            connection.close()
            return None

    def close(self) -> None:
        """Close the journal. Safe to repeat."""
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
        """Make a new open session and return its id. utc: ISO 8601 with its offset; the id has its local date."""
        try:
            date = datetime.fromisoformat(utc).astimezone().date().isoformat()
        except (ValueError, OverflowError) as error:
            raise JournalError(f"{utc!r} is not an ISO 8601 time") from error
        with self._transaction() as connection:
            ids = connection.execute("SELECT id FROM sessions WHERE substr(id, 1, 11) = ?", (f"{date}-",))
            counts = (row[0][11:] for row in ids)
            number = max((int(n) for n in counts if _COUNT.fullmatch(n)), default=0) + 1
            session_id = f"{date}-{number}"
            (seq,) = connection.execute("SELECT coalesce(max(seq), 0) + 1 FROM sessions").fetchone()
            state = SessionState.OPEN
            texts = (session_id, _storable(title), plan_digest, _storable(plan_path), utc, state, __version__)
            seal = row_seal(seq, tuple(text.encode() for text in texts), 0, START)
            connection.execute(
                "INSERT INTO sessions (seq, id, title, plan_digest, plan_path, started_utc, state, program_version, "
                "last, head, seal) VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0, '', ?)",
                (seq, *texts, seal.decode()),
            )
        return session_id

    def discard_unbegun(self, session_id: str) -> bool:
        """Remove a session that has no facts; any other stays as it is. Returns whether it was removed."""
        with self._transaction() as connection:
            gone = connection.execute(
                "DELETE FROM sessions WHERE id = ? AND NOT EXISTS (SELECT 1 FROM facts WHERE session = sessions.id)",
                (session_id,),
            )
            return gone.rowcount > 0

    def append(self, session_id: str, records: Sequence[Record]) -> None:
        """Commit one event's facts together. On return they are on the disk.

        Their numbers must follow the session's last (from 1), or else JournalError is raised and nothing is
        written. The session's state, last number and head of the chain are updated in the same transaction.
        """
        if not records:
            return
        name = session_id.encode()
        contents = []
        for record in records:
            if not math.isfinite(record.at):
                what = f"its time is {record.at}, not a number of seconds"
                raise JournalError(f"session {session_id}, fact {record.n}: {what}")
            at = float(record.at) + 0.0  # turns -0.0 into 0.0: SQLite doesn't keep it, but the seal would
            fact = record.fact
            contents.append((record.n, at, record.utc, fact.kind, fact.version, codec.encode(fact)))
        with self._transaction() as connection:
            stored = self._row_of(session_id)
            last, head, state = stored.last, stored.head, stored.state
            sealed = []
            for record, (n, at, utc, kind, version, body) in zip(records, contents, strict=True):
                if n != last + 1:
                    raise JournalError(
                        f"session {session_id}: fact {n} does not follow {last}; "
                        "nothing was written: resume the session from the journal"
                    )
                last = n
                head = fact_seal(head, name, n, at, utc.encode(), kind.encode(), version, body.encode())
                sealed.append((session_id, n, at, utc, kind, version, body, head.decode()))
                state = state_after(state, record.fact)
            connection.executemany("INSERT INTO facts VALUES (?, ?, ?, ?, ?, ?, ?, ?)", sealed)
            seal = stored.seal_with(state, last, head)
            connection.execute(
                "UPDATE sessions SET state = ?, last = ?, head = ?, seal = ? WHERE seq = ?",
                (state, last, head.decode(), seal.decode(), stored.seq),
            )

    def _row_of(self, session_id: str) -> CheckedRow:
        """The session's row. Raises JournalError if there is none, or if its seal doesn't match."""
        query = f"{schema.ROWS}, last, CAST(head AS BLOB), CAST(seal AS BLOB) FROM sessions WHERE id = ?"
        found = self._connection.execute(query, (session_id,)).fetchone()
        if found is None:
            # Only an index can hide a row that is there.
            scan = "SELECT 1 FROM sessions NOT INDEXED WHERE id = ?"
            if self._connection.execute(scan, (session_id,)).fetchone() is not None:
                raise of_session(self.path, session_id, "its entry in the index is damaged", RECOVERS)
            raise JournalError(
                f"there is no session {session_id} in journal {self.path}; `kerfcall journal list` lists them all"
            )
        return self._checked(found)

    def _checked(self, row: tuple[Any, ...]) -> CheckedRow:
        seq, *texts, last, head, seal = row
        if row_seal(seq, tuple(texts), last, head) != seal or type(last) is not int:
            named = str(texts[0] or b"", "utf-8", "backslashreplace")
            raise of_session(self.path, named, "its row doesn't match its checksum", RECOVERS)
        return CheckedRow(seq, tuple(text or b"" for text in texts), last, head or START)

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        # If the journal was moved or repaired while open, facts would go into a file that nobody reads again.
        if _identity(self.path) != self._identity:
            raise JournalError(f"journal {self.path} was moved or replaced while open; resume the session")
        try:
            # IMMEDIATE, since SQLite refuses, without waiting, a transaction that reads first and writes after another
            # process has written.
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            # Ctrl-C too: a transaction left open would keep every other writer out.
            except BaseException:
                with suppress(sqlite3.Error):
                    if self._connection.in_transaction:
                        self._connection.execute("ROLLBACK")
                raise
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise explained(error, self.path) from error

    # Reading

    def replay(self, session_id: str, with_gaps: bool = False) -> Iterator[Record]:
        """The session's facts in order, from 1, with every seal checked.

        Raises JournalError for an unknown session, for a fact that can't be read or isn't as it was written, and,
        unless with_gaps, if facts are lost: facts after a gap can't be trusted to lead a cut. A gap that no
        repair has recorded is always an error.
        """
        with translated(self.path):
            stored = self._row_of(session_id)
            query = "SELECT first, last FROM gaps WHERE session = ?"
            gaps = set(self._connection.execute(query, (session_id,)).fetchall())
        return self._records(session_id, stored, gaps, with_gaps)

    def _records(
        self, session_id: str, stored: CheckedRow, gaps: set[tuple[int, int]], with_gaps: bool
    ) -> Iterator[Record]:
        expected, head, name, last = 1, START, session_id.encode(), stored.last
        decode = codec.decode
        query = f"SELECT {schema.FACTS}, CAST(seal AS BLOB) FROM facts WHERE session = ? AND n <= ? ORDER BY n"
        with translated(self.path):
            cursor = self._connection.execute(query, (session_id, last))
            try:
                for n, at, utc, kind, version, body, seal in cursor:
                    if n != expected:
                        self._gap(session_id, expected, n, gaps, with_gaps)
                    expected = n + 1
                    head = fact_seal(head, name, n, at, utc, kind, version, body)
                    if head != seal:
                        raise of_fact(self.path, session_id, n, text_of(kind), "it doesn't match its checksum")
                    try:
                        fact = decode(kind.decode(), version, body.decode())
                        if type(at) is not float or not math.isfinite(at):
                            raise JournalError(f"its time is {at!r:.40}, not a number of seconds")
                        record = Record(n, at, utc.decode(), fact)
                    except codec.TooNew as error:
                        what, _, mend = str(error).rpartition("; ")
                        raise of_fact(self.path, session_id, n, text_of(kind), what, mend) from error
                    except Exception as error:
                        what = str(error) if isinstance(error, JournalError) else f"it can't be read: {error!r:.200}"
                        raise of_fact(self.path, session_id, n, text_of(kind), what) from error
                    yield record
            finally:
                with suppress(sqlite3.ProgrammingError):  # a caller that stopped half-way may have closed the journal
                    cursor.close()
            if expected <= last:
                self._gap(session_id, expected, last + 1, gaps, with_gaps)
            if head != stored.head or self._goes_on(session_id, last):
                what = "its facts don't end where its row says they do"
                raise of_session(self.path, session_id, what, RECOVERS, f"fact {expected - 1}")

    def _gap(self, session_id: str, expected: int, n: object, gaps: set[tuple[int, int]], with_gaps: bool) -> None:
        """Raise JournalError for numbers missing before n, unless with_gaps allows a gap that was recorded."""
        if type(n) is not int or n < expected:
            raise of_fact(self.path, session_id, expected, "", "another fact is in its place", RECOVERS, f"{n!r:.40}")
        left_out = f"facts {expected} to {n - 1} are"
        if (expected, n - 1) not in gaps:
            raise of_session(self.path, session_id, f"{left_out} missing", RECOVERS)
        if not with_gaps:
            raise of_session(
                self.path,
                session_id,
                f"{left_out} lost, so it can't be resumed",
                f"`kerfcall journal show {session_id}` shows what is known; `kerfcall cut` begins another",
            )

    def _goes_on(self, session_id: str, last: int) -> bool:
        """Whether there are facts after the last that the row gives, unless they were written in the meantime."""
        query = "SELECT 1 FROM facts WHERE session = ? AND n > ? LIMIT 1"
        if self._connection.execute(query, (session_id, last)).fetchone() is None:
            return False
        return self._row_of(session_id).last == last

    def sessions(self) -> list[SessionRow]:
        """All sessions in order of creation. A row's `fault` says what is wrong with the session's facts.

        Raises JournalError if a row is missing or isn't as it was written, since it is then not known which session is
        the newest.
        """
        with translated(self.path):
            self._connection.execute("BEGIN")  # rows and facts as of one moment, even while another process writes
            try:
                rows = self._all_rows()
                sums = self._sums({row.texts[0]: row for row in rows})
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
        return [session_row(row, sums[row.texts[0]]) for row in rows]

    def _all_rows(self) -> list[CheckedRow]:
        """All rows in order of creation, with every seal checked."""
        query = f"{schema.ROWS}, last, CAST(head AS BLOB), CAST(seal AS BLOB) FROM sessions ORDER BY seq"
        return [self._checked(row) for row in self._connection.execute(query)]

    def _sums(self, rows: dict[bytes, CheckedRow]) -> dict[bytes, Sum]:
        """The totals of each session for the list, by its id, from one walk through all facts."""
        sums = {name: Sum() for name in rows}
        query = f"SELECT CAST(session AS BLOB), {schema.FACTS}, CAST(seal AS BLOB) FROM facts ORDER BY session, n"
        current, one = b"", Sum()
        for name, n, at, utc, kind, version, body, seal in self._connection.execute(query):
            if name != current:
                if name not in sums:
                    raise of_session(self.path, text_of(name), "it has facts, but its row is missing", RECOVERS)
                current, one = name, sums[name]
            one.add(n, at, utc, kind, body, seal, fact_seal(one.head, name, n, at, utc, kind, version, body))
        for name, one in sums.items():
            row = rows[name]
            if not one.fault and (one.last, one.head) != (row.last, row.head):
                # A gap at the end that a repair recorded is not a fault: the head is then that of the last fact kept.
                query = "SELECT 1 FROM gaps WHERE session = ? AND last = ?"
                known = self._connection.execute(query, (text_of(name), row.last)).fetchone()
                if one.head != row.head or known is None:
                    one.fault = f"its facts end at {one.last}, not at {row.last}"
        return sums

    def latest_open(self) -> str | None:
        """The newest session that is neither finished nor ended early."""
        with translated(self.path):
            found = [row for row in self._all_rows() if row.state == SessionState.OPEN]
        return text_of(found[-1].texts[0]) if found else None

    def last_utc(self) -> str | None:
        """When the fact written last was made, ISO 8601; None if there is none."""
        with translated(self.path):
            row = self._connection.execute("SELECT CAST(utc AS BLOB) FROM facts ORDER BY rowid DESC LIMIT 1").fetchone()
        return None if row is None else text_of(row[0])


def finish_repair(path: Path) -> None:
    """Put a finished repair in the journal's place.

    An old log left beside it would be played into it, so the log is removed first. If this is
    interrupted, the next opening completes it.
    """
    rebuilt = path.with_name(REBUILT)
    if not rebuilt.exists():
        return
    try:
        for suffix in ("-wal", "-shm"):
            path.with_name(FILE_NAME + suffix).unlink(missing_ok=True)
        os.replace(rebuilt, path)
    except OSError as error:
        raise JournalError(f"can't put the repaired journal in place of {path}: {error}") from error


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        status = os.stat(path)
    except OSError:
        return None
    return status.st_dev, status.st_ino


def _storable(text: str) -> str:
    r"""The text in a form that can be stored: bytes of file names that aren't text become \x escapes."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _make_private(path: Path) -> None:
    """Make the file private before SQLite would make it for all to read. SQLite's other files copy its permissions."""
    try:
        private.make_file(path)
    except OSError as error:
        raise JournalError(
            f"can't make journal {path}: {error.strerror or error}; "
            "give yourself permission to write there, or use --state DIR"
        ) from error
    for suffix in ("-wal", "-shm"):
        private.tighten(path.with_name(path.name + suffix))


def _refuse_broken_log(path: Path) -> None:
    """Raise JournalError if SQLite would skip a part of the log that was written, and later delete it.

    Another process may be writing at this moment, so only a log that stays broken counts as broken.
    """
    log = path.with_name(path.name + "-wal")
    for pause in (*_PATIENCE_S, 0.0):
        try:
            if log_is_whole(log.read_bytes()):
                return
        except FileNotFoundError:
            return
        except OSError as error:
            raise JournalError(
                f"can't read {log}: {error.strerror or error}; give yourself permission to read it"
            ) from error
        time.sleep(pause)
    what = "a part of its log is damaged, or power was cut during writing"
    raise JournalError(str(Fault(what, log.name, f"journal {path}", RECOVERS)))


@contextmanager
def one_at_a_time(folder: Path) -> Iterator[None]:
    """Inside, no other process opens, migrates or repairs the journal of this folder."""
    from filelock import FileLock, Timeout

    path = folder / "locks" / "journal.lock"
    try:
        private.make_folder(path.parent, tighten_it=True)
        lock = FileLock(str(path), mode=private.FILE)
        lock.acquire(timeout=10)
        private.tighten(path)
    except Timeout as error:
        what = f"another Kerfcall is repairing or opening the journal in {folder}"
        raise JournalError(f"{what}; wait and try again") from error
    except (OSError, NotImplementedError) as error:
        raise JournalError(
            f"can't write in the journal's folder {folder}: {error}; "
            "give yourself permission to write there, or use --state DIR"
        ) from error
    try:
        yield
    finally:
        lock.release()
