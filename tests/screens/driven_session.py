"""A session with a driven carriage, in every state that it can have, for tests of the screens."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import partial

from assistant.joinery.model import Carriage, Drive
from assistant.plans.model import Job, PageSettings
from assistant.runner.loop import Runner
from assistant.screens.view_sight import Sight
from assistant.session.events import Arrived, Event, Gesture, Halted, Homed, Looked, Lost, NotClear, SledMoved, TooOld
from assistant.session.kinds import Doubt, Press
from tests.screens.page_made import Made
from tests.screens.view_session import Rehearsed
from tests.session.jobs import few_checks, job, plan, with_pass_time

LOST_TEXT = (
    "The controller started again, so nobody knows where the carriage stands. Look at its power and its USB cable, "
    "then home it."
)
DRIVE = Drive("/dev/ttyUSB0", home_reads=Fraction(-3), clear_input=True)
TRAVEL = (Fraction(-5), Fraction(300))


def driven_carriage(**changes: object) -> Carriage:
    return Carriage(resolution=Fraction(1, 100), travel=TRAVEL, drive=replace(DRIVE, **changes))


def driven_job(width: int = 30, carriage: Carriage | None = None, finger: int = 6, **kinds: object) -> Job:
    return job(plan(width, finger, **kinds), few_checks(), carriage or driven_carriage())  # type: ignore[arg-type]


@dataclass
class Orders:
    """A `runner.contracts.Driven` that does nothing by itself: a test says what comes of its last order."""

    id: str = ""
    kind: str = ""
    to: Fraction = Fraction(0)
    halts: int = 0
    done: list[str] = field(default_factory=list)
    position: Fraction | None = None
    moving: bool = False

    def _take(self, id: str, kind: str, moves: bool = True) -> None:
        self.id, self.kind, self.moving = id, kind, moves
        self.done.append(kind)

    def look(self, id: str) -> None:
        self._take(id, "look", moves=False)

    def home(self, id: str, visit: bool, pressed_at: float, held: bool) -> None:
        self._take(id, "visit" if visit else "home")

    def move_to(self, id: str, setting: Fraction, approach: Fraction, pressed_at: float, held: bool) -> None:
        self._take(id, "move")
        self.to = setting

    def halt(self) -> bool:
        self.halts += 1
        return self.moving

    def pressed(self) -> bool:
        return self.halt()

    def released(self) -> None:
        pass

    def close(self) -> None:
        pass


class Seat:
    """The operator of such a session, and the drive that does what it is ordered to."""

    runner: Runner
    drive: Orders

    def now(self, after: float) -> tuple[float, str]:
        """Session time (s) and wall time so many seconds later."""
        raise NotImplementedError

    def do(self, event: Event) -> None:
        raise NotImplementedError

    def gesture(self, kind: str, after: float = 12.0) -> None:
        at, utc = self.now(after)
        self.do(Gesture(at, utc, Press(kind), at))

    def send(self, event: Callable[[float, str], Event]) -> None:
        self.do(event(*self.now(1.0)))

    def answer(self, off_by: Fraction = Fraction(0)) -> None:
        """The drive has done its last order, all went well."""
        id, kind, to = self.drive.id, self.drive.kind, self.drive.to
        self.drive.kind, self.drive.moving = "", False
        match kind:
            case "look":
                self.send(lambda at, utc: Looked(at, utc, id, True))
            case "home":
                self.send(lambda at, utc: Homed(at, utc, id))
            case "visit":
                self.send(lambda at, utc: Homed(at, utc, id, off_by))
            case "move":
                self.send(lambda at, utc: Arrived(at, utc, id, to))

    def sled(self) -> None:
        """Out to the blade and right back."""
        self.send(lambda at, utc: SledMoved(at, utc, False))
        self.send(lambda at, utc: SledMoved(at, utc, True))

    def tap(self) -> None:
        """The pass called is cut, and the drive has looked at the sled."""
        self.sled()
        self.gesture("tap")
        if self.drive.kind == "look":
            self.answer()

    def halt(self, short_by: Fraction) -> None:
        """It is halted so much below where it was to go, mm."""
        id, at_mm = self.drive.id, self.drive.to - short_by
        self._stop()
        self.send(lambda at, utc: Halted(at, utc, id, at_mm))

    def lose(self, why: Doubt = Doubt.RESET) -> None:
        self._stop()
        self.send(lambda at, utc: Lost(at, utc, why, LOST_TEXT))

    def not_clear(self) -> None:
        id = self.drive.id
        self._stop()
        self.send(lambda at, utc: NotClear(at, utc, id))

    def too_old(self) -> None:
        id = self.drive.id
        self._stop()
        self.send(lambda at, utc: TooOld(at, utc, id))

    def _stop(self) -> None:
        self.drive.kind, self.drive.moving = "", False

    @property
    def mode(self) -> str:
        return str(self.runner.state.effective_mode)

    def go_on(self) -> None:
        """What a user does next, all well."""
        if self.drive.kind:
            self.answer()
        elif self.mode == "cutting":
            self.tap()
        else:
            self.gesture("hold", after=15.0)


class DrivenRehearsal(Seat, Rehearsed):
    """A runner with such a drive, and what is gathered from it."""

    def __init__(self, job: Job, warnings: tuple[str, ...] = ()) -> None:
        Rehearsed.__init__(self, job, warnings)
        self.drive = self.runner.outputs.drive = Orders()

    def now(self, after: float) -> tuple[float, str]:
        self.at += after
        return self.at, self.utc

    def do(self, event: Event) -> None:
        Rehearsed.do(self, event)


def every_driven_state(job: Job, warnings: tuple[str, ...] = ()) -> Iterator[tuple[str, Sight]]:
    """After each turn of such a session: (name, what there is to see)."""
    session = DrivenRehearsal(job, warnings)
    yield "first asked", session.sight
    for name in every_turn(session):
        yield name, session.sight


def every_turn(session: Seat) -> Iterator[str]:
    """A session from homing to the end, with halts, losses and every refusal, by the name of each turn."""

    def done(name: str, act: Callable[[], object]) -> str:
        act()
        return name

    yield done("tapped, which moves nothing", lambda: session.gesture("tap"))
    for n in range(3):  # home, zero or the first setting, and the board is named
        yield done(f"to the first setting {n}", session.go_on)
    while session.mode == "checks":
        yield done("checks", session.go_on)
    detours: list[tuple[str, Callable[[], object]]] = [
        ("sled not seen", lambda: session.gesture("tap")),
        ("sled seen", session.sled),
        ("looking at the sled", lambda: session.gesture("tap")),
        ("on by tap", session.answer),
        ("not clear", session.not_clear),
        ("on by tap again", lambda: session.gesture("tap")),
        ("too old", session.too_old),
        ("on while held", lambda: session.gesture("hold", after=15.0)),
        ("arrived", session.answer),
        ("tap", session.tap),
        ("halted", lambda: session.halt(Fraction(123, 100))),
        ("halted, said again", lambda: session.gesture("double")),
        ("on from the halt", lambda: session.gesture("hold", after=15.0)),
        ("arrived after the halt", session.answer),
        ("lost under a call", session.lose),
        ("to be homed", session.tap),
        ("homing", lambda: session.gesture("hold", after=15.0)),
        ("lost while homing", lambda: session.lose(Doubt.SWITCH)),
        ("homing again", lambda: session.gesture("hold", after=15.0)),
        ("homed, and on", session.answer),
        ("lost while moving", lambda: session.lose(Doubt.LINE)),
        ("homing after that", lambda: session.gesture("hold", after=15.0)),
        ("homed, and on after that", session.answer),
        ("halted with the saw off", lambda: session.halt(Fraction(5))),
    ]
    for name, act in detours:
        yield done(name, act)
    off_by = Fraction(1, 10)
    for n in range(400):
        if session.mode == "finished":
            break
        if session.drive.kind == "visit":
            yield done("visited", partial(session.answer, off_by))
            off_by = Fraction(0)
        else:
            yield done(f"on {n}", session.go_on)
    assert session.mode == "finished", session.mode


class PageSeat(Seat):
    """The operator of a session with a bench page, in real time; nothing in its job may take any."""

    def __init__(self, one: Made) -> None:
        self.one, self.runner = one, one.runner
        self.drive = one.runner.outputs.drive = Orders()

    def now(self, after: float) -> tuple[float, str]:
        return self.one.clock.at(), self.one.clock.utc()

    def do(self, event: Event) -> None:
        self.one.turn(event)


def page_job(**kinds: object) -> Job:
    made = with_pass_time(driven_job(**kinds), 0.0)  # type: ignore[arg-type]
    return replace(made, page=PageSettings(may_record_cuts=True), run_down_s=0.0)


def to_moving(session: Seat) -> None:
    """The first pass is cut, and the carriage is on its way to the second."""
    while session.mode != "cutting":
        session.go_on()
    session.tap()
    assert session.mode == "moving"
