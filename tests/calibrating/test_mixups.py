"""Cuts measured instead of wood, far walls instead of near walls: found from the readings and the board's layout."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from assistant.calibrating.blunders import Reading
from assistant.calibrating.mixups import cuts_among, cuts_measured, other_side, some_on_the_other_side

KERF = Fraction("3.2")
SHORT, LONG = ["9.525"] * 5, ["31.75"] * 5
BOARDS = {
    "five and five": SHORT + LONG,
    "eight and two": ["10"] * 8 + ["32"] * 2,
    "one spacing": ["20"] * 4,
    "three": ["12"] * 3,
}


def read(spacings: list[str], of: str, kerf: Fraction, rng: random.Random, slips: int = 0) -> list[Reading]:
    """A caliper's readings of the wood or the cuts, to a hundredth. slips: how many readings are misread by 0.5."""
    found = []
    for n, spacing in enumerate(spacings):
        x = Fraction(spacing)
        wide = float(kerf if of == "cut" else x - kerf) + rng.gauss(0, 0.03) + (0.5 if n < slips else 0)
        found.append(Reading(chr(65 + n), x, Fraction(round(wide * 100), 100)))
    return found


@pytest.mark.parametrize("spacings", BOARDS.values(), ids=BOARDS)
@pytest.mark.parametrize("slips", [0, 1])
def test_cuts_are_not_mistaken_for_wood_on_any_board(spacings: list[str], slips: int) -> None:
    """The blade's true kerf is up to a fifth off the shop file's, or is another blade's."""
    for seed in range(200):
        rng = random.Random(seed)
        true = KERF * Fraction(rng.choice([rng.uniform(0.8, 1.2), 0.66]))
        (fault,) = cuts_measured(read(spacings, "cut", true, rng, slips), KERF, "mm")
        assert fault.what == "the cuts seem to have been measured, not the wood between them"
        assert "kerf" not in fault.mend
        assert not list(cuts_measured(read(spacings, "wood", true, rng, slips), KERF, "mm"))


def test_wood_about_as_wide_as_the_kerf_is_wood() -> None:
    """Fingers of 3.18 beside cuts of 3.18: both hypotheses give the same kerf, so nothing must be refused."""
    rows = [Reading("A", Fraction("6.36"), Fraction("3.18"))] * 4
    assert not list(cuts_measured(rows, KERF, "mm"))


def test_wood_that_gives_nearly_the_shop_files_kerf_is_wood() -> None:
    """Fingers exactly as wide as the kerf: as cuts they fit better, but as wood they give 3.3, which fits as well."""
    rows = [Reading("A", Fraction("6.5"), KERF)] * 4
    assert not list(cuts_measured(rows, KERF, "mm"))


def test_without_readings_there_is_nothing_to_refuse() -> None:
    assert not list(cuts_measured([], KERF, "mm"))
    assert not some_on_the_other_side([], KERF)


def test_the_places_are_named_where_only_some_are_cuts() -> None:
    rows = read(SHORT + LONG, "wood", KERF, random.Random(1))
    rows[1], rows[7] = (Reading(rows[n].label, rows[n].x, Fraction("3.19")) for n in (1, 7))
    (fault,) = cuts_among(rows, KERF)
    assert fault.value == "B, H"
    assert not list(cuts_among(read(SHORT + LONG, "wood", KERF, random.Random(1)), KERF))


@pytest.mark.parametrize(
    ("offset", "zero", "hint"),
    [
        ("3.18", "outside", 'it says "outside", but these cuts suggest "inside"'),
        ("-3.0", "inside", 'it says "inside", but these cuts suggest "outside"'),
        ("3.3", "inside", "which side of the blade"),
        ("-3.18", "outside", "which side of the blade"),
    ],
)
def test_a_zero_off_by_a_kerf_is_the_other_side_of_it(offset: str, zero: str, hint: str) -> None:
    (fault,) = other_side(Fraction(offset), KERF, zero, "mm")
    assert "the other side of the kerf?" in fault.what and hint in fault.mend


@pytest.mark.parametrize("offset", ["0", "0.15", "-1", "2", "4.5"])
def test_another_zero_is_a_zero(offset: str) -> None:
    assert not list(other_side(Fraction(offset), KERF, "outside", "mm"))


def test_the_fewer_a_kerf_from_the_others_are_named() -> None:
    def row(label: str, off: str) -> Reading:
        return Reading(label, Fraction(20), 20 + Fraction(off))

    near = [row(label, "-3.2") for label in "ABCD"]
    assert some_on_the_other_side([*near, row("E", "0.02")], KERF) == ["E"]
    assert some_on_the_other_side([row("A", "-3.2"), *(row(label, "0") for label in "BCD")], KERF) == ["A"]
    assert some_on_the_other_side(near, KERF) == []
    assert some_on_the_other_side([*near, row("E", "-1.6"), row("F", "0")], KERF) == [], "one lies between"
