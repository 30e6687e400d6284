"""Before anything moves, a controller's settings are compared with the shop's carriage: every fault at once."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from assistant.carriage.configure import changes
from assistant.carriage.settings import ROOM, Controller, faults, left_raised, out_of_reach, reach, zero_place
from assistant.carriage.simulated import DEFAULTS
from assistant.joinery.settings import reading
from tests.carriage.rig import carriage
from tests.session.jobs import few_checks, job, plan


def controller(**changed: float) -> Controller:
    """As the simulated one says of itself; s100=250 changes $100."""
    values = {number: F(str(value)) for number, value in DEFAULTS.items()}
    values |= {int(name[1:]): F(str(value)) for name, value in changed.items()}
    return Controller("1.1h.20190830", "V", values, ("", ""))


def wheres(found: list) -> list[str]:
    return [fault.where for fault in found]


def test_one_that_is_set_up_has_no_fault() -> None:
    assert faults(carriage(), controller()) == []


@pytest.mark.parametrize(
    ("number", "value"),
    [(100, 250), (1, 25), (10, 0), (13, 1), (20, 0), (21, 1), (22, 0), (23, 0), (24, 0), (27, 0.08), (110, 500),
     (120, 49), (130, 300.05), (130, 290)],
)  # fmt: skip
def test_each_setting_that_is_wrong_is_named(number: int, value: float) -> None:
    found = faults(carriage(), controller(**{f"s{number}": value}))
    assert wheres(found) in ([f"controller: ${number}"], ["controller: $25"])
    assert all(fault.value and fault.mend for fault in found)


def test_all_faults_come_at_once() -> None:
    """A controller fresh from the shop, with the firmware's own defaults (its settings.md)."""
    fresh = controller(s100=250, s1=25, s20=0, s22=0, s23=0, s110=500, s120=10, s130=200)
    found = faults(carriage(), fresh)
    assert wheres(found) == [f"controller: ${n}" for n in (100, 1, 110, 120, 22, 20, 23, 130)]


def test_stopping_takes_at_most_a_millimetre() -> None:
    """v^2 / 2a, the way of uniform slowing down: 600 mm/min is 10 mm/s, so 50 mm/s2 stops in exactly 1 mm."""
    assert faults(carriage(), controller(s120=50)) == []
    assert wheres(faults(carriage(), controller(s120=49.999))) == ["controller: $120"]


@pytest.mark.parametrize("options", ["VZ", "VC"])
def test_a_build_that_counts_otherwise_is_refused(options: str) -> None:
    assert wheres(faults(carriage(), replace(controller(), options=options))) == ["controller: build"]


def test_what_runs_by_itself_after_a_reset_is_refused() -> None:
    assert wheres(faults(carriage(), replace(controller(), blocks=("", "G0X5")))) == ["controller: $N1"]


def test_a_closed_reset_input_is_refused() -> None:
    assert wheres(faults(carriage(), replace(controller(), pins="XR"))) == ["controller: inputs"]


def test_other_firmware_is_refused() -> None:
    assert wheres(faults(carriage(), replace(controller(), version="0.9j"))) == ["controller"]


def test_home_by_hand_needs_neither_homing_nor_soft_limits() -> None:
    shop = carriage(drive={"home": "by hand", "home_reads": F(0)})
    assert faults(shop, controller(s20=0, s22=0, s23=0)) == []
    assert wheres(faults(shop, controller())) == ["controller: $22", "controller: $20"]
    assert reach(shop, controller()) is None


def test_a_carriage_without_steps_of_its_own_takes_the_controllers() -> None:
    assert faults(carriage(drive={"steps_per_mm": None}), controller(s100=123.456)) == []
    assert wheres(faults(carriage(drive={"steps_per_mm": None}), controller(s100=0))) == ["controller: $100"]


def test_the_axis_is_the_shops() -> None:
    shop = carriage(drive={"axis": "Z"})
    assert "controller: $102" in wheres(faults(shop, controller()))
    assert faults(shop, controller(s102=400, s112=3000, s122=200, s132=300, s23=4)) == []


def test_zero_lies_the_play_above_where_homing_found_the_switch() -> None:
    """Coming down the carriage lags the screw by its play, so at the switch the screw stands that much lower."""
    shop = carriage()
    assert zero_place(shop, controller()) == -300 + F(8, 100) + 1
    low, high = reach(shop, controller()) or (F(0), F(0))
    assert (low, high) == (F(-1) - F(8, 100), F("298.92"))


def test_a_travel_that_was_left_raised_is_known_from_its_digits() -> None:
    assert left_raised(300 + ROOM) == 300
    assert left_raised(F("123.4") + ROOM) == F("123.4")
    for own in (F(300), F("300.5"), F("300.51"), F("0.5"), ROOM):
        assert left_raised(own) is None


def test_what_configure_changes_leaves_no_fault_of_its_own() -> None:
    fresh = controller(s100=250, s1=25, s10=0, s13=1, s20=0, s21=1, s22=0, s23=0, s27=0.05, s130=300.04)
    found = changes(carriage(), fresh)
    assert [change.number for change in found] == [100, 1, 10, 13, 22, 130, 20, 21, 23, 27]
    after = replace(fresh, settings={**fresh.settings, **{change.number: change.new for change in found}})
    assert faults(carriage(), after) == []
    assert changes(carriage(), after) == []
    assert str(found[0]) == "$100: 250 -> 400 (the shop file's steps a millimetre)"


def test_configure_puts_a_raised_travel_back_and_keeps_the_direction_of_other_axes() -> None:
    found = {change.number: change.new for change in changes(carriage(), controller(s130=300.517, s23=6))}
    assert found == {130: 300, 23: 7}


def test_configure_for_home_by_hand() -> None:
    shop = carriage(drive={"home": "by hand", "home_reads": F(0)})
    assert [(change.number, change.new) for change in changes(shop, controller())] == [(20, 0), (22, 0)]


def test_a_pattern_beyond_the_controllers_travel_is_named_with_what_it_allows() -> None:
    job_ = job(plan(84, 6, parts="A"), few_checks(), carriage())
    farthest = max(one.setting for one in job_.patterns[0].passes)
    assert out_of_reach(job_, None) == [] == out_of_reach(job_, (F(0), farthest))
    (fault,) = out_of_reach(job_, (F(0), farthest - F(1, 400)))
    assert fault.where == "part A" and fault.value == reading(carriage(), farthest)
    assert "allows, 0 to 33599" in fault.what and "--no-drive" in fault.mend
