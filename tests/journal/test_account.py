"""A session in plain words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from assistant.joinery.model import Carriage
from assistant.journal import account, export
from assistant.journal.store import Journal
from assistant.session import facts as f
from tests.journal.made import journal_with, records
from tests.session.jobs import HANDWHEEL, job
from tests.session.journalled import JOURNALLED


@pytest.mark.parametrize(
    ("seconds", "told"),
    [(0, "0 s"), (59.4, "59 s"), (59.6, "1 min 00 s"), (125, "2 min 05 s"), (4020, "1 h 07 min"), (-1, "0 s")],
)
def test_durations(seconds: float, told: str) -> None:
    assert account.duration(seconds) == told


@pytest.mark.parametrize(
    ("exact", "told"),
    [
        ("1235/100", "12.35 mm"),
        ("127/10", "12.7 mm"),
        ("3", "3 mm"),
        ("1/3", "about 0.3333 mm"),
        ("-1/2", "-0.5 mm"),
        ("100", "100 mm"),
    ],
)
def test_settings_are_shown_exactly_or_as_about(exact: str, told: str) -> None:
    assert account.length(exact) == told


@pytest.mark.parametrize(
    ("exact", "carriage", "told"),
    [
        ("1235/100", Carriage(), "12.35 mm"),
        ("12", Carriage(), "12.00 mm"),
        ("94996/10000", Carriage(unit="in", resolution=Fraction(254, 10_000)), "0.374 in"),
        ("94996/10000", HANDWHEEL, "5 turns + 123 (0.374 in)"),
        ("127/20", Carriage(kind="steps", resolution=Fraction(1, 400)), "2540 steps (6.35 mm)"),
    ],
)
def test_a_setting_is_written_as_its_carriage_shows_it(exact: str, carriage: Carriage, told: str) -> None:
    """By hand: 0.374 in of a 16-thread screw is 5.984 turns, and 0.984 of 125 marks is 123."""
    assert account.setting(exact, carriage) == told


def test_an_account_is_in_the_jobs_unit(tmp_path: Path) -> None:
    """Jobs of an inch handwheel, and of slots, which have no ends."""
    facts = [f.Started(job(carriage=HANDWHEEL)), f.SetupStarted(1), f.SettingCalled(1, 1, "94996/10000")]
    facts += [f.JobExtended((), (), (1, 2, 3, 4), "other blade", "127/40")]
    session = journal_with(tmp_path, facts)
    slotted = journal_with(tmp_path, [f.Started(replace(job(), layout="slots")), f.SetupStarted(1)])
    with Journal.open(tmp_path) as journal:
        rows = {row.id: row for row in journal.sessions()}
        told = account.account(rows[session], journal.replay(session))
        without_end = account.account(rows[slotted], journal.replay(slotted))
    assert "pass 1 called at 5 turns + 123 (0.374 in)" in told and "mm" not in told
    assert "kerf 0.125 in from here on\n" in told
    assert ", end 1" in told and ", end 1" not in without_end


def test_lost_facts_are_reported_where_they_belong(tmp_path: Path) -> None:
    session = journal_with(tmp_path)
    with Journal.open(tmp_path) as journal:
        (row,) = journal.sessions()
        kept = [record for record in journal.replay(session) if record.n not in (4, 5)]
    told = account.account(row, kept)
    assert "(facts 4 to 5 are lost)" in told


def test_every_kind_has_words(tmp_path: Path) -> None:
    assert set(account._IN_WORDS) == set(JOURNALLED)


def test_time_lost_to_an_interruption_is_no_stand_by(tmp_path: Path) -> None:
    """A session left while standing by: the pause ends with the last fact before it was resumed."""
    facts = [f.StoodBy("pedal"), f.Noted(1, 1, ""), f.Resumed(1, 1)]
    held = [*records(facts[:2]), f.Record(3, 500.0, "2026-11-25T10:00:00+00:00", facts[2])]
    journal_with(tmp_path, facts)
    with Journal.open(tmp_path) as journal:
        (row,) = journal.sessions()
    assert "standing by: 1 time, 2 s in all" in account.account(row, held)


def test_a_pass_that_was_taken_back_counts_nowhere(tmp_path: Path) -> None:
    """Passes 1 and 2 are cut by pedal, 2 and then 1 are taken back, and 1 is cut again by voice."""
    facts = [
        f.SettingCalled(1, 1, "3"),
        f.PassCut(1, 1, "pedal"),
        f.SettingCalled(1, 2, "6"),
        f.PassCut(1, 2, "pedal"),
        f.SteppedBack(1, 2),
        f.Jumped(1, 1),
        f.SettingCalled(1, 1, "3"),
        f.PassCut(1, 1, "voice"),
    ]
    times = (0, 50, 60, 160, 170, 180, 190, 197)
    held = [replace(record, at=at) for record, at in zip(records(facts), times, strict=True)]
    journal_with(tmp_path, facts)
    with Journal.open(tmp_path) as journal:
        (row,) = journal.sessions()
    told = account.account(row, held)
    assert "passes recorded: 1 by voice" in told and "2 taken back" in told
    assert "pace: 7 s a pass (median), 7 s for the quickest, 7 s for the slowest" in told


def test_text_that_could_move_the_cursor_is_cleaned(tmp_path: Path) -> None:
    assert account.one_line("a\x1b[2Jb\nc\u202ed") == "a [2Jb c d"


def test_exported_settings_are_numbers_to_a_millionth(tmp_path: Path) -> None:
    """The format's promise: mm as JSON numbers exact to 1e-6."""
    session = journal_with(tmp_path, [f.SettingCalled(1, 1, "1/3")])
    with Journal.open(tmp_path) as journal:
        (row,) = journal.sessions()
        (record,) = export.as_json(row, journal.replay(session))["records"]
    assert abs(record["setting"] - 1 / 3) <= 1e-6
    assert record["setting_exact"] == "1/3"
