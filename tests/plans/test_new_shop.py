"""A new shop file reads back as it was answered, for every machine. Its reader checks every answer."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from fractions import Fraction
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.joinery.units import MM_PER_UNIT
from assistant.plans.model import Shop
from assistant.plans.new_shop import NO_PEDAL, Answers, faults_of, missing, picture, shop_text, with_usual
from assistant.plans.shop_file import read_shop, shop_of_text

SCREWS = {
    "readout": Answers(carriage="readout", resolution="0.005"),
    "handwheel": Answers(carriage="handwheel", pitch="2 mm", divisions="125"),
    "threads": Answers(carriage="handwheel", threads_per_inch="16", divisions="100"),
    "steps": Answers(carriage="steps", steps_per_mm="400"),
}
STEP_MM = {"handwheel": Fraction(2, 125), "threads": Fraction(254, 16000), "steps": Fraction(1, 400)}

MACHINES = list(
    product(
        SCREWS, ("mm", "in"), ("left", "right"), ("outside", "inside"), (True, False), ("f13", NO_PEDAL), ("yes", "no")
    )
)


def shop_of(answers: Answers) -> Shop:
    shop, faults = shop_of_text(shop_text(answers), Path("shop.toml"))
    assert shop is not None and not faults, faults
    return shop


def test_every_machine_reads_back_as_it_was_answered() -> None:
    for machine in MACHINES:
        reads_back(*machine)


def reads_back(screw: str, unit: str, stop_side: str, zero: str, kerf: bool, pedal: str, voice: str) -> None:
    width = "3.2" if unit == "mm" else "0.126"
    answers = replace(
        SCREWS[screw],
        unit=unit,
        stop_side=stop_side,
        zero=zero,
        kerf=width if kerf else "",
        kerf_printed="" if kerf else width,
        pedal_key=pedal,
        voice=voice,
    )
    shop = shop_of(answers)
    carriage = shop.carriage
    step = STEP_MM.get(screw, Fraction("0.005") * MM_PER_UNIT[unit])
    assert (shop.unit, shop.blade.kerf) == (unit, Fraction(width) * MM_PER_UNIT[unit])
    assert (carriage.kind, carriage.resolution) == (answers.carriage, step)
    assert (carriage.unit, carriage.stop_side, carriage.zero) == (unit, stop_side, zero)
    assert shop.pedal.key == ("f13" if pedal == "f13" else "page_down")
    assert shop.voice.reads == ("turns" if carriage.kind == "handwheel" else "digits")
    text = shop_text(answers)
    assert ("not calibrated" in text) is not kerf
    assert ("--no-voice" in text, "--no-pedal" in text) == (voice == "no", pedal == NO_PEDAL)


def test_what_is_not_answered_takes_what_the_question_offers() -> None:
    shop = shop_of(Answers(kerf_printed="3.2"))
    usual = shop_of(with_usual(Answers(kerf_printed="3.2")))
    assert shop == usual == replace(shop_of_text('unit = "mm"\n[blade]\nkerf = 3.2\n', Path("shop.toml"))[0])
    assert shop_of(Answers(unit="in", kerf="1/8")).carriage.resolution == Fraction("0.0254")


def test_the_file_itself_reads_the_same(tmp_path: Path) -> None:
    answers = replace(SCREWS["threads"], unit="in", kerf="1/8 in")
    path = tmp_path / "shop.toml"
    path.write_text(shop_text(answers), encoding="utf-8")
    assert replace(read_shop(path), path="") == replace(shop_of(answers), path="")


def test_the_pedals_own_device_is_written_with_a_key_that_types() -> None:
    answers = Answers(kerf="3", pedal_key="b", pedal_device="/dev/input/by-id/usb-pedal-event-kbd")
    assert not faults_of(answers)
    assert (shop_of(answers).pedal.key, shop_of(answers).pedal.device) == ("b", answers.pedal_device)
    assert list(faults_of(replace(answers, pedal_device=""))) == ["pedal_key"]


NOBODY_CAN_GUESS = [
    (Answers(), ["kerf"]),
    (Answers(kerf_printed="3"), []),
    (Answers(carriage="handwheel", kerf="3"), ["pitch", "divisions"]),
    (Answers(carriage="handwheel", kerf="3", threads_per_inch="16"), ["divisions"]),
    (Answers(carriage="steps"), ["kerf", "steps_per_mm"]),
]


@pytest.mark.parametrize(("answers", "names"), NOBODY_CAN_GUESS)
def test_what_is_missing(answers: Answers, names: list[str]) -> None:
    assert missing(answers) == names
    assert not faults_of(answers)  # which is not the fault of the answers given


WRONG = [
    (Answers(kerf="wide"), ["kerf"]),
    (Answers(kerf_printed="0"), ["kerf_printed"]),
    (Answers(kerf="0.1"), ["kerf"]),  # not over the overlap of neighbouring passes
    (Answers(unit="in", kerf="3.2"), ["kerf"]),  # in inches: mm were meant
    (Answers(carriage="handwheel", pitch="0", divisions="1.5"), ["divisions", "pitch"]),
    (Answers(carriage="handwheel", pitch="2", threads_per_inch="16"), ["threads_per_inch"]),
    (Answers(carriage="readout", steps_per_mm="400", resolution="30"), ["resolution", "steps_per_mm"]),
    (Answers(pedal_key="q"), ["pedal_key"]),
    (Answers(pedal_key="ctrl"), ["pedal_key"]),
    (Answers(pedal_device="/dev/input/event3"), ["pedal_device"]),
]


@pytest.mark.parametrize(("answers", "names"), WRONG)
def test_a_wrong_answer_is_a_fault_of_its_own(answers: Answers, names: list[str]) -> None:
    found = faults_of(answers)
    assert sorted(found) == names
    assert all(fault.what and fault.mend for fault in found.values())


@given(st.text(max_size=50))
def test_whatever_is_typed_the_file_stays_sound_toml(typed: str) -> None:
    text = shop_text(Answers(kerf=typed or "3", pedal_key=typed or "f13"))
    assert set(tomllib.loads(text)) == {"unit", "blade", "carriage"} | ({"pedal"})


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_picture_of_zero(side: str) -> None:
    """A cut at zero: what lies under the blade. With "outside" no wood, with "inside" one kerf of wood."""
    drawn: dict[str, list[str]] = {}
    for line in picture(side).splitlines():
        if line.startswith('"'):
            drawing = drawn.setdefault(line.split('"')[1], [])
        else:
            drawing.append(line)
    assert list(drawn) == ["outside", "inside"]
    for zero, lines in drawn.items():
        blade = lines[0].index("##")
        edge = lines[-1].index("^")
        board = {n for line in lines for n, c in enumerate(line) if c == "-"}
        assert all(line[blade : blade + 2] == "##" for line in lines[:-1])
        # The board lies to the right of a stop on the left, and to the left of one on the right.
        assert (min(board) > blade) is (side == "left")
        far, near = (blade, blade + 1) if side == "left" else (blade + 1, blade)
        assert edge == (far if zero == "inside" else near + (1 if side == "left" else -1)), zero
