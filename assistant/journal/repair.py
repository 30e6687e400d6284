"""Builds a new journal from what can be read of a damaged one. The damaged file stays beside it under another name.

What a seal proves is kept as it was written. What a seal disproves is left out and reported. The remaining facts are
chained again, and the numbers missing among them are recorded as gaps.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from assistant.errors import JournalError
from assistant.journal import codec, pages, private, schema
from assistant.journal.faults import translated
from assistant.journal.lock import no_session_running
from assistant.journal.pages import StoredRow
from assistant.journal.rows import state_after
from assistant.journal.schema import SessionState
from assistant.journal.seals import START, fact_seal, row_seal
from assistant.journal.store import REBUILT, finish_repair, journal_path, one_at_a_time
from assistant.session.facts import Started

_TITLE_LOST = "(title lost)"
_TABLES = ("sessions", "facts", "gaps")
_TORN = "the last facts written, if any: power was cut during writing, or the log is damaged"


@dataclass(frozen=True, slots=True)
class Repair:
    """What a repair did. healthy: nothing was changed. kept: where the damaged file is now. lost: in words."""

    healthy: bool
    sessions: int
    facts: int
    lost: tuple[str, ...]
    kept: Path | None


@dataclass(slots=True)
class Salvage:
    """Every reading of every row: the database and its log may both hold a row, and only one of them be damaged.

    sessions: by id, (seq, id, title, plan_digest, plan_path, started_utc, state, program_version, last, head, seal).
    facts: by session and number, as in the table. Seals are "" in rows from before there were seals. rowids: of the
    facts. gaps: session, first and last, and when it was found. unreadable: what is wrong with rows that are no fact.
    doubtful: facts that may not have been committed, so that only their seals can prove them. shown: by table, what
    SQLite itself shows, each row after its rowid.
    """

    sessions: dict[str, list[StoredRow]] = field(default_factory=lambda: defaultdict(list))
    facts: dict[tuple[str, int], list[StoredRow]] = field(default_factory=lambda: defaultdict(list))
    rowids: dict[tuple[str, int], int] = field(default_factory=dict)
    gaps: dict[StoredRow, str] = field(default_factory=dict)
    unreadable: dict[tuple[str, int], str] = field(default_factory=dict)
    doubtful: dict[tuple[str, int], list[StoredRow]] = field(default_factory=lambda: defaultdict(list))
    shown: dict[str, set[StoredRow]] = field(default_factory=lambda: defaultdict(set))

    def add(self, rowid: int, stored: StoredRow, doubtful: bool = False) -> None:
        """Add a row, recognised by its shape. Text stored as bytes is accepted as text: a seal will show if it is."""
        try:
            row = tuple(value.decode() if isinstance(value, bytes) else value for value in stored)
        except UnicodeDecodeError:
            return
        if _fits(row, (str, int, (int, float), str, str, int, str), (str,)):
            # -0.0 becomes 0.0, as it did before it was sealed.
            fact: StoredRow = (*row[:2], float(row[2]) + 0.0, *row[3:7], *(row[7:] or ("",)))
            place, fault = (fact[0], fact[1]), _fault_of(fact)
            if doubtful:
                if fact[7] and not fault:
                    self.doubtful[place].append(fact)
                    self.rowids.setdefault(place, rowid)
            elif fact[1] < 1:
                pass  # no session has such a number
            elif not fault:
                if fact not in self.facts[place]:
                    self.facts[place].append(fact)
                self.rowids.setdefault(place, rowid)
                self.unreadable.pop(place, None)
            elif place not in self.facts:
                self.unreadable[place] = fault
        elif _fits(row, (type(None), *(str,) * 7), (int, str, str)) and row[6] in tuple(SessionState):
            one = (rowid, *row[1:8], *(row[8:] or (0, "", "")))
            if not doubtful or _is_proved(one):
                self.sessions[row[1]].append(one)
        elif _fits(row, (str, int, int, str)) and not doubtful:
            self.gaps.setdefault(row[:3], row[3])


@dataclass(slots=True)
class Mended:
    """A repaired session. row: as in `Salvage`. facts: rowid and fact. placed: whether its row gives its order."""

    row: StoredRow
    placed: bool
    facts: list[tuple[int, StoredRow]]
    gaps: list[StoredRow]
    lost: list[str]


def repair(state_dir: Path | None = None) -> Repair:
    """Check the journal and rebuild it if damaged. No committed fact that can be read is lost.

    Raises SessionLocked while a session runs, JournalError if there is no journal, nothing of it
    can be read, it is another program's, or the disk fails.
    """
    path = journal_path(state_dir)
    if not path.exists() and not path.with_name(REBUILT).exists():
        raise JournalError(f"there is no journal {path} to repair")
    with one_at_a_time(path.parent), no_session_running(path.parent), _disk_faults_explained(path):
        finish_repair(path)
        private.tighten(path)
        with tempfile.TemporaryDirectory(prefix="repair-", dir=path.parent, ignore_cleanup_errors=True) as folder:
            return _repair_within(Path(folder), path)


def _repair_within(work: Path, path: Path) -> Repair:
    """Do the repair. work: an empty folder on the same disk as the journal, so that its files can be moved."""
    copy = work / "copy.sqlite3"
    _copy(path, copy)
    log = path.with_name(path.name + "-wal")
    log_bytes = log.read_bytes() if log.exists() else b""
    log_whole = pages.log_is_whole(log_bytes)
    version = _sound_version(copy)
    found = salvage(path.read_bytes(), log_bytes, copy)
    if not log_whole:
        for rowid, row in pages.rows_not_committed(path.read_bytes(), log_bytes):
            found.add(rowid, row, doubtful=True)
    numbers: dict[str, list[int]] = {session: [] for session in found.sessions}
    for session, n in sorted({**found.facts, **found.doubtful}):
        numbers.setdefault(session, []).append(n)
    all_mended = [_mend(found, session, present) for session, present in numbers.items()]
    lost = tuple(line for one in all_mended for line in one.lost)
    # A fact or a row with a damaged session name must not become a session.
    mended = _in_order([one for one in all_mended if one.facts or one.placed])
    facts = sum(len(one.facts) for one in mended)
    if version is not None and log_whole and _is_as_shown(found, mended, version):
        return Repair(True, len(mended), facts, lost, None)
    if not found.sessions and not found.facts:
        raise JournalError(
            f"nothing can be read from journal {path}; it was left as it is: use --state DIR for a new journal"
        )
    rebuilt = work / "rebuilt.sqlite3"
    _build(rebuilt, mended)
    kept = path.with_name(f"journal-damaged-{datetime.now(UTC):%Y%m%dT%H%M%S%fZ}.sqlite3")
    _copy(path, kept)
    # Both are on the disk now. After this rename the repair counts: `finish_repair` completes it if it is interrupted.
    os.replace(rebuilt, path.with_name(REBUILT))
    finish_repair(path)
    return Repair(False, len(mended), facts, lost if log_whole else (*lost, _TORN), kept)


def salvage(database: bytes, log: bytes, copy: Path) -> Salvage:
    """Everything readable: through SQLite from a copy that it may change, then from the pages of the original files."""
    found = Salvage()
    for table in _TABLES:
        with suppress(sqlite3.Error, UnicodeDecodeError), closing(schema.connect(copy, create=False)) as connection:
            # The table itself: an index may be the very thing that is damaged.
            for rowid, *row in connection.execute(f"SELECT rowid, * FROM {table} NOT INDEXED"):
                found.shown[table].add((rowid, *row))
                # On the pages, an INTEGER PRIMARY KEY is the rowid and is NULL in its row.
                found.add(rowid, (None, *row[1:]) if table == "sessions" else tuple(row))
    for rowid, row in pages.rows(database, log):
        found.add(rowid, row)
    return found


def _sound_version(copy: Path) -> int | None:
    """The schema's version if SQLite finds nothing wrong with the file, else None.

    Raises JournalError for an undamaged file of another program or a newer schema.
    """
    try:
        with closing(schema.connect(copy, create=False)) as connection:
            if connection.execute("PRAGMA integrity_check").fetchall() != [("ok",)]:
                return None
            # `integrity_check` leaves foreign keys out.
            if connection.execute("PRAGMA foreign_key_check").fetchall():
                return None
            return schema.version_of(connection, copy)
    except (sqlite3.Error, UnicodeDecodeError, schema.HeaderDamaged):
        return None


def _is_as_shown(found: Salvage, mended: list[Mended], version: int) -> bool:
    """Whether SQLite shows exactly the repaired journal: every row found, and every seal and gap as it must be."""
    facts = {(rowid, *fact) for one in mended for rowid, fact in one.facts}
    rows = {(one.row[0], *one.row) for one in mended}
    gaps = {gap[:3] for one in mended for gap in one.gaps}
    if version < 2:  # version 1 had no seals to compare
        rows, facts, gaps = {row[:9] for row in rows}, {fact[:-1] for fact in facts}, set()
    shown = found.shown
    shown_gaps = {gap[1:4] for gap in shown["gaps"]}
    return not found.unreadable and (rows, facts, gaps) == (shown["sessions"], shown["facts"], shown_gaps)


def _fits(row: StoredRow, kinds: tuple[Any, ...], more: tuple[Any, ...] = ()) -> bool:
    """Whether the row's values have these types. more: types of columns added later, all present or none."""
    if len(row) == len(kinds) + len(more):
        kinds = (*kinds, *more)
    return len(row) == len(kinds) and all(isinstance(value, kind) for value, kind in zip(row, kinds, strict=True))


def _fault_of(row: StoredRow) -> str:
    """Why this fact can't be read, or "". A fact of a newer version can't be judged here beyond being JSON."""
    kind, version, body = row[4:7]
    known = codec.CODECS.get(kind)
    try:
        if known is not None and version <= known.version:
            codec.decode(kind, version, body)
        else:
            json.loads(body)
    except (JournalError, ValueError, RecursionError) as error:
        return str(error)
    return ""


def _mend(found: Salvage, session: str, numbers: list[int]) -> Mended:
    """Repair one session: choose its facts and chain them again, make its row agree, and record what is missing."""
    lost = [f"session {session}, fact {n}: {why}" for (s, n), why in sorted(found.unreadable.items()) if s == session]
    rows = found.sessions.get(session, [])
    ends = {row[9].encode() for row in rows if row[9]}
    known_gaps = {gap[1:] for gap in found.gaps if gap[0] == session}
    readings = {n: Readings.of(found.facts[session, n], found.doubtful[session, n]) for n in numbers}
    chosen, apart = _choose(session, readings, known_gaps, ends)
    lost += [f"session {session}, fact {n} ({kind}) doesn't match its checksum" for n, kind in apart]
    facts: list[StoredRow] = []
    head, name = START, session.encode()
    state = SessionState.OPEN
    for content in chosen:
        head = _seal(head, name, content)
        facts.append((session, *content, head.decode()))
        with suppress(JournalError):  # a fact may be of a newer version, which can't be read here
            state = state_after(state, codec.decode(*content[3:]))
    row, placed, last, fault = _row_of(session, rows, chosen, head)
    gaps = list(schema.missing([fact[0] for fact in chosen], last))
    lost += [f"session {session}: facts {first} to {end} are missing" for first, end in gaps]
    lost += [f"session {session}: {fault}"] if fault else []
    texts = (*row[1:6], state, row[7])
    seal = row_seal(row[0], tuple(text.encode() for text in texts), last, head)
    now = schema.utc_now()
    return Mended(
        (row[0], *texts, last, head.decode(), seal.decode()),
        placed,
        [(found.rowids[session, fact[1]], fact) for fact in facts],
        [(session, first, end, found.gaps.get((session, first, end), now)) for first, end in gaps],
        lost,
    )


@dataclass(frozen=True, slots=True)
class Readings:
    """The different contents found at one place (n, at, utc, kind, version, body), and the seals.

    sure: the contents that were committed, each with the seal beside it.
    """

    contents: list[StoredRow]
    seals: set[bytes]
    sure: list[tuple[StoredRow, bytes]]

    @classmethod
    def of(cls, sure: list[StoredRow], doubtful: list[StoredRow]) -> Readings:
        """From rows as in the table of facts."""
        rows = sure + doubtful
        contents = list(dict.fromkeys(row[1:7] for row in rows))
        seals = {row[7].encode() for row in rows if row[7]}
        return cls(contents, seals, [(row[1:7], row[7].encode()) for row in sure])


def _seals_with(session: str, befores: Iterable[bytes], contents: Iterable[StoredRow]) -> dict[bytes, StoredRow]:
    """The seal of each of these contents after each of these seals."""
    name = session.encode()
    return {_seal(before, name, content): content for before in befores for content in contents}


def _seal(before: bytes, name: bytes, content: StoredRow) -> bytes:
    n, at, utc, kind, version, body = content
    return fact_seal(before, name, n, at, utc.encode(), kind.encode(), version, body.encode())


def _choose(
    session: str, readings: dict[int, Readings], gaps: set[StoredRow], ends: set[bytes]
) -> tuple[list[StoredRow], list[tuple[int, str]]]:
    """(the contents to keep, in order; the numbers and kinds of the facts whose content is disproved).

    A content is proved by its own seal, or, if that is damaged, by the seal after it, which depends on it: the next
    fact's or the row's. After a gap that was never recorded nothing can prove it. It is then kept as it was read if
    what follows is chained to its seal, which shows that it is in its place. Everything from before there were seals
    is kept as well. ends: the seals that rows give for the last fact.
    """
    kept: list[StoredRow] = []
    apart: list[tuple[int, str]] = []
    sealed = any(one.seals for one in readings.values())
    befores, expected = {START}, 1
    nexts = dict(zip(readings, list(readings)[1:], strict=False))
    for n, one in readings.items():
        after_gap = n != expected and (expected, n - 1) not in gaps
        expected = n + 1
        reckoned = _seals_with(session, befores, one.contents)
        following = nexts.get(n)

        def bears(seal: bytes, n: int = n, following: int | None = following) -> bool:
            if following is None:
                return seal in ends
            chained = following == n + 1 or (n + 1, following - 1) in gaps
            after = readings[following]
            return chained and bool(after.seals & _seals_with(session, [seal], after.contents).keys())

        proved = [s for s in reckoned if s in one.seals] or [s for s in reckoned if bears(s)]
        if proved:
            kept.append(reckoned[proved[0]])
            befores = {proved[0]}
            continue
        befores = one.seals | reckoned.keys()
        in_place = [content for content, seal in one.sure if not sealed or (after_gap and bears(seal))]
        if in_place:
            kept.append(in_place[0])
        else:
            apart.append((n, one.contents[0][3]))
    return kept, apart


def _row_of(
    session: str, rows: list[StoredRow], facts: list[StoredRow], head: bytes
) -> tuple[StoredRow, bool, int, str]:
    """(the session's row, whether its place in the order can be trusted, the number of its last fact, what is wrong).

    A row proved by its seal comes first, with most facts if there are several, then a row from before there were
    seals. If there is none at all, a row is made from the facts.
    """
    highest = facts[-1][0] if facts else 0
    proved = [row for row in rows if _is_proved(row)]
    if proved:
        row = max(proved, key=lambda one: one[8])
        return row, True, max(row[8], highest), ""
    for row in rows:
        if row[10] and _row_seal(row, highest, head) == row[10].encode():
            return row, True, highest, ""
    unsealed = [row for row in rows if not row[10]]
    damaged = [row for row in rows if row[10]]
    # If the chain ends as this row says, then something else in the row was damaged.
    last = max([highest, *(row[8] for row in damaged if row[9].encode() != head)])
    if unsealed:
        return unsealed[0], True, last, ""
    if damaged:
        return damaged[0], False, last, "its row doesn't match its checksum: title, plan and dates may be wrong"
    title, digest, begun = _TITLE_LOST, "", facts[0][2] if facts else ""
    with suppress(JournalError):
        fact = codec.decode(*facts[0][3:]) if facts else None
        if isinstance(fact, Started):
            title, digest = fact.job.title, fact.job.plan_digest
    return (0, session, title, digest, "", begun, SessionState.OPEN, ""), False, highest, "its row is missing"


def _is_proved(row: StoredRow) -> bool:
    return bool(row[10]) and _row_seal(row, row[8], row[9].encode()) == row[10].encode()


def _row_seal(row: StoredRow, last: int, head: bytes) -> bytes:
    return row_seal(row[0], tuple(text.encode() for text in row[1:8]), last, head)


def _in_order(mended: list[Mended]) -> list[Mended]:
    """In order of creation. Without a row that gives its order, a session goes by when its first fact was written."""
    ordered = sorted((one for one in mended if one.placed), key=lambda one: int(one.row[0]))
    strays = sorted((one for one in mended if not one.placed), key=_first_written)
    for stray in strays:
        first = _first_written(stray)
        later = (place for place, one in enumerate(ordered) if one.facts and _first_written(one) > first)
        ordered.insert(next(later, len(ordered)), stray)
    numbers = [int(one.row[0]) for one in ordered]
    if strays or len(set(numbers)) != len(numbers):
        for seq, one in enumerate(ordered, start=1):
            _, *texts, last, head, _ = one.row
            seal = row_seal(seq, tuple(text.encode() for text in texts), last, head.encode())
            one.row = (seq, *texts, last, head, seal.decode())
    return ordered


def _first_written(one: Mended) -> int:
    # No fact is ever deleted, so rowids ascend in the order of writing.
    return min((rowid for rowid, _ in one.facts), default=0)


def _build(target: Path, mended: list[Mended]) -> None:
    """Write the new database, complete and synced to the disk. Facts keep the order in which they were written."""
    facts = sorted((pair for one in mended for pair in one.facts), key=lambda pair: (pair[0], pair[1][:2]))
    private.make_file(target)
    with translated(target), closing(schema.connect(target, create=True)) as connection:
        schema.make_durable(connection, target)
        schema.migrate(connection, target)
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany(
            "INSERT INTO sessions (seq, id, title, plan_digest, plan_path, started_utc, state, program_version, "
            "last, head, seal) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [one.row for one in mended],
        )
        connection.executemany("INSERT INTO facts VALUES (?, ?, ?, ?, ?, ?, ?, ?)", [fact for _, fact in facts])
        connection.executemany("INSERT INTO gaps VALUES (?, ?, ?, ?)", [gap for one in mended for gap in one.gaps])
        connection.execute("COMMIT")
        # All of it into the one file: it is renamed into place without its log.
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    # A rename can reach the disk before the contents do.
    _sync(target)


def _copy(source: Path, target: Path) -> None:
    """Copy the database and its log. On return both are private and on the disk."""
    for suffix in ("", "-wal"):
        part = source.with_name(source.name + suffix)
        if part.exists():
            copied = target.with_name(target.name + suffix)
            private.make_file(copied)
            shutil.copyfile(part, copied)
            _sync(copied)


def _sync(path: Path) -> None:
    with open(path, "r+b") as file:
        os.fsync(file.fileno())


@contextmanager
def _disk_faults_explained(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise JournalError(
            f"can't repair journal {path}: {error}; make room on the disk and check that you may write there: "
            "the journal was left as it is"
        ) from error
