"""[carriage.drive] of a shop file: what it may say, and every fault with its mend."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from assistant.joinery.model import Drive
from tests.plans.files import SHOP, shop_faults, shop_of

PORT = "usb:1a86:7523"
DRIVE = SHOP + f'[carriage.drive]\nport = "{PORT}"\n'
SWITCH = DRIVE + "home_reads = -3\n"
BY_HAND = DRIVE + 'home = "by hand"\n'


def test_without_the_table_no_motor_is_on_the_screw(tmp_path: Path) -> None:
    assert shop_of(tmp_path, SHOP + "[carriage]\n").carriage.drive is None


def test_a_port_and_what_the_switch_reads_are_enough(tmp_path: Path) -> None:
    assert shop_of(tmp_path, SWITCH).carriage.drive == Drive(PORT, home_reads=Fraction(-3))
    assert shop_of(tmp_path, BY_HAND).carriage.drive == Drive(PORT, home="by hand")


def test_every_figure_is_kept_exactly(tmp_path: Path) -> None:
    text = """
unit = "in"
[blade]
kerf = "1/8"
[carriage.drive]
port = "/dev/serial/by-id/usb-controller"
axis = "Y"
feed = 450.5
approach_feed = 90
home_reads = "-3.01 mm"
clear_input = true
steps_per_mm = 251.968504
"""
    assert shop_of(tmp_path, text).carriage.drive == Drive(
        "/dev/serial/by-id/usb-controller",
        "Y",
        Fraction("450.5"),
        Fraction(90),
        "switch",
        Fraction("-3.01"),
        True,
        Fraction("251.968504"),
    )


@pytest.mark.parametrize("port", [PORT, "usb:2341:0043:75331313437", "/dev/ttyACM0", "COM3", "com12"])
def test_ports(tmp_path: Path, port: str) -> None:
    drive = shop_of(tmp_path, SWITCH.replace(PORT, port)).carriage.drive
    assert drive is not None and drive.port == port


def test_a_slow_feed_comes_up_no_faster(tmp_path: Path) -> None:
    drive = shop_of(tmp_path, SWITCH + "feed = 100\n").carriage.drive
    assert drive is not None and (drive.feed, drive.approach_feed) == (100, 100)


def test_the_steps_of_a_steppers_carriage_are_the_motors(tmp_path: Path) -> None:
    steps = (
        SHOP + f'[carriage]\nkind = "steps"\nsteps_per_mm = 400\n[carriage.drive]\nport = "{PORT}"\nhome_reads = 0\n'
    )
    drive = shop_of(tmp_path, steps).carriage.drive
    assert drive is not None and drive.steps_per_mm == 400
    (fault,) = shop_faults(tmp_path, steps + "steps_per_mm = 200\n")
    assert "carriage.drive.steps_per_mm: is the carriage's own" in fault and "leave it out" in fault


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (SHOP + "[carriage.drive]\nhome_reads = -3\n", "port: is missing"),
        (SWITCH.replace(PORT, "ttyUSB0"), 'port: names no serial line (got "ttyUSB0"); give '),
        (SWITCH.replace(PORT, "usb:1a86"), 'port: names no serial line (got "usb:1a86"); give '),
        (SWITCH.replace(f'"{PORT}"', "3"), "port: must be text of 1 to 200 characters (got 3); "),
        (DRIVE, "home_reads: is missing; "),
        (BY_HAND + "home_reads = -3\n", 'home_reads: means nothing with home = "by hand"'),
        (SWITCH + 'home = "middle"\n', 'home: must be "switch" or "by hand" (got "middle")'),
        (SWITCH.replace("-3", '"low"'), 'home_reads: this is not a length (got "low")'),
        (SWITCH + 'axis = "A"\n', 'axis: must be "X", "Y" or "Z"'),
        (SWITCH + "feed = 0\n", "feed: must be a number, over 0 and at most 6000 mm/min (got 0)"),
        (SWITCH + "feed = 7000\n", "feed: must be a number, over 0 and at most 6000 mm/min (got 7000)"),
        (SWITCH + "approach_feed = -1\n", "approach_feed: must be a number, over 0"),
        (SWITCH + "feed = 600\napproach_feed = 601\n", "approach_feed: is faster than feed"),
        (SWITCH + 'clear_input = "yes"\n', "clear_input: must be true or false"),
        (SWITCH + "steps_per_mm = 0\n", "steps_per_mm: must be a number, over 0"),
        (SWITCH + "speed = 600\n", "speed: "),
    ],
)
def test_each_fault_says_what_is_wrong_where_and_the_mend(tmp_path: Path, text: str, expected: str) -> None:
    (fault,) = shop_faults(tmp_path, text)
    assert fault.startswith(f"shop.toml: carriage.drive.{expected}"), fault
    assert fault.partition("; ")[2]


def test_every_fault_is_reported_at_once(tmp_path: Path) -> None:
    wrong = SHOP + "\n".join(
        ["[carriage.drive]", 'port = "here"', "axis = 1", "feed = -2", 'home = "up"', "home_reads = []"]
        + ['clear_input = "no"', 'steps_per_mm = "many"', "speed = 3", ""]
    )
    where = {fault.split(": ")[1] for fault in shop_faults(tmp_path, wrong)}
    keys = ("port", "axis", "feed", "home", "home_reads", "clear_input", "steps_per_mm", "speed")
    assert where == {f"carriage.drive.{key}" for key in keys}
