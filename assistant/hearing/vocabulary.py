"""Checks that phrases can be recognised: their words are known, and they don't sound too much alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations

from assistant.errors import BadInput, NoSuchPart
from assistant.hearing.contract import OR_TEACH, unknown_faults
from assistant.plans.alike import KINDS
from assistant.plans.intents import NAMED
from assistant.plans.model import VoiceSettings
from assistant.plans.own_phrases import HEARD_BY_PHONES
from assistant.wording.phrases import Phrase, open_together

# The least distance between phrases that can be open together. `python -m tests.bench.phrases` measures the two sides
# of it: of phrases made from ours by changing one word, 95 in 100 are closer than this to the phrase they come from,
# and no two of ours that can be open together are.
ALIKE = 0.35

VOWELS = frozenset(phone for phone, kind in KINDS.items() if kind == "vowel")
Pronounce = Callable[[str], "tuple[str, ...] | None"]


def check_words(phrases: Sequence[Phrase], pronounce: Pronounce) -> None:
    """Raises BadInput that names each unknown word with its phrase."""
    unknown = ((word, p.text) for p in phrases for word in p.text.split() if pronounce(word) is None)
    faults = unknown_faults(unknown, OR_TEACH)
    if faults:
        raise BadInput(faults)


def doubts(phrases: Sequence[Phrase], voice: VoiceSettings) -> list[str]:
    """A line for each doubt about the phrases. Raises BadInput for words that pocketsphinx doesn't know."""
    if voice.language != HEARD_BY_PHONES:
        return ["the words are checked when a session starts, since the built-in recogniser knows English only"]
    from assistant.hearing.sphinx import pronouncer

    try:
        pronounce = pronouncer(voice.pronunciations)
    except NoSuchPart as error:
        return [f"the words could not be checked: {error}"]
    check_words(phrases, pronounce)
    phrases = [phrase for phrase in phrases if not phrase.short]  # heard by what can tell them apart, or not at all
    return [
        f'"{one.text}" and "{other.text}" sound alike (distance {apart:.2f}, {ALIKE} or more is safer); change one'
        for one, other, apart in too_alike(phrases, pronounce)
    ]


def phones_of(text: str, pronounce: Pronounce) -> list[str]:
    """The phrase's phones, without unknown words."""
    return [phone for word in text.split() for phone in pronounce(word) or ()]


def substitution(a: str, b: str) -> float:
    """The cost of taking phone `a` for `b`, 0 to 1, with the hearing study's weights."""
    if a == b:
        return 0.0
    if (a in VOWELS) != (b in VOWELS):
        return 1.0
    if a in VOWELS:
        return 0.5
    return 0.4 if KINDS.get(a) == KINDS.get(b) else 0.9


def phone_distance(wanted: Sequence[str], heard: Sequence[str]) -> float:
    """The weighted edit distance: a deletion costs 1, an insertion 0.8, a substitution as `substitution` says."""
    row = [0.8 * j for j in range(len(heard) + 1)]
    for i, a in enumerate(wanted, 1):
        previous, row = row, [float(i)]
        for j, b in enumerate(heard, 1):
            row.append(min(previous[j] + 1.0, row[j - 1] + 0.8, previous[j - 1] + substitution(a, b)))
    return row[-1]


def distance(one: str, other: str, pronounce: Pronounce) -> float:
    """How far apart two phrases sound: weighted phone edits per phone of the longer. 0: the same, 1: all different."""
    a, b = phones_of(one, pronounce), phones_of(other, pronounce)
    return min(phone_distance(a, b), phone_distance(b, a)) / max(len(a), len(b), 1)


def too_alike(phrases: Sequence[Phrase], pronounce: Pronounce) -> list[tuple[Phrase, Phrase, float]]:
    """Pairs of different meaning that can be open together and sound alike, closest first, with their distance.

    They are compared without the lead-in, which is the same in all. Numbers are not compared with one another.
    """
    found = []
    for one, other in combinations(phrases, 2):
        if same_meaning(one, other) or not open_together(one, other):
            continue
        apart = distance(one.wording, other.wording, pronounce)
        if apart < ALIKE:
            found.append((one, other, apart))
    return sorted(found, key=lambda pair: pair[2])


def same_meaning(one: Phrase, other: Phrase) -> bool:
    """Whether both have the same intent and, for answers to checks and for mishaps, the same check or mishap.

    All numbers count as one meaning, since nothing can make them sound less alike.
    """
    return one.intent == other.intent and (one.intent not in NAMED or one.argument == other.argument)
