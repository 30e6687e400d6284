"""Journals of the first schema are upgraded, completely or not at all. If that is not allowed, they are only read."""

from __future__ import annotations

import json
import os
import random
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import pytest

from assistant.__main__ import main as kerfcall
from assistant.errors import JournalError, SessionLocked
from assistant.journal import schema
from assistant.journal.lock import SessionLock
from assistant.journal.repair import repair
from assistant.journal.store import FILE_NAME, Journal
from tests.journal.made import FIXTURES, event, old_journal

ROOT = Path(__file__).parents[2]
BODIES = "SELECT session, n, at, utc, kind, version, body FROM facts ORDER BY session, n"


def rows(path: Path, query: str = BODIES) -> list[tuple]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(query).fetchall()


def version(state: Path) -> int:
    return int(rows(state / FILE_NAME, "PRAGMA user_version")[0][0])


def test_every_byte_of_a_fact_stays_as_its_release_wrote_it(tmp_path: Path) -> None:
    old_journal(tmp_path)
    before = rows(tmp_path / FILE_NAME)
    with Journal.open(tmp_path) as journal:
        assert all(not row.fault for row in journal.sessions())
    assert rows(tmp_path / FILE_NAME) == before and len(before) > 25
    assert version(tmp_path) == 2
    assert repair(tmp_path).healthy


def test_the_states_are_those_that_the_table_takes(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        journal.new_session("Tray", "", "", "2026-11-26T09:00:00+00:00")
    ((table, stored),) = rows(
        tmp_path / FILE_NAME, "SELECT sql, state FROM sqlite_master, sessions WHERE name = 'sessions'"
    )
    (taken,) = re.findall(r"state IN \(([^)]*)\)", table)
    assert taken == ", ".join(f"'{state}'" for state in schema.SessionState)
    assert stored == "open"


def test_an_upgraded_journal_goes_on(tmp_path: Path) -> None:
    old_journal(tmp_path)
    with Journal.open(tmp_path) as journal:
        row = journal.sessions()[-1]
        records = event(row.last + 1)
        journal.append(row.id, records)
        assert list(journal.replay(row.id))[-2:] == records
        new = journal.new_session("Next", "", "", "2026-11-26T09:00:00+00:00")
        assert journal.latest_open() == new


def test_faults_in_an_old_journal_are_kept_as_they_are(tmp_path: Path) -> None:
    """Blobs, missing times, broken JSON, a gap: each is named when it is read, and none stops the rest."""
    old_journal(
        tmp_path,
        "UPDATE facts SET body = x'ff00' WHERE rowid = 3",
        "UPDATE facts SET utc = x'ff' WHERE rowid = 4",
        "UPDATE facts SET at = 'soon' WHERE rowid = 5",
        "DELETE FROM facts WHERE rowid IN (7, 8)",
    )
    before = rows(tmp_path / FILE_NAME, "SELECT rowid, * FROM facts")
    first, *others = [session["id"] for session in json.loads((FIXTURES / "schema_1.json").read_text())]
    with Journal.open(tmp_path) as journal:
        assert {row.id: bool(row.fault) for row in journal.sessions()} == {first: True, **dict.fromkeys(others, False)}
        with pytest.raises(JournalError, match=rf"session {first}, fact 3 \('check_confirmed'\): .*repair"):
            list(journal.replay(first))
        for other in others:
            assert list(journal.replay(other))
    assert [row[:8] for row in rows(tmp_path / FILE_NAME, "SELECT rowid, * FROM facts")] == before
    assert [row[1:3] for row in rows(tmp_path / FILE_NAME, "SELECT * FROM gaps")] == [(7, 8)]
    repair(tmp_path)  # what is not a fact at all is set apart
    with Journal.open(tmp_path) as journal:
        kept = [record.n for record in journal.replay(first, with_gaps=True)]
    assert kept == [n for n in range(1, kept[-1] + 1) if n not in (3, 4, 5, 7, 8)]
    assert kept[-1] == max(row[2] for row in before if row[1] == first)


MIGRATE = """
import sys
from pathlib import Path
from assistant.journal.store import Journal
print(flush=True)
Journal.open(Path(sys.argv[1]))
"""


def size(log: Path) -> int:
    """In bytes; -1 while there is none. SQLite deletes its log whenever it likes."""
    try:
        return log.stat().st_size
    except FileNotFoundError:
        return -1


def test_after_a_kill_at_any_moment_the_journal_has_the_old_schema_or_the_new(tmp_path: Path) -> None:
    big = tmp_path / "big"
    old_journal(big)
    session = rows(big / FILE_NAME, "SELECT id FROM sessions")[-1][0]
    with closing(sqlite3.connect(big / FILE_NAME)) as connection, connection:
        body = '{"setup":1,"pass":1,"by":"pedal"}'
        many = [(session, n, float(n), "", "pass_cut", 1, body) for n in range(100, 10_100)]
        connection.executemany("INSERT INTO facts VALUES (?, ?, ?, ?, ?, ?, ?)", many)
    before, chance, seen = rows(big / FILE_NAME), random.Random(6), set()
    for number in range(60):
        # On a busy machine the upgrade can be over before anybody looks.
        if number >= 5 and 1 in seen:
            break
        state = tmp_path / str(number)
        shutil.copytree(big, state)
        with subprocess.Popen([sys.executable, "-c", MIGRATE, state], cwd=ROOT, stdout=subprocess.PIPE) as child:
            assert child.stdout is not None
            child.stdout.readline()
            log, written = state / f"{FILE_NAME}-wal", chance.randrange(0, 2_000_000)
            while child.poll() is None and size(log) < written:
                time.sleep(0.001)
            child.kill()
        seen.add(version(state))
        with closing(sqlite3.connect(state / FILE_NAME)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            (listed,) = connection.execute("SELECT max(version) FROM migrations").fetchone()
            columns = len(connection.execute("PRAGMA table_info(facts)").fetchall())
        assert (version(state), columns) in ((1, 7), (2, 8)) and listed == version(state)
        assert rows(state / FILE_NAME) == before
        with Journal.open(state) as journal:
            assert [row.fault for row in journal.sessions()] == ["", "", ""]
        assert rows(state / FILE_NAME) == before
        shutil.rmtree(state)
    assert 1 in seen, "some were killed in the midst"


def told(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str]:
    code = kerfcall(["journal", *map(str, words)])
    return code, capsys.readouterr().out


def test_an_old_journal_is_read_beside_the_running_session_and_left_as_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An older Kerfcall may still be writing to it, and it knows no seals."""
    new, old = tmp_path / "new", tmp_path / "old"
    old_journal(new)
    old_journal(old)
    session = rows(old / FILE_NAME, "SELECT id FROM sessions")[-1][0]
    wanted = [told(capsys, action, "--state", new) for action in ("list", "show", "export")]
    assert [code for code, _ in wanted] == [0, 0, 0]
    with SessionLock(old, session):
        assert [told(capsys, action, "--state", old) for action in ("list", "show", "export")] == wanted
        with Journal.open_beside(old) as journal:
            assert list(journal.replay(session))
            with pytest.raises(JournalError, match="you may only read it"):
                journal.new_session("t", "", "", "2026-11-25T12:00:00+00:00")
        with pytest.raises(SessionLocked, match=session):
            Journal.open(old)
    assert (version(old), version(new)) == (1, 2)


READ = """
import os, sys
import assistant.errors
from assistant.__main__ import main
state, other = sys.argv[1:]
for action in ("list", "show", "export"):  # what is to be imported is, while that is allowed
    main(["journal", action, "--state", other])
os.setgroups([])
os.setuid(65534)
for action in ("list", "show", "export"):
    print(action, main(["journal", action, "--state", state]), flush=True)
"""


@pytest.mark.skipif(not hasattr(os, "setuid") or os.getuid() != 0, reason="only the superuser becomes somebody else")
def test_an_old_journal_that_may_only_be_read_is_read(tmp_path: Path) -> None:
    old_journal(tmp_path)
    state = Path(tempfile.mkdtemp())
    try:
        old_journal(state)
        (state / FILE_NAME).chmod(0o444)
        state.chmod(0o555)
        command = [sys.executable, "-c", READ, str(state), str(tmp_path)]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)
        assert re.findall(r"^(?:list|show|export) \d+$", done.stdout, re.M) == ["list 0", "show 0", "export 0"], (
            done.stderr
        )
        assert version(state) == 1
    finally:
        state.chmod(0o755)
        shutil.rmtree(state)


@pytest.mark.parametrize("given", [-1, -(2**31), 0, 1, 3, 99, 2**31 - 1])
@pytest.mark.parametrize("old", [False, True])
def test_a_version_that_is_not_the_files_own_is_refused_and_repaired(tmp_path: Path, given: int, old: bool) -> None:
    old_journal(tmp_path)
    if not old:
        Journal.open(tmp_path).close()
    own = version(tmp_path)
    before = rows(tmp_path / FILE_NAME)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        connection.execute(f"PRAGMA user_version = {given}")
    if given == own:
        return
    for way in (Journal.open, Journal.open_to_read, Journal.open_beside):
        with pytest.raises(JournalError, match=r"journal .*`kerfcall journal repair`"):
            way(tmp_path)
    assert version(tmp_path) == given
    assert not repair(tmp_path).healthy
    with Journal.open(tmp_path) as journal:
        assert [row.fault for row in journal.sessions()] == ["", "", ""]
    assert rows(tmp_path / FILE_NAME) == before


def test_a_damaged_mark_is_repaired_too(tmp_path: Path) -> None:
    old_journal(tmp_path, "PRAGMA application_id = 7")
    with pytest.raises(JournalError, match="its mark as a journal is damaged .got 7.; `kerfcall journal repair`"):
        Journal.open(tmp_path)
    assert not repair(tmp_path).healthy
    with Journal.open(tmp_path) as journal:
        assert len(journal.sessions()) == 3


def test_which_numbers_are_missing() -> None:
    assert list(schema.missing([1, 2, 3], 3)) == []
    assert list(schema.missing([], 0)) == []
    assert list(schema.missing([], 2)) == [(1, 2)]
    assert list(schema.missing([3, 4, 8], 9)) == [(1, 2), (5, 7), (9, 9)]
