"""The decision whether a decoded phrase was really said, and the reasons."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from assistant.hearing import accept
from assistant.hearing.accept import NEVER, SPHINX_BARS, VOSK_BARS, Bar, DecodedWord, judge, measure
from assistant.wording.phrases import Phrase
from tests.hearing.voices import pcm

USUAL, STRICT = SPHINX_BARS
HIT = {"sound": -4.0, "loud outside": 0.0}
LOUD = pcm(np.full(16000, 0.3))  # 1 s


def test_what_fits_as_true_phrases_do_passes_both_bars():
    assert judge(HIT, USUAL) == judge(HIT, STRICT) == ""


@pytest.mark.parametrize(
    ("measure", "value", "reason"), [("loud outside", 9.0, "other talk or noise"), ("sound", -6.7, "enough like")]
)
def test_one_measure_beyond_its_limit_is_enough_and_named(measure, value, reason):
    assert reason in judge(HIT | {measure: value}, USUAL)


def test_a_phrase_without_the_lead_in_word_needs_more():
    def bar(lead_in: bool, all_strict: bool = False) -> Bar:
        return accept.bar_for(Phrase("x", None, "x", lead_in, True), SPHINX_BARS, all_strict)

    assert bar(True) == USUAL and bar(False) == bar(True, all_strict=True) == STRICT
    middling = HIT | {"sound": (USUAL.sound + STRICT.sound) / 2}
    assert judge(middling, USUAL) == "" and judge(middling, STRICT)


def test_a_recogniser_without_scores_is_judged_by_what_is_around_the_words():
    talk = pcm(np.concatenate([np.full(12000, 0.3), np.zeros(4000)]))
    words = [DecodedWord("first", 20, 39, 0.0), DecodedWord("second", 40, 69, 0.0)]
    assert "other talk" in judge(measure(talk, words), VOSK_BARS[0])
    assert all(judge(measure(talk, [DecodedWord("all", 0, 74, 0.0)]), bar) == "" for bar in VOSK_BARS)


def test_silences_are_no_part_of_the_words():
    heard = [("<sil>", 0, 9, -900.0), ("go", 10, 29, -40.0), ("<sil>", 30, 39, -900.0), ("on", 40, 59, -80.0)]
    found = measure(LOUD, [DecodedWord(*one) for one in heard], frozenset({"<sil>"}))
    assert (found["first"], found["last"], found["sound"]) == (10, 59, -120 / 40)


def test_what_missed_by_little_was_nearly_the_phrase():
    for short, near in ((0.1, True), (accept.NEARLY - 0.01, True), (accept.NEARLY + 0.01, False)):
        missed = HIT | {"sound": USUAL.sound - short}
        assert judge(missed, USUAL) and accept.nearly(missed, USUAL) == near
        assert not accept.nearly(missed | {"loud outside": 9.0}, USUAL)
    assert accept.nearly(HIT, replace(USUAL, sound=NEVER))


def test_the_least_fit_follows_the_noise_and_is_never_under_the_limits_own():
    fits = [accept.least_fit(accept.LED, clear_db) for clear_db in range(61)]
    assert fits == sorted(fits) and fits[0] == accept.LED.fit < fits[-1]
    for clear_db, fit in accept.LEAST_FIT:
        assert accept.least_fit(accept.LED, clear_db) == fit
    assert accept.least_fit(accept.BARE, 0) == accept.BARE.fit
