"""`python -m tests.bench.phrases`: how alike the phrases sound, from the pronouncing dictionary.

Prints every phrase's nearest rival, the closest pairs that can be open together, and what the limit `ALIKE`
lies between; `--matrix` all distances. Beside it the same by spelling alone, which is what refuses a phrase of
somebody's own (`plans.alike`). Ratio to a floor of the same run: the nearest pair's distance over the limit.
`--voices` speaks "go to pass N" with the synthetic voices and prints how often N is heard right, with the usual and
with the radio words for five and nine, and what decoding with 60 passes takes.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import time
from collections import Counter
from collections.abc import Sequence
from itertools import combinations

from assistant.hearing.sphinx import Sphinx, pronouncer
from assistant.hearing.vocabulary import ALIKE, Pronounce, distance, same_meaning
from assistant.plans.alike import TOO_ALIKE, apart, sounds_of
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.wording.phrases import Phrase, open_together, phrases_for
from tests.hearing.voices import ESPEAK, FLITE, LEAD_IN, noisy, piece, table

PASSES = 60
NUMBERS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 15, 19, 25, 29, 33, 35, 39, 44, 45, 49, 50, 55, 59)
RADIO = {"five": "fife", "nine": "niner"}
NOISES: tuple[float | None, ...] = (None, 10.0)
WITH_CUT = ("cut", "again", "back", "stand by", "how many", "where", "mark", "end")

Spelled = tuple[float, float]  # distance by the dictionary, by spelling
Pair = tuple[float, Phrase, Phrase]


def pairs(phrases: Sequence[Phrase], pronounce: Pronounce) -> list[Pair]:
    """All pairs of different meaning, the nearest first."""
    found = [
        (distance(a.wording, b.wording, pronounce), a, b) for a, b in combinations(phrases, 2) if not same_meaning(a, b)
    ]
    return sorted(found, key=lambda pair: pair[0])


def spelled(one: str, other: str) -> float:
    """How far apart by spelling."""
    sounds = [[sound for word in text.split() for sound in sounds_of(word)] for text in (one, other)]
    return apart(*sounds)


def one_word_changed(phrases: Sequence[Phrase], pronounce: Pronounce) -> list[Spelled]:
    """Distances from each phrase to those made by putting any other word of the table for one of its own."""
    vocabulary = sorted({word for phrase in phrases for word in phrase.wording.split()})
    found = []
    for phrase in phrases:
        words = phrase.wording.split()
        for place, own in enumerate(words):
            for word in vocabulary:
                if word != own:
                    changed = " ".join([*words[:place], word, *words[place + 1 :]])
                    found.append((distance(phrase.wording, changed, pronounce), spelled(phrase.wording, changed)))
    return sorted(found)


def at(fractions: Sequence[float], part: float) -> float:
    return fractions[min(len(fractions) - 1, int(part * len(fractions)))]


def print_matrix(phrases: Sequence[Phrase], pronounce: Pronounce) -> None:
    for n, one in enumerate(phrases):
        row = " ".join(f"{distance(one.wording, other.wording, pronounce):.2f}" for other in phrases[:n])
        print(f"{n:3d} {one.wording:32s} {row}")


def print_nearest(phrases: Sequence[Phrase], found: Sequence[Pair]) -> None:
    print("phrase, its nearest rival, distance")
    for phrase in phrases:
        nearest, a, b = next(pair for pair in found if phrase in pair[1:])
        print(f"  {phrase.wording:34s} {(b if a is phrase else a).wording:34s} {nearest:.3f}")


def say_numbers(radio: bool) -> None:
    """Hits by whether five and nine are said as over the radio; the grammar holds both."""
    recogniser = Sphinx()
    wanted = [(intent, None) for intent in WITH_CUT] + [("go to", PASSES)]
    grammar = phrases_for(wanted, DEFAULT_CHECKS, LEAD_IN)
    usual = {phrase.argument: phrase.text for phrase in reversed(grammar) if phrase.intent == "go to"}
    for snr_db in NOISES:
        tally: Counter[str] = Counter()
        took: list[float] = []
        for seed, voice in enumerate(ESPEAK + (FLITE if shutil.which("flite") else ())):
            for number in NUMBERS:
                text = usual[number]
                said = " ".join(RADIO.get(word, word) for word in text.split()) if radio else text
                sound = piece(voice, said)
                began = time.process_time()
                heard = recogniser.decode(sound if snr_db is None else noisy(sound, snr_db, seed), grammar).phrase
                took.append(time.process_time() - began)
                right = heard is not None and (heard.intent, heard.argument) == ("go to", number)
                tally["hit" if right else "wrong" if heard else "miss"] += 1
        noise = "clean" if snr_db is None else f"{snr_db:g} dB"
        took.sort()
        print(f"{'radio' if radio else 'usual'} words, {noise}: {dict(tally)} of {len(took)}", end="; ")
        print(f"decoding {at(took, 0.5):.3f} s, p95 {at(took, 0.95):.3f} s, {len(grammar)} phrases")


def main(argv: list[str] | None = None) -> int:
    """Print it all; 1 when two of our phrases that can be open together are nearer than the limit."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--matrix", action="store_true")
    parser.add_argument("--voices", action="store_true")
    args = parser.parse_args(argv)
    phrases, pronounce = table(1), pronouncer()
    found = pairs(phrases, pronounce)
    if args.matrix:
        print_matrix(phrases, pronounce)
    print_nearest(phrases, found)
    together = [pair for pair in found if open_together(*pair[1:])]
    print("the closest pairs that can be open together")
    for nearest, a, b in together[:12]:
        print(f"  {nearest:.3f}  {a.wording:34s} {b.wording}")
    distances = [pair[0] for pair in together]
    print(f"open together: {len(distances)} pairs, nearest {distances[0]:.3f}, median {at(distances, 0.5):.3f}")
    both = one_word_changed(phrases, pronounce)
    for name, changed in (("", [one for one, _ in both]), (" by spelling", sorted(one for _, one in both))):
        print(f"one word changed{name}: {len(changed)}, median {at(changed, 0.5):.3f}", end=", ")
        print(f"95 in 100 under {at(changed, 0.95):.3f}")
    same = sum((one < ALIKE) == (other < TOO_ALIKE) for one, other in both)
    print(f"  of which both say alike, or neither: {same / len(both):.3f}")
    near_by_spelling = min(spelled(a.wording, b.wording) for _, a, b in found if a.intent != b.intent)
    print(f"nearest of two intents by spelling: {near_by_spelling:.3f}, at least {TOO_ALIKE}")
    if args.voices:
        for radio in (False, True):
            say_numbers(radio)
    ratio = min(distances[0] / ALIKE, near_by_spelling / TOO_ALIKE)
    print(f"nearest pair / limit, the lesser of both ways: {ratio:.2f} (at least 1)")
    return int(ratio < 1)


if __name__ == "__main__":
    sys.exit(main())
