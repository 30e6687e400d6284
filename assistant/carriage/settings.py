"""Compares a controller's own settings with the shop's carriage: what must agree before anything moves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from assistant.carriage import dialect
from assistant.errors import Fault
from assistant.joinery.model import Carriage, Drive, HomeKind
from assistant.joinery.settings import reading
from assistant.plans.model import Job

STOP_WITHIN = Fraction(1)
"""mm: the way from a halt to standing still, at most."""
ROOM = Fraction("0.517")
"""mm: by how much the travel is raised while a visit to the home switch counts beyond it.

Its last two digits mark a travel that was left raised: `TENTH` of a millimetre is as fine as a shop's own may be.
"""
TENTH = Fraction(1, 10)
# The firmware's word for never; a smaller number switches the motor off so many ms after each move.
MOTOR_STAYS_ON = 255


@dataclass(frozen=True, slots=True)
class Controller:
    """What a controller says of itself.

    settings: by number. options: letters of its build. blocks: what it runs by itself after a reset. pins: letters of
    the inputs that are closed now.
    """

    version: str = ""
    options: str = ""
    settings: Mapping[int, Fraction] = field(default_factory=dict)
    blocks: tuple[str, ...] = ()
    pins: str = ""

    def of(self, number: int, axis: str = "X") -> Fraction:
        """This setting, of this axis where it has one; 0 where the controller has none such."""
        return self.settings.get(number_of(number, axis), Fraction(0))

    def homes_down(self, axis: str) -> bool:
        return bool(int(self.of(dialect.HOMING_DIRECTION)) >> dialect.AXES.index(axis) & 1)


def number_of(number: int, axis: str) -> int:
    return number + dialect.AXES.index(axis) if number >= dialect.STEPS_PER_MM else number


def steps_per_mm(drive: Drive, controller: Controller) -> Fraction:
    return drive.steps_per_mm or controller.of(dialect.STEPS_PER_MM, drive.axis)


def left_raised(travel: Fraction) -> Fraction | None:
    """The travel as it was, where a program that died has left it raised; else None."""
    own = travel - ROOM
    return own if own > 0 and own % TENTH == 0 else None


def zero_place(carriage: Carriage, controller: Controller) -> Fraction:
    """The machine coordinate, mm, at which a carriage that came up reads 0, after the controller's own homing.

    Homing goes down, so the switch closes with the play on the other side: there the screw stands the play below what
    it reads once it comes up to that place. The controller calls the closing minus its travel.
    """
    drive = _drive(carriage)
    return trip_place(drive, controller) + carriage.backlash - drive.home_reads


def trip_place(drive: Drive, controller: Controller) -> Fraction:
    """The machine coordinate, mm, at which homing found the switch closed."""
    return -controller.of(dialect.TRAVEL, drive.axis)


def reach(carriage: Carriage, controller: Controller) -> tuple[Fraction, Fraction] | None:
    """The least and greatest reading, mm, that the soft limits allow; None where home is by hand."""
    drive = _drive(carriage)
    if drive.home != HomeKind.SWITCH:
        return None
    zero = zero_place(carriage, controller)
    return trip_place(drive, controller) - zero, -zero


def out_of_reach(job: Job, allowed: tuple[Fraction, Fraction] | None) -> list[Fault]:
    """A fault for each pattern with a setting that the controller's travel doesn't allow. allowed: as of `reach`."""
    if allowed is None:
        return []
    faults = []
    for pattern in job.patterns:
        settings = [one.setting for one in pattern.passes]
        beyond = [setting for setting in settings if not allowed[0] <= setting <= allowed[1]]
        if beyond:
            least, most = (reading(job.carriage, end) for end in allowed)
            what = f"lies outside what the motion controller's travel allows, {least} to {most}"
            mend = "raise its travel ($130) if the screw is longer, or cut this board by hand with --no-drive"
            faults.append(Fault(what, reading(job.carriage, beyond[-1]), f"part {pattern.part}", mend))
    return faults


def faults(carriage: Carriage, controller: Controller, begun: bool = False) -> list[Fault]:
    """Everything that must be put right before the carriage may be driven.

    begun: a session is under way, of which a board may be half cut. Then what decides where the carriage goes and how
    it stops must still be right. A motor that is off between moves doesn't hold it up where there is a home switch: the
    visit to it at the setup's end finds a screw that was turned meanwhile.
    """
    drive = _drive(carriage)
    found = _of_build(drive, controller)
    if not controller.settings:
        return found
    found += _of_motion(drive, controller, begun)
    found += _of_home(carriage, controller) if drive.home == HomeKind.SWITCH else _of_home_by_hand(controller)
    return found


def _drive(carriage: Carriage) -> Drive:
    assert carriage.drive is not None, "only a driven carriage has a controller"
    return carriage.drive


CONFIGURE = "run `kerfcall carriage configure`"


def _fault(number: int, controller: Controller, what: str, unit: str = "", mend: str = CONFIGURE) -> Fault:
    value = dialect.shown(controller.settings.get(number, Fraction(0))) if number in controller.settings else "nothing"
    return Fault(what, f"{value} {unit}".strip(), f"controller: ${number}", mend)


def _of_build(drive: Drive, controller: Controller) -> list[Fault]:
    found = []
    if not controller.version.startswith("1.1"):
        mend = "load grbl 1.1 onto the controller"
        found.append(Fault("is firmware that was never tried", controller.version or "no version", "controller", mend))
    if not controller.settings:
        found.append(Fault("did not list its settings", "", "controller", "switch it off and on, and try again"))
    if dialect.MOTORS_SHARED in controller.options:
        mend = "load a build without COREXY in its config.h"
        found.append(Fault("moves two axes with each motor", controller.options, "controller: build", mend))
    if dialect.ELSEWHERE_ZERO in controller.options and drive.home == HomeKind.SWITCH:
        mend = "load a build without HOMING_FORCE_SET_ORIGIN in its config.h"
        found.append(Fault("calls the home switch zero", controller.options, "controller: build", mend))
    for number, text in enumerate(controller.blocks):
        if text:
            mend = f"empty it: send $N{number}= with any terminal program"
            found.append(Fault("runs this by itself after each reset", text, f"controller: $N{number}", mend))
    if "R" in controller.pins:
        mend = "let go of its reset button, or look at the wire"
        found.append(Fault("has its reset input closed", "", "controller: inputs", mend))
    return found


def _of_motion(drive: Drive, controller: Controller, begun: bool) -> list[Fault]:
    axis, found = drive.axis, []

    def fault(number: int, what: str, unit: str = "", mend: str = CONFIGURE) -> None:
        found.append(_fault(number_of(number, axis), controller, what, unit, mend))

    steps = controller.of(dialect.STEPS_PER_MM, axis)
    # It shows three decimals.
    if steps <= 0 or drive.steps_per_mm is not None and abs(steps - drive.steps_per_mm) > Fraction(1, 1000):
        own = dialect.shown(drive.steps_per_mm) if drive.steps_per_mm is not None else "more than 0"
        fault(dialect.STEPS_PER_MM, f"the shop file has {own} steps a millimetre", "steps/mm")
    visited = begun and drive.home == HomeKind.SWITCH
    if controller.of(dialect.IDLE_DELAY) != MOTOR_STAYS_ON and not visited:
        what = f"must be {MOTOR_STAYS_ON}: else the motor is switched off between moves, and the screw is loose"
        fault(dialect.IDLE_DELAY, what)
    if not int(controller.of(dialect.REPORTS)) & 1:
        fault(dialect.REPORTS, "its reports must hold the machine's own position")
    if controller.of(dialect.INCHES):
        fault(dialect.INCHES, "its reports must be in millimetres")
    if controller.of(dialect.MOST_RATE, axis) < drive.feed:
        mend = "lower carriage.drive.feed, or raise it if the motor can"
        what = f"is slower than the shop file's feed of {dialect.shown(drive.feed)} mm/min"
        fault(dialect.MOST_RATE, what, "mm/min", mend)
    acceleration = controller.of(dialect.ACCELERATION, axis)
    # v² / 2s: the steady slowing down that stops from that feed within this way.
    least = (drive.feed / 60) ** 2 / (2 * STOP_WITHIN)
    if acceleration < least:
        from_feed = f"from {dialect.shown(drive.feed)} mm/min"
        what = f"the carriage would need more than {dialect.shown(STOP_WITHIN)} mm to stop {from_feed}"
        mend = f"lower carriage.drive.feed, or raise it to {_up(least)} if the motor can"
        fault(dialect.ACCELERATION, what, "mm/s2", mend)
    return found


def _up(value: Fraction) -> str:
    return str(-(-value.numerator // value.denominator))


def _of_home(carriage: Carriage, controller: Controller) -> list[Fault]:
    drive, found = _drive(carriage), []

    def fault(number: int, what: str, unit: str = "", mend: str = CONFIGURE) -> None:
        found.append(_fault(number_of(number, drive.axis), controller, what, unit, mend))

    if not controller.of(dialect.HOMING):
        fault(dialect.HOMING, "homing is off, but carriage.drive.home is the switch")
    if not controller.of(dialect.SOFT_LIMITS):
        fault(dialect.SOFT_LIMITS, "soft limits are off")
    if controller.of(dialect.HARD_LIMITS):
        fault(dialect.HARD_LIMITS, "hard limits are on: the controller would lock when the carriage visits its switch")
    if not controller.homes_down(drive.axis):
        mend = f"{CONFIGURE}; if homing then goes the wrong way, turn the axis round with $3"
        fault(dialect.HOMING_DIRECTION, "homing must go towards minus, to the low end of the carriage", "", mend)
    if controller.of(dialect.SEEK_RATE) <= 0 or controller.of(dialect.LOCATE_RATE) <= 0:
        fault(dialect.SEEK_RATE, "homing needs both its speeds", "mm/min")
    # The first part of the way up only takes up the play: the switch would stay closed, and homing fail (alarm 8).
    if controller.of(dialect.PULL_OFF) <= carriage.backlash:
        what = f"homing must come off the switch by more than the play of {dialect.shown(carriage.backlash)} mm"
        fault(dialect.PULL_OFF, what, "mm")
    travel = controller.of(dialect.TRAVEL, drive.axis)
    if travel % TENTH:
        fault(dialect.TRAVEL, "must be whole tenths of a millimetre", "mm")
    allowed = reach(carriage, controller)
    if carriage.travel and allowed:
        low, high = carriage.travel
        if low < allowed[0] or high > allowed[1]:
            ends = [f"{dialect.shown(one)} to {dialect.shown(other)} mm" for one, other in (allowed, carriage.travel)]
            what = f"allows {ends[0]}, but the shop file's carriage.travel is {ends[1]}"
            mend = "correct carriage.travel or carriage.drive.home_reads, or the travel if the carriage has more"
            fault(dialect.TRAVEL, what, "mm", mend)
    return found


def _of_home_by_hand(controller: Controller) -> list[Fault]:
    found = []
    if controller.of(dialect.HOMING):
        what = "homing is on, so the controller starts locked, but carriage.drive.home is by hand"
        found.append(_fault(dialect.HOMING, controller, what))
    if controller.of(dialect.SOFT_LIMITS):
        what = "soft limits are on, but nothing tells the controller where its travel begins"
        found.append(_fault(dialect.SOFT_LIMITS, controller, what))
    return found
