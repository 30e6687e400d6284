"""SQLite's and the disk's errors in our words, each with its mend."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from assistant.errors import Fault, JournalError, KerfcallError

_MENDS = {
    sqlite3.SQLITE_FULL: "the disk is full; make room and carry on: everything committed so far is kept",
    sqlite3.SQLITE_READONLY: "it may only be read; give yourself the right to write there, or use --state DIR",
    sqlite3.SQLITE_PERM: "access is refused; give yourself the right to write there, or use --state DIR",
    sqlite3.SQLITE_CANTOPEN: "it can't be opened; see that the folder exists and that you may write to it, "
    "or use --state DIR",
    sqlite3.SQLITE_CORRUPT: "it is damaged; `kerfcall journal repair` recovers what can be read",
    sqlite3.SQLITE_NOTADB: "it is no database or its beginning is damaged; "
    "`kerfcall journal repair` recovers what can be read",
    sqlite3.SQLITE_BUSY: "another program keeps it locked; end that program and try again",
    sqlite3.SQLITE_LOCKED: "another program keeps it locked; end that program and try again",
    sqlite3.SQLITE_IOERR: "the disk refused to read or write; see that it is not full, worn out or unplugged: "
    "everything committed so far is kept",
    sqlite3.SQLITE_NOMEM: "there is not enough memory; close other programs and try again",
    sqlite3.SQLITE_TOOBIG: "a fact is too big for it",
}


SET_APART = "`kerfcall journal repair` sets it apart"
RECOVERS = "`kerfcall journal repair` recovers what can be read"


def explained(error: sqlite3.Error | UnicodeDecodeError, path: Path) -> JournalError:
    """Our error for one of SQLite's: which file, what is wrong, what mends it."""
    code = (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF
    mend = _MENDS.get(code, "it can't be used as it is; `kerfcall journal repair` checks it")
    return JournalError(f"journal {path}: {mend} ({error})")


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """Inside, SQLite's errors become JournalError."""
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as error:  # its own message may quote damaged text
        raise explained(error, path) from error


def of_fact(
    path: Path | None, session: str, n: int, kind: str, what: str, mend: str = SET_APART, value: str = ""
) -> JournalError:
    """What is wrong with one fact, in four parts; where: journal, session, number and kind."""
    journal, named = f"journal {path}, " if path else "", f" ({kind!r:.40})" if kind else ""
    return JournalError(str(Fault(what, value, f"{journal}session {session}, fact {n}{named}", mend)))


@contextmanager
def naming(session: str, n: int, kind: str) -> Iterator[None]:
    """Inside, whatever else a fact's values lead to becomes a JournalError that names it."""
    try:
        yield
    except KerfcallError:
        raise
    except Exception as error:
        mend = "no Kerfcall writes such values; begin another session with `kerfcall cut`"
        raise of_fact(None, session, n, kind, "its values can't be shown", mend, f"{error!r:.200}") from error


def of_session(path: Path, session: str, what: str, mend: str, value: str = "") -> JournalError:
    """What is wrong with a session as a whole, in four parts."""
    return JournalError(str(Fault(what, value, f"journal {path}, session {session}", mend)))
