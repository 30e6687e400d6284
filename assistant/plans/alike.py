"""Judges how alike two wordings sound, by spelling alone: without recogniser or dictionary, so alike on every machine.

Words become rough sounds: English words by a few spelling rules, Hangul letter by letter, and words that the user
gave a pronunciation by that. The distance is what it takes to change one wording into the other, where a sound of the
same kind costs less. `python -m tests.bench.phrases` compares it with a pronouncing dictionary's distances.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from functools import lru_cache

# The least distance between two wordings that mean different things, if one of them records, confirms, moves or ends
# something. tests.bench.phrases shows which distances it lies between.
TOO_ALIKE = 0.35
# The phones of CMUdict by kind. A vowel for a vowel costs 0.5, another sound for one of its kind 0.4, as in the
# acceptance checks of hearing.
KINDS = {
    sound: kind
    for kind, sounds in {
        "vowel": "AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW",
        "stop": "B D G K P T",
        "affricate": "CH JH",
        "fricative": "DH F S SH TH V Z ZH HH",
        "nasal": "M N NG",
        "liquid": "L R W Y",
    }.items()
    for sound in sounds.split()
}
_LEFT_OUT = 0.9  # the cost of leaving a sound out or putting one in
# Those into which Unicode's NFD splits a syllable.
_HANGUL_VOWELS = range(0x1161, 0x1176)
# Common words that the rules get wrong.
_IRREGULAR = {
    word: tuple(sounds.split())
    for word, sounds in {
        "a": "AH",
        "the": "DH AH",
        "this": "DH IH S",
        "that": "DH AE T",
        "to": "T UW",
        "do": "D UW",
        "two": "T UW",
        "four": "F AO R",
        "one": "W AH N",
        "once": "W AH N S",
        "done": "D AH N",
        "eight": "EY T",
        "height": "HH AY T",
        "is": "IH Z",
        "was": "W AH Z",
        "of": "AH V",
        "are": "AA R",
        "by": "B AY",
        "my": "M AY",
        "dry": "D R AY",
        "me": "M IY",
        "we": "W IY",
        "be": "B IY",
        "go": "G OW",
        "no": "N OW",
        "so": "S OW",
        "how": "HH AW",
        "now": "N AW",
        "down": "D AW N",
        "both": "B OW TH",
        "you": "Y UW",
        "your": "Y AO R",
        "have": "HH AE V",
        "has": "HH AE Z",
        "away": "AH W EY",
        "guard": "G AA R D",
    }.items()
}
# How English spells sounds. The patterns are tried in this order at each place of a word. Silent letters give nothing.
_ENGLISH = tuple(
    (re.compile(pattern), tuple(sounds.split()))
    for pattern, sounds in (
        (r"^(?:kn|gn|pn)", "N"),
        (r"^wr", "R"),
        (r"^wh(?=o)", "HH"),
        (r"^wh", "W"),
        (r"^y", "Y"),
        (r"tion(?=s?$)|ssion(?=s?$)|cian(?=s?$)", "SH AH N"),
        (r"sion(?=s?$)", "ZH AH N"),
        (r"ture(?=[sd]?$)", "CH ER"),
        (r"tch|ch", "CH"),
        (r"sh", "SH"),
        (r"ph", "F"),
        (r"th", "TH"),
        (r"igh", "AY"),
        (r"augh|ough", "AO"),
        (r"gh", ""),
        (r"ck|cc(?![eiy])|c(?![eiy])", "K"),
        (r"sc(?=[eiy])|c", "S"),
        (r"dge|j|g(?=e$|es$|ed$)", "JH"),
        (r"qu", "K W"),
        (r"x", "K S"),
        (r"ng(?=$|s$|ing|ed$)", "NG"),
        (r"mb(?=$|s$)", "M"),
        (r"ied$", "AY D"),
        (r"ies$", "IY Z"),
        (r"(?<=[td])ed$", "AH D"),
        (r"(?<=[aeiouy][^aeiouytd])ed$|(?<=[^aeiouytd])ed$", "D"),
        (r"(?<=ch|sh)es$|(?<=[szxcg])es$", "AH Z"),
        (r"(?<=[^aeiou])es$", "Z"),
        (r"(?<=[^aeiouylr])le(?=s?$)", "AH L"),
        (r"(?<=[^aeiou])e$", ""),
        (r"ee|ea|ie|ei", "IY"),
        (r"oo|ew|ue|ui", "UW"),
        (r"ai|ay|ey", "EY"),
        (r"oa|oe", "OW"),
        (r"ow(?=$|s$|ing|er)", "OW"),
        (r"ou|ow", "AW"),
        (r"oi|oy", "OY"),
        (r"au|aw|al(?=[lk])", "AO"),
        (r"[eiu]r(?=[^aeiouy]|$)", "ER"),
        (r"ar(?=[^aeiouy]|$)", "AA R"),
        (r"or(?=[^aeiouy]|$)", "AO R"),
        (r"a(?=[^aeiouywxr]e(?:$|s$|d$))", "EY"),
        (r"i(?=[^aeiouywxr]e(?:$|s$|d$))", "AY"),
        (r"o(?=[^aeiouywxr]e(?:$|s$|d$))", "OW"),
        (r"u(?=[^aeiouywxr]e(?:$|s$|d$))", "UW"),
        (r"(?<=[^aeiouy])y$|(?<=^)y$", "IY"),
        (r"(?<=[aeiouybdglmnrvw])s$", "Z"),
        (r"a", "AE"),
        (r"e", "EH"),
        (r"i|y", "IH"),
        (r"o", "AA"),
        (r"u", "AH"),
        (r"b+", "B"),
        (r"d+", "D"),
        (r"f+", "F"),
        (r"g+", "G"),
        (r"q", "K"),
        (r"h", "HH"),
        (r"k+", "K"),
        (r"l+", "L"),
        (r"m+", "M"),
        (r"n+", "N"),
        (r"p+", "P"),
        (r"r+", "R"),
        (r"s+", "S"),
        (r"t+", "T"),
        (r"v+", "V"),
        (r"w", "W"),
        (r"z+", "Z"),
    )
)


def too_alike(one: str, other: str, pronunciations: Mapping[str, str] | None = None) -> bool:
    """Whether two wordings sound so alike that one could be mistaken for the other, or one has all words of the other.

    pronunciations: word -> its phones. Such a word may still be said as it is spelled, so both are tried.
    """
    if _has_words_of(one.split(), other.split()) or _has_words_of(other.split(), one.split()):
        return True
    taught = pronunciations or {}
    ways = [_ways_to_say(text, taught) for text in (one, other)]
    return any(apart(a, b, TOO_ALIKE) < TOO_ALIKE for a in ways[0] for b in ways[1])


def _has_words_of(longer: Sequence[str], words: Sequence[str]) -> bool:
    """Whether the longer wording has these words in this order, possibly with others around and between them."""
    left = iter(longer)
    # `in` goes on from where it found the word before, so the order counts.
    return all(word in left for word in words)


def _ways_to_say(text: str, taught: Mapping[str, str]) -> list[tuple[str, ...]]:
    words = text.split()
    spelled = tuple(sound for word in words for sound in sounds_of(word))
    if not any(word in taught for word in words):
        return [spelled]
    given = (taught[word].split() if word in taught else sounds_of(word) for word in words)
    return [spelled, tuple(sound for sounds in given for sound in sounds)]


@lru_cache(maxsize=4096)
def sounds_of(word: str) -> tuple[str, ...]:
    """A word's rough sounds: phones by rule for English letters, else its letters, with Hangul syllables split up."""
    if not word.isascii():
        return tuple(letter for letter in unicodedata.normalize("NFD", word) if letter.isalpha())
    word = word.replace("'", "")
    if word in _IRREGULAR:
        return _IRREGULAR[word]
    found: list[str] = []
    at = 0
    while at < len(word):
        for pattern, sounds in _ENGLISH:
            # By a start, not on a slice: ^ is then still the word's beginning, and lookbehinds see what came before.
            # Each letter has a rule of its own, and `sayable` lets through nothing else, so `at` always moves on.
            if match := pattern.match(word, at):
                found += sounds
                at = match.end()
                break
    return tuple(found)


def _kind(sound: str) -> str:
    if not sound.isascii():
        return "vowel" if ord(sound[0]) in _HANGUL_VOWELS else "consonant of another script"
    return KINDS[sound]


@lru_cache(maxsize=4096)
def _cost_of_change(one: str, other: str) -> float:
    if one == other:
        return 0.0
    a, b = _kind(one), _kind(other)
    if "vowel" in (a, b):
        return 0.5 if a == b else 1.0
    return 0.4 if a == b and one.isascii() else 0.9


def apart(one: Sequence[str], other: Sequence[str], limit: float = 1.0) -> float:
    """The distance per sound of the longer wording: 0 the same, 1 nothing in common, never more than `limit`."""
    longer = max(len(one), len(other), 1)
    row = [_LEFT_OUT * n for n in range(len(other) + 1)]
    for i, a in enumerate(one, 1):
        before, row = row, [_LEFT_OUT * i]
        for j, b in enumerate(other, 1):
            changed = before[j - 1] + _cost_of_change(a, b)
            row.append(min(before[j] + _LEFT_OUT, row[j - 1] + _LEFT_OUT, changed))
        # Costs only grow from row to row, so the limit is reached for good.
        if min(row) >= limit * longer:
            return limit
    return min(limit, row[-1] / longer)
