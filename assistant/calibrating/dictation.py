"""Takes readings dictated digit by digit: each is read back, and a yes confirms it.

For each place in turn you say, for example, "six point three four", which is read back. "Yes" takes it and goes on,
"no" asks again. "Strike that" drops what was read back, or else takes back the reading before. A number said instead
of yes or no replaces the one that was read back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from assistant.calibrating.blunders import Caliper
from assistant.calibrating.readings import ReadingCollector
from assistant.hearing.child import Spec
from assistant.hearing.digits import NO, READING, STRIKE, YES, spelled
from assistant.hearing.ear import Found
from assistant.joinery.units import MM_PER_UNIT, LengthError, parse_length
from assistant.plans.model import DenoiserName, VoiceSettings

MOST_PLACES = 6


class Dictation:
    """The conversation, without hearing or speaking. places: labels in order, repeated if they are read again.

    doubt: what is odd about figures at a place, or "". `hear` takes what was said and returns the lines to answer with.
    `taken` is (label, figures) of all readings confirmed with yes.
    """

    def __init__(self, places: list[str], doubt: Callable[[str, str], str] = lambda place, figures: ""):
        self._places = places
        self._doubt = doubt
        self._pending = ""
        self.taken: list[tuple[str, str]] = []

    @property
    def finished(self) -> bool:
        return len(self.taken) == len(self._places)

    def ask(self) -> str:
        """The question to ask now."""
        if self.finished:
            return "All readings are taken."
        again = " again" if self._place in [label for label, _ in self.taken] else ""
        return f"{self._place}{again}: say the reading, digit by digit."

    @property
    def _place(self) -> str:
        return self._places[len(self.taken)]

    def hear(self, intent: str, argument: str = "") -> Iterator[str]:
        """Answer one utterance: "reading" with its figures, "yes", "no", "strike that", or "" if not understood."""
        if intent == READING and not self.finished:
            self._pending = argument
            doubt = self._doubt(self._place, argument)
            odd = f" {doubt[0].upper()}{doubt[1:]}." if doubt else ""
            yield f"{self._place}: {spelled(argument)}.{odd} Yes or no?"
        elif intent == YES and self._pending:
            self.taken.append((self._place, self._pending))
            self._pending = ""
            yield self.ask()
        elif intent in (NO, STRIKE) and self._pending:
            self._pending = ""
            yield f"Struck. {self.ask()}"
        elif intent == STRIKE and self.taken:
            label, figures = self.taken.pop()
            yield f"{label}, {spelled(figures)}, is taken back. {self.ask()}"
        elif not intent:
            yield "Not understood. Say it again."


def places_of(caliper: Caliper) -> int:
    """The decimals that the instrument shows in its unit, 6 at most."""
    step = caliper.step / MM_PER_UNIT[caliper.unit]
    return next((n for n in range(1, MOST_PLACES) if (step * 10**n).denominator == 1), MOST_PLACES)


def doubt_of(collector: ReadingCollector) -> Callable[[str, str], str]:
    """What is odd about figures read at a place, in the unit of bare numbers."""

    def doubt(place: str, figures: str) -> str:
        try:
            return collector.doubt(place, parse_length(figures, collector.unit))
        except LengthError as error:
            return error.what

    return doubt


def spec_for(voice: VoiceSettings, caliper: Caliper) -> Spec:
    """The recogniser for these readings, without a denoiser: the saw is off, and noise suppression harms digits."""
    return Spec(f"digits {places_of(caliper)}", pronunciations=voice.pronunciations, denoiser=DenoiserName.NONE)


def answers(talk: Dictation, found: Found) -> Iterator[str]:
    """The lines to answer an utterance with; none for a knock."""
    if found.phrase is not None:
        yield from talk.hear(found.phrase.intent, str(found.phrase.argument or ""))
    elif not found.knock:
        yield from talk.hear("")
