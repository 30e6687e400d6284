"""Where to turn a handwheel for a pass: one dial for each move, from the settings that are called."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assistant.joinery.model import Carriage
from assistant.joinery.settings import mark_text, marks, turning
from assistant.wording.dial import big_place, has_dial


@dataclass(frozen=True, slots=True)
class Dial:
    """One move of the wheel.

    step: 1 and 2 where the move goes past the setting first, else 0. divisions: marks on the dial. start, end: the
    mark where it stands and where it must end, 0 to less than `divisions`. up: towards greater settings, so that the
    marks rise. turns, marks: how far, whole turns and the rest of a turn. place: where it ends, turns from zero and
    mark, "9+21".
    """

    step: int
    divisions: int
    start: Fraction
    end: Fraction
    up: bool
    turns: int
    marks: Fraction
    place: str

    @property
    def stays(self) -> bool:
        return not self.turns and not self.marks

    @property
    def heading(self) -> str:
        """The move and where it ends: "1 DOWN TO 9+48", "UP TO 10+2", "STAY AT 9+21"."""
        way = "STAY AT" if self.stays else "UP TO" if self.up else "DOWN TO"
        return f"{self.step} {way} {self.place}" if self.step else f"{way} {self.place}"

    @property
    def amount(self) -> tuple[str, str]:
        """How far, in one line for whole turns and one for marks: "1 turn", "22 marks". Either may be ""."""
        turns = f"{self.turns} turn{'' if self.turns == 1 else 's'}" if self.turns else ""
        return turns, f"{mark_text(self.marks)} mark{'' if self.marks == 1 else 's'}" if self.marks else ""

    @property
    def in_short(self) -> str:
        """How far, in turns and marks, as in block letters: "1+52"."""
        return f"{self.turns}+{mark_text(self.marks)}"


def dials_of(
    carriage: Carriage, previous: Fraction | None, approach: Fraction | None, setting: Fraction
) -> tuple[Dial, ...]:
    """The moves to a setting in order: one, or two by way of `approach`; none if the carriage has no dial. mm.

    previous: where the carriage stands, None for zero. approach: as a pass is called with, None for a plain move.
    """
    if not has_dial(carriage):
        return ()
    start = previous or Fraction(0)
    past = approach is not None and not turning(carriage, start, approach).none
    places = (start, approach, setting) if past and approach is not None else (start, setting)
    moves = zip(places, places[1:], strict=False)
    return tuple(_dial(carriage, n if past else 0, a, b) for n, (a, b) in enumerate(moves, start=1))


def _dial(carriage: Carriage, step: int, start: Fraction, end: Fraction) -> Dial:
    move = turning(carriage, start, end)
    return Dial(
        step=step,
        divisions=carriage.divisions or 1,
        start=_mark(carriage, start),
        end=_mark(carriage, end),
        up=move.up,
        turns=move.turns,
        marks=move.marks,
        place=big_place(carriage, end),
    )


def _mark(carriage: Carriage, place: Fraction) -> Fraction:
    return marks(carriage, place) % (carriage.divisions or 1)
