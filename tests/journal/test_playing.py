"""An impossible fact is named with its session, number, kind and fix. It is never applied and causes no traceback.

The long random sessions in `tests/session/test_stateful.py` check that everything a session writes is possible.
"""

from __future__ import annotations

import json
import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from assistant.__main__ import main as kerfcall
from assistant.errors import JournalError
from assistant.joinery.model import Carriage
from assistant.journal.playing import misfit, played
from assistant.journal.store import FILE_NAME, Journal
from assistant.plans.model import Job
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.state import State
from tests.journal.build_fixture import small_job
from tests.journal.made import edited, journal_with, old_journal
from tests.sampling import every

JOB = small_job()
BEGUN = (f.Started(JOB), f.SetupStarted(1))


def state_after(*facts: f.Fact) -> State:
    state = State()
    for n, fact in enumerate(facts, 1):
        state = apply(state, f.Record(n, float(n), "", fact))
    return state


@pytest.mark.parametrize(
    ("fact", "why"),
    [
        (f.PassCut(1, 4, "pedal"), "there is no pass 4 of 3 in setup 1"),
        (f.PassCut(1, 0, "pedal"), "there is no pass 0 of 3"),
        (f.PassCut(1, -1, "pedal"), "there is no pass -1 of 3"),
        (f.PassCut(1, 10**15, "pedal"), "there is no pass 1000000000000000 of 3"),
        (f.SettingCalled(1, 10**15, "1"), "there is no pass"),
        (f.SteppedBack(1, 9), "there is no pass 9"),
        (f.Jumped(1, 9), "there is no pass 9"),
        (f.Resumed(1, 9), "there is no pass 9"),
        (f.Noted(1, -3, ""), "there is no pass -3"),
        (f.PassCut(2, 1, "pedal"), "there is no setup 2 of 1"),
        (f.SetupStarted(0), "there is no setup 0 of 1"),
        (f.SetupDone(-5), "there is no setup -5"),
        (f.Zeroed(10**20), "there is no setup 1000"),
        (f.CheckOpened(1, "prayers"), "its job has no check 'prayers'"),
        (f.CheckConfirmed(1, "prayers", "pedal"), "its job has no check 'prayers'"),
        (f.StageReady(2), "there is no stage 2 of 1"),
        (f.Started(JOB), "the session had already begun"),
        (f.TestJointSkipped(), "setup 1 had already been begun"),
    ],
)
def test_facts_that_no_session_can_have_are_refused(tmp_path: Path, fact: f.Fact, why: str) -> None:
    assert why in misfit(state_after(*BEGUN), fact)
    session = journal_with(tmp_path, [*BEGUN, fact])
    named = rf"journal .*, session {session}, fact 3 \('{fact.kind}'\): {re.escape(why)}.*; `kerfcall journal show"
    with Journal.open(tmp_path) as journal, pytest.raises(JournalError, match=named):
        played(journal, session)


@pytest.mark.parametrize(
    "facts", [(f.SetupStarted(1),), (f.Started(JOB), f.PassCut(1, 1, "keys")), (f.Started(JOB), f.Resumed(1, 0))]
)
def test_nothing_comes_before_the_beginning(tmp_path: Path, facts: tuple[f.Fact, ...]) -> None:
    session = journal_with(tmp_path, facts)
    with Journal.open(tmp_path) as journal, pytest.raises(JournalError, match=r"fact \d .*(before|no setup has been)"):
        played(journal, session)


def test_another_setups_pass_is_not_counted_in_this_one() -> None:
    two = replace(JOB, setups=(*JOB.setups, replace(JOB.setups[0], number=2)), order=(1, 2))
    state = state_after(f.Started(two), f.SetupStarted(1))
    assert "it belongs to setup 2, but setup 1 is being cut" in misfit(state, f.PassCut(2, 1, "pedal"))
    assert misfit(state, f.PassCut(1, 1, "pedal")) == ""


@pytest.mark.parametrize(
    ("job", "why"),
    [
        (replace(JOB, setups=()), "no setups"),
        (replace(JOB, voice=replace(JOB.voice, language="xx")), "unknown language, 'xx'"),
        (replace(JOB, carriage=Carriage(kind="balloon")), "unknown kind or unit, 'balloon'"),
        (replace(JOB, carriage=replace(JOB.carriage, unit="cubit")), "'cubit'"),
        (replace(JOB, carriage=replace(JOB.carriage, kind="handwheel")), "no pitch"),
        (replace(JOB, carriage=replace(JOB.carriage, kind="handwheel", pitch=Fraction(0), divisions=1)), "no pitch"),
    ],
)
def test_an_impossible_job_is_refused(job: Job, why: str) -> None:
    assert why in misfit(State(), f.Started(job))
    assert misfit(State(), f.Started(JOB)) == ""


ODD_BODIES = [
    "x'ff00'",
    "'[1'",
    "'[]'",
    "'null'",
    "replace(hex(zeroblob(50000)), '0', '[')",
    '\'{"setup":1e999,"pass":1,"by":"pedal"}\'',
    '\'{"setup":1,"pass":' + "9" * 5000 + ',"by":"pedal"}\'',
    '\'{"setup":1,"pass":99999999999,"by":"pedal"}\'',
    '\'{"setup":1,"pass":1,"by":"\\ud800"}\'',
]
ODD = [
    *(f"UPDATE facts SET body = {body} WHERE kind = 'pass_cut'" for body in ODD_BODIES),
    "UPDATE facts SET kind = x'00ff' WHERE n = 2",
    "UPDATE facts SET version = 'one' WHERE n = 2",
    "UPDATE facts SET version = -9 WHERE n = 2",
    "UPDATE facts SET version = 9999999999999 WHERE n = 2",
    "UPDATE facts SET at = 9e999 WHERE n = 2",
    "UPDATE facts SET at = x'00' WHERE n = 2",
    "UPDATE facts SET utc = x'fe' WHERE n = 2",
    "UPDATE facts SET n = 9223372036854775807 WHERE n = 3",
    "UPDATE facts SET n = 'many' WHERE n = 3",
    "UPDATE facts SET body = replace(body, '127/10', '1' || hex(zeroblob(190)) || '/7') WHERE kind = 'setting_called'",
    "UPDATE facts SET body = replace(body, '\"en\"', '\"xx\"') WHERE kind = 'started'",
    "UPDATE facts SET body = replace(body, '\"readout\"', '\"handwheel\"') WHERE kind = 'started'",
    'UPDATE facts SET body = replace(body, \'"unit":"mm"\', \'"unit":"ell"\') WHERE kind = \'started\'',
    "UPDATE facts SET body = replace(body, 'clamps', 'prayers') WHERE kind = 'check_opened'",
    "UPDATE sessions SET title = x'ff', plan_path = x'00', plan_digest = x'fe', program_version = x'fd'",
    "UPDATE sessions SET started_utc = x'ff'",
    "UPDATE sessions SET started_utc = '0001-01-01T00:00:00+00:00'",
    "UPDATE sessions SET id = x'ff' WHERE seq = 3",
    "UPDATE sessions SET id = '../..' WHERE seq = 3",
    "UPDATE sessions SET seq = -9223372036854775808 WHERE seq = 3",
    "DROP TABLE facts",
    "DROP TABLE sessions",
    "DROP TABLE migrations",
    "ALTER TABLE facts RENAME COLUMN body TO corpse",
]


@pytest.mark.parametrize("old", [True, False], ids=["old schema", "new schema"])
@pytest.mark.parametrize("statement", every(3, ODD))
def test_no_content_of_the_tables_ends_a_command_in_a_traceback(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], statement: str, old: bool
) -> None:
    """Another program wrote and sealed these values. Each command does its work or says in one line what is wrong."""
    old_journal(tmp_path)
    if old:
        old_journal(tmp_path, statement)
    else:
        Journal.open(tmp_path).close()
        if statement.startswith("UPDATE") and "id =" not in statement:
            edited(tmp_path, statement)
        else:
            edited(tmp_path)
            changed_unsealed(tmp_path, statement)
    commands = [["journal", *words] for words in (["list"], ["list", "--json"], ["show"], ["export", "--json"])]
    commands += [["journal", "show", f"2026-11-25-{n}"] for n in (1, 2, 3)]
    commands += [["resume", *words, "--no-voice", "--no-pedal"] for words in ([], ["2026-11-25-2"], ["2026-11-25-3"])]
    for words in [*commands, ["journal", "repair"], *commands[1:3]]:
        code = kerfcall([*words, "--state", str(tmp_path)])
        out, err = capsys.readouterr()
        assert code in (0, 2, 3), words
        assert bool(err) == (code != 0), words
        assert all(line.startswith("kerfcall: ") for line in err.splitlines()), err
        if code == 0 and "--json" in words:
            json.loads(out)


def changed_unsealed(state: Path, statement: str) -> None:
    """Changed by another program that knows nothing of seals."""
    with closing(sqlite3.connect(state / FILE_NAME)) as connection, connection:
        connection.execute(statement)
