"""The recogniser of dictated readings: numbers digit by digit, "yes", "no" and "strike that", by their own grammar.

A number is one to three digits, "point" or "decimal", and as many decimals as the instrument shows. No number is used
as heard: the caller reads it back, and only a "yes" accepts it. About one in eight numbers of American synthetic
voices is misheard, and more of others', and the limits here refuse little. Without the read-back this is useless.
"""

from __future__ import annotations

from collections.abc import Sequence

from assistant.hearing import accept
from assistant.hearing.contract import CLEAR_DB, Result
from assistant.hearing.decoder import decoded_words
from assistant.hearing.endpoint import Limits
from assistant.hearing.sphinx import FILLERS, SEARCH, Pronunciations, Sphinx
from assistant.wording.phrases import Phrase

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
POINT, DECIMAL, YES, NO, STRIKE = "point", "decimal", "yes", "no", "strike that"
POINTS = (POINT, DECIMAL)  # settings are spoken with "decimal", so people will say that too
READING = "reading"
# Of 36 numbers and answers of synthetic voices, 2 fitted less well; of 91 pieces of other talk, 3 would be read back.
BAR = accept.Bar(-6.5, 8)


def jsgf(places: int) -> str:
    """The grammar of readings with `places` decimals, as the instrument shows them."""
    part = " <digit>" * places
    return f"""#JSGF V1.0;
grammar readings;
<digit> = {" | ".join(DIGITS)} ;
<whole> = <digit> [ <digit> [ <digit> ] ] ;
<point> = {" | ".join(POINTS)} ;
public <said> = <whole> <point>{part} | {YES} | {NO} | {STRIKE} ;
"""


def figures(words: Sequence[str]) -> str:
    """The figures for the words: ("eight", "point", "eight", "two") -> "8.82"."""
    return "".join("." if word in POINTS else str(DIGITS.index(word)) for word in words)


def spelled(number: str) -> str:
    """The words in which a number is read back: "8.82" -> "eight point eight two"."""
    return " ".join(POINT if sign == "." else DIGITS[int(sign)] for sign in number)


class Digits(Sphinx):
    """A `sphinx.Sphinx` that knows only the grammar of readings with `places` decimals, and ignores the phrases.

    A number's phrase has the intent "reading" and its figures as argument. "yes", "no" and "strike that" have their
    own words as intents.
    """

    name = "digits"
    # A "yes" is short, and people who read a caliper pause between digits.
    limits = Limits(hangover=0.6, shortest=0.15, longest=8.0)

    def __init__(self, places: int, pronunciations: Pronunciations = ()) -> None:
        super().__init__((BAR, BAR), pronunciations)
        self._grammar.add_jsgf_string(SEARCH, jsgf(places))
        self._grammar.activate_search(SEARCH)

    def decode(self, pcm16k: bytes, phrases: Sequence[Phrase], clear_db: float = CLEAR_DB) -> Result:
        """See `contract.Recogniser.decode`. The phrases are ignored."""
        if len(pcm16k) < accept.FRAME * 2 * 10:
            return Result(None, "too short to be a number")
        pcm16k = self._dithered(pcm16k)
        words = decoded_words(self._grammar, pcm16k)
        heard = " ".join(self._plain(word.name) for word in words if word.name not in FILLERS)
        if not heard:
            return Result(None, "it was not a number, a yes or a no")
        measures = accept.measure(pcm16k, words, FILLERS)
        reason = accept.judge(measures, BAR)
        return Result(None if reason else phrase_of(heard), reason, heard, measures)


def phrase_of(heard: str) -> Phrase:
    """The phrase that these words of the grammar mean."""
    if heard in (YES, NO, STRIKE):
        return Phrase(heard, None, heard, lead_in=False, strict=False)
    return Phrase(READING, figures(heard.split()), heard, lead_in=False, strict=False)
