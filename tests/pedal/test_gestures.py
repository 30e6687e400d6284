"""Presses and releases -> gestures: each rule just below, at and just above its limit."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.pedal.gestures import GestureMaker, Made

HOLD, DOUBLE = 0.8, 0.35


def played(moves: list[tuple[str, float]], end: float = 1000.0, ticks: tuple[float, ...] = ()) -> list[Made]:
    """What comes of these moves in order of time, with `time` called at ticks and at the end."""
    maker = GestureMaker(HOLD, DOUBLE)
    steps = sorted(moves + [("time", tick) for tick in ticks], key=lambda step: step[1])
    made = [getattr(maker, kind)(at) for kind, at in steps] + [maker.time(end)]
    return [one for one in made if one is not None]


def names(moves: list[tuple[str, float]], **options: float) -> list[str]:
    return [made.gesture for made in played(moves, **options)]


@pytest.mark.parametrize(
    ("down_for", "gesture"),
    [(0.001, "tap"), (0.5, "tap"), (math.nextafter(HOLD, 0), "tap"), (HOLD, "hold"), (math.nextafter(HOLD, 9), "hold")],
)
def test_a_press_becomes_a_hold_when_hold_s_is_reached(down_for: float, gesture: str) -> None:
    assert names([("press", 0.0), ("release", down_for)]) == [gesture]


@pytest.mark.parametrize(
    ("gap", "gestures"),
    [
        (0.01, ["double"]),
        (math.nextafter(DOUBLE, 0), ["double"]),
        (DOUBLE, ["tap", "tap"]),
        (math.nextafter(DOUBLE, 9), ["tap", "tap"]),
    ],
)
def test_a_second_press_makes_a_double_only_within_double_tap_s_of_the_release(gap: float, gestures: list[str]) -> None:
    moves = [("press", -0.5), ("release", 0.0), ("press", gap), ("release", gap + 0.1)]
    assert names(moves) == gestures


def test_a_tap_is_due_double_tap_s_after_the_release_and_not_before() -> None:
    maker = GestureMaker(HOLD, DOUBLE)
    assert maker.press(1.0) is None
    assert maker.deadline() == 1.0 + HOLD
    assert maker.release(1.2) is None
    due = maker.deadline()
    assert due == 1.2 + DOUBLE
    assert maker.time(math.nextafter(due, 0)) is None
    assert maker.time(due) == Made("tap", 1.0, due)
    assert maker.deadline() is None
    assert maker.time(99.0) is None


def test_a_hold_is_due_while_the_key_is_still_down_and_comes_once() -> None:
    maker = GestureMaker(HOLD, DOUBLE)
    maker.press(1.0)
    assert maker.time(math.nextafter(1.0 + HOLD, 0)) is None
    assert maker.time(1.0 + HOLD) == Made("hold", 1.0, 1.0 + HOLD)
    assert maker.deadline() is None
    assert maker.time(50.0) is None
    assert maker.release(60.0) is None
    assert maker.time(70.0) is None


def test_a_double_is_decided_at_the_second_press_and_counts_from_the_first() -> None:
    maker = GestureMaker(HOLD, DOUBLE)
    maker.press(1.0)
    maker.release(1.1)
    assert maker.press(1.3) == Made("double", 1.0, 1.3)


def test_the_second_press_of_a_double_gives_no_hold_however_long_it_lasts() -> None:
    assert names([("press", 0.0), ("release", 0.1), ("press", 0.2), ("release", 9.0)]) == ["double"]


def test_three_quick_presses_are_a_double_and_a_tap() -> None:
    moves = [("press", 0.0), ("release", 0.1), ("press", 0.2), ("release", 0.3), ("press", 0.4), ("release", 0.5)]
    assert names(moves) == ["double", "tap"]


def test_a_hold_is_not_also_a_tap_nor_the_first_half_of_a_double() -> None:
    moves = [("press", 0.0), ("release", 0.9), ("press", 1.0), ("release", 1.1)]
    assert names(moves) == ["hold", "tap"]


def test_auto_repeat_changes_nothing() -> None:
    repeats = [("press", 0.25 + 0.033 * n) for n in range(40)]
    assert played([("press", 0.0), *repeats, ("release", 1.6)]) == [Made("hold", 0.0, HOLD)]
    assert names([("press", 0.0), ("press", 0.25), ("press", 0.3), ("release", 0.31)]) == ["tap"]


def test_a_release_without_a_press_means_nothing() -> None:
    assert played([("release", 0.0), ("release", 5.0)]) == []
    assert names([("release", 0.0), ("press", 1.0), ("release", 1.1), ("release", 1.2)]) == ["tap"]


def test_a_dropped_press_gives_no_hold_and_the_next_press_is_whole() -> None:
    maker = GestureMaker(HOLD, DOUBLE)
    maker.press(0.0)
    maker.drop()
    assert maker.deadline() is None and not maker.down
    assert maker.time(5.0) is None
    assert maker.release(6.0) is None
    maker.press(7.0)
    assert maker.time(7.0 + HOLD) == Made("hold", 7.0, 7.0 + HOLD)


def test_dropping_leaves_a_tap_that_was_already_made() -> None:
    maker = GestureMaker(HOLD, DOUBLE)
    maker.press(0.0)
    maker.release(0.1)
    maker.drop()
    assert maker.time(1.0) == Made("tap", 0.0, 0.1 + DOUBLE)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.inf, math.nan])
def test_times_that_are_no_times_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="hold_s must be above 0 s"):
        GestureMaker(bad, DOUBLE)
    with pytest.raises(ValueError, match="double_tap_s must be above 0 s"):
        GestureMaker(HOLD, bad)


def expected(strokes: list[tuple[float, float]]) -> list[Made]:
    """The rules said once more, over whole strokes (down, up) instead of moves."""
    out: list[Made] = []
    n = 0
    while n < len(strokes):
        down, up = strokes[n]
        if up >= down + HOLD:
            out.append(Made("hold", down, down + HOLD))
        elif n + 1 < len(strokes) and strokes[n + 1][0] < up + DOUBLE:
            out.append(Made("double", down, strokes[n + 1][0]))
            n += 1
        else:
            out.append(Made("tap", down, up + DOUBLE))
        n += 1
    return out


TIMES = (0.001, 0.1, DOUBLE, HOLD, 2.0)


def test_every_pattern_of_three_strokes() -> None:
    """All downs and gaps at and around the limits: 5 x 5 x 5 x 5 x 5 patterns."""
    for first, gap, second, gap2, third in itertools.product(TIMES, repeat=5):
        strokes, at = [], 0.0
        for down, wait in ((first, gap), (second, gap2), (third, 0.0)):
            strokes.append((at, at + down))
            at += down + wait
        moves = [move for down, up in strokes for move in (("press", down), ("release", up))]
        assert played(moves) == expected(strokes), strokes


durations = st.floats(0.001, 3.0, allow_nan=False)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.tuples(durations, durations), max_size=12),
    st.lists(st.floats(0, 80, allow_nan=False), max_size=30),
    st.lists(st.floats(0, 1), max_size=8),
)
def test_gestures_depend_only_on_when_the_key_moved(
    parts: list[tuple[float, float]], ticks: list[float], repeats: list[float]
) -> None:
    """Against the rules over whole strokes, with auto-repeat put in and the time told at any moments."""
    strokes, at = [], 0.0
    for down, gap in parts:
        strokes.append((at, at + down))
        at += down + gap
    moves = [move for down, up in strokes for move in (("press", down), ("release", up))]
    for share, (down, up) in zip(repeats, strokes, strict=False):
        moves.append(("press", down + share * (up - down) * 0.999))
    moves.sort(key=lambda move: move[1])
    made = played(moves, ticks=tuple(ticks))
    assert made == expected(strokes)
    assert [one.since for one in made] == sorted({one.since for one in made})


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["press", "release", "time"]), st.floats(0, 0.9)), max_size=60))
def test_any_order_of_moves_gives_at_most_one_gesture_per_press(steps: list[tuple[str, float]]) -> None:
    at, moves = 0.0, []
    for kind, wait in steps:
        at += wait
        moves.append((kind, at))
    made = played(moves)
    presses = {at for kind, at in moves if kind == "press"}
    assert len(made) <= sum(kind == "press" for kind, _ in moves)
    assert all(one.since in presses and one.at >= one.since for one in made)
