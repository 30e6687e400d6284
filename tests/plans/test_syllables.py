"""Syllables are counted by spelling; measured against the pronouncing dictionary of the embedded recogniser."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.sayable import LEAST_SYLLABLES
from assistant.plans.syllables import syllables

VOWELS = {"AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"}


def _pronounced() -> dict[str, int]:
    """Word -> syllables: vowel phones in cmudict-en-us.dict, as shipped with pocketsphinx (first pronunciations)."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    lines = Path(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict")).read_text(encoding="utf-8").splitlines()
    entries = (line.split() for line in lines)
    return {word: sum(phone in VOWELS for phone in phones) for word, *phones in entries if re.fullmatch("[a-z]+", word)}


def test_counts_agree_with_the_pronouncing_dictionary() -> None:
    known = _pronounced()
    off = [syllables(word) - count for word, count in known.items()]
    assert len(off) > 100_000
    assert sum(d == 0 for d in off) / len(off) > 0.90
    assert sum(abs(d) <= 1 for d in off) / len(off) > 0.995
    # Too many is the harmful way: it would let a short phrase through.
    assert sum(d > 0 for d in off) / len(off) < 0.03


def test_default_answers_have_five_syllables_by_the_dictionary_too() -> None:
    known = _pronounced()
    for check in DEFAULT_CHECKS:
        assert sum(known[word] for word in check.answer.split()) >= LEAST_SYLLABLES
        assert syllables(check.answer) >= LEAST_SYLLABLES


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("all clamps are secure", 5),
        ("dust port is open now", 6),
        ("blade", 1),
        ("table", 2),
        ("trimmed", 1),
        ("fitted", 2),
        ("spaces", 2),
        ("planes", 1),
        ("measurement", 3),
        ("", 0),
        ("Hold-down", 2),
        ("안전 덮개 장착", 6),
    ],
)
def test_workshop_words(text: str, count: int) -> None:
    assert syllables(text) == count
