"""One turn of the loop: commit before any effect, deadlines before later events, deaf while speaking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from unittest.mock import ANY

import pytest

from assistant.runner.voice_watch import LOST, VERDICT_S
from assistant.session.events import DeviceChanged, Event, Gesture, Heard, SpeechEnded, SpeechStarted, TimePassed
from assistant.session.facts import Record
from tests.runner.adapters import Logbook, drain, started

UTC = "2026-03-02T09:00:00.000Z"


def long_press(at: float) -> Gesture:
    return Gesture(at, UTC, "hold", at)


def test_facts_are_committed_before_anything_is_said_or_shown() -> None:
    runner, log, _ = started()
    runner.handle(long_press(5))
    assert log.done[0] == ("commit", "check_confirmed", "check_opened")
    assert {entry[0] for entry in log.done[1:]} >= {"say", "listen", "show", "said", "prepare"}


def test_a_watcher_sees_each_turn_after_its_commit_and_before_its_effects() -> None:
    runner, log, _ = started()
    turns: list[tuple[str, list[str], list[object]]] = []

    class Watcher:
        def turn(self, event: Event, records: Sequence[Record]) -> None:
            done = [entry[0] for entry in log.done]
            turns.append((type(event).__name__, [record.fact.kind for record in records], done))

    runner.outputs.watchers.append(Watcher())
    log.done.clear()
    runner.handle(long_press(5))
    kind, facts, done = turns[0]
    assert kind == "Gesture" and facts[:2] == ["check_confirmed", "check_opened"]
    assert set(done) == {"commit"}


def test_a_commit_that_fails_leaves_the_state_and_the_operator_as_they_were() -> None:
    runner, log, _ = started()
    before = runner.state
    log.fails = True
    with pytest.raises(OSError, match="the disk is full"):
        runner.handle(long_press(5))
    assert runner.state is before
    assert log.done == []


def test_a_turn_without_facts_commits_nothing() -> None:
    runner, log, _ = started()
    runner.handle(Gesture(5, UTC, "double", 5))
    assert not log.of("commit") and log.of("say")


def test_passing_facts_are_applied_and_not_committed() -> None:
    runner, log, _ = started()
    runner.handle(long_press(5))
    runner.handle(long_press(6))
    runner.handle(Gesture(11, UTC, "tap", 11))
    log.done.clear()
    runner.handle(Heard(20, UTC, "back", None, "x", 20, runner.state.generation))
    assert runner.state.question is not None and not log.of("commit")


def test_a_deadline_comes_before_an_event_that_is_later() -> None:
    runner, log, _ = started()
    for at, gesture in ((5, "hold"), (6, "hold"), (11, "tap")):
        runner.handle(Gesture(at, UTC, gesture, at))
    runner.handle(Heard(20, UTC, "back", None, "x", 20, runner.state.generation))
    assert runner.next_deadline() == 35
    runner.handle(Heard(36, UTC, "yes", None, "x", 36, runner.state.generation))
    assert runner.state.question is None and runner.state.mode == "cutting"
    assert runner.state.cut == 1, "the yes came after the question had become a no"


def test_what_follows_a_deadline_counts_from_then_and_not_from_the_event_after_it() -> None:
    runner, _, _ = started()
    for at, gesture in ((5, "hold"), (6, "hold"), (11, "tap")):
        runner.handle(Gesture(at, UTC, gesture, at))
    runner.handle(Heard(20, UTC, "back", None, "x", 20, runner.state.generation))
    runner.handle(Gesture(40, UTC, "tap", 40))
    assert runner.state.cut == 0b11, "the setting was called again at 35 s"


def test_an_answer_before_the_deadline_counts_and_the_deadline_then_does_nothing() -> None:
    runner, log, _ = started()
    for at, gesture in ((5, "hold"), (6, "hold"), (11, "tap")):
        runner.handle(Gesture(at, UTC, gesture, at))
    runner.handle(Heard(20, UTC, "back", None, "x", 20, runner.state.generation))
    runner.handle(long_press(34.9))
    assert runner.state.cut == 0
    log.done.clear()
    runner.handle(TimePassed(35, UTC))
    assert log.done == []


def test_nothing_is_heard_from_the_first_to_the_last_announcement() -> None:
    runner, log, _ = started()
    for event in (
        SpeechStarted(1, UTC, "a1"),
        SpeechStarted(2, UTC, "a2"),
        SpeechEnded(2, UTC, "a1", "whole"),
        SpeechEnded(3, UTC, "a2", "cut off"),
    ):
        runner.handle(event)
    assert log.of("speaking") == [("speaking", True), ("speaking", True), ("speaking", True), ("speaking", False)]


def test_an_announcement_that_failed_before_it_began_leaves_hearing_awake() -> None:
    runner, log, _ = started()
    runner.handle(SpeechEnded(1, UTC, "a1", "failed"))
    assert log.of("speaking") == [("speaking", False)]


def test_the_session_goes_on_without_any_adapter() -> None:
    runner, _, _ = started()
    runner.outputs.speaker = runner.outputs.listener = None
    runner.outputs.screens.clear()
    runner.handle(long_press(5))
    assert runner.state.open_check == 1


def test_what_is_opened_counts_as_out_once_all_of_it_was_handed_over() -> None:
    runner, _, clock = started()
    clock.set(30)
    runner.handle(long_press(5))
    assert runner.state.opening.out_at == 30
    runner.handle(long_press(29))
    assert runner.state.open_check == 1


def test_without_a_speaker_every_announcement_has_failed_at_once() -> None:
    runner, _, _ = started()
    runner.outputs.speaker = None
    runner.handle(long_press(5))
    assert runner.next_event(0) == SpeechEnded(0.0, ANY, runner.state.opening.announcement, "failed")


def test_a_voice_that_gives_no_sign_is_given_up_and_reported() -> None:
    runner, _, clock = started()
    clock.set(VERDICT_S + 0.1)
    runner.look_after_voice()
    posted = list(iter(lambda: runner.next_event(0), None))
    assert {event.how for event in posted[:-1] if isinstance(event, SpeechEnded)} == {"failed"}
    assert posted[-1] == DeviceChanged(clock.at(), ANY, "loudspeaker", "lost", LOST)
    runner.look_after_voice()
    assert runner.next_event(0) is None, "once"


def test_two_soft_notes_come_before_questions_and_nothing_else() -> None:
    runner, log, _ = started()
    job = runner.state.the_job
    runner.state = replace(runner.state, job=replace(job, voice=replace(job.voice, tone=True)))
    log.tones.clear()
    runner.handle(long_press(5))
    runner.handle(long_press(6))
    runner.handle(Gesture(11, UTC, "tap", 11))
    runner.handle(Heard(20, UTC, "back", None, "x", 20, runner.state.generation))
    assert log.tones == ["asks", None, None, "asks"], "guard, a setting, a setting, a read-back"


def test_what_was_posted_is_handled_in_order() -> None:
    runner, log, _ = started()
    runner.post(long_press(5))
    runner.post(long_press(6))
    drain(runner)
    assert [entry[1] for entry in log.of("commit")] == ["check_confirmed", "check_confirmed"]
    assert runner.next_event(0) is None


def test_the_phrases_in_force_follow_the_state() -> None:
    runner, _, _ = started()
    assert "marigold all clamps are secure" in {phrase.text for phrase in runner.phrases}
    runner.handle(long_press(5))
    texts = {phrase.text for phrase in runner.phrases}
    assert "marigold safety guard fitted" in texts and "marigold all clamps are secure" not in texts


def test_the_logbook_itself_fails_on_request() -> None:
    log = Logbook()
    log.fails = True
    with pytest.raises(OSError):
        log.commit([])
