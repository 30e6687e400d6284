"""Every fault at every line of a session: the events tell the truth, nothing moves unasked, and the next home mends it.

The session homes, goes up, down and up, visits the switch and goes up again. A case is one fault at one line that goes
out, and what follows; there are more than 500.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from fractions import Fraction

import pytest

from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.session.events import Arrived, Event, Halted, Homed, Lost, NotClear, SledMoved, TooOld
from tests.carriage.rig import Rig, carriage

ANSWERS = (Arrived, Halted, Homed, Lost, NotClear, TooOld)
STEPS, TRAVEL = 100, 30
SAME = 1 / STEPS + 1e-9
ORDERS = (("home", ""), ("move", "1.5"), ("move", "0.5"), ("move", "3"), ("visit", ""), ("move", "1"))


def _off(rig: Rig) -> None:
    rig.controller.power(False)


def _off_and_on(rig: Rig) -> None:
    rig.controller.power(False)
    rig.controller.power(True)


def _drop(rig: Rig, number: int) -> None:
    rig.controller.dropping = number


def _sled_away(rig: Rig) -> None:
    rig.controller.sled(True)


def _sled_away_and_back(rig: Rig) -> None:
    rig.controller.sled(True)
    rig.controller.sled(False)


def _program_stopped(rig: Rig) -> None:
    rig.stopped_for = 2.0


FAULTS: dict[str, Callable[[Rig], None]] = {
    "reset button": lambda rig: rig.controller.reset_button(),
    "supply off": _off,
    "supply off and on": _off_and_on,
    "answers lost": lambda rig: setattr(rig.controller, "muted", True),
    "unplugged": lambda rig: setattr(rig, "plugged", False),
    "garbage": lambda rig: rig.controller.noise(b"\x81\x00k\xf3\r\n"),
    "garbage in a line": lambda rig: rig.controller.noise(b"\x07<I"),
    "one byte dropped": functools.partial(_drop, number=1),
    "ten bytes dropped": functools.partial(_drop, number=10),
    "a line dropped": functools.partial(_drop, number=27),
    "reset by another program": lambda rig: rig.other_sends(b"\x18"),
    "line of another program": lambda rig: rig.other_sends(b"\n"),
    "sled away": _sled_away,
    "sled away and back": _sled_away_and_back,
    "hold button": lambda rig: rig.other_sends(b"!"),
    "resume button": lambda rig: rig.other_sends(b"~"),
    "switch stuck closed": lambda rig: setattr(rig.controller.screw, "switch", "stuck closed"),
    "switch stuck open": lambda rig: setattr(rig.controller.screw, "switch", "stuck open"),
    "halt": lambda rig: setattr(rig, "halt_soon", True),
    "program stopped": _program_stopped,
}


def _new(at: int, fault: Callable[[Rig], None]) -> Rig:
    screw = Screw(STEPS, start=2.0, play=0.08, home_at=-1.0)
    travel = (Fraction(-1), Fraction(TRAVEL - 5))
    shop = carriage(resolution=Fraction(1, STEPS), travel=travel, drive={"steps_per_mm": Fraction(STEPS)})
    rig = Rig(Simulated(screw, {100: STEPS, 120: 1000, 130: TRAVEL}, boot_s=0.3), shop)
    rig.begin()
    rig.lines = 0

    def on_line(rig: Rig, line: str) -> None:
        if rig.lines == at:
            rig.fault_soon = fault
        rig.lines += 1

    rig.on_line = on_line
    return rig


def _order(rig: Rig, kind: str, setting: str) -> Event:
    """Give an order and wait for its answer; while none is given nothing may have moved."""
    if kind == "move":
        rig.move(setting, held=True)
    else:
        rig.home(visit=kind == "visit")
    answer = rig.until(*ANSWERS, within_s=90)
    rig.pump(0.3)
    return answer


def _mend(rig: Rig) -> None:
    controller = rig.controller
    if controller.powered_off:
        controller.power(True)
    controller.muted, controller.dropping = False, 0
    controller.sled(False)
    controller.screw.switch, controller.screw.jammed = "works", False
    if not rig.plugged:
        rig.plug_in()
    rig.pump(3)
    controller.screw.put(max(controller.screw.at, 0.0))  # by hand, off the switch


def _stands(rig: Rig) -> None:
    turned = rig.controller.screw.turned
    rig.pump(0.5)
    assert rig.controller.screw.turned == turned, "something moves that nobody asked for"


def _tells_truth(rig: Rig, answer: Event) -> None:
    if isinstance(answer, Arrived):
        assert float(answer.reported) == pytest.approx(rig.reads, abs=SAME)
    elif isinstance(answer, Halted):
        # Coming down the carriage lags by the play, which no report shows and no pass is cut at.
        assert -SAME <= rig.reads - float(answer.reported) <= 0.08 + SAME


def _case(at: int, fault: Callable[[Rig], None]) -> bool:
    """Whether the session was long enough for a line of this number."""
    rig = _new(at, fault)
    bad = False
    for kind, setting in ORDERS:
        answer = _order(rig, kind, setting)
        _stands(rig)
        _tells_truth(rig, answer)
        if isinstance(answer, Lost):
            assert answer.text and rig.protocol.position is None
        elif isinstance(answer, Halted | Arrived):
            assert rig.protocol.position is not None
        if not isinstance(answer, Arrived | Homed):
            bad = True
            break
    if rig.lines <= at:
        return False
    if bad or rig.protocol.position is None or [event for event in rig.events if isinstance(event, Lost)]:
        _mend(rig)
        rig.events.clear()
        homed = _order(rig, "home", "")
        assert isinstance(homed, Homed), homed
    else:
        _mend(rig)
    _stands(rig)
    arrived = _order(rig, "move", "2")
    assert isinstance(arrived, Arrived), arrived
    _tells_truth(rig, arrived)
    assert rig.controller.settings[130] == TRAVEL
    assert b"~" not in bytes(rig.out) and b"$X" not in bytes(rig.out)
    return True


EVERY_LINE, EVERY_FIFTH = 1, 5
LINES = [pytest.param(EVERY_FIFTH, id="some"), pytest.param(EVERY_LINE, id="each", marks=pytest.mark.long)]


@pytest.mark.parametrize("step", LINES)
@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_at_every_line(name: str, step: int) -> None:
    """At each line of the session in the long run, at every fifth in the others."""
    at = 0
    while _case(at, FAULTS[name]):
        at += step
    assert at * len(FAULTS) >= 500, at


def test_what_no_report_shows_is_found_by_the_visit() -> None:
    """A carriage that was blocked on its way arrives by all reports; the switch then closes elsewhere."""
    rig = _new(10**6, lambda rig: None)
    _order(rig, "home", "")
    rig.controller.screw.jammed = True
    assert isinstance(_order(rig, "move", "1.5"), Arrived)
    rig.controller.screw.jammed = False
    assert rig.reads != pytest.approx(1.5, abs=0.1)
    homed = _order(rig, "visit", "")
    assert isinstance(homed, Homed) and homed.off_by is not None and homed.off_by > 1


def test_the_sled_is_reported_when_it_moves_at_rest() -> None:
    rig = _new(10**6, lambda rig: None)
    _order(rig, "home", "")
    rig.controller.sled(True)
    rig.pump(0.3)
    assert any(isinstance(event, SledMoved) for event in rig.events)
