"""The rules for every phrase, ours or the user's: plain words, long enough not to be mistaken for other speech."""

from __future__ import annotations

import re

from assistant.plans.syllables import syllables

# The hearing study's short phrases could not be distinguished from other speech by any limit on their scores.
LEAST_SYLLABLES = 5
MOST_LETTERS = 80  # in a phrase
# The embedded recogniser's dictionary has no other letters; a Korean model has no Latin ones.
_WORDS = {"en": re.compile(r"[a-z][a-z']*( [a-z][a-z']*)*")}
_ANY_WORDS = re.compile(r"[^\W\d_]+( [^\W\d_]+)*")


def is_plain(text: str, language: str) -> bool:
    """Whether it is lower-case words of letters, separated by single spaces. English words may contain apostrophes."""
    return bool(_WORDS.get(language, _ANY_WORDS).fullmatch(text)) and text == text.lower()


def is_one_word(text: str, language: str) -> bool:
    """Whether it is a single plain word."""
    return is_plain(text, language) and " " not in text


def wrong_with(text: str, language: str, lead_in: str, least: int = LEAST_SYLLABLES) -> str | None:
    """What is wrong with this phrase, as a clause, or None. least: syllables, without the lead-in word."""
    if not is_plain(text, language):
        return "must be plain words, letters only"
    if len(text) > MOST_LETTERS:
        return f"must have {MOST_LETTERS} letters at most"
    if text.split()[0] == lead_in:
        return f'must not begin with the lead-in word "{lead_in}", which Kerfcall adds itself'
    if (count := syllables(text)) < least:
        return f"has {count} syllable{'' if count == 1 else 's'}, too few to be kept apart from other speech"
    return None


def mend_for(text: str, lead_in: str, usual: str) -> str:
    """What to do about a phrase that `wrong_with` objects to. usual: where it has no lead-in word in front."""
    return "write it without that word" if text.split()[:1] == [lead_in] else usual


def one_begins_the_other(one: str, other: str) -> bool:
    """Whether one wording equals or begins the other: cut short, the longer would be heard as the shorter."""
    return f"{one} ".startswith(f"{other} ") or f"{other} ".startswith(f"{one} ")
