"""What a piece of sound says for a phrase and against it, by the neural model: the figures that `accept` judges.

The lead-in word is taken as given, since the model writes an unusual word in many ways ("Mary gold"); how well it was
heard is a measure of its own. The likeliest phrase is found among everything that can be said. Then it is compared
with the model's free continuation, with the phrases of another meaning, and with its rivals by rule, which say that it
isn't so. Noise hurts all of them alike, which no fixed limit on a score survives.

All figures are natural logs: of probabilities, of their ratios, or of odds.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from assistant.hearing import accept
from assistant.hearing.accept import NEVER
from assistant.hearing.contract import BYTES_PER_S
from assistant.hearing.neural import END, WITHIN, Given, Neural, Tokens, TokenTree, tree_of
from assistant.plans.languages import language_of

# A lead-in word with a token below this was not said. With such a piece only the phrases without it are looked at.
NO_LEAD_IN = -16.0
# Odds that a sentence ends after the lead-in word: over -0.4 if nothing follows, with formant voices, and under -4 if
# the rest follows at once. After a pause it can begin a new sentence.
STOPS = -1.5
UNLIKELY = -20.0  # a phrase that fits worse is never taken, so its rivals don't matter
# Words that sound like numbers, which the model often writes instead of them.
SOUNDS_LIKE = {"two": "to", "four": "for", "eight": "ate", "one": "won"}
# How it writes several digits said one after another: with what between them, as words or figures, and with what after
# them if a word follows ("352. Number 352", "three-one-eight, number three-one-eight"). Seen with three voices.
RUNS = (("-", False, " "), ("-", False, ", "), (", ", False, ", "), ("", True, " "), ("", True, ", "), ("", True, ". "))


@dataclass(frozen=True, slots=True)
class SayableText:
    """A text that can be said. led: it begins with the lead-in word, which `text` doesn't have.

    meaning: equal for texts of one meaning. rivals: texts that deny it, ask it or turn it round. begin: of a text that
    ends with a number, what comes before it.
    """

    text: str
    led: bool
    meaning: object
    rivals: tuple[str, ...] = ()
    begin: str = ""


@dataclass(frozen=True, slots=True)
class Measured:
    """The likeliest text, as its number in the sequence; None if the sound is like none. free: what the model writes.

    measures: "free": of what the model writes. "fit": the text against that. "margin": against the likeliest text of
    another meaning. "rivals": against its likeliest rival, where it has any. "end": the odds that nothing follows it.
    "lead-in": its least likely token, where it is due; else "first": the text's first token. "alone": the odds that
    nothing follows the lead-in word, where that is likely.
    """

    number: int | None
    free: str
    measures: dict[str, float] = field(default_factory=dict)
    whole: float = 0.0


class Scorer:
    """Measures pieces. Owned by one thread, like its model. lead_in: the word."""

    def __init__(self, model: Neural, lead_in: str) -> None:
        self._model = model
        # The model writes a comma after it, or nothing; after a pause a full stop, and a capital.
        self._begin, self._stopped = (model.tokeniser.encode(lead_in.capitalize() + mark) for mark in ",.")
        self._word = functools.lru_cache(8192)(model.tokeniser.encode)
        self._tree = functools.lru_cache(8)(self._tree_of)

    def prepare(self, texts: tuple[SayableText, ...]) -> None:
        """Makes what `measure` needs for these texts, which takes time where they are thousands."""
        for led, begun in ((True, False), (True, True), (False, True)):
            self._tree(texts, led, begun)

    def _tree_of(self, texts: tuple[SayableText, ...], led: bool, begun: bool) -> TokenTree:
        """Those with the lead-in word, or without. begun: they are a sentence of their own."""
        written = self._begun if begun else self._within
        root: TokenTree = {}
        numbers: dict[str, list[tuple[Tokens, int]]] = {}
        for n, said in enumerate(texts):
            if said.led == led and said.begin:
                ways = self._within(said.text.removeprefix(said.begin).strip())
                numbers.setdefault(said.begin, []).extend((way, n) for way in ways)
        # The branches of a thousand numbers are made once, for each way to write what comes before them.
        for begin, ended in numbers.items():
            branches = tree_of(ended)
            for way in written(begin):
                node = root
                for token in way:
                    node = node.setdefault(token, {})
                node |= branches
        whole = ((n, said) for n, said in enumerate(texts) if said.led == led and not said.begin)
        return tree_of(((way, n) for n, said in whole for way in written(said.text)), root)

    def measure(self, pcm16k: bytes, texts: Sequence[SayableText]) -> Measured:
        """Measures one piece: 16 kHz mono, 16 bit."""
        texts = tuple(texts)
        hidden, length_s = self._model.hidden(pcm16k), len(pcm16k) / BYTES_PER_S
        led = self._model.given(hidden, self._begin)
        # Without the comma after it, which is the model's own.
        lead_in = min(float(led.given[n][token]) for n, token in enumerate(self._begin[:-1]))
        best, given, begun = Measured(None, ""), led, False
        if lead_in >= NO_LEAD_IN:
            stops = _odds(led.given[-2][list(self._model.closing)])  # that a sentence ends right after the word
            if stops > STOPS and lead_in >= accept.LED.lead_in:
                given, begun = self._model.given(hidden, self._stopped), True
                alone = _odds(given.given[-1][[END]])
                if alone > 0:
                    return Measured(None, "", {"lead-in": lead_in, "alone": alone})
            best = self._likeliest(given, texts, True, begun, length_s)
            best.measures["lead-in"] = lead_in
        if lead_in < accept.LED.lead_in or best.measures.get("fit", NEVER) < accept.LED.fit:
            bare = self._model.given(hidden)
            other = self._likeliest(bare, texts, False, True, length_s)
            if best.number is None or other.measures.get("fit", NEVER) > best.measures["fit"]:
                best, given, begun = other, bare, True
        if best.number is not None and best.measures["fit"] >= UNLIKELY:
            written = self._begun if begun else self._within
            ways = [way for text in texts[best.number].rivals for way in written(text)]
            if ways:
                best.measures["rivals"] = best.whole - max(one.whole for one in given.forced(ways))
        return best

    def _likeliest(
        self, given: Given, texts: tuple[SayableText, ...], led: bool, begun: bool, length_s: float
    ) -> Measured:
        found, free_score, free = given.search(self._tree(texts, led, begun), length_s)
        text = self._model.tokeniser.decode(free)
        if not found:
            return Measured(None, text)
        number = max(found, key=lambda n: found[n].whole)
        # Where the sound goes on after it, a longer wording of the same meaning is meant: "go to pass two number two".
        ended = [n for n, one in found.items() if one.end - one.open >= accept.LED.end]
        alike = [n for n in ended if texts[n].meaning == texts[number].meaning]
        if number not in ended and alike:
            number = max(alike, key=lambda n: found[n].whole)
        best = found[number]
        others = [one.whole for n, one in found.items() if texts[n].meaning != texts[number].meaning]
        measures = {
            "fit": best.whole - free_score,
            "margin": min(best.whole - max(others), WITHIN) if others else WITHIN,
            "end": best.end - best.open,
            "free": free_score,
        }
        if not led:
            measures["first"] = best.first
        return Measured(number, text, measures, best.whole)

    def _within(self, text: str) -> list[Tokens]:
        """The ways in which the model may write it within a sentence."""
        words = text.split()
        forms = [words]
        if any(word in SOUNDS_LIKE for word in words):
            forms.append([SOUNDS_LIKE.get(word, word) for word in words])
        # No token has letters of two words, so that each word's can be kept.
        return [tuple(token for word in form for token in self._word(word)) for form in (*forms, *_runs(words))]

    def _begun(self, text: str) -> list[Tokens]:
        """The ways in which the model may write it as a sentence."""
        capital = text[0].upper() + text[1:]
        return [way for form in (capital, capital.replace(" ", ", ", 1)) for way in self._within(form)]


@functools.cache
def _digits() -> dict[str, str]:
    return {word: str(digit) for digit, words in enumerate(language_of("en").digits) for word in words}


def _runs(words: Sequence[str]) -> list[list[str]]:
    """The words with their digits written as in `RUNS`; none if no two digits follow one another."""
    figures = _digits()
    parts = [(digits, list(part)) for digits, part in itertools.groupby(words, figures.__contains__)]
    if not any(digits and len(part) > 1 for digits, part in parts):
        return []
    forms: dict[str, None] = {}
    for between, in_figures, after in RUNS:
        text = ""
        for digits, part in parts:
            if digits:
                text += between.join(figures[word] if in_figures else word for word in part) + after
            else:
                text += " ".join(part).capitalize() if text.endswith(". ") else " ".join(part)
                text += " "
        forms[text.rstrip(" .,")] = None
    return [form.split() for form in forms]


def _odds(of: np.ndarray) -> float:
    """The odds that one of these comes next. of: the logs of their probabilities."""
    together = float(np.logaddexp.reduce(of))
    return together - float(np.log1p(-min(np.exp(together), 1 - 1e-12)))
