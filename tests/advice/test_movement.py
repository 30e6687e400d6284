"""Movement of wood and EMC, compared with the Wood Handbook's own figures.

USDA Forest Products Laboratory, Wood Handbook (FPL-GTR-190 and FPL-GTR-282): table 4-2, table 13-5,
and the worked example of chapter 13. tests/references says how each figure was verified.
"""

from __future__ import annotations

import pytest

from assistant.advice.movement import WOODS, emc, find_wood, holds, strain
from assistant.plans.climate import celsius
from assistant.plans.model import Grain
from tests.joinery.references import rows

# From memory, unverified: these are no evidence.
PUBLISHED_EMC = [row for row in rows("emc_table") if row["status"] != "M"]
COEFFICIENTS = [row for row in rows("wood_movement") if row["C_R"] and "M" not in row["C_R_status"] + row["C_T_status"]]


def table_name(row: dict[str, str]) -> str:
    return row["species"].split(" (")[0]


def test_emc_is_the_handbooks_table_4_2() -> None:
    for row in PUBLISHED_EMC:
        found = emc(celsius(float(row["temp_F"])), float(row["rh_pct"]))
        assert found == pytest.approx(float(row["emc_table_pct"]), abs=0.07), row
        assert found == pytest.approx(float(row["emc_eq_C"]), abs=0.0006), row


def test_there_are_enough_published_entries() -> None:
    assert len(PUBLISHED_EMC) == 23
    assert len(COEFFICIENTS) == 37


@pytest.mark.parametrize(
    ("temperature", "humidity", "expected"),
    [(20, 50, 9.27), (20, 65, 12.00), (20, 75, 14.45), (20, 85, 18.00), (20, 95, 23.94), (5, 85, 18.47)],
)
def test_emc_against_an_independent_computation(temperature: float, humidity: float, expected: float) -> None:
    assert emc(temperature, humidity) == pytest.approx(expected, abs=0.005)


def test_emc_is_finite_at_both_ends_and_rises_between() -> None:
    found = [emc(20, humidity) for humidity in range(101)]
    assert found[0] == 0
    assert found[100] == pytest.approx(28.84, abs=0.005)
    assert found == sorted(found)


def test_warm_air_of_the_same_humidity_is_drier_for_wood() -> None:
    assert emc(5, 50) > emc(20, 50) > emc(40, 50)


@pytest.mark.parametrize(("temperature", "humidity"), [(-2, 50), (133, 50), (20, -1), (20, 101), (float("nan"), 50)])
def test_emc_is_refused_where_the_equation_was_not_fitted(temperature: float, humidity: float) -> None:
    with pytest.raises(ValueError, match="temperature must be|humidity must be"):
        emc(temperature, humidity)


def test_coefficients_are_those_of_table_13_5() -> None:
    for row in COEFFICIENTS:
        wood = WOODS[table_name(row)]
        assert (wood.radial, wood.tangential) == (float(row["C_R"]), float(row["C_T"])), row
        assert wood.radial == wood.across("quarter") < wood.across("mixed") < wood.across("flat") == wood.tangential


def test_every_wood_has_its_row() -> None:
    assert set(WOODS) == {table_name(row) for row in COEFFICIENTS}


def test_coefficients_follow_from_the_shrinkage_of_table_4_3() -> None:
    """A second table of the same book: C = S / (100 F - (F - 10) S) with fibre saturation F."""
    agreeing = [row for row in COEFFICIENTS if row["closed_form_agrees"] == "yes"]
    assert len(agreeing) == 32
    for row in agreeing:
        saturation = float(row["fsp_used"])
        wood = WOODS[table_name(row)]
        for shrinkage, coefficient in ((row["S_radial_pct"], wood.radial), (row["S_tangential_pct"], wood.tangential)):
            total = float(shrinkage)
            closed = total / (100 * saturation - (saturation - 10) * total)
            assert closed == pytest.approx(coefficient, abs=0.0000051), row


def test_the_worked_example_of_chapter_13() -> None:
    """White fir, flat-sawn, 232 mm wide, from 8 to 11 percent: it widens by 1.705 mm, to 233.7 mm."""
    (white_fir,) = find_wood("white fir")
    change = 232 * strain(white_fir.across("flat"), 8, 11)
    assert change == pytest.approx(1.705, abs=0.0005)
    assert round(232 + change, 1) == 233.7
    assert 232 * strain(white_fir.across("flat"), 11, 8) == -change


@pytest.mark.parametrize(
    ("species", "size", "moistures", "expected"),
    [
        ("sugar maple", 100, (8, 12), 1.412),
        ("black walnut", 6, (7, 10), 0.04932),
        ("white oak", 300, (emc(celsius(70), 30), emc(celsius(70), 60)), 5.254),
    ],
)
def test_further_examples(species: str, size: float, moistures: tuple[float, float], expected: float) -> None:
    """Own computations from the Handbook's figures; the last is a whole chain from humidity to size.

    The chain was computed with the coefficients for degrees Fahrenheit, which differ by 0.003 mm here.
    """
    (wood,) = find_wood(species)
    assert size * strain(wood.across("flat"), *moistures) == pytest.approx(expected, abs=0.004)


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("black cherry", "Cherry, black"),
        ("Cherry", "Cherry, black"),
        ("WHITE ASH", "Ash, white"),
        ("hard maple", "Maple, sugar"),
        ("douglas fir", "Douglas-fir, coast"),
        ("western red cedar", "Cedar, western redcedar"),
        ("yellow poplar", "Yellow-poplar"),
        ("northern red oak", "Red oak, commercial"),
        ("Walnut, black", "Walnut, black"),
    ],
)
def test_woods_go_by_the_names_people_use(said: str, meant: str) -> None:
    assert [wood.name for wood in find_wood(said)] == [meant]


@pytest.mark.parametrize(("said", "among"), [("ash", {"Ash, black", "Ash, white"}), ("oak", {"Red oak, commercial"})])
def test_a_name_for_several_woods_gives_them_all(said: str, among: set[str]) -> None:
    found = {wood.name for wood in find_wood(said)}
    assert len(found) > 1
    assert among <= found


@pytest.mark.parametrize("said", ["bubinga", "", "  ", "black", "ashen", "black cherry burl"])
def test_an_unknown_name_is_not_guessed_at(said: str) -> None:
    assert len(find_wood(said)) != 1


def test_every_table_name_finds_itself() -> None:
    assert {name: find_wood(name) for name in WOODS} == {name: (wood,) for name, wood in WOODS.items()}


def test_the_coefficients_hold_from_6_to_14_percent() -> None:
    assert holds(6, 14)
    assert not holds(5.9, 10)
    assert not holds(10, 14.1)


def test_each_grain_has_its_coefficient() -> None:
    ash = WOODS["Ash, white"]
    assert [ash.across(grain) for grain in (Grain.FLAT, Grain.QUARTER)] == [ash.tangential, ash.radial]
    assert ash.across(Grain.MIXED) == pytest.approx((ash.radial + ash.tangential) / 2)
