"""`kerfcall journal` as a user types it."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from assistant.__main__ import main
from assistant.journal.store import FILE_NAME, Journal
from assistant.plans.model import Setup
from assistant.session import facts as f
from tests.journal.build_fixture import small_job
from tests.journal.made import SAMPLE, journal_with
from tests.session.journalled import JOURNALLED


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = main(["journal", *map(str, words)])
    printed = capsys.readouterr()
    return code, printed.out, printed.err


def test_an_empty_journal_is_said_plainly_and_looking_makes_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    state = tmp_path / "none"
    assert run(capsys, "list", "--state", state) == (
        0,
        f"No sessions yet in {state}; `kerfcall cut PLAN` starts one.\n",
        "",
    )
    assert run(capsys, "list", "--json", "--state", state)[:2] == (0, "[]\n")
    for action in ("show", "export"):
        code, out, err = run(capsys, action, "--state", state)
        assert (code, out) == (3, "") and "No sessions yet" in err
    code, _, err = run(capsys, "repair", "--state", state)
    assert code == 3 and "there is no journal" in err
    assert not state.exists()


def test_the_list_has_a_line_per_session(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first = journal_with(tmp_path)
    second = journal_with(tmp_path, [f.SetupStarted(1)], title="Spice\x1b[2Jdrawers")
    code, out, _ = run(capsys, "list", "--state", tmp_path)
    head, *lines = out.splitlines()
    assert code == 0 and head.split()[:2] == ["session", "state"]
    assert [line.split()[0] for line in lines] == [first, second]
    assert "finished" in lines[0] and lines[0].endswith("Nesting tea trays")
    assert "\x1b" not in out
    code, out, _ = run(capsys, "list", "--json", "--state", tmp_path)
    assert [(row["id"], row["state"], row["passes_cut"], row["facts"]) for row in json.loads(out)] == [
        (first, "finished", 2, 24),
        (second, "open", 0, 1),
    ]
    assert len(json.loads(run(capsys, "list", first, "--json", "--state", tmp_path)[1])) == 1


def test_the_account_tells_what_was_cut_when_and_by_what(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    journal_with(tmp_path)
    code, out, _ = run(capsys, "show", "--state", tmp_path)
    assert code == 0
    told = [
        "check confirmed by pedal: clamps",
        "0:00:08    pass 1 called at 12.35 mm",
        "0:00:10    pass 1 cut, recorded by pedal, 2 s after its setting was called",
        "standing by, by voice",
        "carried on, by voice, after 2 s",
        "back: setup 1, pass 2 counts as not cut",
        "problem marked at setup 1, pass 2: tear-out at the back",
        "went to setup 1, pass 1, which counts as not cut",
        "pass 1 called at about 0.3333 mm",
        "ended early at setup 1",
        "resumed in setup 1; no pass was called",
        "session finished",
        "time: 48 s",
        "standing by: 1 time, 2 s in all",
        "pace: 2 s a pass (median), 2 s for the quickest, 2 s for the slowest",
        "passes recorded: 1 by keys, 1 by page",
        "2 taken back, 1 problem marked, resumed 2 times",
    ]
    assert [line for line in told if line not in out] == []


def test_the_account_names_boards_from_the_job_kept_with_the_session(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal_with(
        tmp_path, [f.Started(small_job()), f.SetupStarted(1), f.SettingCalled(1, 1, "24"), f.PassCut(1, 1, "pedal")]
    )
    out = run(capsys, "show", "--state", tmp_path)[1]
    assert "Setup 1: drawer side, part A, end 1, 2 boards together" in out
    assert "1 of 3 passes cut" in out


def test_export_as_json_has_the_documented_shape(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Keys and kinds: the format's description in the design, section 5."""
    session = journal_with(tmp_path, [f.Started(small_job()), *SAMPLE])
    code, out, _ = run(capsys, "export", session, "--json", "--state", tmp_path)
    told = json.loads(out)
    assert code == 0
    assert {key: told[key] for key in ("session", "state", "plan_digest")} == {
        "session": session,
        "state": "finished",
        "plan_digest": "ab" * 32,
    }
    records = told["records"]
    assert [record["n"] for record in records] == list(range(1, len(SAMPLE) + 2))
    needed = {
        "started": set(),
        "setup_started": {"setup"},
        "check_opened": set(),
        "check_confirmed": {"setup", "check", "by"},
        "setting_called": {"setup", "pass", "setting"},
        "pass_cut": {"setup", "pass"},
        "stood_by": set(),
        "carried_on": set(),
        "stepped_back": {"setup", "pass"},
        "jumped": set(),
        "noted": set(),
        "resumed": {"setup", "pass"},
        "reregistered": set(),
        "stage_ready": set(),
        "setup_done": set(),
        "finished": set(),
        "ended_early": set(),
    }
    assert {record["kind"] for record in records} == set(needed)
    for record in records:
        assert needed[record["kind"]] | {"n", "at", "kind"} <= set(record)
    called = next(record for record in records if record["kind"] == "setting_called")
    assert (called["setting"], called["setting_exact"]) == (12.35, "1235/100")


def test_export_as_csv_has_a_line_per_fact(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session = journal_with(tmp_path)
    lines = list(csv.DictReader(io.StringIO(run(capsys, "export", "--state", tmp_path)[1])))
    assert len(lines) == len(SAMPLE)
    assert {line["session"] for line in lines} == {session}
    assert (lines[3]["setting"], lines[3]["pass"], lines[13]["text"]) == ("12.35", "1", "tear-out at the back")


def test_every_field_of_every_fact_has_its_column(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A rehearsed session too. Its first fact says that it is a rehearsal."""
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("Nesting tea trays", "ab" * 32, "trays.toml", "2026-01-01T00:00:00Z")
        driven = (
            f.MoveAsked(1, 0, "home", "", True),
            f.CarriageHomed(1, "-1/400", True),
            f.MoveAsked(1, 2, "setting", "2470/100", False),
            f.CarriageHalted(1, "3/4"),
            f.Moved(1, 2, "2470/100", "24701/1000"),
            f.CarriageLost(1, "reset", "It started again."),
        )
        more = Setup(2, 1, "drawer side", "A", 1, 2, 3, 0)
        changes = (
            f.Reopened(),
            f.SetupReopened(1, (1, 3), 0, "75/5"),
            f.BoardSpoilt((1,)),
            f.JobExtended((), (more,), (1, 2), "spoilt", "403/125"),
            f.BoardChosen(2),
        )
        wrong = (
            f.WentWrong(1, 2, "wrong place"),
            f.KerfMisplaced(1, 2, "-3/10"),
            f.DepthSet((0, 1), "63/5"),
            f.SetupReopened(1, (2,), 0, "", deeper=True),
            f.CameBack(1, lowered=True, touched=False),
            f.CutsSure(1),
            f.OldBladeBack(1),
        )
        begun = f.Started(small_job(), rehearsed=True), f.TestJointSkipped()
        facts = (*begun, *SAMPLE, f.Zeroed(1), *wrong, *changes, *driven)
        journal.append(session, [f.Record(n, float(n), "", fact) for n, fact in enumerate(facts, 1)])
    lines = list(csv.DictReader(io.StringIO(run(capsys, "export", "--state", tmp_path)[1])))
    assert {line["kind"] for line in lines} == {fact.kind for fact in JOURNALLED}
    assert [line["rehearsed"] for line in lines if line["kind"] == "started"] == ["True"]
    assert [line["kerf"] for line in lines[-11:-6]] == ["", "", "", "3.224", ""]
    assert [(line["passes"], line["cut_off"], line["setups"], line["why"]) for line in lines[-11:-6]] == [
        ("", "", "", ""), ("1 3", "15.0", "", ""), ("", "", "1", ""), ("", "", "2", "spoilt"), ("", "", "", ""),
    ]  # fmt: skip
    told, misplaced, deep, shallow, back, _sure, _old = lines[-18:-11]
    assert (told["mishap"], misplaced["off_by"]) == ("wrong place", "-0.3")
    assert (deep["patterns"], deep["depth"]) == ("0 1", "12.6")
    assert (shallow["passes"], shallow["deeper"], back["lowered"], back["touched"]) == ("2", "True", "True", "False")
    home, homed, sent, halted, moved, lost = lines[-6:]
    assert (home["to"], home["held"], homed["off_by"], homed["beyond"]) == ("", "True", "-0.0025", "True")
    assert (sent["to"], sent["what"], halted["reported"]) == ("24.7", "setting", "0.75")
    assert (moved["asked"], moved["reported"], lost["why"]) == ("24.7", "24.701", "reset")


def test_without_an_id_the_latest_session_is_meant(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    journal_with(tmp_path)
    second = journal_with(tmp_path, [f.SetupStarted(1)], title="Spice drawers")
    assert f"Session {second}: Spice drawers" in run(capsys, "show", "--state", tmp_path)[1]


def test_an_unknown_session_is_bad_input_and_near_ones_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    session = journal_with(tmp_path)
    for action in ("list", "show", "export"):
        code, out, err = run(capsys, action, session[:-1] + "7", "--state", tmp_path)
        assert (code, out) == (2, "")
        assert f"similar ones: {session}" in err
    assert "`kerfcall journal list` lists them all" in run(capsys, "show", "zzz", "--state", tmp_path)[2]
    code, _, err = run(capsys, "show", "zzz", "--state", tmp_path / "none")
    assert code == 2 and "the journal is empty" in err


def test_repair_says_what_it_did(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    journal_with(tmp_path)
    code, out, _ = run(capsys, "repair", "--state", tmp_path)
    assert code == 0 and "is undamaged: 1 session, 24 facts. Nothing was changed." in out
    path = tmp_path / FILE_NAME
    path.write_bytes(b"\xff" * 512 + path.read_bytes()[512:])
    assert run(capsys, "show", "--state", tmp_path)[0] == 3
    code, out, _ = run(capsys, "repair", "--state", tmp_path)
    assert code == 0 and "was damaged. Recovered: 1 session, 24 facts." in out
    (kept,) = tmp_path.glob("journal-damaged-*.sqlite3")
    assert f"kept as {kept}" in out
    assert run(capsys, "show", "--state", tmp_path)[0] == 0
    assert json.loads(run(capsys, "repair", "--json", "--state", tmp_path)[1])["healthy"] is True


def test_repair_takes_no_session(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "repair", "2026-11-25-1", "--state", tmp_path)
    assert code == 2 and 'journal repair: there is no place for this (got "2026-11-25-1"); leave it out' in err


def test_a_damaged_journal_is_one_line_and_exit_3(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"no database" * 1000)
    code, out, err = run(capsys, "list", "--state", tmp_path)
    assert (code, out, err.count("\n")) == (3, "", 1)
    assert "`kerfcall journal repair`" in err
