"""Ways that a carriage goes: which places it passes to come up to a setting, and how they are sent in small pieces."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from assistant.joinery.units import round_to_step

PIECE_S = Fraction(3, 20)
"""How long a piece of a way takes, s: so a stopped program leaves little, and the motion stays smooth."""
OUT_MAX_S = 0.44
"""Travel that is out at once, s at its own feed, at most: half a second less the moment a line takes to be acted on."""


@dataclass(frozen=True, slots=True)
class Leg:
    """A way to this place, mm, at this feed, mm/min."""

    to: Fraction
    feed: Fraction


@dataclass(frozen=True, slots=True)
class JogPiece:
    """One jog. start, end: mm. seconds: how long it takes at its feed."""

    start: Fraction
    end: Fraction
    feed: Fraction
    seconds: float

    def left(self, at: Fraction) -> float:
        """How long what is left of it takes, s, for a carriage seen at this place, mm, on the same way."""
        whole = self.end - self.start
        gone = (at - self.start) / whole if whole else Fraction(1)
        return self.seconds * float(1 - min(max(gone, Fraction(0)), Fraction(1)))


def pieces(start: Fraction, legs: list[Leg], step: Fraction) -> list[JogPiece]:
    """The legs in jogs of about `PIECE_S`, each ending on a whole step, mm. Empty where nothing is to move."""
    found = []
    at = start
    for leg in legs:
        begin, end = at, round_to_step(leg.to, step)
        number = max(1, math.ceil(abs(end - begin) / (leg.feed / 60 * PIECE_S)))
        for n in range(1, number + 1):
            to = round_to_step(begin + (end - begin) * n / number, step)
            if to != at:
                found.append(JogPiece(at, to, leg.feed, float(abs(to - at) / leg.feed * 60)))
                at = to
    return found


@dataclass
class Slack:
    """How much of a screw's play a move upward would still take up before the carriage follows, mm: 0 to `play`."""

    play: Fraction
    left: Fraction

    def moved(self, by: Fraction) -> None:
        self.left = min(max(self.left - by, Fraction(0)), self.play)


def ways(
    at: Fraction, setting: Fraction, approach: Fraction, slack: Fraction, play: Fraction, feed: Fraction, slow: Fraction
) -> list[list[Leg]]:
    """How to go from `at` to `setting`, mm: one or two ways, each in one direction, the last to the setting.

    approach: the point below the setting from which it comes up slowly, or above, from which it comes down. slack: the
    play that an upward move would still take up.
    """
    if approach > setting:
        beyond, ready = at < approach, slack >= play
        below = at < setting
    else:
        beyond, ready = at > approach, slack <= 0
        below = at > setting
    last = Leg(setting, slow)
    if at == setting and ready:
        return [[last]]
    if not beyond:
        return [[Leg(approach, feed), last]]
    if ready and not below:
        return [[last]]
    return [[Leg(approach, feed)], [last]]
