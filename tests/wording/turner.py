"""Somebody who does literally what is said of a handwheel; knows nothing of how it was worded."""

from __future__ import annotations

from fractions import Fraction

from num2words import num2words

NUMBERS = {num2words(n): n for n in range(1000)}


def number(words: str) -> Fraction:
    """A cardinal or digits, with decimals or not: "twenty-two", "one three", "minus four point five"."""
    sign = -1 if words.startswith("minus ") else 1
    whole, _, decimals = words.removeprefix("minus ").partition(" point ")
    digits = "".join(str(NUMBERS[word]) for word in decimals.split())
    count = NUMBERS[whole] if whole in NUMBERS else int("".join(str(NUMBERS[word]) for word in whole.split()))
    return sign * Fraction(f"{count}.{digits or 0}")


class Turner:
    """Somebody at the wheel who does literally what is said, in marks, and looks for each mark that is named."""

    def __init__(self, marks: Fraction | int, divisions: int) -> None:
        self.at, self.divisions = Fraction(marks), divisions
        self.stops: list[Fraction] = []

    def amount(self, words: str) -> Fraction:
        """In marks: "one turn and twenty-two marks"."""
        turns, marks = Fraction(0), Fraction(0)
        first, joined, second = words.partition(" turns and " if " turns and " in words else " turn and ")
        if joined:
            turns, marks = number(first), number(second.removesuffix(" marks").removesuffix(" mark"))
        elif words.endswith((" turn", " turns")):
            turns = number(words.rpartition(" ")[0])
        else:
            marks = number(words.rpartition(" ")[0])
        assert marks < self.divisions, "marks are less than a turn"
        return turns * self.divisions + marks

    def looks(self, place: str) -> None:
        """What is said of a place is what the dial and the turns show there."""
        before, _, mark = place.rpartition("mark ")
        assert number(mark) == self.at % self.divisions, f"the dial shows {self.at % self.divisions}: {place}"
        before = before.removesuffix(", ")
        if before.startswith("turn "):
            assert number(before.removeprefix("turn ")) == self.at // self.divisions >= 0
        elif before:
            assert -self.amount(before.removesuffix(" below zero")) == self.at < 0
        else:
            assert self.at >= 0, "below zero that is said"

    def follow(self, words: str) -> Fraction:
        start, said, rest = words.rpartition(": ")
        if said and start == "from zero":
            assert self.at == 0
        elif said:
            self.looks(start.removeprefix("from "))
        for leg in rest.split("; then "):
            self.turn(leg.removeprefix("on "))
        return self.at

    def turn(self, leg: str) -> None:
        if leg.startswith("stay at "):
            self.looks(leg.removeprefix("stay at "))
            self.stops.append(self.at)
            return
        way, _, said = leg.partition(" ")
        amount, _, place = said.removesuffix(", past it").partition(", to ")
        self.at += {"up": 1, "down": -1}[way] * self.amount(amount)
        self.stops.append(self.at)
        if place:
            self.looks(place)
