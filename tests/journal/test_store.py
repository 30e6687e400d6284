"""Acknowledged facts are on the disk. What can't be trusted is refused, with the fix."""

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
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import IO

import pytest

from assistant.errors import JournalError
from assistant.journal import schema
from assistant.journal.repair import repair
from assistant.journal.store import FILE_NAME, Journal, state_after
from assistant.session import facts as f
from tests import forked
from tests.journal.made import SAMPLE, UTC, edited, event, journal_with, records

ROOT = Path(__file__).parents[2]


def outside(state: Path, query: str) -> list[tuple]:
    """The journal as any other SQLite program sees it."""
    with closing(sqlite3.connect(state / FILE_NAME)) as connection:
        return connection.execute(query).fetchall()


def test_facts_come_back_as_they_were_appended(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    with Journal.open(tmp_path) as journal:
        assert list(journal.replay(session)) == records(SAMPLE)


def test_another_sqlite_program_reads_the_documented_tables(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    assert outside(tmp_path, "SELECT id, title, plan_digest, plan_path, started_utc, state FROM sessions") == [
        (session, "Nesting tea trays", "ab" * 32, "trays.toml", UTC, "finished")
    ]
    rows = outside(tmp_path, "SELECT n, at, kind, version, body FROM facts ORDER BY n")
    assert [row[0] for row in rows] == list(range(1, len(SAMPLE) + 1))
    assert rows[4][1:4] == (10.0, "pass_cut", 1)
    assert json.loads(rows[4][4]) == {"setup": 1, "pass": 1, "by": "pedal"}
    assert outside(tmp_path, "PRAGMA integrity_check") == [("ok",)]
    assert outside(tmp_path, "PRAGMA user_version") == [(2,)]
    assert [row[0] for row in outside(tmp_path, "SELECT version FROM migrations")] == [1, 2]
    assert outside(tmp_path, "SELECT last FROM sessions") == [(len(SAMPLE),)]


@pytest.mark.skipif(shutil.which("sqlite3") is None, reason="the sqlite3 program is not installed")
def test_the_sqlite3_program_finds_it_sound(tmp_path: Path) -> None:
    journal_with(tmp_path)
    query = "PRAGMA integrity_check; SELECT count(*) FROM facts WHERE kind = 'pass_cut';"
    done = subprocess.run(["sqlite3", tmp_path / FILE_NAME, query], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["ok", "4"]


def test_every_commit_reaches_the_disk_before_it_returns(tmp_path: Path) -> None:
    """SQLite's manual: WAL with synchronous = FULL (2) syncs the log at each commit."""
    with Journal.open(tmp_path) as journal:
        assert journal._connection.execute("PRAGMA synchronous").fetchone() == (2,)
        assert journal._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


@pytest.mark.parametrize("first", [2, 0, -1])
def test_numbers_must_carry_on(tmp_path: Path, first: int) -> None:
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("t", "", "", UTC)
        with pytest.raises(JournalError, match=rf"fact {first} does not follow 0"):
            journal.append(session, records([f.SetupStarted(1)], first))


def test_a_refused_event_leaves_nothing_behind(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("t", "", "", UTC)
        good, other = records([f.SetupStarted(1)])[0], records([f.Finished()], 3)[0]
        with pytest.raises(JournalError, match="fact 3 does not follow 1"):
            journal.append(session, [good, other])
        with pytest.raises(JournalError, match="fact 1: its time is nan"):
            journal.append(session, [f.Record(1, float("nan"), UTC, f.SetupStarted(1))])
        assert list(journal.replay(session)) == []
        assert journal.latest_open() == session
        journal.append(session, [good])
        assert list(journal.replay(session)) == [good]


def test_only_a_session_without_a_fact_can_be_discarded(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    with Journal.open(tmp_path) as journal:
        empty = journal.new_session("Spice drawer", "cd" * 32, "drawer.toml", UTC)
        assert not journal.discard_unbegun(session)
        assert journal.discard_unbegun(empty) and not journal.discard_unbegun(empty)
        assert [row.id for row in journal.sessions()] == [session]
        assert list(journal.replay(session)) == records(SAMPLE)
        assert journal.new_session("Spice drawer", "cd" * 32, "drawer.toml", UTC) == empty


def test_a_skipped_id_makes_no_other_come_twice(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        first, second = (journal.new_session("t", "ab" * 32, "t.toml", UTC) for _ in range(2))
        assert journal.discard_unbegun(first)
        third = journal.new_session("t", "ab" * 32, "t.toml", UTC)
    assert [int(name.rpartition("-")[2]) for name in (first, second, third)] == [1, 2, 3]


def test_what_is_written_while_a_session_is_read_neither_shows_nor_counts_as_damage(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    with Journal.open(tmp_path) as journal, Journal.open_beside(tmp_path) as beside:
        reading = beside.replay(session)
        journal.append(session, records([f.Noted(1, 0, "a knot")], first=len(SAMPLE) + 1))
        assert list(reading) == records(SAMPLE)
        assert len(list(beside.replay(session))) == len(SAMPLE) + 1


def test_unknown_sessions_are_refused(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        with pytest.raises(JournalError, match="no session 2001-01-01-1"):
            journal.append("2001-01-01-1", records([f.SetupStarted(1)]))
        with pytest.raises(JournalError, match="no session 2001-01-01-1"):
            journal.replay("2001-01-01-1")


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    """Sets the time zone of this process."""
    if not hasattr(time, "tzset"):
        pytest.skip("the time zone can't be set on this system")

    def turn(name: str) -> None:
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield turn
    monkeypatch.undo()
    time.tzset()


def test_a_session_begun_after_local_midnight_has_the_new_date(tmp_path: Path, zone: Callable[[str], None]) -> None:
    """POSIX: TZ "AAA-13" is thirteen hours ahead of UTC, "BBB11" eleven behind."""
    with Journal.open(tmp_path) as journal:
        zone("AAA-13")
        assert journal.new_session("t", "", "", "2026-11-25T12:00:00+00:00") == "2026-11-26-1"
        zone("BBB11")
        assert journal.new_session("t", "", "", "2026-11-25T10:00:00+00:00") == "2026-11-24-1"


def test_ids_are_the_local_date_and_a_count_and_sort_as_created(tmp_path: Path, zone: Callable[[str], None]) -> None:
    zone("UTC0")
    with Journal.open(tmp_path) as journal:
        ids = [journal.new_session(str(n), "", "", "2026-11-25T12:00:00+00:00") for n in range(12)]
        back = journal.new_session("clock set back", "", "", "2026-11-20T12:00:00+00:00")
        assert ids == [f"2026-11-25-{n}" for n in range(1, 13)]
        assert back == "2026-11-20-1"
        assert [row.id for row in journal.sessions()] == [*ids, back]
        assert journal.latest_open() == back
        with pytest.raises(JournalError, match="'noon' is not an ISO 8601 time"):
            journal.new_session("t", "", "", "noon")


def test_the_state_follows_the_facts(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("t", "", "", UTC)
        seen = []
        for n, fact in enumerate(
            [
                f.PassCut(1, 1, "pedal"),
                f.Finished(),
                f.SteppedBack(1, 1),
                f.PassCut(1, 1, "pedal"),
                f.Finished(),
                f.Jumped(1, 1),
                f.EndedEarly(1, 1),
                f.Resumed(1, 1),
            ],
            start=1,
        ):
            journal.append(session, records([fact], n))
            seen.append(journal.sessions()[0].state)
        assert seen == ["open", "finished", "open", "open", "finished", "open", "ended early", "open"]
        assert journal.latest_open() == session
    assert state_after("finished", f.Resumed(1, 0)) == "finished"


def test_the_list_counts_passes_that_are_cut_now(tmp_path: Path) -> None:
    """SAMPLE cuts two passes, takes one back and cuts it again, then jumps to the other and cuts that again."""
    journal_with(tmp_path)
    with Journal.open(tmp_path) as journal:
        (row,) = journal.sessions()
        assert (row.facts, row.passes_cut, row.state) == (24, 2, "finished")
        assert (row.last_at, row.last_utc) == (48.0, records(SAMPLE)[-1].utc)


@pytest.mark.parametrize("taken_back", [f.Jumped(1, 1), f.SteppedBack(1, 1)])
def test_a_pass_taken_back_and_not_cut_since_is_not_counted(tmp_path: Path, taken_back: f.Fact) -> None:
    journal_with(tmp_path, [f.PassCut(1, 1, "pedal"), f.PassCut(1, 2, "pedal"), taken_back])
    with Journal.open(tmp_path) as journal:
        (row,) = journal.sessions()
    assert row.passes_cut == 1


def test_passes_of_a_setup_that_another_one_replaces_are_not_counted(tmp_path: Path) -> None:
    change = f.JobExtended((), (), (2,), "other blade", "4/1")
    journal_with(tmp_path, [f.PassCut(1, 1, "pedal"), f.PassCut(2, 1, "pedal"), change])
    with Journal.open(tmp_path) as journal:
        (row,) = journal.sessions()
    assert (row.passes_cut, row.fault) == (1, "")


def test_names_that_are_not_text_are_kept_as_escapes(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        journal.new_session("t", "", os.fsdecode(b"tr\xff.toml"), UTC)
        assert journal.sessions()[0].plan_path.startswith("tr\\")


def test_a_migration_and_its_record_commit_together_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session = journal_with(tmp_path)

    def halfway(connection: sqlite3.Connection) -> None:
        connection.execute("ALTER TABLE sessions ADD COLUMN bench TEXT")
        raise sqlite3.OperationalError("power lost")

    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, halfway))
    with pytest.raises(JournalError, match="power lost"):
        Journal.open(tmp_path)
    assert outside(tmp_path, "PRAGMA user_version") == [(2,)]
    assert "bench" not in [row[1] for row in outside(tmp_path, "PRAGMA table_info(sessions)")]

    monkeypatch.setattr(
        schema,
        "MIGRATIONS",
        (*schema.MIGRATIONS[:-1], lambda c: c.execute("CREATE TABLE benches (name TEXT)")),
    )
    with Journal.open(tmp_path) as journal:
        assert len(list(journal.replay(session))) == len(SAMPLE)
    assert outside(tmp_path, "PRAGMA user_version") == [(3,)]
    assert [row[0] for row in outside(tmp_path, "SELECT version FROM migrations")] == [1, 2, 3]


def test_a_newer_schema_is_refused_and_left_alone(tmp_path: Path) -> None:
    journal_with(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        connection.execute("INSERT INTO migrations VALUES (7, '', '')")
        connection.execute("PRAGMA user_version = 7")
    for way in (Journal.open, Journal.open_to_read, Journal.open_beside, repair):
        with pytest.raises(JournalError, match="schema version 7, this Kerfcall .* up to 2; upgrade"):
            way(tmp_path)
    assert outside(tmp_path, "PRAGMA user_version") == [(7,)]


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    with pytest.raises(JournalError, match="another program's database"):
        Journal.open(tmp_path)
    assert outside(tmp_path, "SELECT name FROM sqlite_master") == [("recipes",)]


def test_an_unreadable_fact_is_named_by_session_and_number(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    edited(tmp_path, "UPDATE facts SET kind = 'glued' WHERE n = 5")
    named = rf"{session}, fact 5 \('glued'\): unknown kind .*; upgrade it"
    with Journal.open(tmp_path) as journal, pytest.raises(JournalError, match=named):
        list(journal.replay(session))


@pytest.mark.parametrize("time", ["9e999", "-9e999"])
def test_a_time_that_is_no_number_of_seconds_is_refused_although_its_seal_is_right(tmp_path: Path, time: str) -> None:
    session = journal_with(tmp_path)
    edited(tmp_path, f"UPDATE facts SET at = {time} WHERE n = 5")
    named = rf"{session}, fact 5 .*its time is -?inf, not a number of seconds"
    with Journal.open(tmp_path) as journal, pytest.raises(JournalError, match=named):
        list(journal.replay(session))


def test_a_gap_stops_a_replay_unless_it_is_only_shown(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        connection.execute("DELETE FROM facts WHERE n IN (5, 6)")
    with Journal.open(tmp_path) as journal:
        for with_gaps in (False, True):
            with pytest.raises(JournalError, match="facts 5 to 6 are missing; `kerfcall journal repair`"):
                list(journal.replay(session, with_gaps))
    repair(tmp_path)
    with Journal.open(tmp_path) as journal:
        with pytest.raises(JournalError, match="facts 5 to 6 are lost, so it can't be resumed"):
            list(journal.replay(session))
        assert len(list(journal.replay(session, with_gaps=True))) == len(SAMPLE) - 2


def test_processes_that_open_a_new_journal_at_once_all_get_in(tmp_path: Path) -> None:
    script = (
        "import sys\nfrom pathlib import Path\nfrom assistant.journal.store import Journal\n"
        "with Journal.open(Path(sys.argv[1])) as j: print(j.new_session('t', '', '', '2026-11-25T12:00:00+00:00'))"
    )
    command = [sys.executable, "-c", script, str(tmp_path)]
    children = [
        subprocess.Popen(command, cwd=ROOT, env={**os.environ, "TZ": "UTC0"}, stdout=subprocess.PIPE, text=True)
        for _ in range(5)
    ]
    ids = {child.communicate(timeout=60)[0].strip() for child in children}
    assert ids == {f"2026-11-25-{n}" for n in range(1, 6)}


def _appender(state: Path, session: str) -> tuple[forked.Child, IO[bytes]]:
    """And what it prints."""
    reading, writing = os.pipe()
    words = ("append", str(state), session)
    child = forked.Child(words, ROOT, os.environ, stdout=writing, module="tests.journal.made")
    os.close(writing)
    return child, open(reading, "rb")


@pytest.mark.skipif(not forked.AVAILABLE, reason="the appender is forked off by its handle, which Linux has")
def test_killed_at_random_moments_every_acknowledged_fact_is_there_and_no_event_is_halved(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("t", "", "", UTC)
    chance, acknowledged = random.Random(20), 0
    for _ in range(50):
        child, shown = _appender(tmp_path, session)
        with shown:
            first = shown.readline()
            time.sleep(chance.uniform(0, 0.03))
            child.kill()
            said = [int(line) for line in (first + shown.read()).split(b"\n")[:-1]]
        assert child.wait() != 0
        acknowledged = max([acknowledged, *said])
        with Journal.open(tmp_path) as journal:
            held = list(journal.replay(session))
        assert acknowledged <= len(held) <= acknowledged + 2
        assert len(held) % 2 == 0
        acknowledged = len(held)
    assert held == [record for n in range(1, acknowledged, 2) for record in event(n)]
    assert outside(tmp_path, "PRAGMA integrity_check") == [("ok",)]


def test_a_log_cut_short_anywhere_leaves_the_facts_before_the_cut(tmp_path: Path) -> None:
    """As after an incomplete copy: whole events from the first on, never a fault."""
    with Journal.open(tmp_path / "a") as journal:
        session = journal.new_session("t", "", "", UTC)
        for n in range(1, 40, 2):
            journal.append(session, event(n))
        whole = (tmp_path / "a" / f"{FILE_NAME}-wal").read_bytes()
        base = (tmp_path / "a" / FILE_NAME).read_bytes()
    counts = []
    for cut in random.Random(4).sample(range(len(whole) // 2, len(whole)), 12) + [len(whole)]:
        state = tmp_path / str(cut)
        state.mkdir()
        (state / FILE_NAME).write_bytes(base)
        (state / f"{FILE_NAME}-wal").write_bytes(whole[:cut])
        with Journal.open(state) as journal:
            held = list(journal.replay(session))
        assert held == [record for n in range(1, len(held), 2) for record in event(n)]
        counts.append((cut, len(held)))
    assert [count for _, count in sorted(counts)] == sorted(count for _, count in counts)
    assert counts[-1] == (len(whole), 40)


@pytest.mark.skipif(sys.platform == "win32", reason="limits on file sizes are POSIX")
def test_when_files_can_grow_no_further_the_commit_is_refused_and_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("t", "", "", UTC)
    command = [sys.executable, "-m", "tests.journal.made", "fill", str(tmp_path), session, "200000"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True, timeout=120)
    refused, after = done.stdout.splitlines()
    last = int(refused.split()[0])
    assert last > 0
    assert "everything committed so far is kept" in refused
    assert after == f"{last + 2} after"
    with Journal.open(tmp_path) as journal:
        assert list(journal.replay(session)) == [r for n in range(1, last + 2, 2) for r in event(n)]


def test_a_full_disk_is_reported_as_full(tmp_path: Path) -> None:
    """SQLITE_FULL, brought about by the greatest number of pages that the file may have."""
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("t", "", "", UTC)
        (pages,) = journal._connection.execute("PRAGMA page_count").fetchone()
        journal._connection.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(JournalError, match="the disk is full; make room"):
            for n in range(1, 1000, 2):
                journal.append(session, event(n))
        held = len(list(journal.replay(session)))
        journal._connection.execute("PRAGMA max_page_count = 1000000")
        journal.append(session, event(held + 1))


READ_ONLY = """
import os, sys
from pathlib import Path
from typing import IO
import filelock, platformdirs, urllib.parse  # before the rights go: they may lie where nobody can't read
import assistant.errors
from assistant.journal.store import Journal
state = Path(sys.argv[1])
if hasattr(os, "geteuid") and os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
try:
    Journal.open(state)
except assistant.errors.JournalError as error:
    print("refused:", error)
with Journal.open_to_read(state) as journal:
    print(sum(1 for _ in journal.replay(sys.argv[2])), journal.sessions()[0].state)
    try:
        journal.new_session("t", "", "", "2026-11-25T12:00:00+00:00")
    except assistant.errors.JournalError as error:
        print("refused:", error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="folder rights are POSIX")
def test_a_folder_that_may_only_be_read_can_be_read_and_is_refused_for_writing() -> None:
    """Permissions don't bind the superuser, so the child becomes the user nobody, who may enter its folder."""
    state = Path(tempfile.mkdtemp())
    try:
        session = journal_with(state)
        for path in (state / FILE_NAME, state / "locks" / "journal.lock"):
            if path.exists():
                path.chmod(0o444)
        (state / "locks").chmod(0o555)
        state.chmod(0o555)
        done = subprocess.run(
            [sys.executable, "-c", READ_ONLY, str(state), session], cwd=ROOT, capture_output=True, text=True, timeout=60
        )
        assert done.returncode == 0, done.stderr
        opening, reading, writing = done.stdout.splitlines()
        assert opening.startswith("refused: can't write in the journal's folder") and "--state DIR" in opening
        assert reading == f"{len(SAMPLE)} finished"
        assert writing.startswith("refused:") and "you may only read it" in writing
    finally:
        state.chmod(0o755)
        (state / "locks").chmod(0o755)
        shutil.rmtree(state)


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(JournalError, match="can't make the journal's folder .*--state DIR"):
        Journal.open(tmp_path / "file" / "state")


def test_a_drive_without_a_write_ahead_log_is_refused(tmp_path: Path) -> None:
    """A network share answers the request for WAL with the mode that it keeps, as a database in memory does."""
    with closing(sqlite3.connect(":memory:")) as connection, pytest.raises(JournalError, match="network share"):
        schema.make_durable(connection, tmp_path / FILE_NAME)


@pytest.mark.parametrize("damage", [b"not a database at all" * 300, b"\x00" * 5000])
def test_a_damaged_file_names_repair(tmp_path: Path, damage: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(damage)
    with pytest.raises(JournalError, match="kerfcall journal repair"):
        Journal.open(tmp_path)


def test_a_journal_replaced_while_open_takes_no_more_facts(tmp_path: Path) -> None:
    session = journal_with(tmp_path, [f.SetupStarted(1)])
    with Journal.open(tmp_path) as journal:
        shutil.copy(tmp_path / FILE_NAME, tmp_path / "other")
        os.replace(tmp_path / "other", tmp_path / FILE_NAME)
        with pytest.raises(JournalError, match="moved or replaced while open"):
            journal.append(session, records([f.Finished()], 2))


def test_reading_creates_no_journal(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="there is no journal"):
        Journal.open_to_read(tmp_path / "none")
    assert not (tmp_path / "none").exists()


FIXTURES = Path(__file__).parent / "fixtures"
MEMBER = r"<\w+\.\w+: ('[^']*')>"
LATER = (
    r", layout='even'|, page=PageSettings\(may_record_cuts=False\)|, phrases=\(\), pronunciations=\(\)"
    r"|, denoiser='auto', endpoints='auto', acceptance='usual', loudspeaker='', loudness=0, tone=(?:True|False)"
    r"|, device='auto'|, down=False|, run_down_s=10.0|, clear_above=Fraction\(15, 1\)|, fractions=False"
    # Checks that can no longer be turned off.
    r"|, Check\(name='(?:guard|clamps and guard|carrying on|saw off|board out)', [^)]*\)"
)


@pytest.mark.parametrize("version", range(1, len(schema.MIGRATIONS) + 1))
def test_a_journal_of_every_schema_version_still_opens(tmp_path: Path, version: int) -> None:
    """The files were written by the releases that introduced the schemas (build_fixture.py) and are never rewritten."""
    shutil.copy(FIXTURES / f"schema_{version}.sqlite3", tmp_path / FILE_NAME)
    expected = json.loads((FIXTURES / f"schema_{version}.json").read_text())
    with Journal.open(tmp_path) as journal:
        rows = journal.sessions()
        assert [row.id for row in rows] == [session["id"] for session in expected]
        for row, session in zip(rows, expected, strict=True):
            assert row.state == session["state"]
            held = list(journal.replay(row.id))
            # Fields that a later release added have their default, and words are members now; the rest is as it was
            # written.
            read = [[r.n, r.fact.kind, re.sub(LATER, "", re.sub(MEMBER, r"\1", repr(r.fact)))] for r in held]
            read = [[n, kind, text.replace("long_press_s=", "hold_s=")] for n, kind, text in read]  # its earlier name
            read = [[n, kind, text.replace("'setup', every=0))", "'setup', every=0),)")] for n, kind, text in read]
            was = [[n, kind, re.sub(LATER, "", text)] for n, kind, text in session["facts"]]
            assert read == was
    kinds = {kind for session in expected for _, kind, _ in session["facts"]}
    assert kinds >= {
        "started",
        "setup_started",
        "check_opened",
        "check_confirmed",
        "setting_called",
        "pass_cut",
        "stood_by",
        "carried_on",
        "stepped_back",
        "jumped",
        "noted",
        "resumed",
        "reregistered",
        "stage_ready",
        "setup_done",
        "finished",
        "ended_early",
    }
