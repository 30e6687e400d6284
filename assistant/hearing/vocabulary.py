"""Whether phrases can be said: words known, long enough, and not too like one another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations

from assistant.errors import BadInput, Fault
from assistant.hearing.accept import phone_distance
from assistant.plans.syllables import syllables as latin_syllables
from assistant.wording.phrases import Phrase

ALIKE = 0.30  # weighted phone edits over the longer phrase's phones; none of our own phrases comes nearer
HANGUL = range(0xAC00, 0xD7A4)  # one code point a syllable

Pronounce = Callable[[str], "tuple[str, ...] | None"]


def syllables(word: str) -> int:
    """Syllables of a word: counted exactly in Hangul, by spelling otherwise; at least 1."""
    return max(1, sum(ord(letter) in HANGUL for letter in word) or latin_syllables(word))


def check_words(phrases: Sequence[Phrase], pronounce: Pronounce) -> None:
    """Raises BadInput naming each unknown word with its phrase."""
    faults = [
        Fault("the recogniser doesn't know the word", f'"{word}"', f'phrase "{phrase.text}"', "say it with other words")
        for phrase in phrases
        for word in phrase.text.split()
        if pronounce(word) is None
    ]
    if faults:
        raise BadInput(faults)


def phones_of(text: str, pronounce: Pronounce) -> list[str]:
    """The phrase's phones, unknown words left out."""
    return [phone for word in text.split() for phone in pronounce(word) or ()]


def too_alike(phrases: Sequence[Phrase], pronounce: Pronounce) -> list[tuple[Phrase, Phrase, float]]:
    """Pairs of different meaning that sound alike, with their distance: 0 the same, 1 nothing in common.

    The lead-in, which tells nothing apart, is left out; so are the numbered phrases, which can't be changed.
    """
    own = [phrase for phrase in phrases if phrase.intent != "go to"]
    bare = [(phrase, phones_of(_without_lead_in(phrase), pronounce)) for phrase in own]
    found = []
    for (one, a), (other, b) in combinations(bare, 2):
        if (one.intent, one.argument) == (other.intent, other.argument):
            continue
        distance = min(phone_distance(a, b), phone_distance(b, a)) / max(len(a), len(b), 1)
        if distance < ALIKE:
            found.append((one, other, distance))
    return found


def _without_lead_in(phrase: Phrase) -> str:
    return phrase.text.partition(" ")[2] if phrase.lead_in else phrase.text
