"""Moves of a driven carriage that are asked for at the terminal: each is held down, and says its direction first.

With a pedal: hold it down until the carriage stands; letting go halts it, and so does any key. Without one: a question
and yes, then any key halts it. Nobody at a terminal means that nothing moves. The controller's place is forgotten when
this ends, so each use of it begins with homing.

While something moves nothing waits for the terminal: lines go out on a thread of their own.
"""

from __future__ import annotations

import contextlib
import os
import queue
import select
import signal
import sys
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol

from assistant.asking import agreed
from assistant.errors import BadInput, CouldNotRun, Fault, NoSuchPart
from assistant.joinery.settings import approach
from assistant.joinery.units import plain_length
from assistant.pedal.names import stand_in_key
from assistant.pedal.watch import REPLACED_BY
from assistant.plans.model import Shop
from assistant.runner.clock import LiveClock
from assistant.runner.contracts import Driven, LivePedal, Post
from assistant.screens.key_codes import KeyDecoder
from assistant.screens.line_writer import LineWriter
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


DriveMaker = Callable[[LiveClock, Post, Callable[[], bool], Callable[[], None]], Reaching]
Give = Callable[[Driven, str, float, bool], None]
"""Gives the drive an order: its id, when it was asked for (session time, s), and whether the pedal holds it."""
PedalMaker = Callable[[LiveClock, Post, Callable[[], None], Callable[[], None]], LivePedal]


class HeldMoves:
    """Owns the pedal, the drive and the terminal's keys while entered. Only for the main thread.

    Raises CouldNotRun without a terminal, NoSuchPart and BadInput as the drive does. drive: given the clock, `post`,
    whether the pedal is down, and a function to call once a second while something moves. pedal: given the clock,
    `post`, and functions to call at a press and when it comes up; None: only the terminal's keys.
    """

    def __init__(self, shop: Shop, drive: DriveMaker, pedal: PedalMaker | None) -> None:
        assert shop.carriage.drive is not None, "only a driven carriage moves by itself"
        self._shop, self._carriage, self._by_hand = shop, shop.carriage, shop.carriage.drive.home != "switch"
        self._make_drive, self._make_pedal = drive, pedal
        self._clock = LiveClock()
        self._events: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self._stack = contextlib.ExitStack()
        self._drive: Reaching | None = None
        self._pedal: LivePedal | None = None
        self._leaving = False
        self._orders = 0
        self._lines: LineWriter | None = None

    def __enter__(self) -> HeldMoves:
        if not has_terminal():
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
                print(f"-- {str(error).replace(f'; {REPLACED_BY}', '')}")
            else:
                self._stack.callback(self._pedal.close)
        print("-- The carriage's controller is asked for its settings.")
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
            print(line)
        while agreed(input, print, "Does it stand at zero, the bar out and the motor on?"):
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
                print(f"Standing at {self._shown(setting)}.")
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
        print(what if place is None else f"{what} The carriage reads {self._shown(place)}.")

    # --- letting it move

    def _let(self, way: str) -> tuple[float | None, bool]:
        """Say what will move and where to, and wait until the operator lets it.

        Returns (when that was, session time in s, or None if the operator left; whether the pedal holds it).
        """
        if self._pedal is None or not self._pedal.alive:
            return self._let_by_question(way), False
        print(f"{SAFE} {PINCH}")
        print(f"Hold the pedal down until it stands: {way}. Letting go halts it, and so does any key (q leaves).")
        asked_at = self._clock.at()
        with Keys(stand_in_key(self._shop.pedal)) as keys:
            while self._pedal.alive:
                if self._leaves(keys.wait(LOOK_S)):
                    return None, True
                event = self._next()
                # A press that began before, and so one that halted the last move, lets nothing move.
                if not isinstance(event, Gesture) or event.since <= asked_at:
                    continue
                if event.gesture == Press.LONG:
                    return event.at, True
                print("Nothing moves by that. Keep the pedal down until the carriage stands.")
        print("-- The pedal is not heard any more.")
        return self._let_by_question(way), False

    def _let_by_question(self, way: str) -> float | None:
        print(f"{SAFE} {PINCH}")
        forget_typing()
        agreed_to = agreed(input, print, f"It moves by itself, {way}; any key halts it. Start it?")
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
        with Keys(stand_in_key(self._shop.pedal) if alive else "") as keys, self._ticking():
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
            print(text)
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
        self._lines = LineWriter(sys.stdout)
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


def held_moves(shop: Shop, pedal: bool = True) -> HeldMoves:
    """For moves with the shop's own drive, and its pedal unless that is not wanted."""

    def drive(clock: LiveClock, post: Post, pedal_down: Callable[[], bool], tick: Callable[[], None]) -> Reaching:
        from assistant.carriage.drive import LiveDrive

        return LiveDrive(clock, post, shop.carriage, pedal_down, tick)

    def listener(clock: LiveClock, post: Post, pressed: Callable[[], None], released: Callable[[], None]) -> LivePedal:
        from assistant.pedal.listener import PedalListener

        return PedalListener(clock, post, shop.pedal, pressed, released=released)

    made: PedalMaker | None = listener if pedal else None
    return HeldMoves(shop, drive, made)


def not_driven(shop: Shop) -> Fault:
    """For what only a motor on the screw can do."""
    mend = "give it a [carriage.drive] table with the port of its motion controller, if a motor turns its screw"
    return Fault("the carriage is set by hand", "", f"{Path(shop.path).name}: carriage.drive", mend)


def has_terminal() -> bool:
    """Whether somebody sits at a terminal that this process may read."""
    if not all(stream is not None and not stream.closed and stream.isatty() for stream in (sys.stdin, sys.stdout)):
        return False
    if sys.platform == "win32":
        return True
    try:
        # In the background it would be stopped as soon as it reads (SIGTTIN), and could halt nothing.
        return os.tcgetpgrp(sys.stdin.fileno()) == os.getpgrp()
    except OSError:
        return False


def forget_typing() -> None:
    """What was typed before a question was asked doesn't answer it."""
    if sys.platform == "win32":
        import msvcrt

        console: Any = msvcrt
        while console.kbhit():
            console.getwch()
        return
    import termios

    with contextlib.suppress(OSError, termios.error):
        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)


class Keys:
    """The terminal's keys, one by one and without an echo, while entered. What was typed before is dropped.

    pedals: the name of a heard pedal's key, which reaches the terminal too and is no key here; "" if there is none.
    """

    def __init__(self, pedals: str) -> None:
        self._pedals = pedals
        self._decoder = KeyDecoder()
        self._stack = contextlib.ExitStack()
        self._expires: float | None = None

    def __enter__(self) -> Keys:
        forget_typing()
        if sys.platform != "win32":
            from assistant.screens.keys import KeyMode

            mode = KeyMode(sys.stdin.fileno(), None)
            self._stack.callback(mode.restore)
            # Called before the mode is put back: a key that halted must not be read as typing afterwards.
            self._stack.callback(forget_typing)
            mode.set(flush=True)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stack.close()

    def wait(self, within_s: float) -> list[str]:
        """The keys that come within this time, as `KeyDecoder` names them; "any" for one that it doesn't know.

        "ctrl_c" also where the terminal is gone.
        """
        if sys.platform == "win32":
            return self._wait_windows(within_s)
        from assistant.screens.keys import REST_OF_SEQUENCE_S

        try:
            if not select.select([sys.stdin.fileno()], [], [], within_s)[0]:
                if self._decoder.pending and self._expires is not None and time.monotonic() > self._expires:
                    return self._decoder.expire()
                return [] if has_terminal() else ["ctrl_c"]
            data = os.read(sys.stdin.fileno(), 4096)
        except OSError:
            data = b""
        if not data:
            return ["ctrl_c"]
        self._expires = time.monotonic() + REST_OF_SEQUENCE_S
        named = self._decoder.feed(data)
        if not self._pedals:
            # Without a pedal any byte is a key, whether it has a name or not, and however many come at once.
            return named or ["any"]
        return [key for key in named if key != self._pedals]

    def _wait_windows(self, within_s: float) -> list[str]:
        import msvcrt

        console: Any = msvcrt
        end = time.monotonic() + within_s
        # On Windows select takes sockets only.
        while not console.kbhit():
            if time.monotonic() >= end:
                return []
            time.sleep(0.01)
        key = console.getwch()
        return ["ctrl_c" if key == "\x03" else "esc" if key == "\x1b" else key]
