"""Reads the user's own phrases: [[phrases]] and [pronunciations] of the shop file.

`say` replaces an intent's wordings, `add` adds to them. The same rules apply as to a language file's phrases. Whether
the recogniser knows their words is checked elsewhere, once a recogniser is available.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from assistant.plans.alike import too_alike
from assistant.plans.document import cleaned, shown
from assistant.plans.intents import HARMLESS, NUMBERED, PHRASED, Intent
from assistant.plans.languages import Language, PhraseMeaning, language_of, wordings
from assistant.plans.model import Check, VoiceSettings
from assistant.plans.reader import Table, nearest
from assistant.plans.sayable import LEAST_SYLLABLES, is_one_word, one_begins_the_other

SAY_OTHERWISE = "choose words that sound quite different"
MOST_TABLES = 50
MOST_PRONUNCIATIONS = 200
MOST_PHONES = 40  # in a word
# The phones of CMUdict, which are those of the embedded recogniser's English model.
_PHONES = "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH"
PHONES = frozenset(_PHONES.split())
ONE_DIGIT = range(1, 10)  # numbers: no phrase may sound like one that ends with one of these
HEARD_BY_PHONES = "en"  # the embedded recogniser hears English only, and no other can be taught a word


@dataclass(slots=True)
class OwnPhrases:
    """The phrases in the shop file. phrases: intent -> all its wordings. tables: where each intent's were given.

    pronunciations: as in `VoiceSettings`.
    """

    phrases: dict[Intent, tuple[str, ...]] = field(default_factory=dict)
    tables: dict[Intent, tuple[Table, str]] = field(default_factory=dict)
    pronunciations: tuple[tuple[str, str], ...] = ()

    @property
    def pairs(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """As `VoiceSettings.phrases` holds them."""
        return tuple((str(intent), texts) for intent, texts in self.phrases.items())


def phrases_of(voice: VoiceSettings) -> Mapping[Intent, tuple[str, ...]]:
    """Intent -> its wordings in effect, without the lead-in word."""
    own = {Intent(intent): texts for intent, texts in voice.phrases if intent in PHRASED}
    return {**language_of(voice.language).phrases, **own}


def in_full(intent: Intent, text: str, language: Language) -> list[str]:
    """The wording as it is spoken. One that takes a number is given with each number of one digit."""
    if intent not in NUMBERED:
        return [text]
    return [f"{text} {language.in_full(intent, said)}" for n in ONE_DIGIT for said in language.numbers(n)]


def dangerously_alike(
    one: tuple[Intent, str],
    other: tuple[Intent, str],
    language: Language,
    pronunciations: Iterable[tuple[str, str]] = (),
) -> bool:
    """Whether two wordings, each with its intent first, sound so alike that confusing them would do harm.

    It does harm if one of them records, confirms, moves or ends something. The question is not limited to a state: a
    phrase said at a moment when it means nothing must not be taken for another phrase.
    """
    if one[0] == other[0] or (one[0] in HARMLESS and other[0] in HARMLESS):
        return False
    taught = dict(pronunciations)
    if one[0] in NUMBERED and other[0] in NUMBERED:
        # The numbers would make any two alike; what comes before them must tell them apart.
        return too_alike(one[1], other[1], taught)
    return any(too_alike(a, b, taught) for a in in_full(*one, language) for b in in_full(*other, language))


def sounds_like(text: str, of: str) -> str:
    """What is wrong with a wording that sounds too much like this text. of: its intent or check."""
    return f"sounds too much like {shown(text)} for {shown(of)} and could be mistaken for it"


@dataclass(frozen=True, slots=True)
class WordingLeftOut:
    """A wording that is not listened for. meaning: its intent or its check's name. rival, of: what it sounds like."""

    intent: Intent
    meaning: str
    text: str
    rival: str
    of: str


@dataclass(frozen=True, slots=True)
class Sayable:
    """What can safely be said. phrases: intent -> wordings. answers: check -> its answer, if it has a safe one.

    short: as in `Language`, but for what the shop has replaced by words of its own, and what they are too much like.
    """

    phrases: Mapping[Intent, tuple[str, ...]]
    answers: Mapping[str, str]
    left_out: tuple[WordingLeftOut, ...]
    short: Mapping[PhraseMeaning, tuple[str, ...]]


@lru_cache(maxsize=8)
def sayable(voice: VoiceSettings, checks: tuple[Check, ...]) -> Sayable:
    """The wordings in effect, without the user's own that sound too much like another.

    Such wordings are refused in a shop file, but a session begun before that rule may hold them. The language's own
    wording is then used instead. A check from the shop file can then only be confirmed by hand.
    """
    language = language_of(voice.language)
    texts, answers = dict(phrases_of(voice)), {check.name: check.answer for check in checks}
    left_out: list[WordingLeftOut] = []
    # Repeated until nothing is found: a wording put back may itself sound like another one from the shop file.
    while found := _unsafe(texts, answers, language, voice.pronunciations):
        left_out += found
        for one in found:
            if one.intent == Intent.CHECK:
                answers[one.meaning] = language.answers.get(one.meaning, "")
            else:
                kept = tuple(text for text in texts[one.intent] if text != one.text)
                texts[one.intent] = kept or language.phrases[one.intent]
    answers = {name: answer for name, answer in answers.items() if answer}
    return Sayable(texts, answers, tuple(left_out), _short(texts, answers, language, voice.pronunciations))


def _short(
    texts: Mapping[Intent, tuple[str, ...]],
    answers: Mapping[str, str],
    language: Language,
    pronunciations: tuple[tuple[str, str], ...],
) -> dict[PhraseMeaning, tuple[str, ...]]:
    said: list[tuple[PhraseMeaning, str]] = [((intent, None), text) for intent, own in texts.items() for text in own]
    said += [((Intent.CHECK, name), answer) for name, answer in answers.items()]
    said += [((Intent.MISHAP, mishap), text) for mishap, text in language.mishaps.items()]
    shipped = {text for own in language.phrases.values() for text in own}
    shipped |= {*language.answers.values(), *language.mishaps.values()}
    of_the_shop = [one for one in said if one[1] not in shipped]
    kept: dict[PhraseMeaning, tuple[str, ...]] = {}
    for meaning, short in language.short.items():
        if not any(of == meaning and text in shipped for of, text in said):
            continue
        others = [(of[0], rival) for of, rival in of_the_shop if of != meaning]
        kept[meaning] = tuple(
            text
            for text in short
            if not any(
                one_begins_the_other(text, rival)
                or dangerously_alike((meaning[0], text), (other, rival), language, pronunciations)
                for other, rival in others
            )
        )
    return kept


def _unsafe(
    texts: Mapping[Intent, tuple[str, ...]],
    answers: Mapping[str, str],
    language: Language,
    pronunciations: tuple[tuple[str, str], ...],
) -> list[WordingLeftOut]:
    """The wordings that aren't the language's own and sound too much like another."""
    said = [(intent, str(intent), text) for intent, own in texts.items() for text in own]
    said += [(Intent.CHECK, name, answer) for name, answer in answers.items() if answer]
    of_mishaps = [(Intent.MISHAP, str(mishap), text) for mishap, text in language.mishaps.items()]
    said += of_mishaps
    shipped = {(intent, str(intent), text) for intent, own in language.phrases.items() for text in own}
    shipped |= {*of_mishaps}
    shipped |= {(Intent.CHECK, name, answer) for name, answer in language.answers.items()}
    found = []
    for intent, meaning, text in (one for one in said if one not in shipped):
        for other, of, rival in said:
            if dangerously_alike((intent, text), (other, rival), language, pronunciations):
                found.append(WordingLeftOut(intent, meaning, text, rival, of))
                break
    return found


def read_phrases(
    root: Table, language: Language, lead_in: str, pronunciations: tuple[tuple[str, str], ...] = ()
) -> OwnPhrases:
    """Read the [[phrases]] of a shop file. Faults are noted, and a phrase with a fault is left out."""
    own = OwnPhrases(pronunciations=pronunciations)
    for table in root.tables("phrases", MOST_TABLES):
        word = table.text("intent", required=True, mend=f"give one of {', '.join(PHRASED)}")
        intent = None if word is None else _intent_of(table, word, own)
        if intent is None:
            table.skip()
            continue
        key = "add" if table.has("add") and not table.has("say") else "say"
        if table.has("say") and table.has("add"):
            table.fault("add", "means nothing together with say", "put all phrases into say, or leave say out")
        found = wordings(table, key, intent, language.name, lead_in, required=True)
        table.allow(["say", "add"])
        table.close()
        before = language.phrases[intent] if key == "add" else ()
        own.phrases[intent] = tuple(dict.fromkeys((*before, *found))) or language.phrases[intent]
        own.tables[intent] = (table, key)
    in_effect = {**language.phrases, **own.phrases}
    rivals = [_Rival(i, text, "a phrase of", i) for i in PHRASED for text in in_effect[i]]
    rivals += [_Rival(Intent.MISHAP, text, "the phrase of the mishap", m) for m, text in language.mishaps.items()]
    _refuse_like(own, language, rivals)
    return own


def _intent_of(table: Table, word: str, own: OwnPhrases) -> Intent | None:
    if word == Intent.CHECK:
        table.fault("intent", "has an answer instead of a phrase", 'set "answer" in the [[checks]] of that name', word)
    elif word == Intent.MISHAP:
        table.fault("intent", "has fixed phrases, one for each mishap", "leave this table out", word)
    elif word not in PHRASED:
        near = nearest(word, PHRASED)
        mend = f'did you mean "{near}"?' if near else f"give one of {', '.join(PHRASED)}"
        table.fault("intent", "is not a known intent", mend, word)
    elif word in own.phrases:
        table.fault("intent", "is given twice", "put all its phrases into one table", word)
    else:
        return Intent(word)
    return None


def refuse_answers(own: OwnPhrases, checks: Sequence[Check], language: Language) -> None:
    """Refuse the user's own phrases that equal, begin, continue or sound like a check's answer."""
    rivals = [_Rival(Intent.CHECK, check.answer, "the answer of the check", check.name) for check in checks]
    _refuse_like(own, language, rivals)


class _Rival(NamedTuple):
    """A wording that the user's own must not be like. what, name: whose it is, as a fault says it."""

    intent: Intent
    text: str
    what: str
    name: str


def _refuse_like(own: OwnPhrases, language: Language, rivals: Sequence[_Rival]) -> None:
    """Refuse every phrase that equals, begins, continues or dangerously sounds like a rival of another intent."""
    for intent, (table, key) in own.tables.items():
        others = [rival for rival in rivals if rival.intent != intent]
        for text in own.phrases[intent]:
            like = next((one for one in others if one_begins_the_other(text, one.text)), None)
            if like:
                mend = f"give a different phrase of {LEAST_SYLLABLES} syllables or more"
                table.fault(key, f"is too much like {like.what} {shown(like.name)}", mend, text)
                continue
            for one in others:
                if dangerously_alike((intent, text), (one.intent, one.text), language, own.pronunciations):
                    table.fault(key, sounds_like(one.text, one.name), SAY_OTHERWISE, text)
                    break


def read_pronunciations(root: Table, language: Language) -> tuple[tuple[str, str], ...]:
    """Read words and their phones, as in `wilco = "W IH L K OW"`. Stress marks (AH0) are dropped. Faults are noted."""
    table = root.table("pronunciations")
    if not table.absent and language.name != HEARD_BY_PHONES:
        mend = "leave them out, and use words that the language's model knows"
        root.fault("pronunciations", f"work with the embedded recogniser, which hears only {HEARD_BY_PHONES}", mend)
        table.skip()
        return ()
    words = table.keys()
    if len(words) > MOST_PRONUNCIATIONS:
        root.fault("pronunciations", f"may be {MOST_PRONUNCIATIONS} words at most", "leave some out", len(words))
        table.skip()
        return ()
    return tuple((word, phones) for word in words if (phones := _phones_of(table, word, language.name)) is not None)


def _phones_of(table: Table, word: str, language: str) -> str | None:
    text = table.text(word, most=200)
    if text is None:
        return None
    if not is_one_word(word, language):
        mend = "write the word like that"
        table.fault(cleaned(word) or '""', "must be one word in lower-case letters", mend, word)
        return None
    # CMUdict marks stress on its vowels with 0, 1 or 2, which the recogniser's phones don't have.
    phones = [re.sub(r"[012]\Z", "", phone) for phone in text.upper().split()]
    unknown = [phone for phone in phones if phone not in PHONES]
    if unknown:
        mend = f"use phones from this list: {' '.join(sorted(PHONES))}"
        table.fault(word, f"contains {shown(unknown[0])}, a phone that the recogniser doesn't know", mend, text)
    elif len(phones) > MOST_PHONES:
        table.fault(word, f"may be {MOST_PHONES} phones at most", "give the phones of a single word", text)
    else:
        return " ".join(phones)
    return None
