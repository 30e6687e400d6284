"""Reads the languages that phrases are said in: one file each, under the same rules as the user's own phrases.

The files lie with the wordings (wording/languages/NAME.toml). They are read here because the
answers of the checks are part of a job. They hold only what the operator says. The program itself speaks English.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import combinations, product
from pathlib import Path
from typing import TypeVar

from assistant.errors import BadInput, Fault
from assistant.plans.document import read_document, shown
from assistant.plans.intents import EAGER, NUMBERED, PHRASED, Intent
from assistant.plans.mishaps import Mishap
from assistant.plans.reader import Table
from assistant.plans.sayable import LEAST_SYLLABLES, is_one_word, mend_for, one_begins_the_other, wrong_with

FOLDER = Path(__file__).parents[1] / "wording" / "languages"
AGAIN = "again"  # of what ends with a number: the word after which it is said once more
CHECKS = (
    "glue dry and trimmed",
    "distance piece",
    "zero",
    "edge and face",
    "setting bar out",
    "clamps",
    "guard",
    "clamps and guard",
    "carrying on",
    "blade height",
    "backing",
    "saw off",
    "board out",
)
# A false pause is harmless, so its phrase may be quick to say ("stand by for me"); a number makes up "go to pass".
SHORTEST = {Intent.STAND_BY: 3} | dict.fromkeys(NUMBERED, 3)
MOST_WORDINGS = 10
LEAST_SHORT = 2  # syllables of a short wording, without the lead-in word
DIGITS = "0123456789"

_Key = TypeVar("_Key", bound=str)  # a check or a mishap
PhraseMeaning = tuple[Intent, str | None]
"""An intent, and which check or mishap where that must be said."""


@dataclass(frozen=True, slots=True)
class Language:
    """What can be said in one language. No phrase here includes the lead-in word.

    phrases: intent -> its wordings, the usual wording first. led: intents whose phrases begin with the lead-in word.
    answers: check -> the phrase that confirms it. mishaps: mishap -> the phrase that says it happened. digits: the
    words for 0 to 9, the usual word first. again: intents whose phrases end with a number -> the word after which it is
    repeated; none where it is said only once. short: short wordings of some meanings, for a recogniser that can doubt;
    a number comes once in them.
    """

    name: str
    lead_in: str
    phrases: Mapping[Intent, tuple[str, ...]]
    led: frozenset[Intent]
    answers: Mapping[str, str]
    mishaps: Mapping[Mishap, str]
    digits: tuple[tuple[str, ...], ...]
    again: Mapping[Intent, str] = field(default_factory=dict)
    short: Mapping[PhraseMeaning, tuple[str, ...]] = field(default_factory=dict)

    def numbers(self, number: int) -> list[str]:
        """Every way of saying a whole number (0 or more) digit by digit, the usual way first: 12 -> "one two"."""
        return [" ".join(words) for words in product(*(self.digits[int(digit)] for digit in str(number)))]

    def in_full(self, intent: Intent, said: str) -> str:
        """A number as it ends this intent's phrases. said: its words: "one two" -> "one two number one two"."""
        return f"{said} {self.again[intent]} {said}" if intent in self.again else said


def known_languages() -> tuple[str, ...]:
    """The languages' names, as the shop file gives them, English first."""
    return tuple(sorted((path.stem for path in FOLDER.glob("*.toml")), key=lambda name: (name != "en", name)))


@cache
def language_of(name: str) -> Language:
    """The language of this name. Raises BadInput if there is none, or with every fault of its file."""
    if name not in known_languages():
        listed = ", ".join(known_languages())
        raise BadInput([Fault("there is no such language", shown(name), "voice.language", f"give one of {listed}")])
    return read_language(FOLDER / f"{name}.toml")


def read_language(path: Path) -> Language:
    """Read a language file. Raises BadInput with every fault in it."""
    document = read_document(path)
    if document.tree is None:
        raise BadInput(document.faults)
    root, name = Table(document, "", document.tree), path.stem
    lead_in = root.text("lead_in", required=True) or ""
    if lead_in and not is_one_word(lead_in, name):
        mend = "give a word that nobody says by chance"
        root.fault("lead_in", "must be one word in lower-case letters", mend, lead_in)
    phrases, led, again = _phrases(root.table("phrases", required=True), name, lead_in)
    answers = _one_each(root.table("answers", required=True), CHECKS, name, lead_in)
    mishaps = _one_each(root.table("mishaps", required=True), tuple(Mishap), name, lead_in)
    digits = _digits(root.table("digits", required=True), name)
    short = _short(root.table("short"), name, lead_in)
    root.close()
    meant: list[tuple[PhraseMeaning, str, str]] = []
    meant += [((intent, None), f"phrases.{intent}.say", text) for intent, texts in phrases.items() for text in texts]
    meant += [((Intent.CHECK, check), f"answers.{check}", text) for check, text in answers.items() if text]
    meant += [((Intent.MISHAP, mishap), f"mishaps.{mishap}", text) for mishap, text in mishaps.items() if text]
    # No wording means two things, or begins another one.
    for (_, one, text), (_, other, rival) in combinations(meant, 2):
        if one_begins_the_other(text, rival):
            root.fault(other, f"is like the phrase of {one}", "give each phrase different words", rival)
    # A short wording may begin another of its own meaning, none of any other's.
    brief = [(meaning, place, text) for meaning, (place, texts) in short.items() for text in texts]
    for meaning, one, text in brief:
        for another, other, rival in meant + brief:
            if another != meaning and one_begins_the_other(text, rival):
                root.fault(one, f"is like the phrase of {other}", "give different words", text)
    if document.faults:
        raise BadInput(document.faults)
    kept = {meaning: texts for meaning, (_, texts) in short.items()}
    return Language(name, lead_in, phrases, led, answers, mishaps, digits, again, kept)


# The tables of [short], which has one for each table whose phrases may be short: a mishap or a check may have the name
# of an intent. Only what begins with the lead-in word may be short.
_SHORT: dict[str, tuple[Intent | None, tuple[str, ...]]] = {
    "phrases": (None, tuple(intent for intent in PHRASED if intent not in EAGER)),
    "answers": (Intent.CHECK, CHECKS),
    "mishaps": (Intent.MISHAP, tuple(Mishap)),
}


def _short(table: Table, name: str, lead_in: str) -> dict[PhraseMeaning, tuple[str, tuple[str, ...]]]:
    """Read the short wordings: meaning -> its place in the file, and a list."""
    found: dict[PhraseMeaning, tuple[str, tuple[str, ...]]] = {}
    for kind, (named, may_be_short) in _SHORT.items():
        one = table.table(kind)
        keys = one.keys()
        for key in keys:
            texts = one.names(key)
            if key not in may_be_short:
                one.fault(key, "can't be short", f"give one of {', '.join(may_be_short)}", list(texts))
                continue
            for text in texts:
                what = wrong_with(text, name, lead_in, LEAST_SHORT)
                if what:
                    one.fault(key, what, mend_for(text, lead_in, "give two syllables or more"), text)
            found[(Intent(key), None) if named is None else (named, key)] = (f"short.{kind}.{key}", texts)
        one.close()
    table.close()
    return found


Phrases = tuple[dict[Intent, tuple[str, ...]], frozenset[Intent], dict[Intent, str]]


def _phrases(table: Table, name: str, lead_in: str) -> Phrases:
    found: dict[Intent, tuple[str, ...]] = {}
    led: set[Intent] = set()
    again: dict[Intent, str] = {}
    for intent in PHRASED:
        one = table.table(intent, required=not table.absent)
        found[intent] = wordings(one, "say", intent, name, lead_in, required=not one.absent)
        if one.flag("lead_in", intent not in EAGER):
            led.add(intent)
        elif intent not in EAGER:
            mend = "set it to true: this phrase records, confirms, moves or ends"
            one.fault("lead_in", "can't be left out", mend, False)
        if intent in NUMBERED and (word := one.text(AGAIN, "")):
            again[intent] = word
            if not is_one_word(word, name):
                one.fault(AGAIN, "must be one word in lower-case letters", "give a word that is not a number", word)
        one.close()
    table.close()
    return found, frozenset(led), again


def wordings(
    table: Table, key: str, intent: Intent, language: str, lead_in: str, *, required: bool = False
) -> tuple[str, ...]:
    """Read the list of phrases at `key`. Those that break a rule are noted as faults and left out."""
    if required and not table.has(key):
        table.fault(key, "is missing", f'give {key} = ["..."]')
    texts = table.names(key)
    if not texts and table.has(key) and not table.faulted(key) or len(texts) > MOST_WORDINGS:
        table.fault(key, f"must be 1 to {MOST_WORDINGS} phrases", f'give {key} = ["...", "..."]', list(texts))
    least = SHORTEST.get(intent, LEAST_SYLLABLES)
    good = []
    for text in (text.lower() for text in texts[:MOST_WORDINGS]):
        what = wrong_with(text, language, lead_in, least)
        if what:
            usual = f"give phrases of {least} syllables or more, in ordinary words"
            table.fault(key, what, mend_for(text, lead_in, usual), text)
        elif text in good:
            table.fault(key, "gives a phrase twice", "give it once", text)
        else:
            good.append(text)
    return tuple(good)


def _one_each(table: Table, keys: Sequence[_Key], name: str, lead_in: str) -> dict[_Key, str]:
    """Read a table that has one phrase for each of these."""
    found = {}
    for key in keys:
        phrase = table.text(key, "", required=not table.absent) or ""
        what = wrong_with(phrase, name, lead_in) if phrase else None
        if what:
            usual = f"give a phrase of {LEAST_SYLLABLES} syllables or more, in ordinary words"
            table.fault(key, what, mend_for(phrase, lead_in, usual), phrase)
        found[key] = phrase
    table.close()
    return found


def _digits(table: Table, name: str) -> tuple[tuple[str, ...], ...]:
    taken: dict[str, str] = {}
    found = []
    for digit in DIGITS:
        words = table.names(digit)
        if not words and not table.absent and not table.faulted(digit):
            table.fault(digit, "is missing", f'give {digit} = ["..."]')
        for word in words:
            if not is_one_word(word, name):
                table.fault(digit, "must be one word in lower-case letters", "give a word for this digit", word)
            elif word in taken:
                table.fault(digit, f"is also the word for {taken[word]}", "give each digit different words", word)
            taken[word] = digit
        found.append(words)
    table.close()
    return tuple(found)
