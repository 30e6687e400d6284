"""Everything that a session asks the outside world to do. The session waits for none of it.

Prompts are data: a key and its figures. `wording` turns them into words in the user's language. So the session knows no
language, and every screen and voice says the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from assistant.plans.intents import Intent, Mode
from assistant.session.facts import Move
from assistant.session.kinds import Klass, QuestionName
from assistant.session.table import JobStanding


@dataclass(frozen=True, slots=True)
class Prompt:
    """What to say. key: a row of the wording table. figures: its values (Fractions in mm, counts, names)."""

    key: str
    figures: tuple[tuple[str, Any], ...] = ()


def prompt(key: str, **figures: Any) -> Prompt:
    return Prompt(key, tuple(figures.items()))


@dataclass(frozen=True, slots=True)
class Say:
    """Speak these prompts as one announcement.

    id: unique in the run. replaces: True cuts off everything sounding or waiting; False waits for it.
    """

    id: str
    prompts: tuple[Prompt, ...]
    klass: Klass
    replaces: bool = True


@dataclass(frozen=True, slots=True)
class Note:
    """Play two short low notes if nothing else sounds: speech was not understood, or has no meaning now."""


@dataclass(frozen=True, slots=True)
class Prepare:
    """Announcements that may be needed next. The speaking thread renders them ahead."""

    announcements: tuple[tuple[Prompt, ...], ...]


@dataclass(frozen=True, slots=True)
class SetVoice:
    """Speak like this from now on, including current speech. loudness_db: relative to the voice as rendered, dB.

    rate: words a minute.
    """

    loudness_db: int
    rate: int


@dataclass(frozen=True, slots=True)
class Listen:
    """What has a meaning now. wanted: (intent, argument) pairs; for "go to" the argument is the number of passes."""

    wanted: tuple[tuple[Intent, str | int | None], ...]
    generation: int


@dataclass(frozen=True, slots=True)
class View:
    """A snapshot for any screen. Settings as Fractions in mm; counts from 1; 0 or "" where nothing is called.

    question: None if none is open. way: how the board is held, None before the first setup. cut: bit p - 1 is set when
    pass p of this setup is recorded as cut. approach: the lower point from which to come up to the setting, mm, or
    None. previous: where the carriage stood before, mm; None if nothing was called yet, so it stands at zero. asked:
    the open question or check, as it is said. generation: of the grammar in force, and so of what is asked or called;
    an answer from a page names it. wait_s: seconds from now until the open check can be confirmed, or a driven carriage
    let go, 0 if now. check_number, checks: the open check is this one of so many that are asked in a row; 0 if none is
    open. next_setting: what is called once this pass is cut, None if no setting is. next_check: the check that is asked
    then instead, "" for none. asked_again: while standing by, what is asked before the session goes on. move: what a
    driven carriage is to do, or does. stands: the setting at which it has arrived, mm; None elsewhere, and for one that
    is set by hand. reported: where it was last said to stand, mm; the gauge beside this shows where it is while it
    moves. setups: those that count. place: the setup's among them, in the order of cutting; 0 if it counts no more.
    leaves: this board comes out of the clamps as it is. standing: of all setups. card: what to do after the mishap
    reported while standing by, None for none.
    """

    mode: Mode
    setup: int
    setups: int
    pass_: int
    passes: int
    cut_here: int
    cut_in_all: int
    passes_in_all: int
    setups_left: int
    setting: Any
    check: str
    question: QuestionName | None
    way: Prompt | None = None
    cut: int = 0
    approach: Any = None
    previous: Any = None
    asked: Prompt | None = None
    generation: int = 0
    wait_s: float = 0.0
    check_number: int = 0
    checks: int = 0
    next_setting: Any = None
    next_check: str = ""
    asked_again: tuple[str, ...] = ()
    move: Move | None = None
    stands: Fraction | None = None
    reported: Fraction | None = None
    place: int = 0
    leaves: bool = False
    standing: JobStanding | None = None
    card: Prompt | None = None


@dataclass(frozen=True, slots=True)
class Show:
    """Show the state at once, silently, and a line about what just happened (None: the state only)."""

    view: View
    line: Prompt | None = None
    klass: Klass = Klass.LINE


@dataclass(frozen=True, slots=True)
class WakeAt:
    """Send `TimePassed` at or after this session time (s)."""

    at: float


@dataclass(frozen=True, slots=True)
class Look:
    """Have the drive make a fresh report of its clear input: `Looked` with this id follows, or `Lost`."""

    id: str


@dataclass(frozen=True, slots=True)
class Home:
    """Take the carriage to its home switch. `Homed`, `Halted`, `NotClear` or `TooOld` with this id follows, or `Lost`.

    visit: its place is known, so go down to the switch slowly, see where it closes, and keep the zero; else the
    controller's own homing, or, where home is "by hand", take the place where it stands for zero. held, pressed_at: as
    in `MoveTo`.
    """

    id: str
    visit: bool
    pressed_at: float
    held: bool


@dataclass(frozen=True, slots=True)
class MoveTo:
    """Move the carriage to this setting. `Arrived`, `Halted`, `NotClear` or `TooOld` with this id follows, or `Lost`.

    setting: mm, as the carriage reads. approach: the point from which it comes up to the setting, mm (above it only
    where a calibration comes down to it). pressed_at: when the press or phrase that asks for it was complete, session
    time, s; nothing is sent if that is more than a second ago. held: letting go of the pedal halts it.
    """

    id: str
    setting: Fraction
    approach: Fraction
    pressed_at: float
    held: bool


@dataclass(frozen=True, slots=True)
class Halt:
    """Stop the carriage where it is. Presses don't come this way: the drive halts by itself at any of them."""


@dataclass(frozen=True, slots=True)
class Close:
    """The run is over: let the last announcement end, then stop the adapters. open_: whether the session stays open."""

    open_: bool


Effect = Say | Note | Prepare | SetVoice | Listen | Show | WakeAt | Look | Home | MoveTo | Halt | Close
