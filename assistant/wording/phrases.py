"""The phrases that can be said: by intent, and by the state of the session in which they mean something.

Pure data: whether a recogniser knows the words is asked in `hearing.vocabulary`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from assistant.plans.model import Check


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


# intent -> (wordings, lead-in due). Wordings: hearing-study set 2, as amended by the agreed design.
ENGLISH: dict[str, tuple[tuple[str, ...], bool]] = {
    "cut": (("proceed to next pass", "this pass is completed"), True),
    "again": (("say again position",), False),
    "back": (("return to previous",), True),
    "stand by": (("standing by",), False),
    "carry on": (("carry on working",), True),
    "how many": (("how many more to go",), False),
    "where": (("report my progress",), False),
    "yes": (("affirm that is right",), True),
    "no": (("negative cancel that",), False),
    "mark": (("mark down a problem",), True),
    "end": (("finish the session",), True),
}
GO_TO = "go to pass"
DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
# What only asks, pauses or refuses: a false one does no harm, so the bar is lower and no lead-in is due.
EAGER = frozenset({"again", "stand by", "how many", "where", "no"})

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
        "mark",
        "end",
    ),
    "a check is open": ("check", "again", "back", "stand by", "how many", "where", "mark", "end"),
    "a question or read-back is open": ("yes", "no", "again", "how many", "where"),
    "standing by": ("carry on", "again", "how many", "where", "mark", "end"),
}
EXPLAINED: dict[str, str] = {
    "cut": "the pass is cut; call the next one",
    "again": "say it again",
    "back": "back one pass (read back first)",
    "go to": "go to a pass, digit by digit (read back first)",
    "check": "confirms: {argument}",
    "stand by": "wait",
    "carry on": "go on after standing by",
    "how many": "how many passes are left",
    "where": "where we are",
    "yes": "yes",
    "no": "no",
    "mark": "mark a problem at this place",
    "end": "end the session (read back first)",
}


def _with_lead_in(lead_in: str, text: str, due: bool) -> str:
    return f"{lead_in} {text}" if due else text


def spoken_digits(number: int) -> str:
    """12 -> "one two"."""
    return " ".join(DIGITS[int(digit)] for digit in str(number))


def _go_to(passes: int, lead_in: str) -> list[Phrase]:
    return [Phrase("go to", n, f"{lead_in} {GO_TO} {spoken_digits(n)}", True, True) for n in range(1, passes + 1)]


def phrases_for(
    wanted: Iterable[tuple[str, str | int | None]], checks: Sequence[Check], lead_in: str
) -> tuple[Phrase, ...]:
    """The wordings of what means something now.

    wanted: as in `session.effects.Listen`. checks: the job's, for their answers.
    """
    answers = {check.name: check.answer for check in checks}
    found: list[Phrase] = []
    for intent, argument in wanted:
        if intent == "check":
            found.append(Phrase(intent, argument, f"{lead_in} {answers[str(argument)]}", True, True))
        elif intent == "go to":
            found.extend(_go_to(int(argument or 0), lead_in))
        else:
            wordings, due = ENGLISH[intent]
            strict = intent not in EAGER
            found.extend(Phrase(intent, None, _with_lead_in(lead_in, text, due), due, strict) for text in wordings)
    return tuple(found)


def whole_table(checks: Sequence[Check], lead_in: str, passes: int = 0) -> tuple[Phrase, ...]:
    """Every phrase there is, for `hear`, `phrases` and rehearsal scripts."""
    wanted: list[tuple[str, str | int | None]] = [(intent, None) for intent in ENGLISH]
    wanted += [("check", check.name) for check in checks]
    wanted.append(("go to", passes))
    return phrases_for(wanted, checks, lead_in)
