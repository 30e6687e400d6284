"""Presses and releases -> gestures: each rule just below, at and just above its limit."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.pedal.gestures import (
    BOUNCE_S,
    LONGEST_DELAY_S,
    RELEASE_WITHIN_S,
    REPEAT_S,
    GestureMaker,
    MadeGesture,
)

LONG, DOUBLE = 0.8, 0.35


def played(
    moves: list[tuple[str, float]],
    end: float = 1000.0,
    ticks: tuple[float, ...] = (),
    level: Callable[[float], bool | None] | None = None,
) -> list[MadeGesture]:
    """The gestures made from these moves in order of time, with `time` called at ticks and at the end.

    The key is read as soon as the maker asks: as the moves left it, or by `level`.
    """
    maker = GestureMaker(LONG, DOUBLE)
    steps = sorted(moves + [("time", tick) for tick in ticks], key=lambda step: step[1])
    made: list[MadeGesture | None] = []
    down, now = False, -math.inf
    for kind, at in [*steps, ("time", end)]:
        while (due := maker.deadline()) is not None and (now := max(now, due)) < at:
            made.append(maker.time(now))
            if maker.asks(now):
                made.append(maker.level(now, level(now) if level else down))
        now = at
        down = kind == "press" or (down and kind != "release")
        made.append(getattr(maker, kind)(at))
    return [one for one in made if one is not None]


def names(moves: list[tuple[str, float]], **options: float) -> list[str]:
    return [made.gesture for made in played(moves, **options)]


@pytest.mark.parametrize(
    ("down_for", "gesture"),
    [(0.001, "tap"), (0.5, "tap"), (math.nextafter(LONG, 0), "tap"), (LONG, "hold"), (math.nextafter(LONG, 9), "hold")],
)
def test_a_press_becomes_a_long_press_when_long_press_s_is_reached(down_for: float, gesture: str) -> None:
    assert names([("press", 0.0), ("release", down_for)]) == [gesture]


@pytest.mark.parametrize(
    ("gap", "gestures"),
    [
        (BOUNCE_S, ["double"]),
        (math.nextafter(DOUBLE, 0), ["double"]),
        (DOUBLE, ["tap", "tap"]),
        (math.nextafter(DOUBLE, 9), ["tap", "tap"]),
    ],
)
def test_a_second_press_makes_a_double_only_within_double_tap_s_of_the_release(gap: float, gestures: list[str]) -> None:
    moves = [("press", -0.5), ("release", 0.0), ("press", gap), ("release", gap + 0.1)]
    assert names(moves) == gestures


def test_a_tap_is_due_double_tap_s_after_the_release_and_not_before() -> None:
    maker = GestureMaker(LONG, DOUBLE)
    assert maker.press(1.0) is None
    assert maker.release(1.2) is None
    assert maker.deadline() == 1.2 + BOUNCE_S
    assert maker.time(1.2 + BOUNCE_S) is None
    due = maker.deadline()
    assert due == 1.2 + DOUBLE
    assert maker.time(math.nextafter(due, 0)) is None
    assert maker.time(due) == MadeGesture("tap", 1.0, due)
    assert maker.deadline() is None
    assert maker.time(99.0) is None


def test_a_long_press_is_due_while_the_key_is_still_down_and_comes_once() -> None:
    maker = GestureMaker(LONG, DOUBLE)
    maker.press(1.0)
    assert maker.level(math.nextafter(1.0 + LONG, 0), True) is None
    assert maker.deadline() == 1.0 + LONG
    assert maker.time(1.0 + LONG) is None and maker.asks(1.0 + LONG)
    assert maker.level(1.0 + LONG, True) == MadeGesture("hold", 1.0, 1.0 + LONG)
    assert maker.deadline() is None
    assert maker.time(50.0) is None
    assert maker.release(60.0) is None
    assert maker.time(70.0) is None


def test_a_double_is_decided_at_the_second_press_and_counts_from_the_first() -> None:
    maker = GestureMaker(LONG, DOUBLE)
    maker.press(1.0)
    maker.release(1.1)
    assert maker.press(1.3) == MadeGesture("double", 1.0, 1.3)


def test_the_second_press_of_a_double_gives_no_long_press_however_long_it_lasts() -> None:
    assert names([("press", 0.0), ("release", 0.1), ("press", 0.2), ("release", 9.0)]) == ["double"]


def test_three_quick_presses_are_a_double_and_a_tap() -> None:
    moves = [("press", 0.0), ("release", 0.1), ("press", 0.2), ("release", 0.3), ("press", 0.4), ("release", 0.5)]
    assert names(moves) == ["double", "tap"]


def test_a_long_press_is_not_also_a_tap_nor_the_first_half_of_a_double() -> None:
    moves = [("press", 0.0), ("release", 0.9), ("press", 1.0), ("release", 1.1)]
    assert names(moves) == ["hold", "tap"]


def test_auto_repeat_changes_nothing() -> None:
    repeats = [("press", 0.25 + 0.033 * n) for n in range(40)]
    assert played([("press", 0.0), *repeats, ("release", 1.6)]) == [MadeGesture("hold", 0.0, LONG)]
    assert names([("press", 0.0), ("press", 0.25), ("press", 0.3), ("release", 0.31)]) == ["tap"]


def test_a_release_without_a_press_means_nothing() -> None:
    assert played([("release", 0.0), ("release", 5.0)]) == []
    assert names([("release", 0.0), ("press", 1.0), ("release", 1.1), ("release", 1.2)]) == ["tap"]


def test_a_dropped_press_gives_no_long_press_and_the_next_press_is_whole() -> None:
    maker = GestureMaker(LONG, DOUBLE)
    maker.press(0.0)
    maker.drop()
    assert maker.deadline() is None and not maker.down
    assert maker.time(5.0) is None
    assert maker.release(6.0) is None
    maker.press(7.0)
    assert maker.level(7.0 + LONG, True) == MadeGesture("hold", 7.0, 7.0 + LONG)


def test_dropping_leaves_a_tap_that_was_already_made() -> None:
    maker = GestureMaker(LONG, DOUBLE)
    maker.press(0.0)
    maker.release(0.1)
    maker.drop()
    assert maker.time(1.0) == MadeGesture("tap", 0.0, 0.1 + DOUBLE)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.inf, math.nan])
def test_values_that_are_not_times_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="long_press_s must be above 0 s"):
        GestureMaker(bad, DOUBLE)
    with pytest.raises(ValueError, match="double_tap_s must be above 0 s"):
        GestureMaker(LONG, bad)


def expected(strokes: list[tuple[float, float]]) -> list[MadeGesture]:
    """The same rules, written for whole strokes (down, up) instead of moves."""
    out: list[MadeGesture] = []
    n = 0
    while n < len(strokes):
        down, up = strokes[n]
        if up >= down + LONG:
            out.append(MadeGesture("hold", down, down + LONG))
        elif n + 1 < len(strokes) and strokes[n + 1][0] < up + DOUBLE:
            out.append(MadeGesture("double", down, strokes[n + 1][0]))
            n += 1
        else:
            out.append(MadeGesture("tap", down, up + DOUBLE))
        n += 1
    return out


TIMES = (0.03, 0.1, DOUBLE, LONG, 2.0)


def test_every_pattern_of_three_strokes() -> None:
    """All downs and gaps at and around the limits: 5 x 5 x 5 x 5 x 5 patterns."""
    for first, gap, second, gap2, third in itertools.product(TIMES, repeat=5):
        strokes, at = [], 0.0
        for down, wait in ((first, gap), (second, gap2), (third, 0.0)):
            strokes.append((at, at + down))
            at += down + wait
        moves = [move for down, up in strokes for move in (("press", down), ("release", up))]
        assert played(moves) == expected(strokes), strokes


durations = st.floats(2 * BOUNCE_S, 3.0, allow_nan=False)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(durations, durations), max_size=12),
    st.lists(st.floats(0, 80, allow_nan=False), max_size=30),
    st.lists(st.floats(0, 1), max_size=8),
)
def test_gestures_depend_only_on_when_the_key_moved(
    parts: list[tuple[float, float]], ticks: list[float], repeats: list[float]
) -> None:
    """Against the rules for whole strokes, with auto-repeat added and `time` called at random moments."""
    strokes, at = [], 0.0
    for down, gap in parts:
        strokes.append((at, at + down))
        at += down + gap
    moves = [move for down, up in strokes for move in (("press", down), ("release", up))]
    for share, (down, up) in zip(repeats, strokes, strict=False):
        # Where a first repeat comes later than any desktop sends it, it is a new press after a lost release.
        moves.append(("press", down + min(share * (up - down), LONGEST_DELAY_S) * 0.999))
    moves.sort(key=lambda move: move[1])
    made = played(moves, ticks=tuple(ticks))
    assert made == expected(strokes)
    assert [one.since for one in made] == sorted({one.since for one in made})


@settings(max_examples=200, deadline=None)
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


def strokes_of(edges: list[float]) -> list[tuple[str, float]]:
    return [("press" if n % 2 == 0 else "release", at) for n, at in enumerate(edges)]


@pytest.mark.parametrize("apart", [0.0005, 0.002, 0.02])
def test_a_switch_that_bounces_six_times_is_one_tap_from_its_first_edge(apart: float) -> None:
    """Presses and gaps of these lengths (s). The last ends the press, or the foot stays on."""
    edges = [apart * n for n in range(12)]
    released = edges[-1]
    assert played(strokes_of(edges)) == [MadeGesture("tap", 0.0, released + DOUBLE)]
    assert played(strokes_of(edges[:-1])) == [MadeGesture("hold", 0.0, edges[-2] + LONG)]


def test_the_key_counts_as_down_from_the_first_edge_and_as_up_when_it_has_stayed_up() -> None:
    maker = GestureMaker(LONG, DOUBLE)
    maker.press(0.0)
    for at in (0.002, 0.006, 0.010):
        maker.release(at)
        assert maker.down and maker.bouncing
        maker.press(at + 0.002)
        assert maker.down and not maker.bouncing
    maker.release(0.02)
    maker.time(math.nextafter(0.02 + BOUNCE_S, 0))
    assert maker.down
    maker.time(0.02 + BOUNCE_S)
    assert not maker.down and not maker.bouncing


def test_a_break_starts_the_time_for_a_long_press_again() -> None:
    moves = [("press", 0.0), ("release", 0.79), ("press", 0.80)]
    assert played(moves, 1.55) == []
    assert played(moves, 1.7) == [MadeGesture("hold", 0.0, 0.80 + LONG)]


@pytest.mark.parametrize("level", [True, False, None])
def test_a_lost_release_is_no_long_press_and_what_comes_after_it_is_whole(level: bool | None) -> None:
    """Only a key that is held down reads as down. Otherwise a press without a release makes no gesture."""
    assert played([("press", 0.0)], level=lambda at: level) == ([MadeGesture("hold", 0.0, LONG)] if level else [])
    if level is not True:
        moves = [("press", 0.0), ("press", 5.0), ("release", 5.1)]
        pressed = (0.0, 5.0, 5.1)
        lost = played(moves, level=lambda at: level if level is None else pressed[1] <= at < pressed[2])
        assert lost == [MadeGesture("tap", 5.0, 5.1 + DOUBLE)]


def test_a_release_that_comes_late_makes_the_tap_that_it_was() -> None:
    """The level is read as up before the release has come through."""
    maker = GestureMaker(LONG, DOUBLE)
    maker.press(0.0)
    assert maker.level(0.5, False) is None
    assert not maker.down
    assert maker.release(0.5 + RELEASE_WITHIN_S - 0.01) is None
    assert maker.time(2.0) == MadeGesture("tap", 0.0, 0.5 + RELEASE_WITHIN_S - 0.01 + DOUBLE)


def test_a_press_between_two_readings_after_a_lost_release_counts_from_itself() -> None:
    """The level shows no difference from the press before: the foot was off between two readings, and is on again."""
    maker = GestureMaker(LONG, DOUBLE)
    maker.press(0.0)
    assert maker.press(0.6) is None  # a slow thread: nothing was read since
    assert maker.level(LONG, True) is None
    assert maker.level(0.6 + LONG, True) == MadeGesture("hold", 0.0, 0.6 + LONG)


@pytest.mark.parametrize(("delay", "every"), [(0.25, 0.033), (0.5, 0.04), (0.66, 0.04), (2.0, 0.033), (0.5, 0.5)])
def test_auto_repeat_as_on_desktops_delays_no_long_press_of_a_key_that_can_be_read(delay: float, every: float) -> None:
    repeats = [("press", delay + n * every) for n in range(100)]
    assert played([("press", 0.0), *repeats], 4.0, level=lambda at: True) == [MadeGesture("hold", 0.0, LONG)]


@pytest.mark.parametrize(("delay", "every"), [(0.25, 0.033), (0.66, 0.04), (2.0, 0.033)])
def test_if_the_key_cannot_be_read_its_repeats_or_its_release_show_a_long_press(delay: float, every: float) -> None:
    repeats = [("press", delay + n * every) for n in range(100)]
    held = played([("press", 0.0), *repeats], 4.0, level=lambda at: None)
    assert held == [MadeGesture("hold", 0.0, LONG)]
    assert played([("press", 0.0)], 60.0, level=lambda at: None) == []
    assert played([("press", 0.0), ("release", 2.0)], level=lambda at: None) == [MadeGesture("hold", 0.0, LONG)]


bounces = st.lists(st.floats(0.0005, 0.9 * BOUNCE_S), max_size=5)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(bounces, durations, bounces, durations), max_size=8), st.lists(st.floats(0, 60), max_size=20))
def test_bounces_change_nothing_but_when_a_long_press_begins(
    parts: list[tuple[list[float], float, list[float], float]], ticks: list[float]
) -> None:
    """Each stroke's edges with an even number of bounces after them, against the rules over whole strokes.

    Down from the first edge, held from the last one down, up from the last one up.
    """
    moves: list[tuple[str, float]] = []
    strokes: list[tuple[float, float, float]] = []
    at = 0.0
    for pressing, down_s, releasing, up_s in parts:
        first = at
        edges = [at]
        for gap in pressing[: len(pressing) // 2 * 2]:
            edges.append(edges[-1] + gap)
        steady = edges[-1]
        edges.append(steady + down_s)
        for gap in releasing[: len(releasing) // 2 * 2]:
            edges.append(edges[-1] + gap)
        moves += strokes_of(edges)
        held_from = steady if down_s >= LONG else max(steady, edges[-2])
        strokes.append((first, held_from, edges[-1]))
        at = edges[-1] + up_s
    made = played(moves, ticks=tuple(ticks))
    wanted: list[MadeGesture] = []
    n = 0
    while n < len(strokes):
        first, held_from, up = strokes[n]
        if up >= held_from + LONG and any(one.gesture == "hold" and one.since == first for one in made):
            wanted.append(MadeGesture("hold", first, held_from + LONG))
        elif n + 1 < len(strokes) and strokes[n + 1][0] < up + DOUBLE:
            wanted.append(MadeGesture("double", first, strokes[n + 1][0]))
            n += 1
        else:
            wanted.append(MadeGesture("tap", first, up + DOUBLE))
        n += 1
    assert made == wanted


feet = st.tuples(st.floats(REPEAT_S, 2.0), st.floats(REPEAT_S, 2.0), st.booleans())


@settings(max_examples=300, deadline=None)
@given(st.lists(feet, max_size=10), st.sampled_from([None, (0.25, 0.033), (0.66, 0.04), (0.5, 0.5)]), st.booleans())
def test_a_long_press_is_only_what_was_really_down_for_so_long(
    parts: list[tuple[float, float, bool]], repeat: tuple[float, float] | None, readable: bool
) -> None:
    """At each long press the foot had been on the pedal without a break for long_press_s.

    Any releases lost, with and without auto-repeat, whether or not the key can be read.
    """
    moves: list[tuple[str, float]] = []
    strokes: list[tuple[float, float]] = []
    at = 0.0
    for down_s, up_s, lost in parts:
        strokes.append((at, at + down_s))
        moves.append(("press", at))
        if repeat is not None:
            delay, every = repeat
            moves += [("press", at + delay + n * every) for n in range(100) if delay + n * every < down_s]
        if not lost:
            moves.append(("release", at + down_s))
        at += down_s + up_s

    def on(at: float) -> bool:
        return any(down <= at < up for down, up in strokes)

    maker = GestureMaker(LONG, DOUBLE)
    moves.append(("time", at + 9))
    now = 0.0
    for kind, at in moves:
        steps: list[tuple[MadeGesture | None, float]] = []
        while (due := maker.deadline()) is not None and (now := max(now, due)) < at:
            steps.append((maker.time(now), now))
            if maker.asks(now):
                steps.append((maker.level(now, on(now) if readable else None), now))
        now = at
        steps.append((getattr(maker, kind)(at), at))
        for made, then in steps:
            if made is not None and made.gesture == "hold":
                assert any(down + LONG <= then + 1e-9 and then <= up + 1e-9 for down, up in strokes), (made, then)


edge_steps = st.lists(
    st.tuples(st.sampled_from(["press", "release", "time", "drop", "down", "up", "unknown"]), st.floats(0, 0.9)),
    max_size=60,
)


@settings(max_examples=300, deadline=None)
@given(edge_steps)
def test_nothing_that_can_happen_makes_a_long_press_sooner_than_long_press_s_after_an_edge_down(
    steps: list[tuple[str, float]],
) -> None:
    maker = GestureMaker(LONG, DOUBLE)
    levels = {"down": True, "up": False, "unknown": None}
    at, since = 0.0, 0.0
    for kind, wait in steps:
        at += wait
        made: MadeGesture | None = None
        if kind in levels:
            made = maker.level(at, levels[kind])
        elif kind == "drop":
            maker.drop()
        else:
            if kind == "press" and not maker.down:
                since = at
            made = getattr(maker, kind)(at)
        if made is not None and made.gesture == "hold":
            assert made.at >= since + LONG and at >= made.at
            assert kind in ("down", "unknown", "release")
        due = maker.deadline()
        assert due is None or math.isfinite(due)


def test_a_bounce_whose_edges_come_late_is_no_press_of_its_own() -> None:
    """The key counted as up already, and a tap was due or made, when the edges from before that arrived."""
    for told in (0.2 + BOUNCE_S, 5.0):
        maker = GestureMaker(LONG, DOUBLE)
        maker.press(0.0)
        maker.release(0.2)
        first = maker.time(told)
        assert maker.press(0.205) is None
        assert maker.release(0.21) is None
        made = [first, maker.time(9.0)]
        assert [one.gesture for one in made if one] == ["tap"]


def test_a_bounce_after_the_second_press_of_a_double_is_nothing_however_late_it_comes() -> None:
    maker = GestureMaker(LONG, DOUBLE)
    maker.press(0.0)
    maker.release(0.1)
    made = [maker.press(0.2), maker.release(0.3), maker.time(0.4), maker.press(0.305), maker.release(0.31)]
    assert [one.gesture for one in [*made, maker.time(9.0)] if one] == ["double"]
