"""Moves of a driven carriage that are asked for at the terminal: each is held down, and says its direction first.

With a pedal: hold it down until the carriage stands; letting go halts it, and so does any key. Without one: a question
and yes, then any key halts it. Nobody at a terminal means that nothing moves. The controller's place is forgotten when
this ends, so each use of it begins with homing.

While something moves nothing waits for the terminal: lines go out on a thread of their own.
"""

from __future__ import annotations

import contextlib
import queue
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from types import TracebackType
from typing import Protocol

from assistant.errors import BadInput, CouldNotRun, Fault, NoSuchPart
from assistant.joinery.model import HomeKind
from assistant.joinery.settings import approach
from assistant.joinery.units import LengthError, parse_length, plain_length, round_to_step
from assistant.plans.model import Shop
from assistant.runner.clock import LiveClock
from assistant.runner.contracts import Driven, LivePedal, Post
from assistant.session.events import Arrived, Event, Gesture, Halted, Homed, Lost, NotClear, TooOld
from assistant.session.kinds import Doubt, Press

LOOK_S = 0.05
"""How often keys, the pedal and the drive are looked at, at least, s. A press of the pedal halts without that."""
LEAVE = ("q", "esc")
SAFE = "Saw off, blade still, hands off the carriage and the work."
PINCH = "It pinches between the carriage and its ends, and between the board and the guard: a screw pushes hard."
NO_TERMINAL = "Only somebody at a terminal may move the carriage. To fix it: start it from a terminal, without a pipe."
BY_HAND = (
    "Home is by hand:",
    "  1. Saw off, blade still. Switch the motor's supply off.",
    "  2. Bring the carriage up, never down, to zero. Use the setting bar, if you have one, and take it out again.",
    "  3. Switch the motor's supply on. Its rotor may jump by a step: try the bar once more, and take it out.",
)

LEAVING_S = 10.0
"""How long a drive that was halted may take to answer, s, before the program ends without its answer."""


class Reaching(Driven, Protocol):
    """A drive that knows its controller's travel."""

    @property
    def reach(self) -> tuple[Fraction, Fraction] | None:
        """The least and greatest setting, mm, within the controller's travel; None where that has no end."""


class HaltingKeys(Protocol):
    """The terminal's keys, one by one, while entered."""

    def __enter__(self) -> HaltingKeys: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    def wait(self, within_s: float) -> list[str]:
        """The names of the keys that come within this time; "ctrl_c" also where the terminal is gone."""


class Lines(Protocol):
    """Writes to the terminal, and waits for it only when it is closed."""

    def put(self, text: str) -> None: ...

    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class MovesTerminal:
    """The terminal at which moves are asked for.

    is_there: whether somebody sits at it. say: writes a line. agreed: whether a question is answered with yes.
    forget_typing: drops what was typed already. keys: given the name of a heard pedal's key, which is no key here; ""
    for none.
    """

    is_there: Callable[[], bool]
    say: Callable[[str], None]
    agreed: Callable[[str], bool]
    forget_typing: Callable[[], None]
    keys: Callable[[str], HaltingKeys]
    lines: Callable[[], Lines]


DriveMaker = Callable[[LiveClock, Post, Callable[[], bool], Callable[[], None]], Reaching]
Give = Callable[[Driven, str, float, bool], None]
"""Gives the drive an order: its id, when it was asked for (session time, s), and whether the pedal holds it."""
PedalMaker = Callable[[LiveClock, Post, Callable[[], None], Callable[[], None]], LivePedal]


class HeldMoves:
    """Owns the pedal, the drive and the terminal's keys while entered. Only for the main thread.

    Raises CouldNotRun without a terminal, NoSuchPart and BadInput as the drive does. drive: given the clock, `post`,
    whether the pedal is down, and a function to call once a second while something moves. pedal: given the clock,
    `post`, and functions to call at a press and when it comes up; None: only the terminal's keys. pedal_key: what the
    pedal's key is called where it reaches the terminal too; "" if it means something else there.
    """

    def __init__(
        self, shop: Shop, terminal: MovesTerminal, drive: DriveMaker, pedal: PedalMaker | None, pedal_key: str
    ) -> None:
        assert shop.carriage.drive is not None, "only a driven carriage moves by itself"
        self._shop, self._carriage, self._by_hand = shop, shop.carriage, shop.carriage.drive.home != HomeKind.SWITCH
        self._terminal, self._make_drive, self._make_pedal, self._pedal_key = terminal, drive, pedal, pedal_key
        self._clock = LiveClock()
        self._events: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self._stack = contextlib.ExitStack()
        self._drive: Reaching | None = None
        self._pedal: LivePedal | None = None
        self._leaving = False
        self._orders = 0
        self._lines: Lines | None = None

    def __enter__(self) -> HeldMoves:
        if not self._terminal.is_there():
            raise CouldNotRun(NO_TERMINAL)
        try:
            self._open()
        except BaseException:
            self._stack.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stack.close()

    def _open(self) -> None:
        if self._make_pedal is not None:
            try:
                self._pedal = self._make_pedal(self._clock, self._events.put, self._pressed, self._released)
            except NoSuchPart as error:
                self._terminal.say(f"-- {error}")
            else:
                self._stack.callback(self._pedal.close)
        self._terminal.say("-- The carriage's controller is asked for its settings.")
        # After the pedal, so that it is closed first, which halts it.
        self._drive = self._make_drive(self._clock, self._events.put, lambda: self._pedal_down, self._tick)
        self._stack.callback(self._drive.close)
        self._stack.enter_context(self._halting_at_signals())

    # --- on other threads

    def _pressed(self) -> None:
        if self._drive is not None:
            self._drive.pressed()

    def _released(self) -> None:
        if self._drive is not None:
            self._drive.released()

    def _tick(self) -> None:
        # Read once: another thread takes the lines away at the end of a move.
        drive, lines = self._drive, self._lines
        if drive is not None and lines is not None:
            place = drive.position
            lines.put("  moving\n" if place is None else f"  moving: {self._shown(place)}\n")

    # ---

    @property
    def _pedal_down(self) -> bool:
        return self._pedal is not None and self._pedal.down

    @property
    def position(self) -> Fraction | None:
        """What the carriage reads, mm; None if its place isn't known."""
        return None if self._drive is None else self._drive.position

    def _shown(self, mm: Fraction) -> str:
        return plain_length(mm, self._shop.unit)

    def home(self) -> bool:
        """Have the home switch found, or zero set by hand. Returns False if the operator left before.

        Raises CouldNotRun: why nobody knows where the carriage stands, and the mend.
        """
        if self._by_hand:
            return self._zero_by_hand()
        while True:
            pressed_at, held = self._let("down to the home switch and a little up again")
            if pressed_at is None:
                return False
            answer = self._order(lambda drive, id, at, held: drive.home(id, False, at, held), pressed_at, held)
            if isinstance(answer, Homed):
                self._say_place("Homed.")
                return True
            if isinstance(answer, Lost) and answer.why != Doubt.HALTED:
                raise CouldNotRun(answer.text)

    def _zero_by_hand(self) -> bool:
        """Nothing moves by that: the place where the carriage stands is taken for zero."""
        for line in BY_HAND:
            self._terminal.say(line)
        while self._terminal.agreed("Does it stand at zero, the bar out and the motor on?"):
            answer = self._order(lambda drive, id, at, held: drive.home(id, False, at, held), self._clock.at(), False)
            if isinstance(answer, Homed):
                self._say_place("Zero is set.")
                return True
            if isinstance(answer, Lost):
                raise CouldNotRun(answer.text)
        return False

    def go(self, setting: Fraction, down: bool = False) -> bool:
        """Go to this setting, mm, which must be one that the carriage can be set to. Home first.

        down: come down to it, to measure the screw's play. Returns False if the operator left before it stood there.
        Raises CouldNotRun as `home`, BadInput where the controller's travel ends before it.
        """
        reach = None if self._drive is None else self._drive.reach
        if reach is not None and not reach[0] <= setting <= reach[1]:
            mend = f"give {self._shown(reach[0])} to {self._shown(reach[1])}, or look at the controller's travel"
            raise BadInput([Fault("lies outside the controller's travel", self._shown(setting), "SETTING", mend)])
        step = self._carriage.resolution
        # As if it stood a step above: so there is a point to come up from, wherever it really stands.
        point = approach(self._carriage, setting + step, setting, down)
        if down and point is None:
            mend = "measure the play at lower settings, or correct carriage.travel"
            raise BadInput(
                [Fault("the travel leaves no room to come down to it", self._shown(setting), "SETTING", mend)]
            )
        while True:
            pressed_at, held = self._let(self._way(setting, point or setting))
            if pressed_at is None:
                return False
            answer = self._order(
                lambda drive, id, at, held: drive.move_to(id, setting, point or setting, at, held), pressed_at, held
            )
            if isinstance(answer, Arrived):
                self._terminal.say(f"Standing at {self._shown(setting)}.")
                return True
            if isinstance(answer, Lost):
                raise CouldNotRun(answer.text)

    def _way(self, setting: Fraction, point: Fraction) -> str:
        place, to = self.position, self._shown(setting)
        if point > setting:
            return f"{'' if place is not None and place >= point else 'up, then '}down to {to}"
        if place is not None and point < place <= setting:
            return f"up to {to}, perhaps a little down first"
        return f"{'down, then ' if place is not None and place > setting else ''}up to {to}"

    def _say_place(self, what: str) -> None:
        place = self.position
        self._terminal.say(what if place is None else f"{what} The carriage reads {self._shown(place)}.")

    # --- letting it move

    def _let(self, way: str) -> tuple[float | None, bool]:
        """Say what will move and where to, and wait until the operator lets it.

        Returns (when that was, session time in s, or None if the operator left; whether the pedal holds it).
        """
        if self._pedal is None or not self._pedal.alive:
            return self._let_by_question(way), False
        self._terminal.say(f"{SAFE} {PINCH}")
        halts = "Letting go halts it, and so does any key (q leaves)."
        self._terminal.say(f"Hold the pedal down until it stands: {way}. {halts}")
        asked_at = self._clock.at()
        with self._terminal.keys(self._pedal_key) as keys:
            while self._pedal.alive:
                if self._leaves(keys.wait(LOOK_S)):
                    return None, True
                event = self._next()
                # A press that began before, and so one that halted the last move, lets nothing move.
                if not isinstance(event, Gesture) or event.since <= asked_at:
                    continue
                if event.gesture == Press.LONG:
                    return event.at, True
                self._terminal.say("Nothing moves by that. Keep the pedal down until the carriage stands.")
        self._terminal.say("-- The pedal is not heard any more.")
        return self._let_by_question(way), False

    def _let_by_question(self, way: str) -> float | None:
        self._terminal.say(f"{SAFE} {PINCH}")
        self._terminal.forget_typing()
        agreed_to = self._terminal.agreed(f"It moves by itself, {way}; any key halts it. Start it?")
        return self._clock.at() if agreed_to else None

    def _leaves(self, keys: list[str]) -> bool:
        if "ctrl_c" in keys or self._leaving:
            raise KeyboardInterrupt
        return any(key in LEAVE for key in keys)

    def _next(self) -> Event | None:
        try:
            return self._events.get_nowait()
        except queue.Empty:
            return None

    def _order(self, give: Give, pressed_at: float, held: bool) -> Event:
        """Give this order and wait until it is answered, while any key halts it. Says why it came to nothing."""
        drive = self._drive
        assert drive is not None
        self._orders += 1
        id = f"order {self._orders}"
        left_at: float | None = None
        alive = self._pedal is not None and self._pedal.alive
        with self._terminal.keys(self._pedal_key if alive else "") as keys, self._ticking():
            give(drive, id, pressed_at, held)
            answer: Event | None = None
            while answer is None:
                came = keys.wait(LOOK_S)
                if came:
                    drive.halt()
                if left_at is None and ("ctrl_c" in came or self._leaving):
                    left_at = self._clock.at()
                event = self._next()
                if isinstance(event, Lost) or getattr(event, "id", None) == id:
                    answer = event
                elif left_at is not None and self._clock.at() > left_at + LEAVING_S:
                    raise KeyboardInterrupt
        text = self._why_not(answer)
        if left_at is not None:
            raise KeyboardInterrupt(text.rstrip("."))
        if text:
            self._terminal.say(text)
        return answer

    def _why_not(self, answer: Event) -> str:
        """Why the carriage isn't where it was sent; "" if it is, or nobody knows where it stands."""
        match answer:
            case Halted(reported=reported):
                return f"Halted at {self._shown(reported)}."
            case NotClear():
                return "Nothing moved: the sled is not drawn right back."
            case TooOld():
                return "Nothing moved: the press was over before anything could begin."
            case Lost(why=Doubt.HALTED, text=text):
                return text
        return ""

    @contextlib.contextmanager
    def _ticking(self) -> Iterator[None]:
        """A line a second while something moves, which waits for no terminal."""
        self._lines = self._terminal.lines()
        try:
            yield
        finally:
            lines, self._lines = self._lines, None
            lines.close()

    @contextlib.contextmanager
    def _halting_at_signals(self) -> Iterator[None]:
        """Whatever would end or stop this program halts the carriage, here and now."""

        def halt(number: int, frame: object) -> None:
            moved = self._drive is not None and self._drive.halt()
            if number == getattr(signal, "SIGTSTP", None):
                return  # Ctrl-Z is a key like any other: a program that stands still could halt nothing
            self._leaving = True
            if not moved:
                raise KeyboardInterrupt

        names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT", "SIGTSTP")
        kept = {n: signal.signal(n, halt) for name in names if (n := getattr(signal, name, None)) is not None}
        try:
            yield
        finally:
            for number, handler in kept.items():
                signal.signal(number, handler)


def setting_typed(text: str, shop: Shop) -> Fraction:
    """The nearest setting that the carriage can be set to, mm. Raises BadInput: no length, or outside its travel."""
    try:
        setting = round_to_step(parse_length(text, shop.unit), shop.carriage.resolution)
    except LengthError as error:
        raise BadInput([Fault(error.what, error.value, "SETTING", error.mend)]) from error
    if shop.carriage.travel is not None and not shop.carriage.travel[0] <= setting <= shop.carriage.travel[1]:
        low, high = (plain_length(end, shop.unit) for end in shop.carriage.travel)
        mend = f"give {low} to {high}, or correct carriage.travel if the carriage goes further"
        raise BadInput([Fault("lies outside the carriage's travel", plain_length(setting, shop.unit), "SETTING", mend)])
    return setting
