"""The phrases that can be said: by intent, and by the state of the session in which they mean something.

Their words are in languages/, one file a language, and in the shop file where it has its own.

Pure data: whether a recogniser knows the words is asked in `hearing.vocabulary`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from assistant.plans.languages import EAGER, GO_TO, INTENTS, OF_THE_VOICE, language_of
from assistant.plans.model import Check, VoiceSettings
from assistant.plans.own_phrases import sayable


@dataclass(frozen=True, slots=True)
class Phrase:
    """One wording of one intent.

    intent, argument: as in `session.events.Heard`. text: lower-case words, lead-in included where
    it is due. lead_in: whether it begins with the lead-in word. strict: whether it records,
    confirms, moves or ends (a higher bar in recognition).
    """

    intent: str
    argument: str | int | None
    text: str
    lead_in: bool
    strict: bool

    @property
    def wording(self) -> str:
        """The phrase itself, without the lead-in word."""
        return self.text.partition(" ")[2] if self.lead_in else self.text


NOTHING = "nothing"  # the intent of what is known so that it is refused

# State of the session -> intents that mean something in it, for people to read.
SAID_WHEN: dict[str, tuple[str, ...]] = {
    "a pass has been called": (
        "cut",
        "again",
        "back",
        "go to",
        "stand by",
        "how many",
        "where",
        *OF_THE_VOICE,
        "mark",
        "end",
    ),
    "a check is open": ("check", "again", "back", "stand by", "how many", "where", *OF_THE_VOICE, "mark", "end"),
    "a question or read-back is open": ("yes", "no", "stand by", "again", "how many", "where", *OF_THE_VOICE),
    "standing by": ("carry on", "again", "how many", "where", *OF_THE_VOICE, "mark", "end"),
    "the session has just finished": ("back", "again", *OF_THE_VOICE),
}
# (intent, state) -> when in that state it holds, where that isn't always.
HOLDS: dict[tuple[str, str], str] = {
    ("back", "a pass has been called"): "from the second pass on",
    ("back", "a check is open"): "once a pass is cut, until a new setup's first check is answered",
    ("stand by", "a question or read-back is open"): "where a pass or a check is open under it",
}
EXPLAINED: dict[str, str] = {
    "cut": "the pass is cut; call the next one",
    "again": "say it again",
    "back": "back one pass (read back first)",
    "go to": 'go to pass N, said digit by digit{twice}: 12 is "{twelve}" (read back first)',
    "check": "confirms: {argument}",
    "stand by": "wait",
    "carry on": "go on after standing by",
    "how many": "how many passes are left",
    "where": "where we are",
    "louder": "speak louder",
    "quieter": "speak more softly",
    "slower": "speak more slowly",
    "quicker": "speak more quickly",
    "yes": "yes",
    "no": "no",
    "mark": "mark a problem at this place",
    "end": "end the session (read back first)",
}


def _voice(voice: VoiceSettings | str) -> VoiceSettings:
    return VoiceSettings(lead_in=voice) if isinstance(voice, str) else voice


def spoken_pass(number: int, language: str = "en") -> str:
    """12 -> "one two number one two", in the usual words."""
    return language_of(language).pass_numbers(number)[0]


def phrases_for(
    wanted: Iterable[tuple[str, str | int | None]], checks: Sequence[Check], voice: VoiceSettings | str
) -> tuple[Phrase, ...]:
    """The wordings of what means something now.

    wanted: as in `session.effects.Listen`. checks: the job's, for their answers. voice: its language,
    lead-in word and own phrases; a text is a lead-in word, for English as shipped. Without what `sayable` leaves out.
    """
    voice = _voice(voice)
    language, safe = language_of(voice.language), sayable(voice, tuple(checks))
    texts, answers = safe.phrases, safe.answers
    found: list[Phrase] = []

    def add(intent: str, argument: str | int | None, wordings: Iterable[str]) -> None:
        led, strict = intent == "check" or intent in language.led, intent not in EAGER
        begin = f"{voice.lead_in} " if led else ""
        found.extend(Phrase(intent, argument, begin + wording, led, strict) for wording in wordings)

    for intent, argument in wanted:
        if intent == "check":
            add(intent, argument, [answers[str(argument)]] if argument in answers else [])
        elif intent == GO_TO:
            for n in range(1, int(argument or 0) + 1):
                add(intent, n, [f"{text} {number}" for text in texts[intent] for number in language.pass_numbers(n)])
        else:
            add(intent, None, texts[intent])
    return tuple(found)


def whole_table(checks: Sequence[Check], voice: VoiceSettings | str, passes: int = 0) -> tuple[Phrase, ...]:
    """Every phrase there is, for `hear`, `phrases` and rehearsal scripts. voice: as in `phrases_for`."""
    wanted: list[tuple[str, str | int | None]] = [(intent, None) for intent in INTENTS if intent != GO_TO]
    wanted += [("check", check.name) for check in checks]
    wanted.append((GO_TO, passes))
    return phrases_for(wanted, checks, voice)


def decoys(checks: Sequence[Check], voice: VoiceSettings | str) -> tuple[Phrase, ...]:
    """What nearly is a phrase and is none, lead-in word first, but for what the shop has made a phrase of its own."""
    voice = _voice(voice)
    said = {phrase.text for phrase in whole_table(checks, voice)}
    texts = [f"{voice.lead_in} {text}" for text in language_of(voice.language).decoys]
    return tuple(Phrase(NOTHING, None, text, True, False) for text in texts if text not in said)


def open_together(one: Phrase, other: Phrase) -> bool:
    """Whether both can be listened for at the same time; only one check is open at a time."""
    if one.intent == other.intent == "check":
        return one.argument == other.argument
    return any(one.intent in intents and other.intent in intents for intents in SAID_WHEN.values())
