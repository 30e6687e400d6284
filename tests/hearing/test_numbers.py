"""Many numbers: heard as any digits first, then as one of the few numbers that those can be."""

from __future__ import annotations

import time

import pytest

from assistant.hearing.numbers import MOST_AT_ONCE, AnyNumber, gathered
from assistant.hearing.sphinx import Sphinx
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.intents import Intent
from assistant.plans.languages import language_of
from assistant.wording.phrases import Phrase, phrases_for
from tests.hearing.voices import LEAD_IN, need, piece

ANY = AnyNumber("marigold the figure is", "number", ("one", "two", "three"), 3)


def figures(most: int) -> tuple[Phrase, ...]:
    """What is listened for where a number up to `most` is asked for, without the short wordings."""
    wanted = [(Intent.NO, None), (Intent.STAND_BY, None), (Intent.AGAIN, None), (Intent.FIGURE, most)]
    return tuple(phrase for phrase in phrases_for(wanted, DEFAULT_CHECKS, LEAD_IN) if not phrase.short)


@pytest.mark.parametrize(
    ("heard", "numbers"),
    [
        ("one two number one two", {"one two"}),
        ("one two number one three", {"one two", "one three"}),
        ("one two number three one", {"one two", "one one", "three two", "three one"}),
        ("one two number two", {"one two", "two"}),
        ("one two", set()),
        ("one two number", {"one two", ""}),
    ],
)
def test_each_digit_is_one_that_was_heard_there(heard: str, numbers: set[str]) -> None:
    found = ANY.candidates(f"marigold the figure is {heard}")
    assert {tuple(text.removeprefix("marigold the figure is").split(" number")) for text in found} == {
        (f" {number}", f" {number}") for number in numbers
    }


def test_other_phrases_are_no_numbers_and_one_said_once_is_as_heard() -> None:
    assert ANY.candidates("marigold go to pass one number one") == []
    once = AnyNumber("marigold the figure is", "", ("one",), 2)
    assert once.candidates("marigold the figure is one one") == ["marigold the figure is one one"]


def test_a_few_numbers_stay_whole_phrases_and_many_are_any_digits() -> None:
    few, many = figures(9), figures(999)
    assert gathered(few) == (tuple(phrase.text for phrase in few), ())
    texts, (any_number,) = gathered(many)
    assert texts == tuple(phrase.text for phrase in many if not phrase.number)
    assert (any_number.begin, any_number.again, any_number.longest) == ("marigold the figure is", "number", 3)
    assert set(any_number.words) == {word for words in language_of("en").digits for word in words}
    assert len([phrase for phrase in many if phrase.number]) > 5 * MOST_AT_ONCE


SAID = {352: "three five two", 640: "six four zero", 8: "eight", 45: "four five", 118: "one one eight"}


def test_a_figure_up_to_999_is_heard_by_the_grammar_and_hardly_ever_as_another() -> None:
    need("flite")
    recogniser, listened_for = Sphinx(), figures(999)
    right = wrong = 0
    for number, words in SAID.items():
        for voice in ("flite:rms", "flite:slt"):
            sound = piece(voice, f"marigold the figure is {words} number {words}")
            phrase = recogniser.decode(sound, listened_for).phrase
            right += phrase is not None and phrase.argument == number
            wrong += phrase is not None and phrase.argument != number
    assert right >= 7 and wrong <= 1, (right, wrong)


def test_a_figure_up_to_999_takes_hardly_longer_than_one_of_a_single_digit() -> None:
    """The new grammar, and a phrase heard with it. All numbers as phrases of the grammar took nine times as long."""
    need("flite")
    recogniser = Sphinx()
    sounds = [piece("flite:rms", f"marigold the figure is {words} number {words}") for words in ("eight", "two")]
    took = {}
    for most in (9, 999, 9, 999):
        listened_for = figures(most)
        began = time.process_time()
        for sound in sounds:
            recogniser.decode(sound, listened_for)
        took[most] = min(took.get(most, 1e9), time.process_time() - began)
    assert took[999] < 3 * took[9], took
