"""The rules for every phrase, ours or the user's."""

from __future__ import annotations

import pytest

from assistant.plans.sayable import MOST_LETTERS, is_one_word, is_plain, one_begins_the_other, wrong_with


@pytest.mark.parametrize("text", ["dust port is open", "the operator's hands"])
def test_english_words_are_lower_case_letters_and_apostrophes(text: str) -> None:
    assert is_plain(text, "en")


@pytest.mark.parametrize("text", ["", " a", "a  b", "Dust", "port 2", "a-b", "'tis", "<b>", "날 높이", "a\nb"])
def test_nothing_else_is_an_english_word(text: str) -> None:
    assert not is_plain(text, "en")


def test_other_languages_have_their_own_letters() -> None:
    assert is_plain("날 높이 측정", "ko")
    assert not is_plain("날 2", "ko") and not is_plain("날 Blade", "ko")


def test_one_word_is_plain_and_holds_no_blank() -> None:
    assert is_one_word("marigold", "en") and is_one_word("날", "ko")
    assert not is_one_word("port 2", "en") and not is_one_word("dust port", "en") and not is_one_word("날 높이", "ko")


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("dust port is open", None),
        ("dust port open", "has 4 syllables, too few to be kept apart from other speech"),
        ("dust", "has 1 syllable, too few to be kept apart from other speech"),
        ("dust port 2 is open now", "must be plain words, letters only"),
        ("heron dust port is open", 'must not begin with the lead-in word "heron", which Kerfcall adds itself'),
        ("open " * 16 + "a", f"must have {MOST_LETTERS} letters at most"),
    ],
)
def test_what_is_wrong_with_a_phrase_is_reported(text: str, what: str | None) -> None:
    assert wrong_with(text, "en", "heron") == what


def test_a_phrase_that_goes_on_from_another_is_like_it_and_one_within_a_word_is_not() -> None:
    assert one_begins_the_other("go to pass", "go to pass one") and one_begins_the_other("a b", "a")
    assert not one_begins_the_other("go to passage", "go to pass")
