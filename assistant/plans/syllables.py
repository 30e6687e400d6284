"""Counts syllables, to judge whether a user's phrase is long enough not to be mistaken for other speech.

It goes by spelling. A group of vowels is a syllable. A silent final e is none, nor is the e of -ed and -es after most
consonants. Vowels that are mostly spoken separately (ia, io, eo, ...) count twice. The count is right for most
English words and one out for most others. Tests measure it against a pronouncing dictionary.
"""

from __future__ import annotations

import re

HANGUL = range(0xAC00, 0xD7A4)  # one code point a syllable
_GROUP = re.compile(r"[aeiouy]+")
# Neighbouring vowels that are mostly spoken separately: "dial", "radio", "video", "usual", "continuous", "going".
_APART = re.compile(
    r"i[ao](?!us$|n$|ns$|nal$|l?ly$)|eo(?!us$)|[aeo]ing$|ua(?=[lt])|uou|io(?=[rl]$)|riet|quiet|[^g]ui(?=n)"
)
_SILENT_E = re.compile(r"[^aeiouy]e$")
_SILENT_ED = re.compile(r"[^aeioutdy]ed$")
_SILENT_ES = re.compile(r"[^aeiouyscgxz]es$|[^aeiou]les$")
_SHES = re.compile(r"(?:sh|ch)es$")
_SPOKEN_LE = re.compile(r"[^aeiouylr]les?$")
_SILENT_INSIDE = re.compile(r"[aeiouy][^aeiouy]+e(?=ly$|less$|ness$|ment$|ful$)")


def syllables(text: str) -> int:
    """Syllables of `text`, its words separated by spaces or hyphens. 0 for no letters. Hangul is counted exactly."""
    hangul = sum(ord(letter) in HANGUL for letter in text)
    return hangul + sum(_in_word(word) for word in re.findall(r"[a-z]+", text.casefold().replace("'", "")))


def _in_word(word: str) -> int:
    spoken_le = _SPOKEN_LE.search(word)
    silent_e = _SILENT_E.search(word) and not spoken_le
    silent_es = _SILENT_ES.search(word) and not _SHES.search(word) and not spoken_le
    count = len(_GROUP.findall(word)) + len(_APART.findall(word)) - len(_SILENT_INSIDE.findall(word))
    if silent_e or silent_es or _SILENT_ED.search(word):
        count -= 1
    return max(count, 1)
