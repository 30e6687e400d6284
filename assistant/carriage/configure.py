"""Which settings of a controller to change for the shop's carriage. Nothing here is sent; a command asks first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from assistant.carriage import dialect
from assistant.carriage.settings import MOTOR_STAYS_ON, TENTH, Controller, left_raised, number_of
from assistant.joinery.model import Carriage, HomeKind

USUAL = {dialect.LOCATE_RATE: Fraction(50), dialect.SEEK_RATE: Fraction(600)}
"""mm/min, where the controller has no speed at all: common practice, no source."""


@dataclass(frozen=True, slots=True)
class SettingChange:
    """One setting to store. why: a clause that says what it is good for."""

    number: int
    old: Fraction
    new: Fraction
    why: str

    def __str__(self) -> str:
        return f"${self.number}: {dialect.shown(self.old)} -> {dialect.shown(self.new)} ({self.why})"


def changes(carriage: Carriage, controller: Controller) -> list[SettingChange]:
    """In the order in which the controller takes them.

    What a motor and a screw can do is left alone: greatest speed, acceleration, and a travel that is too short.
    """
    return [change for change in _wanted(carriage, controller) if change.old != change.new]


def _wanted(carriage: Carriage, controller: Controller) -> Iterator[SettingChange]:
    drive = carriage.drive
    assert drive is not None, "only a driven carriage has a controller"
    axis = drive.axis

    def change(number: int, new: Fraction | int, why: str) -> SettingChange:
        return SettingChange(number_of(number, axis), controller.of(number, axis), Fraction(new), why)

    if drive.steps_per_mm is not None:
        yield change(dialect.STEPS_PER_MM, _as_shown(drive.steps_per_mm), "the shop file's steps a millimetre")
    yield change(dialect.IDLE_DELAY, MOTOR_STAYS_ON, "the motor stays powered, so that the screw holds between moves")
    yield change(dialect.REPORTS, int(controller.of(dialect.REPORTS)) | 1, "reports hold the machine's own position")
    yield change(dialect.INCHES, 0, "reports are in millimetres")
    if drive.home != HomeKind.SWITCH:
        yield change(dialect.SOFT_LIMITS, 0, "nothing tells the controller where its travel begins")
        yield change(dialect.HOMING, 0, "home is set by hand")
        return
    # Before the soft limits, which the firmware refuses without homing (its error 10).
    yield change(dialect.HOMING, 1, "it finds its home switch")
    travel = controller.of(dialect.TRAVEL, axis)
    whole = left_raised(travel) or travel // TENTH * TENTH
    yield change(dialect.TRAVEL, whole, "the travel in whole tenths of a millimetre")
    yield change(dialect.SOFT_LIMITS, 1, "it refuses to go beyond its travel")
    yield change(dialect.HARD_LIMITS, 0, "the carriage visits its home switch, which must not lock the controller")
    bit = 1 << dialect.AXES.index(axis)
    direction = int(controller.of(dialect.HOMING_DIRECTION)) | bit
    yield change(dialect.HOMING_DIRECTION, direction, "homing goes towards minus, to the low end")
    for number, usual in USUAL.items():
        yield change(number, controller.of(number) or usual, "homing has a speed")
    off = controller.of(dialect.PULL_OFF)
    if off <= carriage.backlash:
        off = -(-carriage.backlash // 1) + Fraction(1)
    yield change(dialect.PULL_OFF, off, "homing comes off the switch by more than the screw's play")


def _as_shown(value: Fraction) -> Fraction:
    """As the controller stores and shows it, so that the same value is no change."""
    return round(value * 1000) / Fraction(1000)
