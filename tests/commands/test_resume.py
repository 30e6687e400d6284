"""`kerfcall resume`, after a rehearsed session was cut off."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import subprocess
import sys
from argparse import Namespace
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import ClassVar

import pytest

from assistant.__main__ import main as kerfcall
from assistant.commands.resume import _with_drive_of_today, latest_begun
from assistant.journal import codec, schema
from assistant.journal.store import FILE_NAME, Journal
from assistant.plans.model import Check
from assistant.session.facts import Record, SetupStarted, Started
from assistant.session.state import State
from tests.commands.program import FIRST_CALL, SHOP, Done, Workshop
from tests.journal.build_fixture import FIXTURES, small_job
from tests.journal.made import records
from tests.session.drives import driven_job

INTERRUPTED = FIRST_CALL + "10 pedal tap\n12 interrupt\n"
UNTOUCHED = "1 heard marigold affirm that is right\n2 pedal hold\n"
SECURED = UNTOUCHED + "3 pedal hold\n4 pedal hold\n5 pedal hold\n"


@pytest.fixture
def cut_off(workshop: Workshop) -> Workshop:
    done = workshop.cut(INTERRUPTED)
    assert done.facts[-1] == ("setting_called", 1, 2)
    assert done.lines, "what had been printed was flushed"
    return workshop


def test_asks_and_checks_and_then_calls_the_pass_in_flight_as_not_cut(cut_off: Workshop) -> None:
    done = cut_off.resume(SECURED)
    assert done.code == 1
    assert done.facts == [
        ("resumed", 1, 2),
        ("check_opened", 1, "clamps"),
        ("check_confirmed", 1, "clamps", "pedal"),
        ("check_opened", 1, "guard"),
        ("check_confirmed", 1, "guard", "pedal"),
        ("check_opened", 1, "blade height"),
        ("check_confirmed", 1, "blade height", "pedal"),
        ("setting_called", 1, 2),
    ]
    assert done.said[0] == (
        "Resuming Small tray: long side, end one, setup one of two. One pass is recorded as cut. "
        "See that the saw is off. Does the carriage still read one two point zero two, untouched? "
        "Long press for yes, double tap for no."
    )


def test_a_resumed_session_can_be_finished_and_each_pass_is_cut_once(cut_off: Workshop) -> None:
    done = cut_off.resume(
        SECURED + "12 pedal tap\n22 pedal hold\n23 pedal hold\n30 pedal tap\n40 pedal tap\n50 pedal hold\n"
    )
    assert done.code == 0
    cut = [(r["setup"], r["pass"]) for r in cut_off.export()["records"] if r["kind"] == "pass_cut"]
    assert cut == [(1, 1), (1, 2), (2, 1), (2, 2)]


def test_a_pass_recurs_only_after_it_was_named(cut_off: Workshop) -> None:
    """Before its end was counted the setup goes on, after one question about saw, clamps and guard."""
    back = "12 pedal tap\n14 heard marigold return to previous\n15 pedal hold\n16 pedal hold\n"
    done = cut_off.resume(SECURED + back + "30 pedal tap\n40 pedal hold\n")
    assert recurred(cut_off)
    assert ("check_confirmed", 1, "carrying on", "pedal") in done.facts
    assert "setup_done" in [fact[0] for fact in done.facts]


def test_a_pass_recurs_on_a_board_that_had_been_taken_off(cut_off: Workshop) -> None:
    """The setup's end had been confirmed, so the board was unclamped: clamps and guard are asked one by one."""
    back = "12 pedal tap\n22 pedal hold\n24 heard marigold return to previous\n25 pedal hold\n"
    still = "26 pedal hold\n"
    done = cut_off.resume(SECURED + back + still + "27 pedal hold\n28 pedal hold\n36 pedal tap\n47 pedal hold\n")
    assert recurred(cut_off)
    kinds = [fact[0] for fact in done.facts]
    stepped = kinds.index("stepped_back")
    asked = [fact[2] for fact in done.facts[stepped:] if fact[0] == "check_confirmed" and fact[1] == 1]
    assert asked == ["clamps", "guard", "saw off"]
    assert kinds.count("setup_done") == 2


def recurred(workshop: Workshop) -> bool:
    """Whether pass 2 was cut, reported as not cut, and cut again."""
    kept = [r for r in workshop.export()["records"] if r["kind"] in ("pass_cut", "stepped_back")]
    cut = [(r["kind"], r["pass"]) for r in kept]
    return cut == [("pass_cut", 1), ("pass_cut", 2), ("stepped_back", 2), ("pass_cut", 2)]


def test_moved_and_unclamped(cut_off: Workshop) -> None:
    done = cut_off.resume("1 pedal double\n2 pedal hold\n3 pedal double\n4 pedal hold\n")
    assert ("reregistered", 1) in done.facts
    assert any("Zero the carriage again" in text for text in done.said)
    assert any("Carriage to pass one: " in text for text in done.said)


def test_a_changed_plan_is_pointed_out_and_not_followed(cut_off: Workshop) -> None:
    cut_off.write(
        "plan.toml", (cut_off.folder / "plan.toml").read_text(encoding="utf-8").replace("width = 18", "width = 24")
    )
    done = cut_off.resume(SECURED)
    assert "The plan file plan.toml has changed since" in done.said[0]
    assert done.facts[-1] == ("setting_called", 1, 2)


def test_a_plan_that_is_gone_is_pointed_out(cut_off: Workshop) -> None:
    (cut_off.folder / "plan.toml").unlink()
    (cut_off.folder / "shop.toml").unlink()
    assert "The plan file plan.toml is gone" in cut_off.resume(SECURED).said[0]


def test_a_changed_blade_and_carriage_are_pointed_out_and_the_old_figures_used(cut_off: Workshop) -> None:
    cut_off.write("shop.toml", SHOP.replace("3.18", "3.2") + '[carriage]\nzero = "inside"\n')
    done = cut_off.resume(SECURED)
    assert (
        "The shop file shop.toml has changed since: kerf 3.18 mm, now 3.2 mm; zero outside, now inside. "
        "The session goes on with the old figures. They are right only for the blade and the carriage"
    ) in done.said[0]
    assert done.said[-1].endswith("One two point zero two.")


def test_what_moves_no_cut_is_not_pointed_out(cut_off: Workshop) -> None:
    cut_off.write("shop.toml", SHOP + "[voice]\nspeech_rate = 150\n")
    assert "shop file" not in cut_off.resume(SECURED).said[0]


def test_a_shop_file_that_is_gone_or_spoilt_is_pointed_out(cut_off: Workshop) -> None:
    cut_off.write("shop.toml", "kerf =")
    assert "The shop file shop.toml can no longer be read. The session goes on" in cut_off.resume(SECURED).said[0]
    (cut_off.folder / "shop.toml").unlink()
    assert "The shop file shop.toml is gone. The session goes on with its own figures." in cut_off.resume("").said[0]


def test_another_shop_file_can_be_named_to_compare_with(cut_off: Workshop) -> None:
    cut_off.write("other.toml", SHOP.replace("3.18", "2.4"))
    done = cut_off.resume(SECURED, "--shop", "other.toml")
    assert "The shop file other.toml has changed since: kerf 3.18 mm, now 2.4 mm. " in done.said[0]
    cut_off.write("other.toml", SHOP.replace("3.18", "-1"))
    done = cut_off.resume(SECURED, "--shop", "other.toml")
    assert done.code == 2 and "kerf" in done.err and not done.facts


def test_nothing_to_resume(workshop: Workshop) -> None:
    done = workshop.resume("1 pedal tap\n")
    assert done.code == 3 and "no open session" in done.err


def test_an_unknown_session(cut_off: Workshop) -> None:
    done = cut_off.run("resume", "nope", "--state", "state", "--rehearse", "script.txt")
    assert done.code == 3 and "there is no session nope" in done.err


def test_a_finished_session_is_not_resumed(workshop: Workshop) -> None:
    session = workshop.cut(FIRST_CALL + "5 heard marigold finish the session\n6 pedal hold\n").lines[0]["session"]
    done = workshop.run("resume", session, "--state", "state", "--rehearse", "script.txt")
    assert done.code == 3 and "ended early" in done.err


def test_two_processes_never_drive_one_session(workshop: Workshop) -> None:
    workshop.write("script.txt", FIRST_CALL + "600 pedal tap\n")
    words = ["cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--rehearse", "script.txt", "--real-time"]
    with subprocess.Popen(
        [sys.executable, "-m", "assistant", *words], cwd=workshop.folder, stdout=subprocess.PIPE, text=True
    ) as first:
        assert first.stdout is not None
        session = json.loads(first.stdout.readline())["session"]
        done = workshop.run("resume", session, "--state", "state", "--rehearse", "script.txt")
        first.kill()
    assert done.code == 3
    assert f"another Kerfcall is running session {session}" in done.err and str(first.pid) in done.err


def test_what_is_said_goes_on_in_the_same_file(cut_off: Workshop) -> None:
    cut_off.resume(UNTOUCHED, "--speaker", "said.wav")
    before = (cut_off.folder / "said.wav").stat().st_size
    cut_off.resume(UNTOUCHED, "--speaker", "said.wav")
    assert (cut_off.folder / "said.wav").stat().st_size > before > 44


class TestPhrasesOfAnOldSession:
    """Begun before a phrase that may be taken for another was refused: in reach, and without that phrase."""

    CUT = "return to the previous"

    def resumed(self, workshop: Workshop, script: str, *more: tuple[str, tuple[str, ...]]) -> Done:
        """A session with that phrase for a cut, a check whose answer sounds like the end, and these phrases."""
        job = small_job()
        voice = replace(job.voice, phrases=(("cut", (self.CUT,)), *more))
        job = replace(job, voice=voice, checks=(*job.checks, Check("lesson", "done?", "finish the lesson", "setup")))
        with Journal.open(workshop.folder / "state") as journal:
            session = journal.new_session("Old", "ab" * 32, "old.toml", "2026-03-02T09:00:00+00:00")
            journal.append(session, records([Started(job, True), SetupStarted(1)]))
        return workshop.resume(script)

    def test_it_is_resumed_without_them_and_says_so(self, workshop: Workshop) -> None:
        done = self.resumed(workshop, "2 pedal hold\n4 pedal hold\n60 heard marigold proceed to next pass\n")
        text = " ".join(done.said)
        assert (
            f'"{self.CUT}" for cut is not listened for: it sounds too much like "return to previous" for back. ' in text
        )
        assert 'Say "marigold proceed to next pass".' in text
        assert (
            '"finish the lesson" for lesson is not listened for: it sounds too much like "finish the session"' in text
        )
        assert "Confirm it with a long press." in text
        assert ("pass_cut", 1, 1, "voice") in done.facts
        listened = {phrase for line in done.lines if line["kind"] == "listen" for phrase in line["phrases"]}
        assert "marigold return to previous" in listened
        assert not listened & {f"marigold {self.CUT}", "marigold finish the lesson"}

    def test_the_other_phrases_of_its_own_stay(self, workshop: Workshop) -> None:
        own = ("end", ("that is all for today",))
        done = self.resumed(workshop, "2 pedal hold\n4 pedal hold\n60 heard marigold that is all for today\n", own)
        assert "that is all for today" not in " ".join(done.said)
        assert done.said[-1].startswith("End the session")

    def test_a_session_without_such_says_nothing_of_it(self, cut_off: Workshop) -> None:
        assert "not listened for" not in " ".join(cut_off.resume(SECURED).said)


class TestSessionsStoredBefore:
    """Begun by a release whose job ended a setup with its last tap; the bytes are what that release wrote."""

    PLACES: ClassVar = [
        ("setup_started", {"setup": 1}),
        ("check_opened", {"setup": 1, "check": "clamps"}),
        ("check_confirmed", {"setup": 1, "check": "clamps", "by": "pedal"}),
        ("check_opened", {"setup": 1, "check": "guard"}),
        ("check_confirmed", {"setup": 1, "check": "guard", "by": "pedal"}),
        ("check_opened", {"setup": 1, "check": "blade height"}),
        ("check_confirmed", {"setup": 1, "check": "blade height", "by": "pedal"}),
        ("setting_called", {"setup": 1, "pass": 1, "setting": "229/25"}),
        ("pass_cut", {"setup": 1, "pass": 1, "by": "pedal"}),
        ("setting_called", {"setup": 1, "pass": 2, "setting": "601/50"}),
    ]

    @pytest.fixture
    def stored(self, workshop: Workshop) -> Workshop:
        utc = "2026-03-02T09:00:00.000Z"
        with Journal.open(workshop.folder / "state") as journal:
            session = journal.new_session("Small tray", "ab" * 32, "", utc)
        started = (FIXTURES / "started_2.json").read_text(encoding="utf-8").strip()
        bodies = [("started", 2, started), *((kind, 1, json.dumps(body)) for kind, body in self.PLACES)]
        rows = [(session, n, float(n), utc, kind, version, body) for n, (kind, version, body) in enumerate(bodies, 1)]
        with contextlib.closing(sqlite3.connect(workshop.folder / "state" / FILE_NAME)) as database, database:
            database.executemany("INSERT INTO facts VALUES (?, ?, ?, ?, ?, ?, ?, '')", rows)
            schema.seal_all(database)
        return workshop

    def test_is_asked_the_setups_end_and_finished_with_it(self, stored: Workshop) -> None:
        cut = "20 pedal tap\n30 pedal hold\n31 pedal hold\n40 pedal tap\n50 pedal tap\n"
        unfinished = stored.resume(SECURED + cut)
        assert unfinished.code == 1, unfinished.err
        assert unfinished.facts == [
            ("resumed", 1, 2),
            ("check_opened", 1, "clamps"),
            ("check_confirmed", 1, "clamps", "pedal"),
            ("check_opened", 1, "guard"),
            ("check_confirmed", 1, "guard", "pedal"),
            ("check_opened", 1, "blade height"),
            ("check_confirmed", 1, "blade height", "pedal"),
            ("setting_called", 1, 2),
            ("pass_cut", 1, 2, "pedal"),
            ("check_opened", 1, "saw off"),
            ("check_confirmed", 1, "saw off", "pedal"),
            ("setup_done", 1),
            ("setup_started", 2),
            ("check_opened", 2, "clamps and guard"),
            ("check_confirmed", 2, "clamps and guard", "pedal"),
            ("setting_called", 2, 1),
            ("pass_cut", 2, 1, "pedal"),
            ("setting_called", 2, 2),
            ("pass_cut", 2, 2, "pedal"),
            ("check_opened", 2, "saw off"),
        ]
        assert "Saw off and stopped? Count one." in unfinished.said
        finished = stored.resume("1 pedal hold\n20 pedal hold\n")
        assert finished.facts[-2:] == [("setup_done", 2), ("finished",)]

    def test_its_first_fact_is_read_with_the_checks_that_cant_be_left_out(self) -> None:
        started = codec.decode("started", 2, (FIXTURES / "started_2.json").read_text(encoding="utf-8").strip())
        assert isinstance(started, Started)
        names = [check.name for check in started.job.checks]
        assert names == ["clamps", "guard", "blade height", "clamps and guard", "carrying on", "saw off", "board out"]
        assert started.job.order == tuple(setup.number for setup in started.job.setups)
        assert started.job.checks[0].say.startswith("clamps tight, and with screws, hold-down"), "as it was stored"
        assert started.job.run_down_s == 10


class TestTheNewest:
    """Without an ID the newest session is resumed, and never another in its place."""

    def begun(self, state: Path, utc: str) -> str:
        with Journal.open(state) as journal:
            session = journal.new_session("Tray", "ab" * 32, "", utc)
            journal.append(session, records([Started(small_job()), SetupStarted(1)]))
        return session

    def test_is_known_by_its_place_and_not_by_a_clock_that_was_set_back(self, tmp_path: Path) -> None:
        self.begun(tmp_path, "2026-03-02T09:00:00+00:00")
        second = self.begun(tmp_path, "2026-03-01T09:00:00+00:00")
        with Journal.open(tmp_path) as journal:
            assert latest_begun(journal, rehearsed=False).id == second

    @pytest.mark.parametrize(
        "damage", ["DELETE FROM facts", "UPDATE facts SET body = replace(body, 'rehear', 'reheat')"]
    )
    def test_is_not_passed_over_when_it_is_damaged(
        self, tmp_path: Path, damage: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        self.begun(tmp_path, "2026-03-01T09:00:00+00:00")
        second = self.begun(tmp_path, "2026-03-02T09:00:00+00:00")
        with contextlib.closing(sqlite3.connect(tmp_path / FILE_NAME)) as database, database:
            database.execute(f"{damage} WHERE session = ?", (second,))
        assert kerfcall(["resume", "--state", str(tmp_path), "--no-voice", "--no-pedal"]) == 3
        told = capsys.readouterr().err
        assert f"session {second}" in told and "`kerfcall journal repair`" in told


class TestRehearsalsAndCuts:
    """A rehearsal is not mistaken for a cut, nor a cut for a rehearsal."""

    def begun_for_real(self, workshop: Workshop) -> str:
        """A session that the saw is part of, open; its id."""
        with Journal.open(workshop.folder / "state") as journal:
            session = journal.new_session("Real", "ab" * 32, "real.toml", "2026-03-02T09:00:00+00:00")
            journal.append(session, [Record(1, 0.0, "2026-03-02T09:00:00.000Z", Started(small_job()))])
        return session

    def test_a_plain_resume_passes_a_rehearsal_over_and_names_it(self, cut_off: Workshop) -> None:
        done = cut_off.run("resume", "--state", "state", "--no-voice", "--no-pedal")
        assert done.code == 3
        assert "only a rehearsal" in done.err and "kerfcall resume" in done.err

    def test_a_rehearsal_never_records_passes_in_a_real_session(self, workshop: Workshop) -> None:
        session = self.begun_for_real(workshop)
        workshop.write("script.txt", UNTOUCHED)
        done = workshop.run("resume", session, "--state", "state", "--rehearse", "script.txt")
        assert done.code == 3 and "cuts real wood" in done.err
        done = workshop.resume(UNTOUCHED)
        assert done.code == 3 and "no open rehearsal" in done.err

    def test_the_newest_rehearsal_is_taken_up_beside_a_real_session(self, cut_off: Workshop) -> None:
        self.begun_for_real(cut_off)
        assert cut_off.resume(SECURED).facts[0] == ("resumed", 1, 2)

    def test_the_journal_tells_them_apart(self, cut_off: Workshop) -> None:
        real = self.begun_for_real(cut_off)
        lines = cut_off.run("journal", "list", "--state", "state").out.splitlines()[1:]
        assert {real in line: "rehearsed" in line for line in lines} == {True: False, False: True}


@pytest.mark.parametrize(("blade_since", "home_reads"), [(0, -3), (1, Fraction("-2.85"))], ids=["the same", "another"])
def test_only_another_blade_has_the_switch_read_as_it_was_calibrated_since(
    tmp_path: Path, blade_since: int, home_reads: Fraction
) -> None:
    """It moves every cut, so for the blade that the session began with it stays as it was."""
    shop = tmp_path / "shop.toml"
    shop.write_text(
        '[blade]\nkerf = 3.18\n[carriage.drive]\nport = "/dev/ttyACM3"\nhome_reads = -2.85\n', encoding="utf-8"
    )
    a_job = replace(driven_job(), blade_since=blade_since, shop_path=str(shop))
    state = _with_drive_of_today(State(job=a_job), Namespace(no_drive=False, shop=None))
    drive = state.the_job.carriage.drive
    assert drive is not None and (drive.port, drive.home_reads) == ("/dev/ttyACM3", home_reads)
