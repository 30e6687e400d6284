"""Two low notes answer speech that did nothing: when, and when not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.session import effects as e
from assistant.session.events import DeviceChanged, Gesture, Heard, NotHeard
from tests.session.driver import UTC, Driver
from tests.session.jobs import few_checks, job, plan

LED, UNLED = "marigold proceed to next pass", "how many passes are left"


def session(tone: bool = True) -> Driver:
    """At its first check."""
    made = job(plan(parts="A"), few_checks())
    return Driver(replace(made, voice=replace(made.voice, tone=tone)))


def called(tone: bool = True) -> Driver:
    """A pass is called."""
    driver = session(tone)
    while not driver.state.quiet:
        driver.gesture("hold", after=12.0)
    return driver


def notes(driver: Driver) -> int:
    return sum(isinstance(effect, e.Note) for effect in driver.effects)


@pytest.mark.parametrize(("like", "sounds"), [(LED, 1), (UNLED, 1), ("", 0)])
def test_at_a_check_the_notes_answer_speech_like_a_phrase_but_not_noise(like: str, sounds: int) -> None:
    driver = session()
    driver.send(NotHeard(driver.at + 5, UTC, "one word didn't sound like the phrase", like))
    assert notes(driver) == sounds
    shown = [effect for effect in driver.effects if isinstance(effect, e.Show)]
    assert shown and shown[0].line is not None, "it is shown in any case"


@pytest.mark.parametrize(("like", "sounds"), [(LED, 1), (UNLED, 0), ("marigolds are in flower", 0), ("", 0)])
def test_while_a_pass_is_called_the_notes_answer_only_speech_with_the_lead_in(like: str, sounds: int) -> None:
    driver = called()
    driver.send(NotHeard(driver.at + 5, UTC, "unclear", like))
    assert notes(driver) == sounds


def test_the_lead_in_is_the_shops_own() -> None:
    driver = called()
    made = driver.state.the_job
    driver.state = replace(driver.state, job=replace(made, voice=replace(made.voice, lead_in="carpenter")))
    driver.send(NotHeard(driver.at + 5, UTC, "unclear", LED))
    assert notes(driver) == 0
    driver.send(NotHeard(driver.at + 6, UTC, "unclear", "carpenter proceed to next pass"))
    assert notes(driver) == 1


@pytest.mark.parametrize("make", [session, called])
def test_without_tones_there_are_no_notes(make: object) -> None:
    driver = make(tone=False)  # type: ignore[operator]
    driver.send(NotHeard(driver.at + 5, UTC, "unclear", LED))
    assert notes(driver) == 0


def test_a_phrase_that_is_late_early_or_means_nothing_now_gets_the_notes() -> None:
    driver = session()
    generation, at = driver.state.generation, driver.at + 5
    meaningless = Heard(at, UTC, "carry on", None, "carrying on from here", at, generation)
    late = Heard(at, UTC, "check", "clamps", "marigold all clamps are secure", at, generation - 1)
    early = Heard(at, UTC, "check", "clamps", "marigold all clamps are secure", -1.0, generation)
    for event in (meaningless, late, early):
        driver.send(event)
        assert notes(driver) == 1, event


def test_the_page_and_the_pedal_get_no_notes() -> None:
    driver = session()
    generation, at = driver.state.generation, driver.at + 5
    driver.send(Heard(at, UTC, "carry on", None, "carrying on from here", at, generation, "page"))
    assert notes(driver) == 0
    driver.send(Gesture(at, UTC, "hold", -1.0))
    assert notes(driver) == 0
    driver.send(DeviceChanged(at, UTC, "microphone", "lost", "The microphone is gone."))
    assert notes(driver) == 0
