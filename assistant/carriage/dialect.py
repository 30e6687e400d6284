"""What is particular to one firmware, grbl 1.1: its words, its single bytes, its answers. Another gets such a module.

From its own documents (doc/markdown/commands.md, interface.md, jogging.md, settings.md and doc/csv at
v1.1h.20190825) and tried on that firmware. Lines end in a line feed. Each is answered by exactly one `ok` or `error:N`,
in order. Single bytes are taken out of the stream at once, wherever they stand, and have no such answer.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

AXES = "XYZ"
BAUD = 115200

STATUS = b"?"
HALT_JOG = b"\x85"
"""Slows down, forgets what is left of all jogs, and keeps the place. Does nothing unless a jog moves."""
RESET = b"\x18"
"""Forgets all lines and moves. At rest it keeps place and lock; in a move it stops dead and locks."""

SETTINGS = "$$"
BUILD = "$I"
START_BLOCKS = "$N"

# The numbers of the settings; those of an axis are this plus 0, 1 or 2 for X, Y or Z.
IDLE_DELAY, REPORTS, INCHES = 1, 10, 13
SOFT_LIMITS, HARD_LIMITS, HOMING, HOMING_DIRECTION = 20, 21, 22, 23
LOCATE_RATE, SEEK_RATE, DEBOUNCE, PULL_OFF = 24, 25, 26, 27
STEPS_PER_MM, MOST_RATE, ACCELERATION, TRAVEL = 100, 110, 120, 130

ALONE = "H"
"""A letter of the build's options: `$HX` homes X alone."""
ELSEWHERE_ZERO, MOTORS_SHARED = "Z", "C"
"""Letters of the build's options: homing makes the place zero; two motors together move two axes."""

ALARMS = {
    1: "a limit switch stopped it",
    2: "it was sent beyond its travel",
    3: "it was reset while it moved",
    6: "it was reset while it homed",
    7: "its door input opened while it homed",
    8: "the home switch stayed closed when the carriage came off it",
    9: "the home switch was not found",
}
HALTED_HOMING = 6
ERRORS = {
    3: "it doesn't know this line",
    5: "its homing is switched off",
    8: "it takes this only while it stands still",
    9: "it is locked",
    11: "the line is too long",
    15: "this is beyond its travel",
    16: "it doesn't know this jog",
    20: "it doesn't know this word",
    22: "the line has no feed",
}
LINE_MAX = 79


@dataclass(frozen=True, slots=True)
class Ok:
    """The next unanswered line was taken; a move is planned, not done."""


@dataclass(frozen=True, slots=True)
class LineRefused:
    """The next unanswered line was not taken."""

    code: int

    def __str__(self) -> str:
        return f"error {self.code}: {ERRORS.get(self.code, 'it did not understand the line')}"


@dataclass(frozen=True, slots=True)
class Alarm:
    """It stopped, and is locked until it is homed."""

    code: int

    def __str__(self) -> str:
        return f"alarm {self.code}: {ALARMS.get(self.code, 'it stopped by itself')}"


@dataclass(frozen=True, slots=True)
class Greeting:
    """It has started."""

    version: str


class ControllerState(StrEnum):
    """What the controller says it is doing, as its reports have it."""

    IDLE = "Idle"
    RUN = "Run"
    HOLD = "Hold"
    JOG = "Jog"
    ALARM = "Alarm"
    DOOR = "Door"
    CHECK = "Check"
    HOME = "Home"
    SLEEP = "Sleep"


@dataclass(frozen=True, slots=True)
class Report:
    """What the controller says it is doing now, and where.

    places: of X, Y, Z, mm, or None where it reports others than the machine's own. pins: letters of the inputs that are
    closed. feed: mm/min, or None.
    """

    state: ControllerState
    places: tuple[Fraction, ...] | None
    pins: str = ""
    feed: Fraction | None = None

    @property
    def stands(self) -> bool:
        """Nothing moves, and nothing that was sent is left to move."""
        return self.state == ControllerState.IDLE

    @property
    def held(self) -> bool:
        """It refuses to move until a reset, though its place is known."""
        return self.state in (ControllerState.HOLD, ControllerState.DOOR)

    @property
    def locked(self) -> bool:
        return self.state == ControllerState.ALARM

    @property
    def moves(self) -> bool:
        return self.state in (ControllerState.JOG, ControllerState.RUN, ControllerState.HOME)

    @property
    def hold_input(self) -> bool:
        """Its hold or door input is closed."""
        return "H" in self.pins or "D" in self.pins


@dataclass(frozen=True, slots=True)
class Setting:
    number: int
    value: Fraction


@dataclass(frozen=True, slots=True)
class Build:
    """version: e.g. "1.1h.20190830". options: letters, or None on the line that has the version."""

    version: str | None
    options: str | None


@dataclass(frozen=True, slots=True)
class StartBlock:
    """What it runs by itself after each reset and each homing; "" for nothing."""

    number: int
    text: str


@dataclass(frozen=True, slots=True)
class Message:
    """Something to read that changes nothing, or an empty line."""

    text: str


@dataclass(frozen=True, slots=True)
class Garbage:
    """What it never sends."""

    text: str


ControllerSaid = Ok | LineRefused | Alarm | Greeting | Report | Setting | Build | StartBlock | Message | Garbage

_NUMBER = r"-?\d{1,7}(?:\.\d{1,6})?"
_REPORT = re.compile(
    rf"<({'|'.join(ControllerState)})(?::\d)?\|(MPos|WPos):({_NUMBER}(?:,{_NUMBER})*)((?:\|[^<>|]*)*)>"
)
_SETTING = re.compile(rf"\$(\d{{1,3}})=({_NUMBER})")
_BLOCK = re.compile(r"\$N([01])=(.*)")
_CODE = re.compile(r"(error|ALARM):(\d{1,3})")
_GREETING = re.compile(r"Grbl (\S+) \['\$' for help\]")
_VERSION = re.compile(r"\[VER:([^:\]]*):?[^\]]*\]")
_OPTIONS = re.compile(r"\[OPT:([^,\]]*)[^\]]*\]")
_MESSAGE = re.compile(r"\[(?:MSG|GC|HLP|echo|G5\d|G28|G30|G92|TLO|PRB)[^\[\]]*\]|>.*:(?:ok|error:\d+)")


def understand(line: bytes) -> ControllerSaid:
    """What this line, without its end, says."""
    text = line.decode("latin-1").strip("\r\n ")
    if text == "ok":
        return Ok()
    if not text or _MESSAGE.fullmatch(text):
        return Message(text)
    if found := _REPORT.fullmatch(text):
        return _report(found)
    if found := _CODE.fullmatch(text):
        return (LineRefused if found[1] == "error" else Alarm)(int(found[2]))
    if found := _GREETING.fullmatch(text):
        return Greeting(found[1])
    if found := _SETTING.fullmatch(text):
        return Setting(int(found[1]), Fraction(found[2]))
    if found := _BLOCK.fullmatch(text):
        return StartBlock(int(found[1]), found[2].strip())
    if found := _VERSION.fullmatch(text):
        return Build(found[1], None)
    if found := _OPTIONS.fullmatch(text):
        return Build(None, found[1])
    return Garbage(text)


def _report(found: re.Match[str]) -> ControllerSaid:
    places = tuple(Fraction(one) for one in found[3].split(","))
    fields = dict(field.split(":", 1) for field in found[4].split("|") if ":" in field)
    feed = re.match(_NUMBER, fields.get("FS", fields.get("F", "")))
    return Report(
        ControllerState(found[1]),
        places if found[2] == "MPos" else None,
        fields.get("Pn", ""),
        Fraction(feed[0]) if feed else None,
    )


def jog(axis: str, place: Fraction, feed: Fraction) -> str:
    """Move to this place in machine coordinates, mm, at this feed, mm/min; the modal state stays as it is."""
    # G53 in every jog: work offsets outlast a reset, and would shift every place that is sent.
    return f"$J=G53G90G21{axis}{_decimal(place, 4)}F{_decimal(feed, 3)}"


def home(axis: str, alone: bool) -> str:
    """Find the home switch: the whole build's homing, or this axis alone where the build can."""
    return f"$H{axis}" if alone else "$H"


def write(number: int, value: Fraction) -> str:
    """Store this setting. Until its `ok` nothing else may be sent: it doesn't listen while it stores."""
    return f"${number}={shown(value)}"


def shown(value: Fraction) -> str:
    """A setting's value as the firmware shows it, without zeros at the end."""
    return _decimal(value, 3)


def _decimal(value: Fraction, places: int) -> str:
    scaled = round(value * 10**places)
    text = f"{Decimal(scaled).scaleb(-places):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
