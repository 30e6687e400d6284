"""What every phrase must be, whoever wrote it: plain words, long enough to be told from other speech, its own."""

from __future__ import annotations

import re

from assistant.plans.syllables import syllables

LEAST_SYLLABLES = 5
MOST_LETTERS = 80  # in a phrase
# The embedded recogniser's dictionary has no other letters; a Korean model has no Latin ones.
_WORDS = {"en": re.compile(r"[a-z][a-z']*( [a-z][a-z']*)*")}
_ANY_WORDS = re.compile(r"[^\W\d_]+( [^\W\d_]+)*")


def is_plain(text: str, language: str) -> bool:
    """Whether it is lower-case words of letters, parted by single blanks; English ones may hold apostrophes."""
    return bool(_WORDS.get(language, _ANY_WORDS).fullmatch(text)) and text == text.lower()


def is_one_word(text: str, language: str) -> bool:
    """Whether it is a single plain word."""
    return is_plain(text, language) and " " not in text


def wrong_with(text: str, language: str, lead_in: str, least: int = LEAST_SYLLABLES) -> str | None:
    """What keeps this phrase from being said, a clause, or None. least: syllables, without the lead-in word."""
    if not is_plain(text, language):
        return "must be plain words, letters only"
    if len(text) > MOST_LETTERS:
        return f"must be {MOST_LETTERS} letters or less"
    if text.split()[0] == lead_in:
        return f'must not begin with the lead-in "{lead_in}", which is put before it'
    if syllables(text) < least:
        return f"has {syllables(text)} syllables, too short to be told from other speech"
    return None


def one_begins_the_other(one: str, other: str) -> bool:
    """Equal, or alike up to where one ends: cut short, the longer would be heard as the shorter."""
    return f"{one} ".startswith(f"{other} ") or f"{other} ".startswith(f"{one} ")
