"""Numbers in a text that may be broken over lines: a line never ends inside a quantity or before its unit."""

from __future__ import annotations

import re
from functools import lru_cache

# "12", "12.35", "3/16", "1 3/16".
_NUMBER = r"-?\d+(?:[.,]\d+)*(?:/\d+)?(?: \d+/\d+)?"
_UNIT = r"(?: (?:mm|in|inch(?:es)?|turns?|marks?|steps?|min|s|h|dB|degrees?)\b)"
_ONE = rf"{_NUMBER}{_UNIT}?"
# "mark 21": what is counted stays with its number. No figure of a word or of an address is one.
_NAMED = r"(?:\b(?:mark|turn|pass|setup|end) )?(?<![\w.])"
# "5 to 84 mm", "pass 3 of 14", "2 turns + 43".
_FIGURES = rf"{_NAMED}(?:{_NUMBER} (?:to|of) {_ONE}|{_ONE}(?: [+-] {_ONE})*)"

_SMALL = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred thousand minus point "
    "half quarters? eighths? sixteenths? seconds? fourths? thousandths?"
)
_WORD = rf"(?:{'|'.join(_SMALL.split())})"
_WORDS = rf"{_WORD}(?:-{_WORD})*"
# The same in words, as it is said.
_NOUN = r"(?: (?:millimetres?|inch(?:es)?|turns?|marks?|of an inch|a millimetre)\b)"
_SPOKEN = rf"(?:\b(?:mark|turn|minus) )?\b{_WORDS}\b(?: (?:(?:and|over) )?{_WORDS}\b)*{_NOUN}?"

_QUANTITY = re.compile(rf"{_FIGURES}|{_SPOKEN}", re.IGNORECASE)
NO_BREAK = "\u00a0"


def pieces(text: str) -> list[str]:
    """The words of `text` between which a line may end: a quantity is one of them, with its unit.

    "5 to 84 mm", "3 3/16 in", "2 turns + 43", "mark two one", "one and three eighths inches". Runs of spaces count as
    one; joined by spaces the pieces are the text.
    """
    return [piece.replace(NO_BREAK, " ") for piece in bound(" ".join(text.split())).split(" ") if piece]


@lru_cache(maxsize=4096)
def bound(text: str) -> str:
    """The text with spaces in its quantities at which no browser breaks a line."""
    return _QUANTITY.sub(lambda match: match[0].replace(" ", NO_BREAK), text)


def whole_until(text: str, end: int) -> int:
    """`end`, or where the quantity begins that text[:end] would tear apart."""
    return next((match.start() for match in _QUANTITY.finditer(text) if match.start() < end < match.end()), end)
