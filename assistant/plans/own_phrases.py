"""Phrases of one's own: [[phrases]] and [pronunciations] of the shop file.

`say` replaces an intent's wordings, `add` puts more beside those there are. They are held to the same
rules as a language file's; whether the recogniser knows their words is asked where it is at hand.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from assistant.plans.alike import too_alike
from assistant.plans.document import cleaned, shown
from assistant.plans.intents import HARMLESS, PHRASED, Intent
from assistant.plans.languages import Language, language_of, wordings
from assistant.plans.model import Check, VoiceSettings
from assistant.plans.reader import Table, nearest
from assistant.plans.sayable import LEAST_SYLLABLES, is_one_word, one_begins_the_other

SAY_OTHERWISE = "say it in words that sound quite different"
MOST_TABLES = 50
MOST_PRONUNCIATIONS = 200
MOST_PHONES = 40  # in a word
# The phones of CMUdict, which are those of the embedded recogniser's English model.
_PHONES = "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH"
PHONES = frozenset(_PHONES.split())
ONE_DIGIT = range(1, 10)  # passes to go to, as which a phrase must not sound
HEARD_BY_PHONES = "en"  # the embedded recogniser hears English only; others can't be taught a word


@dataclass(slots=True)
class OwnPhrases:
    """What the shop file says. phrases: intent -> all its wordings. tables: where each intent's were given.

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
    """The wording as it is said: with each digit as its pass's number where a number belongs to it."""
    if intent != Intent.GO_TO:
        return [text]
    return [f"{text} {number}" for n in ONE_DIGIT for number in language.pass_numbers(n)]


def dangerously_alike(
    one: tuple[Intent, str],
    other: tuple[Intent, str],
    language: Language,
    pronunciations: Iterable[tuple[str, str]] = (),
) -> bool:
    """Whether two wordings of different intents, each with its intent first, sound too alike where a mistake does harm.

    It does where one of them records, confirms, moves or ends; it is asked of every state together: who says a phrase
    when it means nothing must not be taken for saying another.
    """
    if one[0] == other[0] or (one[0] in HARMLESS and other[0] in HARMLESS):
        return False
    taught = dict(pronunciations)
    return any(too_alike(a, b, taught) for a in in_full(*one, language) for b in in_full(*other, language))


def sounds_like(text: str, of: str) -> str:
    """What is wrong with a wording that sounds too like this one, of that intent or check."""
    return f"sounds too like {shown(text)} of {shown(of)}, for which it could be taken"


@dataclass(frozen=True, slots=True)
class WordingLeftOut:
    """A wording that isn't listened for. meaning: its intent, or its check's name; rival, of: what it sounds like."""

    intent: Intent
    meaning: str
    text: str
    rival: str
    of: str


@dataclass(frozen=True, slots=True)
class Sayable:
    """What can safely be said. phrases: intent -> wordings; answers: check -> its answer, where it has a safe one."""

    phrases: Mapping[Intent, tuple[str, ...]]
    answers: Mapping[str, str]
    left_out: tuple[WordingLeftOut, ...]


@lru_cache(maxsize=8)
def sayable(voice: VoiceSettings, checks: tuple[Check, ...]) -> Sayable:
    """The wordings in effect, without those of one's own that sound too like another's.

    No shop file that is read has such; a session begun before they were refused may. Without them the language's own
    wordings are back; a check of the shop's own is then confirmed by hand only.
    """
    language = language_of(voice.language)
    texts, answers = dict(phrases_of(voice)), {check.name: check.answer for check in checks}
    left_out: list[WordingLeftOut] = []
    # Again, until nothing is found: what is put back may sound like something else of the shop's own.
    while found := _unsafe(texts, answers, language, voice.pronunciations):
        left_out += found
        for one in found:
            if one.intent == Intent.CHECK:
                answers[one.meaning] = language.answers.get(one.meaning, "")
            else:
                kept = tuple(text for text in texts[one.intent] if text != one.text)
                texts[one.intent] = kept or language.phrases[one.intent]
    return Sayable(texts, {name: answer for name, answer in answers.items() if answer}, tuple(left_out))


def _unsafe(
    texts: Mapping[Intent, tuple[str, ...]],
    answers: Mapping[str, str],
    language: Language,
    pronunciations: tuple[tuple[str, str], ...],
) -> list[WordingLeftOut]:
    """The wordings that aren't the language's and sound too like another's."""
    said = [(intent, str(intent), text) for intent, own in texts.items() for text in own]
    said += [(Intent.CHECK, name, answer) for name, answer in answers.items() if answer]
    shipped = {(intent, str(intent), text) for intent, own in language.phrases.items() for text in own}
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
    """The [[phrases]] of a shop file, faults noted; a phrase that can't be said is left out."""
    own = OwnPhrases(pronunciations=pronunciations)
    for table in root.tables("phrases", MOST_TABLES):
        word = table.text("intent", required=True, mend=f"give one of {', '.join(PHRASED)}")
        intent = None if word is None else _intent_of(table, word, own)
        if intent is None:
            table.skip()
            continue
        key = "add" if table.has("add") and not table.has("say") else "say"
        if table.has("say") and table.has("add"):
            table.fault("add", "means nothing beside say", "put all phrases into say, or leave say out")
        found = wordings(table, key, intent, language.name, lead_in, required=True)
        table.allow(["say", "add"])
        table.close()
        before = language.phrases[intent] if key == "add" else ()
        own.phrases[intent] = tuple(dict.fromkeys((*before, *found))) or language.phrases[intent]
        own.tables[intent] = (table, key)
    in_effect = {**language.phrases, **own.phrases}
    _refuse_like(own, language, [_Rival(i, text, "a phrase of", i) for i in PHRASED for text in in_effect[i]])
    return own


def _intent_of(table: Table, word: str, own: OwnPhrases) -> Intent | None:
    if word == Intent.CHECK:
        table.fault("intent", "is confirmed by an answer", 'set "answer" in the [[checks]] of that name', word)
    elif word not in PHRASED:
        near = nearest(word, PHRASED)
        mend = f'did you mean "{near}"?' if near else f"give one of {', '.join(PHRASED)}"
        table.fault("intent", "is nothing that can be meant", mend, word)
    elif word in own.phrases:
        table.fault("intent", "is given a second time", "put all its phrases into one table", word)
    else:
        return Intent(word)
    return None


def refuse_answers(own: OwnPhrases, checks: Sequence[Check], language: Language) -> None:
    """No phrase of one's own may be, begin, go on from or sound like a check's answer."""
    rivals = [_Rival(Intent.CHECK, check.answer, "the answer of the check", check.name) for check in checks]
    _refuse_like(own, language, rivals)


class _Rival(NamedTuple):
    """A wording that one's own may not be like. what, name: as a fault says whose it is."""

    intent: Intent
    text: str
    what: str
    name: str


def _refuse_like(own: OwnPhrases, language: Language, rivals: Sequence[_Rival]) -> None:
    """Refuse every phrase that is, begins or goes on from a rival of another intent, or dangerously sounds like it."""
    for intent, (table, key) in own.tables.items():
        others = [rival for rival in rivals if rival.intent != intent]
        for text in own.phrases[intent]:
            like = next((one for one in others if one_begins_the_other(text, one.text)), None)
            if like:
                mend = f"give a phrase of {LEAST_SYLLABLES} syllables or more that is not like it"
                table.fault(key, f"is like {like.what} {shown(like.name)}", mend, text)
                continue
            for one in others:
                if dangerously_alike((intent, text), (one.intent, one.text), language, own.pronunciations):
                    table.fault(key, sounds_like(one.text, one.name), SAY_OTHERWISE, text)
                    break


def read_pronunciations(root: Table, language: Language) -> tuple[tuple[str, str], ...]:
    """Words and their phones, as in `wilco = "W IH L K OW"`; stress marks (AH0) are dropped. Faults noted."""
    table = root.table("pronunciations")
    if not table.absent and language.name != HEARD_BY_PHONES:
        mend = "leave them out, and use words that the language's model knows"
        root.fault("pronunciations", f"are for the embedded recogniser, which hears {HEARD_BY_PHONES} only", mend)
        table.skip()
        return ()
    words = table.keys()
    if len(words) > MOST_PRONUNCIATIONS:
        root.fault("pronunciations", f"must be {MOST_PRONUNCIATIONS} words at most", "leave some out", len(words))
        table.skip()
        return ()
    return tuple((word, phones) for word in words if (phones := _phones_of(table, word, language.name)) is not None)


def _phones_of(table: Table, word: str, language: str) -> str | None:
    text = table.text(word, most=200)
    if text is None:
        return None
    if not is_one_word(word, language):
        table.fault(cleaned(word) or '""', "must be one word of lower-case letters", "write the word so", word)
        return None
    phones = [re.sub(r"[012]\Z", "", phone) for phone in text.upper().split()]
    unknown = [phone for phone in phones if phone not in PHONES]
    if unknown:
        mend = f"give phones of {' '.join(sorted(PHONES))}"
        table.fault(word, f"holds {shown(unknown[0])}, which is no phone of the recogniser's", mend, text)
    elif len(phones) > MOST_PHONES:
        table.fault(word, f"must be {MOST_PHONES} phones at most", "give one word's phones", text)
    else:
        return " ".join(phones)
    return None
