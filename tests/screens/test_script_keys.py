"""A rehearsal script's keys do what the terminal's keys do."""

from __future__ import annotations

import pytest

from assistant.runner.clock import SetClock
from assistant.runner.script import KEYS
from assistant.screens.key_meanings import GESTURES, JOB_KEYS, PHRASES, REPEAT_GAP_S
from assistant.screens.script_keys import ScriptKeys
from assistant.session.events import Event, Gesture, Heard, Leave


def pressed(keys: list[str], gap_s: float = 1.0, pedal_key: str = "page_down") -> list[Event | None]:
    clock = SetClock(5.0)
    script_keys = ScriptKeys(clock, pedal_key)
    events = []
    for key in keys:
        events.append(script_keys.press(key))
        clock.set(clock.at() + gap_s)
    return events


def test_a_script_knows_every_key_that_does_something_to_a_session_and_no_other() -> None:
    """Runner and screens don't import each other, so each has its own list."""
    assert sorted(KEYS) == sorted({*GESTURES, *PHRASES, *JOB_KEYS, "g", "j", "q", "u", "x", "#", *"0123456789"})


@pytest.mark.parametrize(("key", "gesture"), GESTURES.items())
def test_a_gestures_key_is_that_gesture_by_keys(key: str, gesture: str) -> None:
    (event,) = pressed([key])
    assert isinstance(event, Gesture)
    assert (event.at, event.since, event.gesture, event.source) == (5.0, 5.0, gesture, "keys")


@pytest.mark.parametrize(("key", "intent"), PHRASES.items())
def test_a_phrases_key_is_that_intent_of_no_grammar(key: str, intent: str) -> None:
    (event,) = pressed([key])
    assert isinstance(event, Heard)
    assert (event.at, event.intent, event.argument, event.generation, event.source) == (5.0, intent, None, -1, "keys")


def test_a_number_to_go_to_is_typed_key_by_key() -> None:
    *typed, event = pressed(["g", "1", "1", "enter"], gap_s=0.2)
    assert typed == [None, None, None]
    assert isinstance(event, Heard) and (event.intent, event.argument) == ("go to", 11)


def test_what_went_wrong_and_a_figure_are_typed_key_by_key() -> None:
    *typed, told = pressed(["x", "8", "enter"], gap_s=0.2)
    assert typed == [None, None]
    assert isinstance(told, Heard) and (told.intent, told.argument, told.source) == ("mishap", "too deep", "keys")
    *typed, given = pressed(["#", "1", "5", "enter"], gap_s=0.2)
    assert typed == [None, None, None]
    assert isinstance(given, Heard) and (given.intent, given.argument) == ("figure", 15)


@pytest.mark.parametrize(("key", "intent"), JOB_KEYS.items())
def test_a_change_of_the_job_is_typed_key_by_key(key: str, intent: str) -> None:
    *typed, event = pressed(["j", "1", "2", key], gap_s=0.2)
    assert typed == [None, None, None]
    assert isinstance(event, Heard) and (event.intent, event.argument, event.source) == (intent, 12, "keys")


def test_a_socket_to_cut_again_is_typed_key_by_key() -> None:
    *typed, event = pressed(["j", "2", "u", "3", "enter"], gap_s=0.2)
    assert typed == [None] * 4
    assert isinstance(event, Heard) and (event.intent, event.argument) == ("socket", "2.3")


def test_a_key_kept_down_counts_once() -> None:
    assert [event is None for event in pressed(["space", "space"], REPEAT_GAP_S - 0.1)] == [False, True]
    assert None not in pressed(["space", "space"], REPEAT_GAP_S + 0.1)


def test_leaving() -> None:
    (event,) = pressed(["q"])
    assert isinstance(event, Leave)


def test_the_pedals_own_key_is_a_tap() -> None:
    """Also if the key otherwise means something else."""
    (event,) = pressed(["h"], pedal_key="h")
    assert isinstance(event, Gesture) and event.gesture == "tap"
