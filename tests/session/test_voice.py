"""Louder, quieter, slower, quicker: in every state, in steps, within limits. Nothing is recorded or moved."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.plans.voice_range import LOUDEST_DB, QUICKEST, SLOWEST, SOFTEST_DB, STEP_DB, stepped_rate
from assistant.session import effects as e
from assistant.session.decide import decide
from assistant.session.events import Heard
from assistant.session.intents import wanted
from assistant.session.state import State
from assistant.session.voice import to_keep, voice_of
from tests.session.driver import Driver
from tests.session.jobs import few_checks, job

OF_THE_VOICE = ("louder", "quieter", "slower", "quicker")


def said(state: State, intent: str) -> tuple[State, tuple[e.Effect, ...]]:
    event = Heard(state.at + 1, "", intent, None, intent, state.at + 1, state.generation, "voice")
    decision = decide(state, event)
    assert all(record.fact.passing for record in decision.records), "nothing goes into the journal"
    return decision.state, decision.effects


def until_the_end(intent: str) -> list[e.SetVoice]:
    state, found = Driver(job(checks=few_checks())).state, []
    for _ in range(40):
        state, effects = said(state, intent)
        changes = [effect for effect in effects if isinstance(effect, e.SetVoice)]
        if not changes:
            (answer,) = [effect for effect in effects if isinstance(effect, e.Say)]
            assert answer.prompts[0].key in ("loudest", "softest", "slowest", "quickest")
            return found
        assert effects.index(changes[0]) == 0, "the answer is spoken in the new voice"
        found += changes
    raise AssertionError("there is no end")


def test_a_step_is_three_decibels_or_twelve_in_a_hundred() -> None:
    assert until_the_end("louder")[0].loudness_db == STEP_DB == 3
    assert until_the_end("quicker")[0].rate == round(175 * 1.12)
    assert until_the_end("slower")[0].rate == round(175 / 1.12)


def test_steps_reach_the_end_of_the_range_and_go_no_further() -> None:
    assert until_the_end("louder")[-1].loudness_db == LOUDEST_DB
    assert until_the_end("quieter")[-1].loudness_db == SOFTEST_DB
    assert until_the_end("quicker")[-1].rate == QUICKEST
    assert until_the_end("slower")[-1].rate == SLOWEST


def test_one_step_back_from_the_end_is_one_step_even_after_asking_for_more() -> None:
    state = Driver(job(checks=few_checks())).state
    for _ in range(9):
        state, _ = said(state, "louder")
    state, effects = said(state, "quieter")
    assert effects[0] == e.SetVoice(LOUDEST_DB - STEP_DB, 175)


@pytest.mark.parametrize("rate", [80, 100, 160, 260, 450])
def test_no_step_goes_the_wrong_way(rate: int) -> None:
    """The shop file allows 80 to 450 words a minute."""
    assert stepped_rate(rate, 0) == rate
    assert stepped_rate(rate, 1) >= rate >= stepped_rate(rate, -1)


def test_the_voice_can_be_changed_in_every_state_and_nothing_else_changes() -> None:
    driver = Driver(job(checks=few_checks()))
    seen = set()
    for _ in range(200):
        for intent in OF_THE_VOICE:
            before = driver.state
            assert (intent, None) in wanted(before)
            after, effects = said(before, intent)
            assert replace(after, louder=0, quicker=0, said=0, at=0.0) == replace(
                before, louder=0, quicker=0, said=0, at=0.0
            )
            says = [effect for effect in effects if isinstance(effect, e.Say)]
            assert len(says) == 1 and not says[0].replaces, "a setting that sounds is not cut off"
        seen.add(driver.state.effective_mode)
        if driver.state.mode == "finished":
            break
        driver.gesture("hold" if driver.state.mode == "checks" else "tap", after=10.0)
    assert {"checks", "cutting", "finished"} <= seen


def test_the_shop_files_loudness_is_the_start_and_the_lines_that_keep_a_change_are_given() -> None:
    plain = job(checks=few_checks())
    soft = replace(plain, voice=replace(plain.voice, loudness=-6))
    state = Driver(soft).state
    assert voice_of(state) == e.SetVoice(-6, 175) and to_keep(state) == ()
    state, _ = said(state, "louder")
    assert to_keep(state) == ("loudness = -3",)
    state, _ = said(state, "slower")
    assert to_keep(state) == ("loudness = -3", "speech_rate = 156")
