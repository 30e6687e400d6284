"""Wood and air in a plan: what each part is made of, and where it is cut and glued."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.plans.model import Air, BoardWood, Climate
from tests.plans.files import PLAN, plan_faults, plan_of


def with_stock(lines: str) -> str:
    return PLAN.replace("thickness = 12", f"thickness = 12\n{lines}")


def with_climate(cutting: str, glue_up: str = "humidity = 60") -> str:
    return PLAN + f"[climate.cutting]\n{cutting}\n[climate.glue_up]\n{glue_up}\n"


def climate_of(folder: Path, cutting: str, glue_up: str = "humidity = 60") -> Climate:
    found = plan_of(folder, with_climate(cutting, glue_up)).climate
    assert found is not None
    return found


def test_a_plan_that_names_no_wood_has_none(tmp_path: Path) -> None:
    plan = plan_of(tmp_path)
    assert plan.woods == {"A": BoardWood(), "B": BoardWood()}
    assert plan.climate is None


def test_both_parts_are_of_the_stocks_wood(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, with_stock('species = "black cherry"\ngrain = "quarter"'))
    assert plan.woods == dict.fromkeys("AB", BoardWood("black cherry", "quarter"))
    assert plan.species == "black cherry"


def test_a_part_may_be_of_its_own_wood_and_as_thick_as_the_other(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, with_stock('species = "cherry"\n[stock.B]\nspecies = "hard maple"\ngrain = "mixed"'))
    assert plan.woods == {"A": BoardWood("cherry"), "B": BoardWood("hard maple", "mixed")}
    assert plan.thickness["A"] == plan.thickness["B"] == 12


def test_air_is_20_degrees_where_only_its_humidity_is_given(tmp_path: Path) -> None:
    climate = climate_of(tmp_path, "humidity = 45.5")
    assert climate.cutting == dict.fromkeys("AB", Air(20.0, 45.5))
    assert climate.glue_up == dict.fromkeys("AB", Air(20.0, 60.0))


def test_degrees_of_either_scale(tmp_path: Path) -> None:
    climate = climate_of(tmp_path, "celsius = 15\nhumidity = 40", "fahrenheit = 68\nhumidity = 40")
    assert climate.cutting["A"].temperature_c == 15
    assert climate.glue_up["A"].temperature_c == pytest.approx(20)


def test_a_part_cut_on_another_day_says_only_what_differs(tmp_path: Path) -> None:
    climate = climate_of(tmp_path, "celsius = 15\nhumidity = 40\n[climate.cutting.B]\nhumidity = 55")
    assert climate.cutting == {"A": Air(15.0, 40.0), "B": Air(15.0, 55.0)}


def test_a_meter_reading_can_replace_the_air(tmp_path: Path) -> None:
    climate = climate_of(tmp_path, "moisture = 8.5\n[climate.cutting.B]\nmoisture = 10")
    assert climate.cutting == {"A": Air(moisture=8.5), "B": Air(moisture=10.0)}


def test_both_parts_may_be_given_apart(tmp_path: Path) -> None:
    climate = climate_of(tmp_path, "[climate.cutting.A]\nhumidity = 40\n[climate.cutting.B]\nmoisture = 10")
    assert climate.cutting == {"A": Air(20.0, 40.0), "B": Air(moisture=10.0)}


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (with_stock('grain = "rift"'), "stock.grain: must be"),
        (with_stock("[stock.B]"), "stock.B.thickness: is missing"),
        (
            with_stock('[stock.B]\nspecie = "ash"\ngrain = "flat"'),
            "stock.B.specie: is not a key that Kerfcall knows; did you mean",
        ),
        (PLAN + "[climate.cutting]\nhumidity = 40\n", "climate.glue_up: is missing"),
        (PLAN + "[climate]\n", "climate.cutting: is missing"),
        (with_climate("celsius = 20"), "climate.cutting.humidity: is missing"),
        (with_climate("humidity = 101"), "climate.cutting.humidity: must be a number, 0 or more and at most 100"),
        (with_climate("humidity = 40\nmoisture = 8"), "climate.cutting.moisture: is given together with humidity"),
        (with_climate("celsius = 20\nfahrenheit = 68\nhumidity = 40"), "climate.cutting.fahrenheit: means the same"),
        (with_climate("humidity = 40\nwind = 3"), "climate.cutting.wind: is not a key that Kerfcall knows"),
        (with_climate("celsius = 200\nhumidity = 40"), "climate.cutting.celsius: must be a number, -1 or more"),
        (with_climate("[climate.cutting.B]\nhumidity = 40"), "climate.cutting.humidity: is missing"),
        (PLAN + "[climate]\ncutting = 3\nglue_up = 4\n", "climate.cutting: must be a table"),
        (PLAN + "[uncertainty]\nout_of_square = 11\n", "uncertainty.out_of_square: must be a number"),
    ],
)
def test_each_fault_is_reported_with_its_place(tmp_path: Path, text: str, fault: str) -> None:
    found = plan_faults(tmp_path, text)
    assert any(fault in each for each in found), found


def test_faults_of_both_times_come_together(tmp_path: Path) -> None:
    found = plan_faults(tmp_path, with_climate("humidity = 101", "humidity = -1"))
    assert len(found) == 2
