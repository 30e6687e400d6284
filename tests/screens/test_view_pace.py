"""The pace: medians of the times of passes and changeovers, without any pause."""

from __future__ import annotations

import pytest

from assistant.plans.model import Job
from assistant.screens.view_pace import REMEMBERED, Pace, shown_left, time_lines
from assistant.session import facts as f
from assistant.session.facts import Record
from tests.session.jobs import job


def pace(*facts: tuple[float, f.Fact], of: Job | None = None) -> Pace:
    made = Pace()
    made.take([Record(1, 0.0, "", f.Started(of or job()))])
    made.take([Record(n, at, "", fact) for n, (at, fact) in enumerate(facts, 2)])
    return made


def passes(*seconds: float, at: float = 0.0) -> list[tuple[float, f.Fact]]:
    found: list[tuple[float, f.Fact]] = []
    for n, each in enumerate(seconds, 1):
        found += [(at, f.SettingCalled(1, n, "1")), (at + each, f.PassCut(1, n, "pedal"))]
        at += each
    return found


def test_a_pass_takes_the_median_from_call_to_cut() -> None:
    assert pace(*passes(10, 20, 90)).pass_s == 20


def test_two_passes_make_no_pace_yet() -> None:
    made = pace(*passes(10, 20))
    assert made.pass_s is None and made.left_s(5, 0) is None


@pytest.mark.parametrize(
    "pause",
    [f.StoodBy("pedal"), f.Resumed(1, 4), f.SteppedBack(1, 3), f.Jumped(1, 9), f.Asked("end", 1, 4)],
    ids=lambda fact: fact.kind,
)
def test_a_pass_with_a_pause_in_it_does_not_count(pause: f.Fact) -> None:
    """Times count again from the next call on."""
    first = passes(10, 10, 10, 10)
    facts = [*first, (40, f.SettingCalled(1, 5, "1")), (50, pause), (4000, f.PassCut(1, 5, "pedal"))]
    assert pace(*facts).pass_s == 10
    assert pace(*facts, *passes(30, 30, 30, 30, at=4000.0)).pass_s == 30


def test_a_pass_taken_back_counts_nowhere_until_it_is_cut_again() -> None:
    """By hand: 10, 10 and 10 s, then 200 s for a pass that is taken back; 10 s when it is cut again."""
    begun = [(0.0, f.SetupStarted(1)), *passes(10, 10, 10, 200)]
    back = [*begun, (230.0, f.SteppedBack(1, 4))]
    assert pace(*begun).times().setups[0].cut == 4
    for undo in (f.SteppedBack(1, 4), f.Jumped(1, 4)):
        undone = pace(*begun, (230.0, undo))
        assert undone.times().setups[0].cut == 3 and undone.pass_s == 10
    again = pace(*back, (240.0, f.SettingCalled(1, 4, "1")), (250.0, f.PassCut(1, 4, "pedal")))
    assert (again.times().setups[0].cut, again.pass_s) == (4, 10)


def test_where_the_time_went() -> None:
    """By hand: a check answered after 90 s, passes of 10, 10, 10 and 70 s, 150 s of standing by, and a night away."""
    a_job = job()
    made = pace(
        (0.0, f.SetupStarted(1)),
        (0.0, f.CheckOpened(1, "clamps")),
        (90.0, f.CheckConfirmed(1, "clamps", "pedal")),
        *passes(10, 10, 10, 70, at=90.0),
        (190.0, f.SettingCalled(1, 5, "1")),
        (200.0, f.StoodBy("pedal")),
        (350.0, f.CarriedOn("pedal")),
        (40_000.0, f.Resumed(1, 5)),
        (40_010.0, f.SetupDone(1)),
        (40_010.0, f.SetupStarted(2)),
        (40_040.0, f.CheckOpened(2, "clamps")),
        of=a_job,
    )
    times = made.times()
    assert [(each.setup, each.seconds, each.cut) for each in times.setups] == [(1, 360.0, 4), (2, 30.0, 0)]
    assert times.setups[0].expected_s == len(a_job.pattern_of(1).passes) * 10 + 90
    assert [(wait.what, wait.seconds) for wait in times.waits] == [
        ("clamps", 90.0), ("pass 4", 70.0), ("standing by", 150.0),
    ]  # fmt: skip
    assert time_lines(times) == (
        "Setup 2: under 1 min for 0 of 4 passes, 2 min at the usual pace",
        "Waits: 2 min standing by (setup 1), 1 min at pass 4 (setup 1), 2 min at clamps (setup 1)",
        "Setup 1: 6 min for 4 passes, 2 min at the usual pace",
    )


def test_a_pass_as_long_as_the_others_is_no_wait() -> None:
    made = pace((0.0, f.SetupStarted(1)), *passes(80, 80, 80, 170))
    assert [wait.what for wait in made.times().waits] == ["pass 4"]


def test_the_time_left_holds_the_changeovers_to_come() -> None:
    """A changeover lasts from a setup's beginning to its first setting: clamping and checks."""
    made = pace((0, f.SetupStarted(1)), (100, f.SettingCalled(1, 1, "1")), *passes(10, 10, 10, at=100.0))
    assert made.left_s(6, 0) == 60
    assert made.left_s(6, 2) == 60 + 2 * 100


def test_waiting_for_glue_between_stages_is_no_changeover() -> None:
    from dataclasses import replace

    plain = job()
    staged = replace(plain, setups=tuple(replace(s, stage=1 if s.number == 1 else 2) for s in plain.setups))
    called = (50_000, f.SettingCalled(2, 1, "1"))
    made = pace((0, f.SetupStarted(1)), *passes(10, 10, 10), (30, f.SetupStarted(2)), called, of=staged)
    assert made.left_s(1, 1) == 10


def test_it_remembers_the_latest_only() -> None:
    assert pace(*passes(*[100.0] * REMEMBERED, *[10.0] * REMEMBERED)).pass_s == 10


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (None, ""),
        (20, "less than a minute left"),
        (59, "about 1 min left"),
        (1510, "about 25 min left"),
        (89 * 60, "about 89 min left"),
        (125 * 60, "about 2 h 05 min left"),
    ],
)
def test_the_time_left_is_shown_as_roughly_as_it_is_known(seconds: float | None, text: str) -> None:
    assert shown_left(seconds) == text
