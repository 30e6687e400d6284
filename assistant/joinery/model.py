"""The nouns of the joinery: blade, carriage, segment, pass and pattern.

All lengths are `fractions.Fraction` in millimetres, exact. x = 0 is the reference edge and
x grows across the board's width.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from assistant.joinery.units import Unit


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of the board's width: a finger (wood left standing) or a socket (wood removed)."""

    start: Fraction
    end: Fraction
    is_finger: bool

    @property
    def width(self) -> Fraction:
        return self.end - self.start


# A clamp's screw sags and its jaw tilts as it is tightened, a hold-down gives, and the blade may be set a little high.
# About a finger's breadth covers all of it (common practice, no source). mm
CLEAR_ABOVE = Fraction(15)
OVERLAP, OVERRUN = Fraction(1, 5), Fraction(0)  # where the shop file has none; mm


class Tooth(StrEnum):
    FLAT = "flat"
    ALTERNATE = "alternate"


class HomeKind(StrEnum):
    """How a driven carriage finds zero."""

    SWITCH = "switch"
    BY_HAND = "by hand"


class CarriageKind(StrEnum):
    """What shows where the carriage stands."""

    READOUT = "readout"
    HANDWHEEL = "handwheel"
    STEPS = "steps"


class Zero(StrEnum):
    """Where the kerf lies at setting 0, seen from the reference edge."""

    OUTSIDE = "outside"
    """Just outside the board: the setting is the kerf_to."""
    INSIDE = "inside"
    """Level with the edge: the setting is the kerf_from."""


class Register(StrEnum):
    """What the reference edge is set against."""

    STOP = "stop"
    SETTING_BAR = "setting bar"


class StopSide(StrEnum):
    """As the operator sees it."""

    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Blade:
    """The blade, as the shop file gives it; lengths in mm.

    kerf: the width really cut, over 0. overlap: least overlap of neighbouring passes, 0 <= overlap < kerf.
    overrun: how far the outermost pass of an edge socket runs past the edge, >= 0.
    highest: greatest height above the table, or None if not given.
    clear_above: how far above the blade's top clamps, screws, hold-down and stop must stay clear too, > 0.
    """

    kerf: Fraction
    overlap: Fraction = OVERLAP
    overrun: Fraction = OVERRUN
    tooth: Tooth = Tooth.FLAT
    highest: Fraction | None = None
    clear_above: Fraction = CLEAR_ABOVE


@dataclass(frozen=True, slots=True)
class Drive:
    """The motor on the carriage's screw, and the motion controller that steps it.

    port: "usb:vendor:product", with ":serial" where two are alike, or the path of a serial line. axis: the letter of
    the controller's axis. feed, approach_feed: mm/min, over 0; the second is for the last way up to a setting.
    home_reads: what the carriage reads, mm, where the switch closes, if it came up to there. clear_input: the
    controller's hold or door input is wired to a switch that is closed until the sled is drawn right back.
    steps_per_mm: of the motor on its screw; None where it isn't known, so that the controller's own counts.
    """

    port: str
    axis: str = "X"
    feed: Fraction = Fraction(600)
    approach_feed: Fraction = Fraction(150)
    home: HomeKind = HomeKind.SWITCH
    home_reads: Fraction = Fraction(0)
    clear_input: bool = False
    steps_per_mm: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Carriage:
    """The screw-driven carriage; lengths in mm.

    resolution: the smallest step that can be set, over 0: the readout's, pitch / divisions of a handwheel, 1 /
    steps_per_mm of a stepper. pitch: travel per turn (handwheel only). divisions: marks per turn (handwheel only).
    unit: what its readout shows. travel: least and greatest setting, or None for no limit. backlash: 0 or more.
    fractions: whether settings are shown and said in inches and 64ths (`settings.read_as`). drive: its motor, None for
    a carriage that is set by hand. distance_piece: the measured length of a piece that is put between stop and board
    where the board is wider than the travel (`halves`), over 0 and shorter than the travel; None if there is none.
    """

    kind: CarriageKind = CarriageKind.READOUT
    resolution: Fraction = Fraction(1, 100)
    pitch: Fraction | None = None
    divisions: int | None = None
    unit: Unit = Unit.MM
    zero: Zero = Zero.OUTSIDE
    travel: tuple[Fraction, Fraction] | None = None
    backlash: Fraction = Fraction(0)
    register: Register = Register.STOP
    stop_side: StopSide = StopSide.LEFT
    fractions: bool = False
    # Without it in repr, stored jobs print as they did.
    drive: Drive | None = field(default=None, repr=False)
    distance_piece: Fraction | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class Pass:
    """One trip over the blade.

    number: from 1 within its setup, ascending with the setting. socket: from 1 along x.
    kerf_from, kerf_to: the wood removed, exact. setting: the carriage's position, rounded to
    its resolution. down: whether the carriage approaches it from above, to calibrate its play. shift: how much nearer
    to the stop the board lies than when zero was set; its setting is less by this.
    """

    number: int
    socket: int
    kerf_from: Fraction
    kerf_to: Fraction
    setting: Fraction
    down: bool = False
    shift: Fraction = field(default=Fraction(0), repr=False)


@dataclass(frozen=True, slots=True)
class Pattern:
    """What is cut into one board end in one clamping. All setups that cut it share the pattern.

    segments: of the whole end. passes: those of this clamping. before: those that are in the wood already: where a
    board is wider than the travel (`halves`), the second half's has those of the first; what is left of an end after a
    change of blade has those of the blades before. mirrored: all of this is measured from the other edge, which lies at
    the stop.
    """

    part: str
    width: Fraction
    depth: Fraction
    segments: tuple[Segment, ...]
    passes: tuple[Pass, ...]
    before: tuple[Pass, ...] = field(default=(), repr=False)
    mirrored: bool = field(default=False, repr=False)

    @property
    def is_second_half(self) -> bool:
        """Whether the end's first half is cut: this is measured without the distance piece, or from the other edge."""
        return self.mirrored or any(one.shift for one in self.passes)

    @property
    def is_rest(self) -> bool:
        """Whether it is what another blade has left of an end."""
        return bool(self.before) and not self.is_second_half

    @property
    def fingers(self) -> tuple[Segment, ...]:
        return tuple(s for s in self.segments if s.is_finger)

    @property
    def sockets(self) -> tuple[Segment, ...]:
        return tuple(s for s in self.segments if not s.is_finger)
