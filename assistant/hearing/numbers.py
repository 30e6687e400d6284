"""Listens for many numbers in two steps: for any digits first, then for the few numbers that those digits can be.

With a thousand numbers, each said twice, a grammar of all phrases takes nine times as long to decode as one of ten.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product

from assistant.wording.phrases import Phrase

# Phrases that begin alike and end with a number: up to so many, all are in the grammar at once.
MOST_AT_ONCE = 200


@dataclass(frozen=True, slots=True)
class AnyNumber:
    """Phrases that differ by their number alone. begin, again: as in `Phrase`. words: of all digits, in a fixed order.

    longest: digits.
    """

    begin: str
    again: str
    words: tuple[str, ...]
    longest: int

    def candidates(self, heard: str) -> list[str]:
        """The texts that this can be, where the number was heard in one way and its repetition in another.

        Each digit is taken from one or the other; numbers of different lengths stay whole. Empty if it is no text of
        this kind.
        """
        if not heard.startswith(f"{self.begin} "):
            return []
        said = heard.removeprefix(f"{self.begin} ").split()
        if not self.again:
            return [heard]
        if said.count(self.again) != 1:
            return []
        at = said.index(self.again)
        first, second = said[:at], said[at + 1 :]
        ways: Iterable[Sequence[str]] = (first, second)
        if len(first) == len(second):
            ways = product(*(dict.fromkeys(pair) for pair in zip(first, second, strict=True)))
        numbers = dict.fromkeys(" ".join(way) for way in ways)
        return [f"{self.begin} {number} {self.again} {number}" for number in numbers]


def gathered(phrases: Iterable[Phrase]) -> tuple[tuple[str, ...], tuple[AnyNumber, ...]]:
    """The texts that stay as they are, and what stands for the others: for numbers of which there are too many."""
    texts: dict[str, None] = {}
    alike: dict[tuple[str, str], dict[str, str]] = {}
    for phrase in phrases:
        if phrase.number:
            alike.setdefault((phrase.begin, phrase.again), {})[phrase.text] = phrase.number
        else:
            texts[phrase.text] = None
    many: list[AnyNumber] = []
    for (begin, again), numbers in alike.items():
        if len(numbers) <= MOST_AT_ONCE:
            texts |= dict.fromkeys(numbers)
            continue
        said = [number.split() for number in numbers.values()]
        words = dict.fromkeys(word for number in said for word in number)
        many.append(AnyNumber(begin, again, tuple(words), max(map(len, said))))
    return tuple(texts), tuple(many)
