"""The decision whether a decoded phrase was really said: hard limits, the evidence together, and the reasons."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from assistant.hearing import accept
from assistant.hearing.accept import SPHINX_BARS, VOSK_BARS, judge
from assistant.wording.phrases import Phrase

USUAL, STRICT = SPHINX_BARS
HIT = {**accept.TYPICAL, "piece": -2.0, "frames a phone": 9.0, "margin": 100.0}


def test_a_typical_hit_passes_both_bars():
    assert judge(HIT, USUAL) == judge(HIT, STRICT) == ""


@pytest.mark.parametrize(
    ("measure", "value", "reason"),
    [
        ("frames a phone", 5.5, "too quick"),
        ("frames a phone", 16.5, "too slow"),
        ("loud outside", 9.0, "other talk or noise"),
        ("inner silence", 23.0, "a pause inside"),
        ("mean", -5.1, "enough like"),
        ("worst word", -11.1, "one word"),
        ("piece", -5.6, "alone"),
        ("edit ratio", 0.86, "the sounds of the phrase"),
        ("margin", 49.9, "another"),
    ],
)
def test_one_measure_beyond_its_limit_is_enough_and_named(measure, value, reason):
    """The others are far better than usual."""
    best = HIT | {"mean": 0.0, "worst word": -0.5, "edit ratio": 0.1}
    assert reason in judge(best | {measure: value}, USUAL)


@pytest.mark.parametrize(
    ("measure", "value", "reason"),
    [
        ("mean", -4.9, "enough like"),
        ("worst word", -8.5, "one word"),
        ("edit ratio", 0.8, "the sounds of the phrase"),
    ],
)
def test_measures_short_of_their_limits_add_up_and_the_one_that_is_worst_is_named(measure, value, reason):
    so_so = HIT | {"mean": -3.0, "worst word": -6.0, "edit ratio": 0.65}
    assert judge(HIT | {measure: value}, USUAL) == ""
    assert reason in judge(so_so | {measure: value}, USUAL)


def test_a_phrase_without_the_lead_in_word_needs_more():
    middling = HIT | {"mean": -3.2, "worst word": -5.5, "edit ratio": 0.6}
    assert USUAL.evidence < accept.evidence(middling) < STRICT.evidence
    assert judge(middling, USUAL) == "" and judge(middling, STRICT)


def test_the_evidence_rises_with_whatever_speaks_for_the_phrase():
    rng = np.random.default_rng(0)
    for name, weight in accept.EVIDENCE.items():
        for _ in range(20):
            step = float(rng.uniform(0.01, 1.0))
            better = HIT | {name: HIT[name] + np.copysign(step, weight)}
            assert accept.evidence(better) == pytest.approx(accept.evidence(HIT) + step * abs(weight))


def test_the_limits_are_where_the_odds_say_so():
    """Three to five against it for what has the lead-in word, twelve to one for it for what has not."""
    odds = [np.exp(bar.evidence) for bar in SPHINX_BARS]
    assert odds == pytest.approx([3 / 5, 12], rel=0.02)


def test_a_recogniser_without_scores_is_judged_by_what_it_gives():
    few = {"loud outside": 2.0, "frames a phone": 20.0, "inner silence": 3.0}
    assert all(judge(few, bar) == "" for bar in VOSK_BARS)
    assert "too slow" in judge(few | {"frames a phone": 50.0}, VOSK_BARS[0])
    with pytest.raises(KeyError):
        judge(few, replace(VOSK_BARS[0], evidence=0.0))


@pytest.mark.parametrize("all_strict", [False, True])
def test_the_worst_word_of_what_has_a_consequence_is_held_higher(all_strict):
    def bar(strict: bool, lead_in: bool) -> accept.Bar:
        return accept.bar_for(Phrase("x", None, "x", lead_in, strict), SPHINX_BARS, all_strict)

    weak = HIT | {"worst word": -8.1, "mean": 0.0, "edit ratio": 0.1}
    assert "one word" in judge(weak, bar(True, True)) and judge(weak, bar(False, True)) == ""
    assert judge(weak | {"worst word": -7.9}, bar(True, True)) == ""
    assert bar(False, True) == SPHINX_BARS[all_strict] and bar(False, False) == STRICT


def with_evidence(more: float, bar: accept.Bar) -> dict[str, float]:
    """Measures within all other limits, with this much more evidence than the bar asks for."""
    poor = HIT | {"mean": -4.5, "worst word": -7.0}
    missing = bar.evidence + more - accept.evidence(poor)
    return poor | {"edit ratio": poor["edit ratio"] + missing / accept.EVIDENCE["edit ratio"]}


@pytest.mark.parametrize("bar", [USUAL, STRICT])
def test_what_missed_by_little_was_nearly_the_phrase(bar):
    for more, near in ((-0.1, True), (-accept.NEARLY + 0.1, True), (-accept.NEARLY - 0.1, False)):
        assert judge(with_evidence(more, bar), bar) and accept.nearly(with_evidence(more, bar), bar) == near


def test_a_number_that_could_have_been_another_is_nearly_and_what_is_absurd_is_not():
    assert accept.nearly(HIT | {"margin": 0.0}, USUAL)
    best = HIT | {"mean": 0.0, "worst word": -0.5, "edit ratio": 0.1}
    for measure, value in (("frames a phone", 5.5), ("worst word", -11.1), ("loud outside", 9.0), ("mean", -5.1)):
        assert not accept.nearly(best | {measure: value}, USUAL)


def test_a_recogniser_without_scores_matched_every_word():
    assert accept.nearly({"first": 0.0, "last": 9.0, "loud outside": 30.0, "inner silence": 0.0}, VOSK_BARS[0])


def test_the_least_fit_follows_the_noise_and_is_never_under_the_limits_own():
    fits = [accept.least_fit(accept.LED, clear_db) for clear_db in range(61)]
    assert fits == sorted(fits) and fits[0] == accept.LED.fit < fits[-1]
    for clear_db, fit in accept.LEAST_FIT:
        assert accept.least_fit(accept.LED, clear_db) == fit
    assert accept.least_fit(accept.BARE, 0) == accept.BARE.fit
