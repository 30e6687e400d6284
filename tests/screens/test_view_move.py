"""A driven carriage on the terminal: nothing that moves looks like a cut, and nothing stands where it doesn't."""

from __future__ import annotations

import io
import re
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest

from assistant.runner.contracts import Inputs
from assistant.screens.plain import PlainScreen
from assistant.screens.view_cells import RED, Canvas
from assistant.screens.view_gauges import Gauges, gauges_of
from assistant.screens.view_heading import heading_of
from assistant.screens.view_move import (
    CARRIAGE,
    MOVES,
    WAITS,
    along,
    by_hand,
    is_lost,
    is_moving,
    lets_by_tap,
    track,
    where_it_is,
)
from assistant.screens.view_page import PageComposer
from assistant.screens.view_regions import PageRegion, regions_of
from assistant.screens.view_sight import Gathering, Sight
from assistant.screens.view_words import NOTHING, gestures_of, setting_text, status_of
from assistant.session import driven
from assistant.session.events import Arrived, Gesture
from assistant.session.facts import MoveAsked, Record
from assistant.session.kinds import Klass
from assistant.wording.prompts import HOW_TO_CUT, Words
from tests.screens.driven_session import (
    LOST_TEXT,
    TRAVEL,
    DrivenRehearsal,
    driven_carriage,
    driven_job,
    every_driven_state,
    every_turn,
)
from tests.screens.test_view_page import big_on, lines_of, shows
from tests.screens.test_view_regions import big_in_reverse
from tests.screens.test_view_sight import ASKS

SIZES = [(80, 24), (100, 30), (200, 60)]
LIVE = Fraction(1234, 100)


@cache
def states(clear_input: bool = True, home: str = "switch") -> list[tuple[str, Sight]]:
    carriage = driven_carriage(clear_input=clear_input, home=home)
    return list(every_driven_state(driven_job(carriage=carriage)))


def named(name: str) -> Sight:
    return next(seen for each, seen in states() if each == name)


def page(seen: Sight, columns: int = 80, rows: int = 24, position: Fraction | None = None) -> Canvas:
    return PageComposer().compose(seen, Gauges("works", 5, False, "heard", False, position=position), columns, rows)


def text_in(canvas: Canvas, *names: str) -> str:
    """The text of these regions."""
    regions: dict[str, PageRegion] = regions_of(canvas.columns, canvas.rows)
    rows = [row for name in names for row in range(regions[name].top, regions[name].top + regions[name].rows)]
    return "\n".join(canvas.text(row) for row in rows)


# --- what there is to see in each state


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_while_it_moves_its_direction_and_target_are_big_and_nothing_looks_like_a_cut(columns: int, rows: int) -> None:
    seen = named("on by tap")
    assert seen.view is not None and seen.view.move is not None and seen.view.move.to == Fraction(602, 100)
    canvas = page(seen, columns, rows, LIVE)
    assert big_on(canvas, "↑ MOVES UP") and big_on(canvas, "TO 6.02")
    assert shows(canvas, "now 12.34") and shows(canvas, "tap: halts it") and shows(canvas, "long press: halts it")
    moving = [seen for _, seen in states() if seen.view and seen.view.mode in MOVES]
    assert len({seen.view.move for seen in moving if seen.view}) > 5
    for seen in moving:
        canvas = page(seen, columns, rows, LIVE)
        told = text_in(canvas, "head", "do", "keys")
        assert not re.search(r"\bcut\b|\bready\b|stand", told, re.IGNORECASE), told
        assert not any(big_on(canvas, word) for word in ("CUT", "STANDS AT", "STANDS", "CUTTING"))
        assert big_on(canvas, "NOW 12.34") < big_on(canvas, heading_of(seen.view, seen.words).left[1])  # type: ignore[arg-type]
        assert status_of(seen).tone == "moving" and not heading_of(seen.view, seen.words).then  # type: ignore[arg-type]


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_it_is_said_to_stand_only_where_it_has_arrived(columns: int, rows: int) -> None:
    """And then in letters at least half as large as the setting's, so that nobody takes a target for it."""
    stood = 0
    for _, seen in states():
        view = seen.view
        assert view is not None and seen.words is not None
        canvas = page(seen, columns, rows, LIVE if view.mode in MOVES else None)
        stands = view.mode == "cutting" and view.stands == view.setting
        scale = big_on(canvas, "STANDS AT")
        assert bool(scale) == stands
        if stands:
            stood += 1
            reading = f"{float(view.setting):.2f}"
            assert (
                scale <= big_on(canvas, reading) <= max(1, scale) * 2 + 1
                and setting_text(view, seen.words) == f"STANDS AT {reading} mm"
            )
            assert not shows(canvas, HOW_TO_CUT), "nobody sets it by hand"
    assert stood > 10


def test_before_a_move_the_page_says_what_lets_it_and_what_must_hold() -> None:
    first = named("first asked")
    canvas = page(first)
    assert [big_on(canvas, line) for line in ("SAW OFF", "HOLD PEDAL", "DOWN TO HOME")] == [1, 1, 1]
    assert shows(canvas, "hands off carriage and work") and status_of(first).word == "HANDS OFF"
    assert gestures_of(first.view, 0, first.words).tap == NOTHING  # type: ignore[arg-type]
    tap = named("not clear")
    canvas = page(tap)
    assert big_on(canvas, "TAP") and big_on(canvas, "UP TO 6.02") and not big_on(canvas, "SAW OFF")
    assert status_of(tap).word == "DRAW BACK" and shows(canvas, "tap: moves it")
    held = next(seen for _, seen in states(clear_input=False) if seen.view and seen.view.move and seen.view.move.step)
    canvas = page(held)
    assert big_on(canvas, "HOLD PEDAL") and not big_on(canvas, "TAP") and shows(canvas, "tap: nothing")
    zero = states(home="by hand")[0][1]
    canvas = page(zero)
    assert big_on(canvas, "ZERO IT") and shows(canvas, "Motor off.") and shows(canvas, "long press: zeroed")


def test_zeroing_by_hand_never_looks_like_moving() -> None:
    homing = [seen for _, seen in states(home="by hand") if seen.view and seen.view.mode == "homing"]
    assert homing
    for seen in homing:
        assert seen.view is not None and seen.words is not None
        assert by_hand(seen.view, seen.words) and not is_moving(seen.view, seen.words)
        assert not shows(page(seen), "It moves.") and "halts it" not in "".join(lines_of(page(seen)))


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_halted_says_where_and_what_is_left(columns: int, rows: int) -> None:
    """By hand: it was sent to 15.16 and halted 1.23 short of it."""
    canvas = page(named("halted"), columns, rows)
    assert all(big_on(canvas, line) for line in ("HALTED 13.93", "HOLD PEDAL", "UP TO 15.16"))
    assert shows(canvas, "Hold the pedal down to go on: up to 15.16.") and shows(canvas, "at 13.93")
    assert shows(canvas, "long press: moves while held") and not big_on(canvas, "SAW OFF"), "a step: the saw may run"
    canvas = page(named("halted with the saw off"), columns, rows)
    assert shows(canvas, "Saw off, blade still")


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_lost_is_in_the_head_in_red_and_no_number_looks_true(columns: int, rows: int) -> None:
    lost = [(name, seen) for name, seen in states() if any(device == "carriage" for device, _ in seen.faults)]
    assert {seen.view.mode for _, seen in lost if seen.view} >= {"cutting", "move asked", "homing"}
    for name, seen in lost:
        view, words = seen.view, seen.words
        assert view is not None and words is not None
        canvas = page(seen, columns, rows)
        assert shows(canvas, LOST_TEXT), name
        head = regions_of(columns, rows)["head"]
        assert "CARRIAGE LOST" in text_in(canvas, "head") or big_in_reverse(canvas, "CARRIAGE LOST")
        assert canvas.lines[head.top][0][1] & RED and canvas.lines[head.top][columns - 1][1] & RED
        assert view.stands is None and view.reported is None and where_it_is(view, None) is None
        bar = track(view, words, None, columns - 2)
        assert "place not known" in bar and CARRIAGE not in bar
        assert not re.search(r"\bat \d", text_in(canvas, "do", "board")), name
        for pass_ in words.job.pattern_of(view.setup).passes:
            assert not big_on(canvas, f"{float(pass_.setting):.2f}")
        if view.mode == "cutting":
            assert big_on(canvas, "CARRIAGE") and big_on(canvas, "LOST")
            assert not re.search(r"\b(cut|ready)\b", text_in(canvas, "head", "faults", "do", "keys"), re.IGNORECASE)
            assert "▼▼" not in "".join(lines_of(canvas)), "no pass is marked on the board as the one to cut"


def test_a_fault_stays_until_it_is_homed_and_no_longer() -> None:
    names = [name for name, seen in states() if seen.faults]
    assert names[0] == "lost under a call" and "homing again" in names
    assert "homed, and on" not in names and names[-1] == "homing after that"


def test_the_two_questions_have_words_of_their_own() -> None:
    """By hand: the switch was found 0.1 mm off in a joint with 0.1 mm of clearance."""
    canvas = page(next(seen for _, seen in states() if seen.view and seen.view.question == "off"))
    assert big_on(canvas, "GO ON?") and big_on(canvas, "0.1 MM OFF")
    assert shows(canvas, "The carriage stood 0.1 mm lower than it read.")
    session = DrivenRehearsal(driven_job())
    at, utc = session.now(15.0)
    session.do(Gesture(at, utc, "hold", at, "keys"))
    assert session.sight.view is not None and session.sight.view.question == "move"
    canvas = page(session.sight)
    assert big_on(canvas, "START IT?") and big_on(canvas, "DOWN TO HOME")


def test_what_came_of_a_tap_is_shown_once_the_sled_was_looked_at() -> None:
    assert named("looking at the sled").hands.made == ""
    assert named("on by tap").hands.made == "pass 1 is cut"
    assert named("on by tap again").hands.made == "sent off"
    assert named("too old").hands.made == "nothing moved"


def test_it_is_told_by_tap_or_hold_just_as_the_session_decides_it() -> None:
    """Against the rule itself, in every state."""
    seen = set()
    for clear_input in (True, False):
        session = DrivenRehearsal(driven_job(carriage=driven_carriage(clear_input=clear_input)))
        for _ in every_turn(session):
            state, view = session.runner.state, session.sight.view
            move = state.driving.move
            if state.effective_mode not in WAITS or move is None:
                continue
            assert view is not None and session.sight.words is not None
            by_tap = driven.by_tap(state.the_job.carriage, move, state.driving.at)
            assert lets_by_tap(view, session.sight.words) == by_tap
            seen.add((state.effective_mode, move.step, by_tap))
    assert {("move asked", True, True), ("move asked", True, False), ("halted", True, False)} <= seen


# --- nothing stale


class Watched(Gathering):
    """Keeps every sight of which a page could be drawn."""

    def __init__(self) -> None:
        super().__init__()
        self.drawn: list[Sight] = []

    def _keep(self) -> None:
        if self.whole and (not self.drawn or self.drawn[-1] is not self.sight):
            self.drawn.append(self.sight)

    def show(self, *args: Any, **more: Any) -> None:
        super().show(*args, **more)
        self._keep()

    def said(self, *args: Any, **more: Any) -> None:
        super().said(*args, **more)
        self._keep()

    def turn(self, *args: Any, **more: Any) -> None:
        super().turn(*args, **more)
        self._keep()


def test_no_page_drawn_within_a_turn_puts_old_words_to_a_new_state() -> None:
    session = DrivenRehearsal(driven_job())
    watched = Watched()
    outputs = session.runner.outputs
    outputs.screens.append(watched)
    outputs.watchers.append(watched)
    for _ in every_turn(session):
        pass
    drawn = [seen for seen in watched.drawn if seen.view is not None and seen.words is not None]
    assert len(drawn) > 100
    for seen in drawn:
        assert seen.view is not None and seen.words is not None
        if seen.view.mode in WAITS:
            assert seen.will_move.endswith("."), "with the words of this very proposal"
            target = seen.view.move and seen.view.move.to
            assert target is None or f"{float(target):.2f}" in seen.will_move
        elif seen.view.mode in MOVES:
            assert not seen.will_move
        if seen.faults:
            assert seen.view.stands is None and seen.view.reported is None
            assert seen.view.mode != "cutting" or is_lost(seen.view, seen.words)


@pytest.mark.parametrize("mode", ["standing by", "checks", "question"])
def test_a_loss_while_nothing_new_is_shown_takes_its_place_away_at_once(mode: str) -> None:
    """The session then only speaks: no new snapshot comes."""
    session = DrivenRehearsal(driven_job())
    for _ in range(4):
        session.go_on()
    if mode != "checks":
        while session.mode == "checks":
            session.go_on()
        session.heard("stand by" if mode == "standing by" else "end")
    assert session.mode == mode and session.sight.view is not None and session.sight.view.stands is not None
    session.lose()
    assert session.mode == mode
    assert session.sight.view.stands is None and session.sight.view.reported is None
    assert status_of(session.sight).lost == "CARRIAGE LOST"


def test_an_old_proposals_first_words_never_come_again_with_a_later_one() -> None:
    """Both end alike: the same setting on another end. Said again, the same proposal keeps its first words."""
    gathering, proposal = Gathering(), "Draw right back, then tap: up to 6.02."
    refused = f"Nothing moved: that press was too long ago. {proposal}"
    gathering.said(refused, Klass.MOVE, "")
    gathering.said(proposal, Klass.MOVE, "")
    assert gathering.sight.will_move == refused
    gathering.turn(Arrived(1.0, "", "m1", Fraction(6)), [Record(1, 1.0, "", MoveAsked(1, 2, "setting", "6.02", True))])
    gathering.said(proposal, Klass.MOVE, "")
    assert gathering.sight.will_move == proposal


def test_a_list_over_the_page_goes_when_it_begins_to_move() -> None:
    session = DrivenRehearsal(driven_job())
    session.gesture("hold", after=15.0)
    session.gathering.note("-- Bench page:\n   code 1234 5678")
    assert session.sight.note
    session.answer()
    assert session.sight.view is not None and session.sight.view.mode == "moving" and not session.sight.note


@pytest.mark.usefixtures("now")
def test_what_is_reported_changes_no_page_while_it_stands() -> None:
    for name, seen in states():
        assert seen.view is not None
        still = seen.view.mode not in MOVES
        assert (lines_of(page(seen, 200, 60, LIVE)) == lines_of(page(seen, 200, 60))) == still, name


def test_nobody_is_shown_how_to_clamp_before_it_stands_where_the_board_is_set() -> None:
    shown = set()
    for name, seen in states():
        assert seen.view is not None
        figure = "NO CLAMP" in "".join(lines_of(page(seen, 200, 60)))
        assert not (figure and seen.view.mode in (*WAITS, *MOVES)), name
        shown.add((seen.view.mode, figure))
    assert ("cutting", True) in shown and ("moving", False) in shown


def test_what_is_lost_is_not_said_twice() -> None:
    assert LOST_TEXT not in named("lost while moving").will_move
    assert named("lost while moving").will_move.startswith("Saw off")


def test_no_log_line_and_no_answer_ever_says_what_to_do() -> None:
    """As for all other sessions: such a line stays when the state changes."""
    for name, seen in states():
        told = [entry.text for entry in seen.log if entry.klass not in ("caution", "warning")]
        for text in (*told, seen.heard.made, seen.hands.made):
            if text != LOST_TEXT:  # it goes with its fault
                assert not ASKS.search(text), (name, text)


def test_plain_lines_say_what_it_does_and_what_halts_it() -> None:
    out = io.StringIO()
    session = DrivenRehearsal(driven_job())
    session.runner.outputs.screens.append(PlainScreen(out, keys=True))
    lines: dict[str, list[str]] = {}
    for name in every_turn(session):
        lines.setdefault(name, out.getvalue().splitlines())
        out.seek(0)
        out.truncate()
    assert lines["on by tap"][-1] == (
        "   [setup 1/4, MOVES UP TO 6.02, 1 done here, 1 of 20 in all; any press or key: halts it]"
    )
    assert lines["arrived"] == [
        ">> 6.02",
        "   Standing at 6.02. Cut.",
        "   [setup 1/4, pass 2/6, STANDS AT 6.02, then 15.16, 1 cut here, 1 of 20 in all; "
        "tap: pass cut, call next; double tap: say again; long press: stand by]",
    ]
    halted = lines["halted"]
    assert halted[0].startswith("?? Halted at 13.93.")
    assert "HALTED AT 13.93, up to 15.16 is left" in halted[-1] and "long press: moves while held" in halted[-1]
    lost = lines["lost under a call"]
    assert lost[0] == f".. {LOST_TEXT}" and "pass 3/6, CARRIAGE LOST" in lost[-1]
    assert not re.search(r"\d\.\d\d|\bcut\b|then \d", lost[-1])
    assert "tap: record, then home" in lost[-1]
    for name, told in lines.items():
        moves = [line for line in told if "MOVES" in line]
        assert not any(re.search(r"\bcut\b", line) for line in moves), name


# --- the carriage in its travel


@pytest.mark.parametrize(
    ("at", "share"),
    [(TRAVEL[0], 0.0), (TRAVEL[1], 1.0), (Fraction(295, 2), 0.5), (TRAVEL[0] - 9, 0.0), (TRAVEL[1] + 9, 1.0)],
)
def test_where_it_is_in_its_travel(at: Fraction, share: float) -> None:
    """By hand: the travel is 305 mm long from -5; nothing is drawn outside it."""
    assert along(at, TRAVEL) == pytest.approx(share)


def test_the_bar_has_both_places_in_their_order_and_the_carriage_over_its_target() -> None:
    seen = named("on by tap")
    assert seen.view is not None and seen.words is not None
    for columns in (60, 78, 198):
        bar = track(seen.view, seen.words, Fraction(200), columns)
        assert len(bar) == columns and bar.startswith("-5 ├") and bar.endswith("┤ 300   now 200.00")
        inner = bar[bar.index("├") + 1 : bar.index("┤")]
        assert inner.index("┼") < inner.index(CARRIAGE)
        assert inner.index(CARRIAGE) / len(inner) == pytest.approx(205 / 305, abs=1 / len(inner))
    there = track(seen.view, seen.words, Fraction(602, 100), 78)
    assert CARRIAGE in there and "┼" not in there
    assert track(seen.view, seen.words, None, 78).endswith("place not known")
    assert track(seen.view, seen.words, LIVE, 20) == "now 12.34", "no room for a bar"


def test_without_a_drive_there_is_none() -> None:
    seen = named("arrived")
    assert seen.view is not None and seen.words is not None
    job = replace(seen.words.job, carriage=replace(seen.words.job.carriage, drive=None))
    assert track(seen.view, Words(job), LIVE, 78) == ""


def test_the_position_goes_from_the_inputs_to_the_gauges() -> None:
    assert gauges_of("off", None, "heard", False, True, LIVE).position == LIVE
    assert gauges_of("works", -30.0, "heard", False, True, LIVE).position == LIVE


# --- on a real pseudo-terminal


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")
def test_the_page_follows_the_carriage_by_itself_and_only_while_it_moves() -> None:
    """No event comes while it moves: the view asks. What is reported at any other time never gets onto the page."""
    pytest.importorskip("pyte")
    from tests.screens.test_view_displayed import Bench

    bench = Bench()
    bench.reading.set()
    session = DrivenRehearsal(driven_job())
    session.runner.outputs.screens.append(bench.view)
    session.runner.outputs.watchers.append(bench.view)
    inputs = Inputs("off", None, "heard", False, True, "works", Fraction(0))
    live = [Fraction(7711, 100)]

    def now() -> Inputs:
        return replace(inputs, position=live[0])

    def until(holds: Callable[[str], bool]) -> None:
        end = time.monotonic() + 20.0
        while not holds(bench._screen.text):
            assert time.monotonic() < end, bench._screen.text
            time.sleep(0.01)

    try:
        bench.view.settle(now)
        session.gesture("hold", after=15.0)
        until(lambda page: "now 77.11" in page)
        for hundredths in (7622, 5033, 1044):
            live[0] = Fraction(hundredths, 100)
            shown = f"now {hundredths / 100:.2f}"
            until(lambda page, shown=shown: shown in page and "77.11" not in page)  # type: ignore[misc]
        live[0] = None  # type: ignore[call-overload]
        until(lambda page: "place not known" in page)
        live[0] = Fraction(9999, 100)
        session.lose()
        until(lambda page: "CARRIAGE LOST" in page and "99.99" not in page)
    finally:
        bench.close()
