"""The live drive, with its own thread, on a real pseudo-terminal; the controller behind it is simulated."""

from __future__ import annotations

import contextlib
import queue
import signal
import threading
import time
from collections.abc import Callable, Iterator
from fractions import Fraction as F

import pytest

from assistant.carriage import moving, protocol, talk
from assistant.carriage.drive import LiveDrive
from assistant.carriage.health import carriage as found_out
from assistant.carriage.health import findings
from assistant.carriage.line import SerialLine, port_of
from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.carriage.standing import StandingController
from assistant.errors import BadInput, NoSuchPart
from assistant.health import BROKEN, WORKS
from assistant.session.events import Arrived, Event, Halted, Homed, Looked, Lost, NotClear, SledMoved, TooOld
from assistant.session.kinds import Doubt
from tests.carriage.rig import carriage
from tests.carriage.simulated_line import SimulatedLine, Terminal

GENEROUS_S = 60.0


@pytest.fixture(autouse=True)
def patient_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    """A busy machine may stall either side for longer than a controller may be silent; simulated time tests those."""
    for module in (talk, moving, protocol):
        for name in ("SILENT_S", "ANSWER_S", "STALLED_S", "PRESS_AGE_S"):
            if hasattr(module, name):
                monkeypatch.setattr(module, name, GENEROUS_S)


class Wall:
    def at(self) -> float:
        return time.monotonic()

    def utc(self) -> str:
        return "2026-01-01T00:00:00.000Z"


class Host:
    def __init__(self, path: str, **drive: object):
        self.events: queue.Queue[Event] = queue.Queue()
        self.down = True
        self.ticks: list[float] = []
        self.clock = Wall()
        shop = carriage(drive={"port": path} | drive)
        self.drive = LiveDrive(
            self.clock, self.events.put, shop, lambda: self.down, lambda: self.ticks.append(self.clock.at())
        )

    def until(self, *kinds: type[Event]) -> Event:
        while True:
            event = self.events.get(timeout=GENEROUS_S)
            if isinstance(event, kinds):
                return event

    def home(self, visit: bool = False) -> Event:
        self.drive.home("h", visit, self.clock.at(), True)
        return self.until(Homed, Lost, Halted, NotClear)

    def go(self, setting: str, held: bool = True) -> None:
        self.drive.move_to("m", F(setting), F(setting) - F(1, 2), self.clock.at(), held)


def controller(**settings: float) -> Simulated:
    screw = Screw(start=1.0, play=0.08, home_at=-1.0)
    quick = {26: 50.0, 27: 0.5} | {int(name[1:]): value for name, value in settings.items()}
    return Simulated(screw, quick, boot_s=0.2)


@contextlib.contextmanager
def behind(simulated: Simulated) -> Iterator[Terminal]:
    terminal = Terminal(simulated)
    terminal.start()
    try:
        yield terminal
    finally:
        terminal.close()


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    with behind(controller()) as one:
        yield one


@pytest.fixture
def host(terminal: Terminal) -> Iterator[Host]:
    one = Host(terminal.path)
    yield one
    one.drive.close()


def patient(until: Callable[[], bool]) -> None:
    end = time.monotonic() + GENEROUS_S
    while not until():
        assert time.monotonic() < end
        time.sleep(0.005)


def test_it_homes_moves_and_visits(terminal: Terminal, host: Host) -> None:
    assert isinstance(host.home(), Homed)
    assert host.drive.reach == (F("-1.08"), F("298.92"))
    host.go("2.5")
    arrived = host.until(Arrived, Lost, Halted)
    assert isinstance(arrived, Arrived) and arrived.reported == F("2.5") and not host.drive.moving
    assert terminal.controller.screw.at == pytest.approx(2.5, abs=1 / 400)
    assert host.drive.position == F("2.5")
    homed = host.home(visit=True)
    assert isinstance(homed, Homed) and homed.off_by == 0


def test_a_look_is_answered_from_a_report_made_since(terminal: Terminal, host: Host) -> None:
    host.drive.look("l1")
    assert host.until(Looked, Lost) == Looked(pytest.approx(time.monotonic(), abs=GENEROUS_S), Wall().utc(), "l1", True)
    with terminal.at_rest:
        terminal.controller.sled(True)
    moved = host.until(SledMoved)
    assert isinstance(moved, SledMoved) and not moved.clear
    host.drive.look("l2")
    looked = host.until(Looked, Lost)
    assert isinstance(looked, Looked) and not looked.clear
    assert isinstance(host.home(), NotClear)


@pytest.mark.parametrize("how", ["halt", "pressed", "released", "pedal seen up", "signal"])
def test_each_way_to_halt(terminal: Terminal, host: Host, how: str) -> None:
    assert isinstance(host.home(), Homed)
    host.go("40")
    patient(lambda: (host.drive.position or 0) > 1)
    assert host.drive.moving and (how != "signal" or threading.current_thread() is threading.main_thread())
    if how == "pedal seen up":
        host.down = False
    elif how == "signal":
        before = signal.signal(signal.SIGUSR1, lambda number, frame: host.drive.halt() and None)
        signal.raise_signal(signal.SIGUSR1)
        signal.signal(signal.SIGUSR1, before)
    else:
        getattr(host.drive, how)()
    halted = host.until(Halted, Arrived, Lost)
    assert isinstance(halted, Halted) and halted.reported < 39
    assert float(halted.reported) == pytest.approx(terminal.controller.screw.at, abs=1 / 400 + 1e-6)
    assert not host.drive.halt(), "nothing moves any more"


def test_letting_go_of_a_pedal_that_holds_nothing_stops_nothing(host: Host) -> None:
    assert isinstance(host.home(), Homed)
    host.go("3", held=False)
    host.drive.released()
    assert isinstance(host.until(Arrived, Halted, Lost), Arrived)


def test_a_halt_on_the_way_home(terminal: Terminal, host: Host) -> None:
    with terminal.at_rest:
        terminal.controller.screw.put(200.0)
    host.drive.home("h", False, host.clock.at(), True)
    patient(lambda: terminal.controller.screw.at < 199)
    host.drive.released()
    lost = host.until(Lost, Homed)
    assert isinstance(lost, Lost) and lost.why is Doubt.HALTED
    assert host.drive.position is None


def test_it_ticks_only_while_something_moves(host: Host) -> None:
    assert isinstance(host.home(), Homed)
    host.ticks.clear()
    host.go("30")
    host.until(Arrived)
    ticks = list(host.ticks)
    assert len(ticks) >= 2 and all(b - a >= 0.9 for a, b in zip(ticks, ticks[1:], strict=False))


def test_it_moves_and_halts_while_the_sessions_thread_is_stalled(terminal: Terminal, host: Host) -> None:
    """Nobody takes its events, and the pedal goes up by itself."""
    assert isinstance(host.home(), Homed)
    host.go("60")
    patient(lambda: terminal.controller.screw.at > 2)
    host.down = False
    patient(lambda: not terminal.controller.moving)
    assert terminal.controller.screw.at < 59


def test_a_lost_line_is_opened_again_and_homed(terminal: Terminal) -> None:
    opened: list[str] = []

    def open_one(port: str) -> SerialLine:
        opened.append(port)
        return SerialLine(current.path)

    current = terminal
    events: queue.Queue[Event] = queue.Queue()
    shop = carriage(drive={"port": "any"})
    drive = LiveDrive(Wall(), events.put, shop, lambda: True, lambda: None, open_one)
    drive.home("h", False, time.monotonic(), True)
    assert isinstance(events.get(timeout=GENEROUS_S), Homed)
    drive.move_to("m", F(40), F(39), time.monotonic(), True)
    patient(lambda: (drive.position or 0) > 1)
    with behind(controller()) as following:
        current = following
        terminal.unplug()
        lost = events.get(timeout=GENEROUS_S)
        assert isinstance(lost, Lost) and lost.why is Doubt.LINE and not drive.moving
        drive.home("h2", False, time.monotonic(), True)
        answer = events.get(timeout=GENEROUS_S)
        while not isinstance(answer, Homed):  # asked before it is open
            assert isinstance(answer, Lost | TooOld)
            time.sleep(0.2)
            drive.home("h3", False, time.monotonic(), True)
            answer = events.get(timeout=GENEROUS_S)
        drive.close()
    assert len(opened) >= 2


def test_settings_that_disagree_refuse_to_drive_all_at_once(terminal: Terminal) -> None:
    with behind(controller(s1=25, s20=0, s120=10)) as other, pytest.raises(BadInput) as refused:
        Host(other.path)
    assert [fault.where for fault in refused.value.faults] == [f"controller: ${n}" for n in (1, 120, 20)]


def test_a_port_is_opened_by_one_program_only(terminal: Terminal, host: Host) -> None:
    with pytest.raises(NoSuchPart, match="Another program uses"):
        SerialLine(terminal.path)


def test_a_port_that_is_not_there() -> None:
    with pytest.raises(NoSuchPart, match="is not there"):
        SerialLine("/dev/no-such-port")
    with pytest.raises(NoSuchPart, match=r"No motion controller usb:dead:beef is plugged in\..*To fix it"):
        port_of("usb:dead:beef")
    assert port_of("/dev/ttyUSB0") == "/dev/ttyUSB0"


def test_a_usb_device_is_found_by_what_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    from serial.tools import list_ports
    from serial.tools.list_ports_common import ListPortInfo

    def port(device: str, serial: str | None) -> ListPortInfo:
        info = ListPortInfo(device, skip_link_detection=True)
        info.vid, info.pid, info.serial_number = 0x1A86, 0x7523, serial
        return info

    there = [port("/dev/ttyUSB0", "A1")]
    monkeypatch.setattr(list_ports, "comports", lambda: there)
    assert port_of("usb:1a86:7523") == port_of("usb:1A86:7523:A1") == "/dev/ttyUSB0"
    there.append(port("/dev/ttyUSB1", "B2"))
    assert port_of("usb:1a86:7523:B2") == "/dev/ttyUSB1"
    with pytest.raises(NoSuchPart, match="usb:1a86:7523:A1, usb:1a86:7523:B2"):
        port_of("usb:1a86:7523")


def test_a_controller_in_this_process_for_a_demo() -> None:
    simulated = controller()
    events: queue.Queue[Event] = queue.Queue()
    drive = LiveDrive(
        Wall(),
        events.put,
        carriage(),
        lambda: True,
        lambda: None,
        lambda port: SimulatedLine(simulated, time.monotonic),
    )
    drive.home("h", False, time.monotonic(), False)
    assert isinstance(events.get(timeout=GENEROUS_S), Homed)
    drive.move_to("m", F(2), F(1), time.monotonic(), False)
    assert isinstance(events.get(timeout=GENEROUS_S), Arrived)
    assert simulated.screw.at == pytest.approx(2, abs=1 / 400)
    drive.close()


# --- ready and configure


def test_ready_shows_a_controller_that_is_set_up(terminal: Terminal) -> None:
    found = findings(carriage(drive={"port": terminal.path}))
    assert {one.state for one in found} == {WORKS}
    one = found_out(carriage(drive={"port": terminal.path}))
    assert one.state == WORKS and "home switch open" in one.text and "the sled is drawn right back" in one.text


def test_ready_shows_each_setting_that_must_change() -> None:
    with behind(controller(s1=25, s20=0)) as terminal:
        broken = [one for one in findings(carriage(drive={"port": terminal.path})) if one.state == BROKEN]
        assert ["$1" in broken[0].text, "$20" in broken[1].text] == [True, True] and all(one.mend for one in broken)
        one = found_out(carriage(drive={"port": terminal.path}))
        assert one.state == BROKEN and [fault["text"] for fault in one.data["faults"][1:]] == [w.text for w in broken]


def test_ready_where_nothing_answers() -> None:
    found = findings(carriage(drive={"port": "/dev/no-such-port"}))
    assert [one.state for one in found] == [BROKEN] and found[0].mend


def test_settings_are_stored_one_at_a_time_and_nothing_moves() -> None:
    with behind(controller(s1=25, s100=250)) as terminal:
        with StandingController(carriage(drive={"port": terminal.path})) as standing:
            assert len(standing.faults) == 2
            standing.store(1, F(255))
            assert [fault.where for fault in standing.faults] == ["controller: $100"]
            standing.store(100, F(400))
            assert not standing.faults and standing.controller.of(100) == 400
        assert terminal.controller.settings[1] == 255 and terminal.controller.settings[100] == 400
        assert terminal.controller.screw.turned == 0


def test_both_levels_of_the_clear_input(terminal: Terminal) -> None:
    with StandingController(carriage(drive={"port": terminal.path})) as standing:
        assert standing.wait_for(True, GENEROUS_S)
        with terminal.at_rest:
            terminal.controller.sled(True)
        assert standing.wait_for(False, GENEROUS_S)
        assert not standing.wait_for(True, 0.3)
