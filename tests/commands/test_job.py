"""`kerfcall job`: the table of a session, and changes of one that was left."""

from __future__ import annotations

import contextlib
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from assistant.__main__ import main as kerfcall
from assistant.journal import codec, schema
from assistant.journal.lock import SessionLock
from assistant.journal.playing import played
from assistant.journal.store import FILE_NAME, Journal
from assistant.plans.job import build_job
from assistant.plans.plan_file import read_both
from assistant.screens.page.history import History
from assistant.session import facts as f
from assistant.session.events import Resume
from assistant.session.kinds import JobChange, SetupStatus
from assistant.session.rework import refusal
from assistant.session.state import State
from assistant.session.table import rows_of, standing_of
from assistant.wording.joining import YES_NO
from assistant.wording.prompts import Words
from tests.commands.program import FIRST_CALL, PLAN, Done, Workshop
from tests.journal.build_fixture import FIXTURES
from tests.journal.made import edited, records
from tests.session.driver import UTC, Driver
from tests.session.jobs import few_checks, job, plan

TWO = PLAN.replace("ends = 2", "ends = 2\ncount = 2")
ONE_CUT = FIRST_CALL + "10 pedal tap\n"
AT_A_TERMINAL_S = 60
DEMOS = Path(__file__).parents[2] / "demo_plans"


@pytest.fixture
def left(workshop: Workshop) -> Workshop:
    """A rehearsal of two like boards, left after its first pass."""
    workshop.write("plan.toml", TWO)
    workshop.cut(ONE_CUT + "12 interrupt\n")
    return workshop


def asked(workshop: Workshop, *words: str) -> Done:
    return workshop.run("job", *words, "--state", "state")


def table(workshop: Workshop) -> dict[int, dict[str, Any]]:
    done = asked(workshop, "--json")
    assert done.code == 0, done.err
    return {row["setup"]: row for row in json.loads(done.out)["setups"]}


def kinds(workshop: Workshop) -> list[str]:
    return [record["kind"] for record in workshop.export()["records"]]


def stored(folder: Path, session: str | None = None) -> State:
    with Journal.open(folder) as journal:
        return played(journal, session or journal.sessions()[-1].id)


class TestTheTable:
    def test_it_has_every_setup_and_how_to_go_on(self, left: Workshop) -> None:
        done = asked(left)
        session = left.sessions()[0]["id"]
        assert done.code == 0 and not done.err
        head, summary, _, titles, *rows, _, go_on = done.out.splitlines()
        assert head == f"Session {session}: Small tray" and summary == "  open, rehearsed; 1 of 8 passes cut"
        assert titles.split() == ["setup", "board", "part", "end", "cut", "sockets", "status"]
        assert [row.split()[0] for row in rows] == ["1", "2", "3", "4"]
        assert " ".join(rows[0].split()) == "1 now long side, 1 of 2 A 1 1 of 2 1 begun"
        assert " ".join(rows[1].split()) == "2 next long side, 2 of 2 A 1 0 of 2 1 to cut"
        assert go_on == f"To go on: kerfcall resume {session} --state state --rehearse SCRIPT"

    def test_the_command_that_it_names_goes_on(self, left: Workshop) -> None:
        words = asked(left).out.splitlines()[-1].partition("kerfcall ")[2].replace("SCRIPT", "script.txt").split()
        left.write("script.txt", "1 heard marigold affirm that is right\n")
        assert left.run(*words).facts[0][0] == "resumed"

    def test_json_says_the_same(self, left: Workshop) -> None:
        body = json.loads(asked(left, "--json").out)
        sums = {name: body[name] for name in ("title", "state", "rehearsed", "cut", "passes")}
        assert sums == {"title": "Small tray", "state": "open", "rehearsed": True, "cut": 1, "passes": 8}
        assert [row["status"] for row in body["setups"]] == ["begun", "to cut", "to cut", "to cut"]
        assert (body["setups"][0]["clamped"], body["setups"][1]["next"]) == (True, True)

    def test_it_is_the_latest_session_or_the_one_named(self, left: Workshop) -> None:
        first = left.sessions()[0]["id"]
        left.write("plan.toml", TWO.replace("Small tray", "Large tray"))
        left.cut(FIRST_CALL + "12 interrupt\n")
        assert "Large tray" in asked(left).out
        assert "Small tray" in asked(left, first).out

    def test_looking_changes_nothing_even_while_the_session_runs(self, left: Workshop) -> None:
        session, before = left.sessions()[0]["id"], kinds(left)
        with SessionLock(left.folder / "state", session):
            assert asked(left).code == 0
        assert kinds(left) == before

    def test_looking_makes_no_journal(self, workshop: Workshop) -> None:
        done = asked(workshop)
        assert done.code == 3 and "No sessions yet" in done.err
        assert not (workshop.folder / "state").exists()

    def test_an_unknown_session(self, left: Workshop) -> None:
        session = left.sessions()[0]["id"]
        for more in ((), ("--spoilt", "1", "--yes")):
            done = asked(left, f"{session[:-1]}7", *more)
            assert (done.code, done.out) == (2, "") and f"similar ones: {session}" in done.err

    def test_a_damaged_session_is_refused_and_nothing_is_added(self, left: Workshop) -> None:
        before = left.folder / "state" / FILE_NAME
        with contextlib.closing(sqlite3.connect(before)) as database, database:
            database.execute("UPDATE facts SET utc = '2026-01-01' WHERE n = 3")
        for more in ((), ("--spoilt", "1", "--yes")):
            done = asked(left, *more)
            assert done.code == 3 and "checksum" in done.err and "kerfcall journal repair" in done.err
        with contextlib.closing(sqlite3.connect(before)) as database:
            assert database.execute("SELECT count(*) FROM facts WHERE kind = 'board_spoilt'").fetchone() == (0,)

    def test_facts_that_no_session_can_have_are_refused(self, left: Workshop) -> None:
        edited(left.folder / "state", """UPDATE facts SET body = '{"setup":9}' WHERE kind = 'setup_started'""")
        done = asked(left, "--copy", "1", "--yes")
        assert done.code == 3 and "there is no setup 9 of 4" in done.err


class TestChanges:
    def test_another_board_first(self, left: Workshop) -> None:
        done = asked(left, "--start", "4", "--yes")
        assert done.code == 0, done.err
        assert done.out.startswith("Leave this board as it is, and go on with long side, 2 of 2, end 2? Yes (--yes).\n")
        assert kinds(left)[-1] == "board_chosen" and table(left)[4]["next"] and table(left)[1]["clamped"]

    def test_an_end_again(self, left: Workshop) -> None:
        done = asked(left, "--again", "1", "--yes")
        assert "Long side, 1 of 2, end 1: to cut it again, the old joint must be cut off." in done.out
        assert "That takes 13.48 mm from the length" in done.out
        assert kinds(left)[-2:] == ["setup_reopened", "board_chosen"]
        assert (table(left)[1]["status"], table(left)[1]["cut"]) == ("to cut again", 0)

    def test_one_socket_again(self, left: Workshop) -> None:
        done = asked(left, "--again", "1", "--socket", "1", "--yes")
        assert "Cut socket 1 of long side, 1 of 2, end 1 again, and count it as not cut?" in done.out
        assert kinds(left)[-1] == "setup_reopened" and table(left)[1]["status"] == "to cut again"

    def test_a_spoilt_board_is_replaced(self, left: Workshop) -> None:
        done = asked(left, "--spoilt", "3", "--yes")
        assert "Long side, 1 of 2: count it as spoilt, and cut another in its place?" in done.out
        rows = table(left)
        assert {n for n, row in rows.items() if row["status"] == "spoilt"} == {1, 3}
        assert list(rows)[-2:] == [1, 3] and {rows[5]["copies"], rows[6]["copies"]} == {"3 of 3"}
        assert json.loads(asked(left, "--json").out)["passes"] == 8

    def test_one_more_copy(self, left: Workshop) -> None:
        assert "Cut one more long side?" in asked(left, "--copy", "2", "--yes").out
        assert len(table(left)) == 6 and json.loads(asked(left, "--json").out)["passes"] == 12

    def test_a_session_ended_by_mistake_is_opened_again(self, workshop: Workshop) -> None:
        workshop.write("plan.toml", TWO)
        workshop.cut(ONE_CUT + "12 heard marigold finish the session\n13 pedal hold\n")
        refused = workshop.resume("1 pedal hold\n", workshop.sessions()[0]["id"])
        assert refused.code == 3
        (named,) = [part for part in refused.err.split(": ") if part.startswith("kerfcall job")]
        words = named.partition(" (or")[0]
        latest = workshop.resume("1 pedal hold\n")
        assert latest.code == 3 and f"is ended early; to open it again: {words};" in latest.err
        done = workshop.run(*words.removeprefix("kerfcall ").split(), "--yes")
        assert done.code == 0, done.err
        assert "is ended early. Open it again?" in done.out and kinds(workshop)[-1] == "reopened"
        assert workshop.sessions()[0]["state"] == "open"
        again = workshop.resume("1 heard marigold affirm that is right\n2 pedal hold\n")
        assert again.facts[0] == ("resumed", 1, 2), "where it was ended, with what was cut"
        assert "One pass is recorded as cut." in again.said[0]

    def test_a_finished_session_takes_one_more_board(self, workshop: Workshop) -> None:
        passes = "".join(f"{n} pedal tap\n" for n in (10, 20)) + "35 pedal hold\n36 pedal hold\n"
        done = workshop.cut(FIRST_CALL + passes + "50 pedal tap\n60 pedal tap\n80 pedal hold\n")
        assert done.facts[-1] == ("finished",), done.facts
        assert "To open it again: kerfcall job" in asked(workshop).out
        changed = asked(workshop, "--copy", "1", "--yes")
        assert changed.code == 0 and "open, rehearsed; 4 of 8 passes cut" in changed.out
        assert kinds(workshop)[-3:] == ["reopened", "job_extended", "board_chosen"]
        again = workshop.resume("1 heard marigold affirm that is right\n2 pedal hold\n30 pedal hold\n31 pedal hold\n")
        assert ("setup_started", 3) in again.facts

    def test_json_alone_is_on_standard_output(self, left: Workshop) -> None:
        done = asked(left, "--spoilt", "1", "--yes", "--json")
        assert json.loads(done.out)["setups"][-1]["status"] == "spoilt"
        assert "count it as spoilt" in done.err

    def test_after_several_changes_the_rest_is_cut_to_the_end(self, left: Workshop) -> None:
        """A spoilt board, one more copy, another first: as many passes as the table counts, and each board once."""
        for words in (("--spoilt", "1"), ("--copy", "2"), ("--start", "4")):
            assert asked(left, *words, "--yes").code == 0
        to_cut = json.loads(asked(left, "--json").out)["passes"]
        script, at = "1 heard marigold affirm that is right\n2 pedal hold\n", 10
        for _ in range(120):  # where it stands by, the tap asks what went wrong, and the double tap takes that back
            script += f"{at} pedal hold\n{at + 30} pedal tap\n{at + 45} pedal double\n"
            at += 60
        done = left.resume(script)
        assert done.facts[-1] == ("finished",)
        cut = [fact[1:3] for fact in done.facts if fact[0] == "pass_cut"]
        assert len(cut) == len(set(cut)) == to_cut == 12
        assert {row["status"] for row in table(left).values()} == {"cut", "spoilt"}


@pytest.mark.parametrize(
    ("name", "shop"),
    [
        ("trinket-case-lined", "shop-readout"),
        ("tray-dividers", "shop-readout"),
        ("spice-drawer-inch", "shop-handwheel-inch"),
        ("spice-drawer-lined-inch", "shop-handwheel-inch"),
        ("tea-trays", "shop-readout"),
    ],
)
def test_whatever_was_changed_a_session_goes_on_to_its_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, shop: str
) -> None:
    """Changes at random of a real plan that was left: then every setup that counts is cut, and none of it twice."""
    chance = random.Random(name)
    driver = Driver(build_job(*read_both(DEMOS / f"{name}.toml", DEMOS / f"{shop}.toml")))
    for _ in range(chance.randint(10, 60)):
        driver.gesture("tap" if driver.state.effective_mode == "cutting" else "hold", after=30)
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("Small tray", "ab" * 32, "", "2026-03-02T09:00:00+00:00")
        journal.append(session, driver.records)
    made = 0
    for _ in range(12):
        setup = chance.randint(1, len(stored(tmp_path).the_job.setups))
        change = chance.choice((["--start"], ["--again"], ["--again"], ["--spoilt"], ["--copy"]))
        more = ["--socket", "1"] if change == ["--again"] and chance.random() < 0.5 else []
        code = kerfcall(["job", *change, str(setup), *more, "--yes", "--state", str(tmp_path)])
        assert code in (0, 2)
        made += code == 0
    assert made > 2
    capsys.readouterr()
    state = stored(tmp_path)
    driver = Driver(state=state)
    driver.at += 60
    driver.send(Resume(driver.at, UTC))
    for _ in range(20 * state.left_in_all + 20 * len(state.the_job.setups)):
        if driver.state.mode == "finished":
            break
        driver.gesture("tap" if driver.state.effective_mode == "cutting" else "hold", after=30)
    assert driver.state.mode == "finished"
    cut = [(record.fact.setup, record.fact.pass_) for record in driver.records if isinstance(record.fact, f.PassCut)]
    assert len(cut) == len(set(cut)) == state.left_in_all
    rows = rows_of(driver.state.the_job, standing_of(driver.state))
    assert {row.status for row in rows} <= {"cut", "spoilt"}
    assert all(row.cut == row.passes for row in rows if row.status == "cut")


class TestTheQuestion:
    @pytest.mark.parametrize(
        ("words", "what", "place"),
        [
            (("--start", "4"), "board", 4),
            (("--again", "1"), "redo", 1),
            (("--again", "1", "--socket", "1"), "socket", "1.1"),
            (("--spoilt", "1"), "spoilt", 1),
            (("--copy", "3"), "copy", 3),
        ],
    )
    def test_is_the_one_that_the_session_itself_asks(
        self, left: Workshop, words: tuple[str, ...], what: str, place: int | str
    ) -> None:
        driver = Driver(state=stored(left.folder / "state"))
        driver.send(Resume(driver.at, UTC))
        while driver.state.question is not None:
            driver.heard("yes")
        driver.heard(what, place)
        (say,) = driver.says
        told = Words(driver.state.the_job).shown(say.prompts).removesuffix(YES_NO).rstrip()
        assert asked(left, *words).err.startswith(f"{told}\n")

    def test_without_a_terminal_nothing_is_changed(self, left: Workshop) -> None:
        before = kinds(left)
        done = asked(left, "--spoilt", "1")
        assert (done.code, done.out) == (1, "")
        assert "no terminal to answer on. Nothing was changed. To answer yes: --yes" in done.err
        assert kinds(left) == before

    @pytest.mark.parametrize(("answer", "changed"), [("yes", True), ("no", False), ("\x04", False)])
    def test_at_a_terminal_only_yes_changes_anything(self, left: Workshop, answer: str, changed: bool) -> None:
        before = kinds(left)
        with at_a_terminal(left, "--again", "1") as child:
            child.expect("Is there length to spare\\? Type yes or no: ")
            child.send("perhaps\r")
            child.expect("Please answer yes or no.")
            child.send(answer if answer == "\x04" else f"{answer}\r")
            child.expect("To go on: kerfcall resume" if changed else "Nothing was changed. If there is no length")
            child.wait()
        assert child.exitstatus == (0 if changed else 1)
        assert (kinds(left) != before) == changed


@contextmanager
def at_a_terminal(workshop: Workshop, *words: str) -> Iterator[Any]:
    pexpect: Any = pytest.importorskip("pexpect", reason="a program at a terminal needs pexpect")
    child = pexpect.spawn(
        sys.executable,
        ["-m", "assistant", "job", *words, "--state", "state"],
        cwd=workshop.folder,
        encoding="utf-8",
        timeout=AT_A_TERMINAL_S,
        dimensions=(50, 300),
    )
    try:
        yield child
    finally:
        child.close(force=True)


class TestRefusals:
    @pytest.mark.parametrize(
        ("words", "what", "place"),
        [
            (("--start", "9"), JobChange.BOARD, (9, 0)),
            (("--start", "0"), JobChange.BOARD, (0, 0)),
            (("--start", "1"), JobChange.BOARD, (1, 0)),
            (("--again", "2"), JobChange.END, (2, 0)),
            (("--again", "1", "--socket", "7"), JobChange.SOCKET, (1, 7)),
            (("--again", "2", "--socket", "1"), JobChange.SOCKET, (2, 1)),
            (("--copy", "5"), JobChange.COPY, (5, 0)),
        ],
    )
    def test_what_cant_be_is_refused_in_the_sessions_own_words(
        self, left: Workshop, words: tuple[str, ...], what: JobChange, place: tuple[int, int]
    ) -> None:
        before = kinds(left)
        done = asked(left, *words, "--yes")
        state = stored(left.folder / "state")
        why_not = refusal(state, what, *place)
        assert why_not is not None
        assert (done.code, done.out) == (2, "")
        assert f"job: {words[0]} {words[1]}: {Words(state.the_job, figures=True).one(why_not)} Nothing" in done.err
        assert kinds(left) == before

    def test_what_went_wrong_is_answered_before_the_job_changes(self, workshop: Workshop) -> None:
        workshop.write("plan.toml", TWO)
        blade = "heard marigold another blade was put on"
        workshop.cut(ONE_CUT + f"12 pedal hold\n14 {blade}\n20 pedal hold\n21 interrupt\n")
        before = kinds(workshop)
        assert before[-1] == "went_wrong"
        done = asked(workshop, "--copy", "1", "--yes")
        assert (done.code, done.out) == (2, "") and kinds(workshop) == before
        assert "It was reported that another blade is on the saw, and there are questions left about that." in done.err

    def test_an_open_session_is_not_opened_again(self, left: Workshop) -> None:
        done = asked(left, "--reopen", "--yes")
        assert done.code == 2 and "is open already. Nothing was changed." in done.err

    def test_a_spoilt_board_is_spoilt_only_once(self, left: Workshop) -> None:
        assert asked(left, "--spoilt", "1", "--yes").code == 0
        done = asked(left, "--spoilt", "1", "--yes")
        assert done.code == 2 and "The board of setup 1 is already counted as spoilt." in done.err

    def test_one_change_at_a_time_and_every_fault_of_the_options_at_once(self, left: Workshop) -> None:
        done = asked(left, "--spoilt", "1", "--copy", "2", "--socket", "1")
        assert done.code == 2 and len(done.err.splitlines()) == 2
        assert "make one change at a time (got --spoilt --copy)" in done.err
        assert "job: --socket: means nothing alone (got 1)" in done.err
        assert "job: --yes: answers no question here" in asked(left, "--yes").err
        assert "job: --spoilt: must be a whole number (got two)" in asked(left, "--spoilt", "two").err.replace('"', "")

    def test_not_under_a_running_session(self, left: Workshop) -> None:
        session, before = left.sessions()[0]["id"], kinds(left)
        with SessionLock(left.folder / "state", session):
            done = asked(left, "--spoilt", "1", "--yes")
        assert done.code == 3 and f"another Kerfcall is running session {session}" in done.err
        assert kinds(left) == before

    def test_while_it_asks_the_session_cant_be_resumed(self, left: Workshop) -> None:
        """What was asked about would otherwise be cut meanwhile."""
        with at_a_terminal(left, "--spoilt", "1") as child:
            child.expect("Type yes or no: ")
            done = left.resume("1 pedal hold\n")
            assert done.code == 3 and "another Kerfcall is running session" in done.err
            child.kill(signal.SIGKILL)
            child.wait()
        assert "board_spoilt" not in kinds(left)
        assert left.resume("1 pedal hold\n").facts[0][0] == "resumed", "a killed one leaves no lock behind"


def test_a_change_is_made_whole_or_not_at_all_whenever_it_is_killed(left: Workshop) -> None:
    """Killed at any moment, between the facts of one change too, the journal has all of them or none."""
    chance, before, seen = random.Random(5), kinds(left), set()
    whole = ["board_spoilt", "job_extended", "board_chosen"]
    shutil.copytree(left.folder / "state", left.folder / "kept")
    words = [sys.executable, "-m", "assistant", "job", "--spoilt", "1", "--yes", "--state", "state"]
    started = time.monotonic()
    subprocess.run(words, cwd=left.folder, capture_output=True, check=True)
    takes = time.monotonic() - started
    for n in range(12):
        shutil.rmtree(left.folder / "state")
        shutil.copytree(left.folder / "kept", left.folder / "state")
        with subprocess.Popen(words, cwd=left.folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as child:
            time.sleep(takes * (0.5 + 0.5 * chance.random()) if n else 0.0)
            os.kill(child.pid, signal.SIGKILL)
        added = kinds(left)[len(before) :]
        assert added in ([], whole)
        seen.add(tuple(added))
        assert asked(left).code == 0
    assert () in seen


class TestOldJournals:
    def test_a_session_of_the_first_schema_is_shown_and_changed(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """As its release wrote it: begun and ended at once, with nothing cut."""
        for version in (1, 2):
            state = tmp_path / str(version)
            state.mkdir()
            shutil.copy(FIXTURES / f"schema_{version}.sqlite3", state / FILE_NAME)
            told = json.loads((FIXTURES / f"schema_{version}.json").read_text(encoding="utf-8"))
            session = next(each["id"] for each in told if each["facts"][0][1] == "started")
            assert kerfcall(["job", session, "--state", str(state)]) == 0
            assert "drawer side" in capsys.readouterr().out
            assert kerfcall(["job", session, "--copy", "1", "--yes", "--state", str(state)]) == 0
            assert "open; 0 of 6 passes cut" in capsys.readouterr().out
            assert stored(state, session).the_job.order == (1, 2)

    def test_one_that_never_began_is_refused(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        with Journal.open(tmp_path) as journal:
            session = journal.new_session("Small tray", "ab" * 32, "", "2026-03-02T09:00:00+00:00")
            journal.append(session, records([f.Started(job(plan(), few_checks()))]))
            journal.new_session("Never begun", "ab" * 32, "", "2026-03-03T09:00:00+00:00")
        for more in ([], ["--copy", "1", "--yes"]):
            assert kerfcall(["job", *more, "--state", str(tmp_path)]) == 3
            assert f"session {session} was interrupted before it began" in capsys.readouterr().err

    def test_one_stored_before_jobs_had_an_order(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        started = (FIXTURES / "started_2.json").read_text(encoding="utf-8").strip()
        assert isinstance(codec.decode("started", 2, started), f.Started)
        with Journal.open(tmp_path) as journal:
            session = journal.new_session("Small tray", "ab" * 32, "", "2026-03-02T09:00:00.000Z")
        bodies = [("started", 2, started), ("setup_started", 1, '{"setup": 1}')]
        rows = [(session, n, float(n), "", kind, version, body) for n, (kind, version, body) in enumerate(bodies, 1)]
        with contextlib.closing(sqlite3.connect(tmp_path / FILE_NAME)) as database, database:
            database.executemany("INSERT INTO facts VALUES (?, ?, ?, ?, ?, ?, ?, '')", rows)
            schema.seal_all(database)
        assert kerfcall(["job", "--spoilt", "1", "--yes", "--state", str(tmp_path)]) == 0
        assert "Long side: count it as spoilt" in capsys.readouterr().out
        assert SetupStatus.SPOILT in stored(tmp_path).status


def test_names_from_a_damaged_hand_cant_move_the_cursor(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = job(plan(), few_checks())
    made = replace(made, title="\x1b[2Jtray", setups=tuple(replace(one, board="\x1b[2Jside") for one in made.setups))
    with Journal.open(tmp_path) as journal:
        session = journal.new_session(made.title, "ab" * 32, "", "2026-03-02T09:00:00+00:00")
        journal.append(session, records([f.Started(made), f.SetupStarted(1)]))
    for more in ([], ["--copy", "1", "--yes"]):
        assert kerfcall(["job", *more, "--state", str(tmp_path)]) == 0
        assert "\x1b" not in capsys.readouterr().out


def test_what_the_journal_says_of_the_session_counts_no_spoilt_board(left: Workshop) -> None:
    assert asked(left, "--spoilt", "1", "--yes").code == 0
    shown = left.run("journal", "show", "--state", "state").out
    assert "; 0 of 8 passes cut; " in shown and "added to the job in place of a spoilt board" in shown
    assert History(left.folder / "state").one(left.sessions()[0]["id"])["of"] == 8  # type: ignore[index]
