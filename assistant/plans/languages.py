"""Reads the languages that phrases are said in: one file each, under the same rules as the user's own phrases.

The files lie with the wordings (wording/languages/NAME.toml). They are read here because the
answers of the checks are part of a job. They hold only what the operator says. The program itself speaks English.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import combinations, product
from pathlib import Path

from assistant.errors import BadInput, Fault
from assistant.plans.document import read_document, shown
from assistant.plans.intents import EAGER, PHRASED, Intent
from assistant.plans.reader import Table
from assistant.plans.sayable import LEAST_SYLLABLES, is_one_word, mend_for, one_begins_the_other, wrong_with

FOLDER = Path(__file__).parents[1] / "wording" / "languages"
AGAIN = "again"  # of "go to": the word after which the number is said once more
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
SHORTEST = {Intent.STAND_BY: 3, Intent.GO_TO: 3}
MOST_WORDINGS = 10
LEAST_SHORT = 2  # syllables of a short wording, without the lead-in word
DIGITS = "0123456789"


@dataclass(frozen=True, slots=True)
class Language:
    """What can be said in one language. No phrase here includes the lead-in word.

    phrases: intent -> its wordings, the usual wording first. led: intents whose phrases begin with the lead-in word.
    answers: check -> the phrase that confirms it. digits: the words for 0 to 9, the usual word
    first. again: the word after which a pass's number is repeated, "" if it is said only once. short: short wordings of
    some intents, and of some checks' answers under their names, for a recogniser that can doubt; a pass's number comes
    once in them.
    """

    name: str
    lead_in: str
    phrases: Mapping[Intent, tuple[str, ...]]
    led: frozenset[Intent]
    answers: Mapping[str, str]
    digits: tuple[tuple[str, ...], ...]
    again: str = ""
    short: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def numbers(self, number: int) -> list[str]:
        """Every way of saying a whole number (0 or more) digit by digit, the usual way first: 12 -> "one two"."""
        return [" ".join(words) for words in product(*(self.digits[int(digit)] for digit in str(number)))]

    def pass_numbers(self, number: int) -> list[str]:
        """Every way of naming a pass, the usual way first: 12 -> "one two number one two"."""
        numbers = self.numbers(number)
        return [f"{said} {self.again} {said}" for said in numbers] if self.again else numbers


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
    answers = _answers(root.table("answers", required=True), name, lead_in)
    digits = _digits(root.table("digits", required=True), name)
    short = _short(root.table("short"), answers, name, lead_in)
    root.close()
    said = [(f"phrases.{intent}.say", text) for intent, texts in phrases.items() for text in texts]
    said += [(f"answers.{check}", text) for check, text in answers.items() if text]
    # No wording means two things, or begins another one.
    for (one, text), (other, rival) in combinations(said, 2):
        if one_begins_the_other(text, rival):
            root.fault(other, f"is like the phrase of {one}", "give each phrase different words", rival)
    # A short wording may begin another of its own meaning, none of any other's.
    meant = [(place.split(".")[1], place, text) for place, text in said]
    meant += [(meaning, f"short.{meaning}", text) for meaning, texts in short.items() for text in texts]
    for meaning, texts in short.items():
        for text in texts:
            for other, place, rival in meant:
                if other != meaning and one_begins_the_other(text, rival):
                    root.fault(f"short.{meaning}", f"is like the phrase of {place}", "give different words", text)
    if document.faults:
        raise BadInput(document.faults)
    return Language(name, lead_in, phrases, led, answers, digits, again, short)


def _short(table: Table, answers: Mapping[str, str], name: str, lead_in: str) -> dict[str, tuple[str, ...]]:
    """Read the short wordings: intent or check -> list. Only what begins with the lead-in word may be short."""
    found = {}
    meanings = table.keys()
    for meaning in meanings:
        texts = table.names(meaning)
        if meaning not in answers and (meaning not in PHRASED or meaning in EAGER):
            mend = "give a check, or an intent that records, confirms, moves or ends"
            table.fault(meaning, "can't be short", mend, list(texts))
        for text in texts:
            what = wrong_with(text, name, lead_in, LEAST_SHORT)
            if what:
                table.fault(meaning, what, mend_for(text, lead_in, "give two syllables or more"), text)
        found[meaning] = texts
    table.close()
    return found


def _phrases(table: Table, name: str, lead_in: str) -> tuple[dict[Intent, tuple[str, ...]], frozenset[Intent], str]:
    found: dict[Intent, tuple[str, ...]] = {}
    led, again = set(), ""
    for intent in PHRASED:
        one = table.table(intent, required=not table.absent)
        found[intent] = wordings(one, "say", intent, name, lead_in, required=not one.absent)
        if one.flag("lead_in", intent not in EAGER):
            led.add(intent)
        elif intent not in EAGER:
            mend = "set it to true: this phrase records, confirms, moves or ends"
            one.fault("lead_in", "can't be left out", mend, False)
        if intent == Intent.GO_TO:
            again = one.text(AGAIN, "") or ""
            if again and not is_one_word(again, name):
                one.fault(AGAIN, "must be one word in lower-case letters", "give a word that is not a number", again)
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


def _answers(table: Table, name: str, lead_in: str) -> dict[str, str]:
    found = {}
    for check in CHECKS:
        answer = table.text(check, "", required=not table.absent) or ""
        what = wrong_with(answer, name, lead_in) if answer else None
        if what:
            usual = f"give a phrase of {LEAST_SYLLABLES} syllables or more, in ordinary words"
            table.fault(check, what, mend_for(answer, lead_in, usual), answer)
        found[check] = answer
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
