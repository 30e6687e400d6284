"""Rehearsals: script lines, sound files and deadlines in order of time, on a separate clock."""

from __future__ import annotations

import time

import pytest

from assistant.runner.clock import SetClock
from assistant.runner.loop import Runner
from assistant.runner.rehearsal import MIC_RATE, Rehearsal
from assistant.runner.script import DriveMishap, parse_script
from assistant.session.events import Event, Gesture, SpeechEnded
from tests.runner.adapters import started


class Sound:
    """An announcement that ends at 3.25 s."""

    def __init__(self, runner: Runner, clock: SetClock):
        self._runner, self._clock = runner, clock
        self.boundary: float | None = 3.25
        self.reached: list[float] = []

    def advance(self, to_s: float) -> None:
        self.reached.append(to_s)
        if self.boundary is not None and to_s >= self.boundary:
            self._runner.post(SpeechEnded(self.boundary, self._clock.utc(), "a1", "whole"))
            self.boundary = None

    def next_boundary(self) -> float | None:
        return self.boundary


class Ear:
    def __init__(self) -> None:
        self.samples = 0
        self.flushed = False

    def feed(self, pcm: bytes) -> None:
        assert not self.flushed, "no sound after the end"
        self.samples += len(pcm) // 2

    def flush(self) -> None:
        self.flushed = True


class Source:
    """Sound for so many seconds."""

    def __init__(self, seconds: float):
        self.left = round(seconds * MIC_RATE)
        self.handled_events: list[Event] = []

    def read(self, samples: int) -> bytes | None:
        if not self.left:
            return None
        given = min(samples, self.left)
        self.left -= given
        return bytes(2 * given)

    def handled(self, event: Event) -> None:
        self.handled_events.append(event)


def test_lines_come_at_their_times_from_the_start_of_the_run() -> None:
    runner, log, clock = started()
    clock.set(100.0)
    Rehearsal(runner, clock, parse_script("5 pedal hold\n6.5 pedal hold\n", "s")).run()
    assert runner.state.opening.out_at == 106.5
    assert [entry[1] for entry in log.of("commit")] == ["check_confirmed", "check_confirmed"]


def test_it_stops_where_an_announcement_ends_and_before_the_next_line() -> None:
    runner, _, clock = started()
    sound = Sound(runner, clock)
    Rehearsal(runner, clock, parse_script("2 pedal tap\n5 pedal tap\n", "s"), sound=sound).run()
    assert [round(at, 3) for at in sound.reached] == [2, 3.25, 5]


def test_every_sample_is_heard_once_and_then_the_end_is_reported() -> None:
    runner, _, clock = started()
    ear, source = Ear(), Source(1.23)
    Rehearsal(runner, clock, parse_script("0.333 pedal tap\n", "s"), ear=ear, source=source).run()
    assert ear.samples == round(1.23 * MIC_RATE) and ear.flushed
    assert source.handled_events, "an operator hears of events"


def test_the_microphone_keeps_step_with_the_clock_however_finely_the_time_is_cut() -> None:
    runner, _, clock = started()
    clock.set(100.0)

    class KeepingStep(Ear):
        def feed(self, pcm: bytes) -> None:
            assert abs(self.samples - (clock.at() - 100.0) * MIC_RATE) <= 1
            super().feed(pcm)

    script = "".join(f"{n * 0.01003:.5f} pedal tap\n" for n in range(1, 100))  # every 160.48 samples
    ear = KeepingStep()
    Rehearsal(runner, clock, parse_script(script, "s"), ear=ear, source=Source(1.2)).run()
    assert ear.flushed


def test_a_phrase_of_the_table_is_heard_with_the_grammar_in_force() -> None:
    runner, _, clock = started()
    Rehearsal(runner, clock, parse_script("1 heard marigold all clamps are secure\n", "s")).run()
    assert runner.state.open_check == 1


@pytest.mark.parametrize("state, said", [("lost", "is lost"), ("stands in", "is limited"), ("works", "works")])
def test_a_part_is_said_to_be_lost_limited_or_working(state: str, said: str) -> None:
    runner, log, clock = started()
    Rehearsal(runner, clock, parse_script(f"1 device loudspeaker {state}\n", "s")).run()
    assert ("said", f"The loudspeaker {said} (rehearsed).") in log.of("said")


def test_keys_are_pressed_at_their_times_and_what_they_do_is_handled() -> None:
    """A key that does nothing yet, such as the first of several, makes no event."""
    runner, log, clock = started()
    pressed: list[tuple[float, str]] = []

    class Keys:
        def press(self, key: str) -> Event | None:
            pressed.append((clock.at(), key))
            return Gesture(clock.at(), clock.utc(), "hold", clock.at(), "keys") if key == "h" else None

    Rehearsal(runner, clock, parse_script("5 key g\n6.5 key h\n", "s"), keys=Keys()).run()
    assert pressed == [(5.0, "g"), (6.5, "h")]
    assert [entry[1] for entry in log.of("commit")] == ["check_confirmed"]


def test_only_a_long_press_keeps_the_pedal_down_and_only_until_the_pedals_next_line() -> None:
    down: list[bool] = []

    class Carriage:
        """One that never moves, and is asked at each line whether the pedal was down until then."""

        pedal_down = False

        def advance(self, to_s: float) -> None: ...

        def next_boundary(self) -> float | None:
            return None

        def pressed(self) -> bool:
            return False

        def released(self) -> None:
            down.append(self.pedal_down)

        def sled(self, away: bool) -> None: ...

        def mishap(self, what: DriveMishap, mm: float = 0.0) -> None: ...

    runner, _, clock = started()
    lines = "1 pedal tap\n2 pedal hold\n3 pedal double\n4 pedal hold\n5 pedal release\n6 pedal release\n"
    Rehearsal(runner, clock, parse_script(lines, "s"), drive=Carriage()).run()
    assert down == [False, False, True, False, True, False]


def test_real_time_takes_its_time() -> None:
    runner, _, clock = started()
    began = time.monotonic()
    Rehearsal(runner, clock, parse_script("0.3 pedal tap\n", "s"), real_time=True).run()
    assert time.monotonic() - began >= 0.3


def test_a_deadline_between_two_lines_is_kept() -> None:
    runner, _, clock = started()
    script = "5 pedal hold\n6 pedal hold\n11 pedal tap\n12 heard marigold return to previous\n40 pedal double\n"
    Rehearsal(runner, clock, parse_script(script, "s")).run()
    assert runner.state.question is None and runner.state.cut == 1


def test_deadlines_alone_do_not_keep_a_rehearsal_going() -> None:
    runner, _, clock = started()
    script = "5 pedal hold\n6 pedal hold\n11 pedal tap\n12 heard marigold return to previous\n"
    Rehearsal(runner, clock, parse_script(script, "s")).run()
    assert runner.state.question is not None and clock.at() == 12
