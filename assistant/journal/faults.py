"""Errors of SQLite and the disk in our own words, each with what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from assistant.errors import Fault, JournalError, KerfcallError

_MENDS = {
    sqlite3.SQLITE_FULL: "the disk is full; make room and carry on: everything committed so far is kept",
    sqlite3.SQLITE_READONLY: "you may only read it; give yourself permission to write there, or use --state DIR",
    sqlite3.SQLITE_PERM: "access is refused; give yourself permission to write there, or use --state DIR",
    sqlite3.SQLITE_CANTOPEN: "it can't be opened; check that the folder exists and that you may write to it, "
    "or use --state DIR",
    sqlite3.SQLITE_CORRUPT: "it is damaged; `kerfcall journal repair` recovers what can be read",
    sqlite3.SQLITE_NOTADB: "it is not a database or its beginning is damaged; "
    "`kerfcall journal repair` recovers what can be read",
    sqlite3.SQLITE_BUSY: "another program keeps it locked; end that program and try again",
    sqlite3.SQLITE_LOCKED: "another program keeps it locked; end that program and try again",
    sqlite3.SQLITE_IOERR: "the disk failed to read or write; check that it is not full, worn out or unplugged: "
    "everything committed so far is kept",
    sqlite3.SQLITE_NOMEM: "there is not enough memory; close other programs and try again",
    sqlite3.SQLITE_TOOBIG: "a fact is too big for it",
}


SET_APART = "`kerfcall journal repair` sets it apart"
RECOVERS = "`kerfcall journal repair` recovers what can be read"


def explained(error: sqlite3.Error | UnicodeDecodeError, path: Path) -> JournalError:
    """Our own error for one of SQLite's: which file, what is wrong, what to do."""
    # The low byte is the primary code; extended ones add detail above it (sqlite.org/rescode.html).
    code = (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF
    mend = _MENDS.get(code, "it can't be used as it is; check it with `kerfcall journal repair`")
    return JournalError(f"journal {path}: {mend} ({error})")


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """Inside, SQLite's errors become JournalError."""
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as error:  # SQLite's message itself may quote damaged text
        raise explained(error, path) from error


def of_fact(
    path: Path | None, session: str, n: int, kind: str, what: str, mend: str = SET_APART, value: str = ""
) -> JournalError:
    """An error about one fact, in four parts. Its place is journal, session, number and kind."""
    journal, named = f"journal {path}, " if path else "", f" ({kind!r:.40})" if kind else ""
    return JournalError(str(Fault(what, value, f"{journal}session {session}, fact {n}{named}", mend)))


@contextmanager
def naming(session: str, n: int, kind: str) -> Iterator[None]:
    """Inside, any other exception that a fact's values cause becomes a JournalError that names the fact."""
    try:
        yield
    except KerfcallError:
        raise
    except Exception as error:
        mend = "Kerfcall never writes such values; begin another session with `kerfcall cut`"
        raise of_fact(None, session, n, kind, "its values can't be shown", mend, f"{error!r:.200}") from error


def of_session(path: Path, session: str, what: str, mend: str, value: str = "") -> JournalError:
    """An error about a whole session, in four parts."""
    return JournalError(str(Fault(what, value, f"journal {path}, session {session}", mend)))
