"""The voice must report on each announcement within seconds, by the session's clock. What follows if it doesn't."""

from __future__ import annotations

import pytest

from assistant.runner.clock import SetClock
from assistant.runner.live import TICK_S, run_live
from assistant.runner.loop import Outputs, Runner
from assistant.runner.voice_watch import BACK, LONGEST_S, LOST, SLOW, VERDICT_S, VoiceWatch
from assistant.session.announced import FIRST_WORDS_S, READING_S
from assistant.session.events import (
    NOTE,
    DeviceChanged,
    Displayed,
    Event,
    Gesture,
    Leave,
    NotHeard,
    SpeechEnded,
    SpeechStarted,
    Start,
)
from assistant.session.facts import Record
from tests.runner.adapters import Logbook, drain
from tests.session.jobs import few_checks, job, plan

UTC = "2026-03-02T09:00:00.000Z"

# --- the watch


def test_nothing_is_owed_if_nothing_was_handed_over() -> None:
    watch = VoiceWatch()
    assert watch.overdue(1e6) == () and not watch.lost


def test_an_announcement_without_any_sign_is_given_up_in_time_and_once() -> None:
    assert VERDICT_S + TICK_S < 5.0, "said within 5 s"
    watch = VoiceWatch()
    watch.handed("a1", 10.0)
    watch.handed("a2", 10.0 + VERDICT_S - 1)  # waits for the first one, so the time runs from there
    assert watch.overdue(10.0 + VERDICT_S) == () and not watch.lost
    assert watch.overdue(10.01 + VERDICT_S) == ("a1", "a2") and watch.lost
    assert watch.overdue(1e6) == ()


@pytest.mark.parametrize("sign", ["ended", "started"])
def test_each_sign_gives_the_next_its_own_time(sign: str) -> None:
    watch = VoiceWatch()
    watch.handed("a1", 0.0)
    watch.handed("a2", 0.0)
    if sign == "started":
        watch.started("a1", VERDICT_S - 1)
    watch.ended("a1", VERDICT_S - 0.5)
    assert watch.overdue(2 * VERDICT_S - 0.5) == ()
    assert watch.overdue(2 * VERDICT_S - 0.4) == ("a2",)


def test_speech_may_last_as_long_as_the_longest_announcement_and_no_longer() -> None:
    watch = VoiceWatch()
    watch.handed("a1", 0.0)
    watch.started("a1", 1.0)
    assert watch.sounding and watch.overdue(1.0 + LONGEST_S) == ()
    assert watch.overdue(1.1 + LONGEST_S) == ("a1",)
    assert watch.lost and not watch.sounding


def test_the_first_sign_of_a_lost_voice_brings_it_back_and_is_reported_once() -> None:
    watch = VoiceWatch()
    watch.handed("a1", 0.0)
    watch.overdue(6.0)
    assert watch.started("a1", 7.0) and not watch.lost
    assert not watch.started("a2", 8.0)


def test_a_soft_note_is_no_sign_of_a_voice() -> None:
    """It needs only a loudspeaker."""
    watch = VoiceWatch()
    watch.handed("a1", 0.0)
    watch.started(NOTE, VERDICT_S - 1)
    watch.ended(NOTE, VERDICT_S - 0.5)
    assert watch.overdue(VERDICT_S + 0.1) == ("a1",)
    assert not watch.started(NOTE, 6.0)
    watch.ended(NOTE, 6.5)
    assert watch.lost


def test_the_end_of_what_was_given_up_is_no_sign_of_a_voice() -> None:
    """An announcement can end without a sound: cut off, or failed."""
    watch = VoiceWatch()
    watch.handed("a1", 0.0)
    watch.overdue(6.0)
    watch.ended("a1", 7.0)
    assert watch.lost


# --- the loop


class Bench:
    """A session whose answers count only once announced, with a speaker that reports only when the test makes it."""

    def __init__(self) -> None:
        self.log, self.clock = Logbook(), SetClock()
        self.events: list[Event] = []
        self.facts: list[str] = []
        self.runner = Runner(self.log.commit, Outputs(self.log, self.log, [self.log], watchers=[self]), self.clock)
        self.runner.handle(Start(0.0, UTC, job(plan(parts="A"), few_checks()), hear_out=True))
        drain(self.runner)

    def turn(self, event: Event, records: list[Record]) -> None:
        self.events.append(event)
        self.facts += [record.fact.kind for record in records]

    def at(self, at: float) -> None:
        """Nothing waits in the queue at this time (s)."""
        self.clock.set(at)
        self.runner.look_after_voice()
        drain(self.runner)

    def long_press(self, at: float) -> None:
        self.clock.set(at)
        self.runner.handle(Gesture(at, UTC, "hold", at))
        drain(self.runner)

    def shown(self, at: float) -> None:
        self.clock.set(at)
        self.runner.handle(Displayed(at, UTC, self.runner.state.generation))
        drain(self.runner)

    @property
    def confirmed(self) -> int:
        return self.facts.count("check_confirmed")

    @property
    def failed(self) -> list[str]:
        return [event.id for event in self.events if isinstance(event, SpeechEnded) and event.how == "failed"]

    @property
    def devices(self) -> list[tuple[str, str]]:
        return [(event.state, event.text) for event in self.events if isinstance(event, DeviceChanged)]


def test_a_speaker_that_never_says_anything_is_lost_in_time_and_reported() -> None:
    bench = Bench()
    handed = [f"a{n}" for n in range(1, bench.runner.state.said + 1)]
    bench.at(VERDICT_S)
    assert bench.failed == [] and bench.devices == []
    bench.at(VERDICT_S + 0.1)
    assert bench.failed[: len(handed)] == handed
    assert bench.devices == [("lost", LOST)]
    assert LOST in [entry[1] for entry in bench.log.of("said")], "it is on the screens"
    bench.at(60.0)
    assert bench.devices == [("lost", LOST)], "and only once"


def test_until_then_nothing_counts_and_afterwards_what_was_shown_does() -> None:
    """A check that was neither heard nor seen never counts, however long it has been open."""
    bench = Bench()
    bench.shown(1.0)
    bench.long_press(VERDICT_S - 0.1)
    assert bench.confirmed == 0, "shown, but the voice may still say it"
    bench.at(VERDICT_S + 0.1)
    bench.long_press(VERDICT_S + 0.2)
    assert bench.confirmed == 1, "shown since 1 s, and the voice has failed"
    bench.long_press(100.0)
    assert bench.confirmed == 1, "the next check: failed at once, and no screen has it"
    bench.shown(101.0)
    bench.long_press(101.0 + READING_S - 0.1)
    assert bench.confirmed == 1
    bench.long_press(101.0 + READING_S)
    assert bench.confirmed == 2


def test_a_lost_voice_still_gets_everything_and_its_first_sound_brings_it_back() -> None:
    bench = Bench()
    bench.at(6.0)
    bench.shown(6.0)
    bench.long_press(10.0)
    asked = bench.runner.state.opening.announcement
    assert str(bench.log.of("say")[-1][1]).startswith("Guard for this cut fitted")
    assert asked in bench.failed
    bench.clock.set(11.0)
    bench.runner.handle(SpeechStarted(11.0, UTC, asked))
    drain(bench.runner)
    assert bench.devices == [("lost", LOST), ("works", BACK)]
    bench.long_press(11.0 + FIRST_WORDS_S - 0.1)
    assert bench.confirmed == 1
    bench.long_press(11.0 + FIRST_WORDS_S)
    assert bench.confirmed == 2, "spoken, it counts by its first words again, shown or not"
    before = len(bench.failed)
    bench.at(12.5)
    assert len(bench.failed) == before, "what is handed to it now has its own time"


def test_speech_whose_report_waits_in_the_queue_is_not_given_up() -> None:
    """After a stall its report is still in the queue. The live loop checks the voice only when the queue is empty."""
    bench = Bench()
    ids = [f"a{n}" for n in range(1, bench.runner.state.said + 1)]
    for id in ids:
        bench.runner.post(SpeechStarted(1.0, UTC, id))
        bench.runner.post(SpeechEnded(2.0, UTC, id, "whole"))
    bench.clock.set(30.0)
    bench.runner.post(Leave(30.0, UTC))
    run_live(bench.runner)
    drain(bench.runner)  # what it posted while reports waited comes after all of them
    assert bench.devices == [] and bench.failed == []


def test_the_live_loop_looks_after_the_voice() -> None:
    """The clock moves only when the pump, called in every round, moves it."""
    bench = Bench()
    times: list[float] = []

    def pump(at: float) -> None:
        if bench.devices:
            times.append(at)
            bench.runner.post(Leave(at, UTC))
        bench.clock.set(at + 0.5)

    run_live(bench.runner, pump)
    assert bench.devices == [("lost", LOST)]
    assert times[0] > VERDICT_S and bench.failed


def test_events_that_never_stop_do_not_put_off_the_verdict() -> None:
    """Auto-repeat of a key and noise at the microphone come faster than the loop's longest wait."""
    bench = Bench()

    take = bench.runner.next_event

    def just_in_time(timeout_s: float | None) -> Event:
        """The queue is empty in between, and yet an event has always come when the loop's wait is over."""
        return take(0) or NotHeard(bench.clock.at(), UTC, "it was not a phrase")

    def pump(at: float) -> None:
        if bench.devices or at > 10 * VERDICT_S:
            bench.runner.post(Leave(at, UTC))
        bench.clock.set(at + 0.2)

    bench.runner.next_event = just_in_time  # type: ignore[method-assign]
    run_live(bench.runner, pump)
    assert bench.devices == [("lost", LOST)]


def test_what_is_still_being_made_is_slow_and_not_lost() -> None:
    """On a slow machine, making an announcement can take many times the limit within which a voice must report."""
    bench = Bench()
    for at in range(1, 60):
        bench.log.moved = float(at)
        bench.at(at)
    assert bench.devices == [] and bench.failed == []
    assert [entry[1] for entry in bench.log.of("said")].count(SLOW) == 1, "said once, with the figure"
    assert str(bench.log.of("say")[-1][1]) != SLOW, "and not spoken: that would take as long again"
    bench.at(59 + VERDICT_S + 0.1)
    assert bench.devices == [("lost", LOST)], "nothing moved any more"


def test_an_announcement_that_is_never_finished_is_lost_in_the_end() -> None:
    bench = Bench()
    for at in range(1, round(LONGEST_S + VERDICT_S) + 2):
        bench.log.moved = float(at)
        bench.at(at)
    assert bench.devices == [("lost", LOST)]


def test_a_voice_in_time_is_never_called_slow() -> None:
    watch = VoiceWatch()
    for n in range(20):
        watch.handed(f"a{n}", n * 10.0)
        watch.moved(n * 10.0 + 1)
        assert not watch.became_slow(n * 10.0 + VERDICT_S)
        watch.started(f"a{n}", n * 10.0 + VERDICT_S)
        assert not watch.became_slow(n * 10.0 + 9)
        watch.ended(f"a{n}", n * 10.0 + 9)
        assert not watch.became_slow(n * 10.0 + 9.9)


def test_rendering_does_not_show_that_current_speech_goes_on() -> None:
    watch = VoiceWatch()
    watch.handed("a1", 0.0)
    watch.started("a1", 1.0)
    watch.moved(LONGEST_S)
    assert watch.overdue(1.1 + LONGEST_S) == ("a1",)
