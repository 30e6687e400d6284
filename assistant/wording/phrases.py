"""The phrases that can be said: by intent, and by the state of the session in which they mean something.

Their words are in languages/, one file a language, and in the shop file where it has its own.

Pure data: whether a recogniser knows the words is asked in `hearing.vocabulary`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from assistant.plans.intents import EAGER, PHRASED, Intent, Mode
from assistant.plans.languages import language_of
from assistant.plans.model import Check, VoiceSettings
from assistant.plans.own_phrases import sayable


@dataclass(frozen=True, slots=True)
class Phrase:
    """One wording of one intent.

    intent, argument: as in `session.events.Heard`, or `NOTHING` and the intent that it is like. text: lower-case words,
    lead-in included where it is due. lead_in: whether it begins with the lead-in word. strict: whether it records,
    confirms, moves or ends (a higher bar in recognition). short: only a recogniser that can doubt may listen for it.
    """

    intent: str
    argument: str | int | None
    text: str
    lead_in: bool
    strict: bool
    short: bool = False

    @property
    def wording(self) -> str:
        """The phrase itself, without the lead-in word."""
        return self.text.partition(" ")[2] if self.lead_in else self.text


NOTHING = "nothing"  # the intent of what is known so that it is refused

# What a session waits for, in words.
_WAITS_FOR = {
    Mode.CUTTING: "a pass has been called",
    Mode.CHECKS: "a check is open",
    Mode.QUESTION: "a question or read-back is open",
    Mode.STANDING_BY: "standing by",
    Mode.FINISHED: "the session has just finished",
}
_DRIVEN_WAITS_FOR = {
    Mode.MOVE_ASKED: "a driven carriage waits for the pedal",
    Mode.HALTED: "it was halted on its way",
    Mode.HOMING: "it moves to its home switch",
    Mode.MOVING: "it moves to a setting",
}
# State of the session -> intents that mean something in it, for people to read.
SAID_WHEN: dict[str, tuple[Intent, ...]] = {
    state: tuple(intent for intent in (*PHRASED, Intent.CHECK) if mode in intent.row.when)
    for mode, state in (_WAITS_FOR | _DRIVEN_WAITS_FOR).items()
}
DRIVEN_ONLY = frozenset(_DRIVEN_WAITS_FOR.values())
"""The states that only a driven carriage has."""
# (intent, state) -> when in that state it holds, where that isn't always.
HOLDS: dict[tuple[str, str], str] = {
    (Intent.BACK, _WAITS_FOR[Mode.CUTTING]): "from the second pass on",
    (Intent.BACK, _WAITS_FOR[Mode.CHECKS]): "once a pass is cut, until a new setup's first check is answered",
    (Intent.STAND_BY, _WAITS_FOR[Mode.QUESTION]): "where a pass or a check is open under it",
    **{
        (intent, _DRIVEN_WAITS_FOR[mode]): "between the passes of a board"
        for intent in (Intent.BACK, Intent.STAND_BY)
        for mode in (Mode.MOVE_ASKED, Mode.HALTED)
    },
}
EXPLAINED: dict[str, str] = {intent: intent.row.means for intent in Intent}


def _voice(voice: VoiceSettings | str) -> VoiceSettings:
    return VoiceSettings(lead_in=voice) if isinstance(voice, str) else voice


def spoken_pass(number: int, language: str = "en") -> str:
    """12 -> "one two number one two", in the usual words."""
    return language_of(language).pass_numbers(number)[0]


def phrases_for(
    wanted: Iterable[tuple[Intent, str | int | None]], checks: Sequence[Check], voice: VoiceSettings | str
) -> tuple[Phrase, ...]:
    """The wordings of what means something now.

    wanted: as in `session.effects.Listen`. checks: the job's, for their answers. voice: its language,
    lead-in word and own phrases; a text is a lead-in word, for English as shipped. Without what `sayable` leaves out.
    Of each meaning the usual wordings come first, then the short ones.
    """
    voice = _voice(voice)
    language, safe = language_of(voice.language), sayable(voice, tuple(checks))
    texts, answers = safe.phrases, safe.answers
    found: list[Phrase] = []

    def add(intent: Intent, argument: str | int | None, wordings: Iterable[str], short: Iterable[str]) -> None:
        led, strict = intent == Intent.CHECK or intent in language.led, intent not in EAGER
        begin = f"{voice.lead_in} " if led else ""
        found.extend(Phrase(intent, argument, begin + wording, led, strict) for wording in wordings)
        found.extend(Phrase(intent, argument, begin + wording, led, strict, True) for wording in short)

    for intent, argument in wanted:
        short = safe.short.get(str(argument) if intent == Intent.CHECK else intent, ())
        if intent == Intent.CHECK:  # one without an answer can only be confirmed by foot or key
            add(intent, argument, [answers[str(argument)]] if argument in answers else [], short)
        elif intent == Intent.GO_TO:
            for n in range(1, int(argument or 0) + 1):
                usual = [f"{text} {number}" for text in texts[intent] for number in language.pass_numbers(n)]
                add(intent, n, usual, [f"{text} {number}" for text in short for number in language.numbers(n)])
        else:
            add(intent, None, texts[intent], short)
    return tuple(found)


def whole_table(checks: Sequence[Check], voice: VoiceSettings | str, passes: int = 0) -> tuple[Phrase, ...]:
    """Every phrase there is, for `hear`, `phrases` and rehearsal scripts. voice: as in `phrases_for`."""
    wanted: list[tuple[Intent, str | int | None]] = [(intent, None) for intent in PHRASED if intent != Intent.GO_TO]
    wanted += [(Intent.CHECK, check.name) for check in checks]
    wanted.append((Intent.GO_TO, passes))
    return phrases_for(wanted, checks, voice)


IN_SHORT = "the same, in short"


def listing(phrases: Sequence[Phrase], language: str = "en", driven: bool = False) -> str:
    """What can be said, a paragraph for each state of a session. language: its name. driven: a motor moves it."""
    said = [(_as_listed(phrase, language), phrase) for phrase in phrases]
    width = max(len(text) for text, _ in said)
    words = {"twice": " and twice" if language_of(language).again else "", "twelve": spoken_pass(12, language)}
    lines: list[str] = []
    for state, intents in SAID_WHEN.items():
        if state in DRIVEN_ONLY and not driven:
            continue
        lines += ["", f"{state}:"]
        for text, phrase in said:
            if phrase.intent in intents:
                meaning = EXPLAINED[phrase.intent].format(argument=phrase.argument, **words)
                holds = HOLDS.get((phrase.intent, state))
                means = IN_SHORT if phrase.short else meaning + (f"; {holds}" if holds else "")
                lines.append(f"  {text:<{width}}  {means}")
    if any(phrase.short for phrase in phrases):
        lines += ["", f'"{IN_SHORT}": only where the neural recogniser listens, which `kerfcall ready` shows.']
    return "\n".join(lines[1:])


def _as_listed(phrase: Phrase, name: str) -> str:
    """The phrase's words; the first of the numbered phrases, with N for its number, is listed for all of them."""
    if phrase.intent != Intent.GO_TO:
        return phrase.text
    language = language_of(name)
    number = language.numbers(int(phrase.argument or 0))[0]
    # From the right, and no more often than the number is said: the phrase's own words may hold it too.
    return " N".join(phrase.text.rsplit(f" {number}", 2 if language.again and not phrase.short else 1))


def low_note(voice: VoiceSettings) -> str:
    """What the low double note means, or that there is none."""
    if not voice.tone:
        return "[voice] tone = false: no notes sound, so what was not understood is on the screen only."
    return (
        "A short low double note: what you said was not understood, or means nothing now; say it again.\n"
        f'While a pass is called it sounds only when "{voice.lead_in}" was heard. [voice] tone = false turns it off.'
    )


def open_together(one: Phrase, other: Phrase) -> bool:
    """Whether both can be listened for at the same time; only one check is open at a time."""
    if one.intent == other.intent == Intent.CHECK:
        return one.argument == other.argument
    return any(one.intent in intents and other.intent in intents for intents in SAID_WHEN.values())
