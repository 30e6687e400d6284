"""The recogniser of readings: its grammar, its words, and numbers in synthetic voices."""

from __future__ import annotations

import random

import pytest

from assistant.hearing.digits import NO, READING, STRIKE, YES, Digits, figures, phrase_of, spelled
from tests.hearing.voices import need, piece
from tests.sampling import every


@pytest.mark.parametrize("number", ["8.82", "0.05", "149.99", "31.7"])
def test_figures_and_words_are_each_others_way_back(number: str) -> None:
    assert figures(spelled(number).split()) == number


def test_what_is_heard_has_its_intent() -> None:
    assert (phrase_of("eight point eight two").intent, phrase_of("eight point eight two").argument) == (READING, "8.82")
    assert phrase_of("eight decimal eight two").argument == "8.82"
    assert [phrase_of(word).intent for word in (YES, NO, STRIKE)] == [YES, NO, STRIKE]


@pytest.fixture(scope="module")
def digits() -> Digits:
    return Digits(2)


def test_every_word_is_in_the_dictionary(digits: Digits) -> None:
    words = f"{spelled('0123456789')} point decimal yes no strike that".split()
    assert digits.unknown_words(words) == []


@pytest.mark.parametrize("voice", ["en-us", "flite:slt"])
@pytest.mark.parametrize("word", [YES, NO, STRIKE])
def test_answers_are_understood(voice: str, word: str, digits: Digits) -> None:
    need("flite" if voice.startswith("flite") else "espeak-ng")
    found = digits.decode(piece(voice, word), ())
    assert found.phrase is not None
    assert found.phrase.intent == word


@pytest.mark.parametrize(("voice", "least"), every(2, [("en-us", 8), ("flite:slt", 9)]))
def test_most_numbers_are_understood_and_the_form_is_always_kept(voice: str, least: int, digits: Digits) -> None:
    """Ten seeded numbers up to 149.99. A misheard one still has two decimals, and the read-back catches it."""
    need("flite" if voice.startswith("flite") else "espeak-ng")
    rng = random.Random(2)
    right = 0
    for _ in range(10):
        number = f"{rng.randint(0, 149)}.{rng.randint(0, 99):02d}"
        found = digits.decode(piece(voice, spelled(number)), ()).phrase
        if found is not None and found.intent == READING:
            assert len(str(found.argument).partition(".")[2]) == 2
            right += found.argument == number
    assert right >= least


@pytest.mark.parametrize("voice", ["en-us", "flite:slt"])
def test_decimal_is_a_point_as_settings_are_spoken(voice: str, digits: Digits) -> None:
    need("flite" if voice.startswith("flite") else "espeak-ng")
    numbers = {"eight": "8.82", "one four": "14.82", "two": "2.82"}
    heard = {whole: digits.decode(piece(voice, f"{whole} decimal eight two"), ()) for whole in numbers}
    assert [found.heard.split()[-3] for found in heard.values()] == ["decimal"] * 3
    taken = {whole: found.phrase.argument for whole, found in heard.items() if found.phrase is not None}
    assert len(taken) >= 2 and taken.items() <= numbers.items()


def test_silence_and_snippets_are_nothing(digits: Digits) -> None:
    assert digits.decode(bytes(3000), ()).reason == "too short to be a number"
    assert digits.decode(bytes(32_000), ()).phrase is None
