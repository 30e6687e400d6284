"""The recogniser of readings: numbers digit by digit, yes, no, and "strike that", by a grammar of their own.

A number is one to three digits, "point" or "decimal", and as many decimals as the instrument shows. It is never acted
on as heard: who asked reads it back, and only a yes takes it. Of synthetic voices' numbers about one in eight is
misheard (American ones) or more (others), and the bars here refuse little: without the read-back this is of no use.
"""

from __future__ import annotations

from collections.abc import Sequence

from assistant.hearing import accept
from assistant.hearing.contract import Result
from assistant.hearing.decoder import units
from assistant.hearing.endpoint import Limits
from assistant.hearing.sphinx import FILLERS, SEARCH, Pronunciations, Sphinx
from assistant.wording.phrases import Phrase

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
POINT, DECIMAL, YES, NO, STRIKE = "point", "decimal", "yes", "no", "strike that"
POINTS = (POINT, DECIMAL)  # "decimal" is how settings are spoken
READING = "reading"
# Everything is read back, so a long "yes" or a pause between digits is no reason to refuse.
BAR = accept.Bar(-5.7, -8.8, -6.0, 1.0, 8, 30.0, 4.0, 60)


def jsgf(places: int) -> str:
    """The grammar of readings with so many decimals, as the instrument shows them."""
    part = " <digit>" * places
    return f"""#JSGF V1.0;
grammar readings;
<digit> = {" | ".join(DIGITS)} ;
<whole> = <digit> [ <digit> [ <digit> ] ] ;
<point> = {" | ".join(POINTS)} ;
public <said> = <whole> <point>{part} | {YES} | {NO} | {STRIKE} ;
"""


def figures(words: Sequence[str]) -> str:
    """("eight", "point", "eight", "two") -> "8.82"."""
    return "".join("." if word in POINTS else str(DIGITS.index(word)) for word in words)


def spelled(number: str) -> str:
    """As it is read back: "8.82" -> "eight point eight two"."""
    return " ".join(POINT if sign == "." else DIGITS[int(sign)] for sign in number)


class Digits(Sphinx):
    """As `sphinx.Sphinx`, held to the grammar of readings with so many decimals, whatever phrases are listened for.

    A number's phrase has the intent "reading" and its figures as argument; yes, no and "strike that" have their
    own words as intents.
    """

    name = "digits"
    # A yes is short, and who reads a caliper pauses between digits.
    limits = Limits(hangover=0.6, shortest=0.15, longest=8.0)

    def __init__(self, places: int, pronunciations: Pronunciations = ()) -> None:
        super().__init__((BAR, BAR), pronunciations)
        self._grammar.add_jsgf_string(SEARCH, jsgf(places))
        self._grammar.activate_search(SEARCH)

    def decode(self, pcm16k: bytes, phrases: Sequence[Phrase]) -> Result:
        """See `contract.Recogniser.decode`; phrases are not looked at."""
        if len(pcm16k) < accept.FRAME * 2 * 10:
            return Result(None, "too short to be a number")
        pcm16k = self._dithered(pcm16k)
        self.loop.begin(pcm16k)
        words = units(self._grammar, pcm16k)
        heard = " ".join(self._plain(word.name) for word in words if word.name not in FILLERS)
        if not heard:
            return Result(None, "no number, and neither yes nor no")
        wanted = [phone for word in heard.split() for phone in self.pronounce(word) or ()]
        measures = accept.measure(pcm16k, words, self.loop.phones(), wanted, FILLERS)
        reason = accept.judge(measures, BAR)
        return Result(None if reason else phrase_of(heard), reason, heard, measures)


def phrase_of(heard: str) -> Phrase:
    """What words of this grammar mean."""
    if heard in (YES, NO, STRIKE):
        return Phrase(heard, None, heard, lead_in=False, strict=False)
    return Phrase(READING, figures(heard.split()), heard, lead_in=False, strict=False)
