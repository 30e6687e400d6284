"""The phrases that can be said: by intent, and by the state of the session in which they mean something.

Their words are in languages/, one file a language, and in the shop file where it has its own.

Pure data: whether a recogniser knows the words is asked in `hearing.vocabulary`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from assistant.plans.intents import EAGER, NAMED, NUMBERED, PHRASED, Intent, Mode
from assistant.plans.languages import language_of
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Check, VoiceSettings
from assistant.plans.own_phrases import sayable


@dataclass(frozen=True, slots=True)
class Phrase:
    """One wording of one intent.

    intent, argument: as in `session.events.Heard`, or `NOTHING` and the intent that it is like. text: lower-case words,
    lead-in included where it is due. lead_in: whether it begins with the lead-in word. strict: whether it records,
    confirms, moves or ends (a higher bar in recognition). short: only a recogniser that can doubt may listen for it.
    begin, number: of a text that ends with a number, what comes before it, and the number's words, said once.
    """

    intent: str
    argument: str | int | None
    text: str
    lead_in: bool
    strict: bool
    short: bool = False
    begin: str = ""
    number: str = ""

    @property
    def again(self) -> str:
        """The word between a number and the same number once more; "" where it is said once."""
        return self.text[len(self.begin) + 1 + len(self.number) : -len(self.number)].strip()

    @property
    def wording(self) -> str:
        """The phrase itself, without the lead-in word."""
        return self.text.partition(" ")[2] if self.lead_in else self.text


MOST_FIGURE = 999  # the greatest number that can be asked for
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
    state: tuple(intent for intent in (*PHRASED, *NAMED) if mode in intent.row.when)
    for mode, state in (_WAITS_FOR | _DRIVEN_WAITS_FOR).items()
}
DRIVEN_ONLY = frozenset(_DRIVEN_WAITS_FOR.values())
"""The states that only a driven carriage has."""
# (intent, state) -> when in that state it holds, where that isn't always.
HOLDS: dict[tuple[str, str], str] = {
    (Intent.BACK, _WAITS_FOR[Mode.CUTTING]): "from the second pass on",
    (Intent.BACK, _WAITS_FOR[Mode.CHECKS]): "once a pass is cut, until a new setup's first check is answered",
    (Intent.STAND_BY, _WAITS_FOR[Mode.QUESTION]): "where a pass or a check is open under it",
    (Intent.FIGURE, _WAITS_FOR[Mode.QUESTION]): "where a number is asked for",
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
    words = language_of(language)
    return words.in_full(Intent.GO_TO, words.numbers(number)[0])


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
        led, strict = intent in NAMED or intent in language.led, intent not in EAGER
        lead = f"{voice.lead_in} " if led else ""
        if intent not in NUMBERED:
            found.extend(Phrase(intent, argument, lead + wording, led, strict) for wording in wordings)
            found.extend(Phrase(intent, argument, lead + wording, led, strict, True) for wording in short)
            return
        begins = [(lead + wording, brief) for brief, those in enumerate((wordings, short)) for wording in those]
        # No pass has the number 0.
        for n in range(int(intent == Intent.GO_TO), -1 if argument is None else int(argument) + 1):
            numbers = language.numbers(n)
            for begin, brief in begins:
                for said in numbers:
                    text = f"{begin} {said if brief else language.in_full(intent, said)}"
                    found.append(Phrase(intent, n, text, led, strict, bool(brief), begin, said))

    for intent, argument in wanted:
        short = safe.short.get((intent, str(argument) if intent in NAMED else None), ())
        match intent:
            case Intent.CHECK:  # one without an answer can only be confirmed by foot or key
                add(intent, argument, [answers[str(argument)]] if argument in answers else [], short)
            case Intent.MISHAP:
                add(intent, argument, [language.mishaps[Mishap(str(argument))]], short)
            case _:
                add(intent, argument, texts[intent], short)
    return tuple(found)


def whole_table(
    checks: Sequence[Check], voice: VoiceSettings | str, passes: int = 0, figures: int = 0
) -> tuple[Phrase, ...]:
    """Every phrase there is, for `hear`, `phrases` and rehearsal scripts. voice: as in `phrases_for`.

    passes, figures: the greatest number of a pass, and the greatest that can be asked for.
    """
    wanted: list[tuple[Intent, str | int | None]] = [(intent, None) for intent in PHRASED if intent not in NUMBERED]
    wanted += [(Intent.CHECK, check.name) for check in checks]
    wanted.append((Intent.GO_TO, passes))
    wanted += [(Intent.MISHAP, str(mishap)) for mishap in Mishap]
    wanted.append((Intent.FIGURE, figures))
    return phrases_for(wanted, checks, voice)


IN_SHORT = "the same, in short"


def listing(phrases: Sequence[Phrase], language: str = "en", driven: bool = False) -> str:
    """What can be said, a paragraph for each state of a session. language: its name. driven: a motor moves it."""
    said = [(_as_listed(phrase), phrase) for phrase in phrases]
    width = max(len(text) for text, _ in said)
    again, twelve = language_of(language).again, spoken_pass(12, language)
    lines: list[str] = []
    for state, intents in SAID_WHEN.items():
        if state in DRIVEN_ONLY and not driven:
            continue
        lines += ["", f"{state}:"]
        for text, phrase in said:
            if phrase.intent in intents:
                argument = Mishap(str(phrase.argument)).means if phrase.intent == Intent.MISHAP else phrase.argument
                twice = " and twice" if phrase.intent in again else ""
                meaning = EXPLAINED[phrase.intent].format(argument=argument, twice=twice, twelve=twelve)
                holds = HOLDS.get((phrase.intent, state))
                means = IN_SHORT if phrase.short else meaning + (f"; {holds}" if holds else "")
                lines.append(f"  {text:<{width}}  {means}")
    if any(phrase.short for phrase in phrases):
        lines += ["", f'"{IN_SHORT}": only where the neural recogniser listens, which `kerfcall ready` shows.']
    return "\n".join(lines[1:])


def _as_listed(phrase: Phrase) -> str:
    """The phrase's words; the first of the numbered phrases, with N for its number, is listed for all of them."""
    if not phrase.number:
        return phrase.text
    return f"{phrase.begin} N {phrase.again} N" if phrase.again else f"{phrase.begin} N"


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
