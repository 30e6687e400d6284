"""A session with a driven carriage, and a carriage that does what it is sent to do, or what a test makes of it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from assistant.joinery.model import Carriage, Drive
from assistant.plans.model import Check, Job, Plan
from assistant.session import effects as e
from assistant.session.events import Arrived, Event, Halted, Homed, Looked, Lost, SledMoved
from assistant.session.kinds import Doubt
from tests.session.driver import UTC, Driver
from tests.session.jobs import few_checks, job, plan

DRIVE = Drive("/dev/ttyUSB0", home_reads=Fraction(-3), clear_input=True)
CARRIAGE = Carriage(resolution=Fraction(1, 100), travel=(Fraction(0), Fraction(300)), drive=DRIVE)


def driven_job(
    a_plan: Plan | None = None,
    checks: tuple[Check, ...] | None = None,
    kerf: Fraction = Fraction(318, 100),
    clear_input: bool = True,
    **changes: object,
) -> Job:
    """By default two ends of two pairs of passes. changes: of the carriage; `home` is the drive's."""
    home = changes.pop("home", "switch")
    drive = replace(DRIVE, clear_input=clear_input, home=home)  # type: ignore[arg-type]
    carriage = replace(CARRIAGE, drive=drive, **changes)  # type: ignore[arg-type]
    chosen = few_checks() if checks is None else checks
    return job(a_plan or plan(30, 6, ends=2, parts="A"), chosen, carriage, kerf)


class Rig(Driver):
    """sent: what the carriage was sent to do and hasn't answered. obeys: it does so at once.

    off_by, beyond: what it finds at each visit to the home switch.
    """

    def __init__(self, a_job: Job | None = None, hear_out: bool = False):
        self.sent: list[e.Look | e.Home | e.MoveTo] = []
        self.all_sent: list[e.Effect] = []
        self.obeys = True
        self.off_by, self.beyond = Fraction(0), False
        super().__init__(a_job or driven_job(), hear_out=hear_out)

    def send(self, event: Event) -> None:
        super().send(event)
        sent = [effect for effect in self.effects if isinstance(effect, e.Look | e.Home | e.MoveTo)]
        self.sent += sent
        self.all_sent += sent
        if self.obeys and self.sent:
            self.answer()

    def answer(self) -> None:
        """The carriage does what it was sent to do first."""
        order = self.sent.pop(0)
        self.at += 1
        match order:
            case e.Look(id):
                self.send(Looked(self.at, UTC, id, True))
            case e.Home(id, visit):
                self.send(Homed(self.at, UTC, id, self.off_by if visit else None, visit and self.beyond))
            case e.MoveTo(id, setting):
                self.send(Arrived(self.at, UTC, id, setting))

    def halts(self, at: Fraction) -> None:
        self.at += 0.3
        self.send(Halted(self.at, UTC, self.sent.pop(0).id, at))

    def loses(self, why: Doubt = Doubt.RESET, text: str = "The controller started again: home it.") -> None:
        self.sent.clear()
        self.at += 0.3
        self.send(Lost(self.at, UTC, why, text))

    def sled(self, *clear: bool) -> None:
        for each in clear:
            self.at += 1
            self.send(SledMoved(self.at, UTC, each))

    def out_and_back(self) -> None:
        self.at += 4
        self.sled(False, True)

    def hold(self, after: float = 15.0) -> None:
        """The pedal is held down, late enough for the blade to stand still."""
        self.gesture("hold", after=after)

    def to_first_call(self) -> None:
        """Home, first setting, checks: the first pass is called."""
        while self.state.effective_mode != "cutting":
            self.hold()

    def cut_one(self) -> None:
        self.out_and_back()
        self.gesture("tap")

    def resume(self, *notes: str) -> None:
        self.sent.clear()
        super().resume(*notes)
