"""A driven carriage against the simulated controller: what it does when all is well, and each rule once.

`test_faults.py` has every fault at every line.
"""

from __future__ import annotations

import ast
import random
from fractions import Fraction as F
from pathlib import Path

import pytest

import assistant.carriage
from assistant.carriage.motion import OUT_MAX_S
from assistant.carriage.settings import ROOM, faults
from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.joinery.model import HomeKind
from assistant.session.events import Arrived, Halted, Homed, Looked, Lost, NotClear, SledMoved, TooOld
from assistant.session.kinds import Doubt
from tests.carriage.rig import Rig, carriage

STEP = 1 / 400
FINE = 1 / 200 + STEP


def at_home(**screw: object) -> Rig:
    rig = Rig(screw=Screw(**({"play": 0.08, "home_at": -1.0} | screw)))  # type: ignore[arg-type]
    rig.begin()
    assert rig.protocol.faults == []
    rig.home()
    assert isinstance(rig.until(Homed, Lost), Homed)
    return rig


def there(rig: Rig, setting: str) -> Rig:
    rig.move(setting)
    assert isinstance(rig.until(Arrived, Halted, Lost), Arrived)
    return rig


def moving(rig: Rig, to: str = "60", held: bool = True) -> Rig:
    rig.down = True
    rig.move(to, held=held)
    rig.pump(1.0)
    assert rig.controller.moving
    return rig


# --- arrival


@pytest.mark.parametrize("setting", ["15.44", "0", "-0.5", "289", "0.0025"])
def test_the_carriage_truly_stands_at_its_setting(setting: str) -> None:
    """Whatever the play: homing finds the switch from above, and every setting is come up to."""
    rig = there(at_home(), "40")
    rig.move(setting)
    arrived = rig.until(Arrived)
    assert isinstance(arrived, Arrived) and abs(arrived.reported - F(setting)) <= F(STEP) / 2 + F(1, 2000)
    assert rig.reads == pytest.approx(float(F(setting)), abs=STEP / 2 + 1e-9)


def test_a_thousand_random_moves_never_add_up() -> None:
    """Within half a step beyond rounding, at every single one."""
    rig = at_home()
    draw = random.Random(19)
    for _ in range(1000):
        setting = F(draw.randrange(0, 2_000), 1000)
        rig.move(setting, below=F(1, 5))
        assert isinstance(rig.until(Arrived, Lost), Arrived)
        assert abs(rig.reads - float(setting)) <= STEP / 2 + 1e-9


def test_arrival_is_not_believed_before_the_last_line_is_answered() -> None:
    """A controller that took only the first of two lines stands too, and says so."""
    rig = at_home()
    taken = rig.controller.take
    rig.move("2", below=F(1, 2))

    def late(data: bytes, at: float) -> bytes:
        return taken(data.replace(b"\n", b" "), at) if b"F150" in data else taken(data, at)

    rig.controller.take = late  # type: ignore[method-assign]
    lost = rig.until(Arrived, Lost)
    assert isinstance(lost, Lost) and lost.why is Doubt.GARBAGE


def test_moves_are_smooth_from_piece_to_piece() -> None:
    rig = moving(at_home(), "30")
    while rig.controller.place + 299.92 < 27:
        rig.pump()
        assert abs(rig.controller._speed) > 9.9, rig.controller.place


def test_never_more_is_out_than_half_a_second_takes() -> None:
    rig = at_home()
    most = 0.0

    def note(rig: Rig, line: str) -> None:
        nonlocal most
        if line.startswith("$J"):
            target = float(line.split("X")[1].split("F")[0])
            most = max(most, abs(target - rig.controller.place))

    rig.on_line = note
    there(rig, "40")
    there(rig, "5")
    assert 2 < most <= 10 * OUT_MAX_S + 0.01  # mm, at 600 mm/min


def test_it_never_resumes_unlocks_or_sets_coordinates() -> None:
    rig = at_home()
    there(rig, "20")
    rig.home(visit=True)
    rig.until(Homed)
    rig.halt()
    rig.controller.sled(True)
    rig.pump(1)
    rig.controller.sled(False)
    rig.pump(1)
    for never in (b"~", b"$X", b"G92", b"G10", b"G28", b"G0", b"G1"):
        assert never not in bytes(rig.out).replace(b"G53G90G21", b"")


def test_a_setting_beyond_the_travel_is_not_tried() -> None:
    rig = at_home()
    sent = len(rig.controller.sent)
    rig.move("299")
    assert isinstance(rig.until(Arrived, Lost), Lost)
    assert len(rig.controller.sent) == sent


def test_a_calibration_comes_down_to_its_setting() -> None:
    """Then the carriage lags by the play, which is what it measures."""
    rig = there(at_home(), "20")
    rig.order("move", setting=F(10), approach=F(12))
    assert isinstance(rig.until(Arrived, Lost), Arrived)
    assert rig.reads == pytest.approx(10.08)
    there(rig, "10.01")
    assert rig.reads == pytest.approx(10.01, abs=STEP / 2)


# --- consent


def test_a_press_older_than_a_second_moves_nothing() -> None:
    rig = at_home()
    before = rig.reads
    rig.move("20", age=1.01)
    assert isinstance(rig.until(TooOld, Arrived, Lost), TooOld)
    rig.home(visit=True, age=1.01)
    assert isinstance(rig.until(TooOld, Homed, Lost), TooOld)
    assert rig.reads == before


def test_nothing_that_is_held_down_begins_with_the_pedal_up() -> None:
    rig = at_home()
    before = rig.reads
    rig.down = False
    rig.move("20", held=True)
    assert isinstance(rig.until(Halted, Arrived, Lost), Halted)
    rig.home(held=True)
    assert isinstance(rig.until(Halted, TooOld, Homed, Lost), Halted)
    assert rig.reads == before


def test_letting_go_stops_what_is_held_and_nothing_else() -> None:
    rig = moving(at_home(), held=True)
    rig.let_go()
    assert isinstance(rig.until(Halted, Arrived, Lost), Halted)
    rig = moving(at_home(), "20", held=False)
    rig.let_go()
    assert isinstance(rig.until(Halted, Arrived, Lost), Arrived)


# --- what no checksum shows


@pytest.mark.parametrize("damaged", range(6))
@pytest.mark.parametrize(("sent", "came"), [(b"X-2", b"X-"), (b"X-29", b"X-2"), (b"F600", b"F60"), (b"X-", b"X-1")])
def test_a_line_with_a_wrong_digit(damaged: int, sent: bytes, came: bytes) -> None:
    """It gets an `ok` and may lead anywhere within the travel; the way is left, or the place is not the one asked."""
    rig = at_home()
    take, jogs = rig.controller.take, 0

    def through_noise(data: bytes, at: float) -> bytes:
        nonlocal jogs
        lines = data.split(b"\n")
        for n, line in enumerate(lines):
            if line.startswith(b"$J"):
                lines[n] = line.replace(sent, came, 1) if jogs == damaged else line
                jogs += 1
        return take(b"\n".join(lines), at)

    rig.controller.take = through_noise  # type: ignore[method-assign]
    rig.move("8")
    answer = rig.until(Arrived, Lost)
    rig.pump(1)
    assert not rig.controller.moving
    if isinstance(answer, Arrived):
        assert rig.reads == pytest.approx(8, abs=STEP)
    else:
        assert isinstance(answer, Lost) and answer.why in (Doubt.ELSEWHERE, Doubt.GARBAGE)
    assert -2 <= rig.reads <= 10


# --- the clear input


def test_with_its_pin_closed_nothing_is_sent() -> None:
    rig = at_home()
    rig.controller.sled(True)
    rig.pump(0.5)
    sent, before = list(rig.controller.sent), rig.reads
    rig.move("20")
    assert isinstance(rig.until(NotClear, Arrived, Lost, Halted), NotClear)
    rig.home(visit=True)
    assert isinstance(rig.until(NotClear, Homed, Lost, Halted), NotClear)
    assert rig.controller.sent == sent and rig.reads == before
    rig.look()
    looked = rig.until(Looked)
    assert isinstance(looked, Looked) and not looked.clear


@pytest.mark.parametrize("options", ["V", "V+"])
def test_a_sled_that_comes_and_goes_starts_nothing(options: str) -> None:
    rig = at_home()
    rig.controller.options = options
    before = rig.reads
    for away in (True, False) * 3:
        rig.controller.sled(away)
        rig.pump(0.7)
    assert [event.clear for event in rig.events if isinstance(event, SledMoved)] == [False, True] * 3
    assert rig.reads == before and not rig.lost
    there(rig, "10")


@pytest.mark.parametrize("options", ["V", "V+"])
def test_a_sled_that_leaves_halts_and_its_return_starts_nothing(options: str) -> None:
    rig = moving(at_home(), "60")
    rig.controller.options = options
    rig.controller.sled(True)
    halted = rig.until(Halted, Arrived, Lost)
    assert isinstance(halted, Halted)
    stood = rig.reads
    assert float(halted.reported) == pytest.approx(stood, abs=STEP)
    rig.pump(2)
    rig.controller.sled(False)
    rig.pump(2)
    assert rig.reads == stood
    there(rig, "60")
    assert rig.reads == pytest.approx(60, abs=STEP)


def test_a_pin_closed_before_a_reset_is_seen_though_the_firmware_forgot_it() -> None:
    """Its edge came before: the controller calls itself idle, and would run the next line."""
    rig = at_home()
    rig.controller.sled(True)
    rig.pump(0.5)
    rig.other_sends(b"\x18")
    assert rig.controller.state == "Idle"
    rig.until(Lost)
    rig.home()
    assert isinstance(rig.until(NotClear, Homed, Lost), NotClear)


# --- halting


def test_a_halt_keeps_its_place_and_the_rest_of_the_way_is_gone() -> None:
    rig = moving(at_home())
    at, before = rig.now, rig.reads
    rig.halt()
    halted = rig.until(Halted, Arrived, Lost)
    assert isinstance(halted, Halted)
    assert rig.now - at <= 0.3 and rig.reads - before <= 1.0
    assert float(halted.reported) == pytest.approx(rig.reads, abs=STEP)
    stood = rig.reads
    rig.pump(5)
    assert rig.reads == stood and not rig.controller.moving
    there(rig, "60")
    assert rig.reads == pytest.approx(60, abs=STEP)


@pytest.mark.parametrize("after", [n / 100 for n in range(60)])
def test_a_halt_at_any_moment(after: float) -> None:
    """Also right behind a line that the controller has not planned yet."""
    rig = at_home()
    rig.move("30")
    rig.pump(after)
    before = rig.reads
    rig.halt()
    assert isinstance(rig.until(Halted, Lost), Halted)
    assert rig.reads - before <= 1.0
    stood = rig.reads
    rig.pump(2)
    assert rig.reads == stood


def test_a_halt_on_the_way_home_resets_and_homes_again() -> None:
    rig = there(at_home(), "20")
    rig.home()
    rig.pump(1.5)
    rig.halt()
    lost = rig.until(Lost, Homed)
    assert isinstance(lost, Lost) and lost.why is Doubt.HALTED
    assert not rig.controller.moving and rig.protocol.position is None
    rig.home()
    assert isinstance(rig.until(Homed, Lost), Homed)
    there(rig, "20")
    assert rig.reads == pytest.approx(20, abs=STEP)


def test_a_program_that_was_stopped_does_not_go_on() -> None:
    rig = moving(at_home())
    rig.now += 3  # neither bytes nor time came to it
    rig.pump()
    stood = rig.reads
    assert isinstance(rig.until(Halted, Lost), Halted)
    rig.pump(3)
    assert rig.reads == stood


# --- home


def test_the_visit_of_an_untouched_carriage_finds_nothing() -> None:
    rig = there(at_home(), "20")
    rig.home(visit=True)
    homed = rig.until(Homed, Lost)
    assert isinstance(homed, Homed) and homed.off_by == 0 and not homed.beyond
    assert rig.controller.stored == 0
    there(rig, "20")
    assert rig.reads == pytest.approx(20, abs=STEP)


@pytest.mark.parametrize("seed", range(20))
def test_the_visit_counts_the_switchs_scatter_both_ways(seed: int) -> None:
    """0.01 mm at each of two closings; half of the visits close below where homing found the switch."""
    rig = there(at_home(scatter=0.01, hysteresis=0.2, seed=seed), "20")
    rig.home(visit=True)
    homed = rig.until(Homed, Lost)
    assert isinstance(homed, Homed) and homed.off_by is not None
    assert abs(homed.off_by) <= F(2, 100) + F(FINE) and not homed.beyond
    assert rig.controller.settings[130] == 300


@pytest.mark.parametrize("by", [0.3, 0.1, 0.5, -0.1, -0.3, -1.0, -5.0])
def test_the_visit_tells_by_how_much_a_carriage_was_moved(by: float) -> None:
    """Put up by 0.3 mm, it had said that it stands 0.3 mm below its true place: -0.3."""
    rig = there(at_home(hysteresis=0.1), "20")
    rig.controller.screw.put(rig.reads + by)
    rig.home(visit=True)
    homed = rig.until(Homed, Lost)
    assert isinstance(homed, Homed) and homed.off_by is not None and not homed.beyond
    assert float(homed.off_by) == pytest.approx(-by, abs=FINE)
    assert rig.controller.settings[130] == 300
    assert rig.controller.stored == (2 if by > 0 else 0)


def test_the_visit_tells_of_lost_steps() -> None:
    """Going up, 40 of 400 steps a millimetre: it says that it stands 0.1 mm higher than it does."""
    rig = at_home()
    rig.controller.screw.losing = 40
    there(rig, "20")
    rig.home(visit=True)
    homed = rig.until(Homed, Lost)
    assert isinstance(homed, Homed) and homed.off_by is not None
    assert float(homed.off_by) == pytest.approx(0.1, abs=FINE)


def test_a_switch_farther_off_than_can_be_counted() -> None:
    rig = there(at_home(), "20")
    rig.controller.screw.put(rig.reads + 2)
    rig.home(visit=True)
    homed = rig.until(Homed, Lost)
    assert isinstance(homed, Homed) and homed.beyond and homed.off_by is not None
    assert -ROOM <= homed.off_by <= -ROOM + F(1, 100)
    assert rig.controller.settings[130] == 300


def test_the_visit_comes_off_the_switch_by_more_than_the_play() -> None:
    """A carriage that was moved down meets the switch early, and follows the screw up only after 4 mm."""
    controller = Simulated(Screw(play=4, home_at=-1.0), {27: 5})
    rig = Rig(controller, carriage(backlash=F(4)))
    rig.begin()
    assert rig.protocol.faults == []
    rig.home()
    rig.until(Homed)
    there(rig, "20")
    rig.controller.screw.put(rig.reads - 1)
    rig.home(visit=True)
    homed = rig.until(Homed, Lost)
    assert isinstance(homed, Homed) and homed.off_by is not None and not homed.beyond
    assert float(homed.off_by) == pytest.approx(1, abs=FINE)


def test_a_switch_that_is_closed_where_it_cant_be() -> None:
    rig = there(at_home(), "20")
    rig.controller.screw.switch = "stuck closed"
    rig.home(visit=True)
    lost = rig.until(Homed, Lost)
    assert isinstance(lost, Lost) and lost.why is Doubt.SWITCH


def test_a_travel_left_raised_is_put_back_at_the_next_start() -> None:
    """A program that was killed while it counted beyond the switch."""
    controller = Simulated(Screw(play=0.08, home_at=-1.0), {130: 300.517})
    rig = Rig(controller)
    rig.begin()
    assert rig.protocol.faults == [] and controller.settings[130] == pytest.approx(300)
    rig.home()
    rig.until(Homed)
    there(rig, "20")
    assert rig.reads == pytest.approx(20, abs=STEP)


def test_a_controller_whose_settings_are_others_after_a_reset_is_not_homed() -> None:
    """With its memory damaged it starts with its defaults, and counts other steps a millimetre."""
    rig = there(at_home(), "20")
    rig.controller.settings[100] = 250
    rig.controller.reset_button()
    rig.until(Lost)
    sent = len(rig.controller.sent)
    rig.home()
    lost = rig.until(Homed, Lost)
    assert isinstance(lost, Lost) and "$100" in lost.text and "kerfcall carriage configure" in lost.text
    assert "$H" not in rig.controller.sent[sent:]
    rig.controller.settings[100] = 400
    rig.home()
    rig.until(Homed)
    there(rig, "20")
    assert rig.reads == pytest.approx(20, abs=STEP)


def test_a_motor_that_is_off_between_moves_since_a_reset_does_not_hold_up_a_session_that_visits_its_switch() -> None:
    rig = there(at_home(), "20")
    rig.controller.settings[1] = 25
    rig.controller.reset_button()
    rig.until(Lost)
    rig.home()
    rig.until(Homed)
    controller = rig.protocol.controller
    assert controller is not None and not faults(carriage(), controller, begun=True)
    for of, begun in ((carriage(), False), (carriage(drive={"home": HomeKind.BY_HAND}), True)):
        assert "controller: $1" in [fault.where for fault in faults(of, controller, begun)]


@pytest.mark.parametrize("after", [n / 4 for n in range(30)])
def test_a_visit_that_is_halted_puts_the_travel_back(after: float) -> None:
    rig = there(at_home(), "5")
    rig.controller.screw.put(rig.reads + 2)
    rig.home(visit=True)
    rig.pump(after)
    rig.halt()
    assert isinstance(rig.until(Halted, Homed, Lost), Halted | Homed)
    assert rig.controller.settings[130] == 300


def test_a_build_that_homes_another_axis_first_is_named() -> None:
    """Of `config.h`, as the firmware has it: HOMING_CYCLE_0 is Z, HOMING_CYCLE_1 is X and Y."""
    rig = Rig(Simulated(Screw(home_at=-1.0), stock=True))
    rig.begin()
    rig.home()
    lost = rig.until(Lost, Homed)
    assert isinstance(lost, Lost) and lost.why is Doubt.SWITCH
    assert "HOMING_CYCLE_0 (1<<X_AXIS)" in lost.text and "HOMING_CYCLE_1" in lost.text


@pytest.mark.parametrize("options", ["VH", "V"])
def test_a_build_that_can_homes_this_axis_alone(options: str) -> None:
    """The line that other builds take badly: they stay in homing until a reset."""
    rig = Rig(Simulated(Screw(home_at=-1.0), options=options))
    rig.begin()
    rig.home()
    rig.until(Homed)
    assert ("$HX" in rig.controller.sent) == ("H" in options)


@pytest.mark.parametrize(("switch", "alarm"), [("stuck open", "not found"), ("stuck closed", "closed")])
def test_a_switch_that_fails_while_homing(switch: str, alarm: str) -> None:
    # A short travel: of a long one the firmware searches 1.5 times for longer than it is given.
    controller = Simulated(Screw(home_at=-1.0, start=5), {130: 100})
    rig = Rig(controller, carriage(travel=(F(-1), F(90))))
    rig.begin()
    rig.controller.screw.switch = switch
    rig.home()
    lost = rig.until(Lost, Homed)
    assert isinstance(lost, Lost) and lost.why is Doubt.SWITCH and alarm in lost.text
    rig.controller.screw.switch = "works"
    rig.controller.screw.put(5.0)  # it was pressed into its end, beyond the switch
    rig.home()
    assert isinstance(rig.until(Homed, Lost), Homed)


def test_home_by_hand_takes_the_place_for_zero() -> None:
    shop = carriage(drive={"home": "by hand", "home_reads": F(0)})
    rig = Rig(Simulated(Screw(start=7.0, play=0.08), {20: 0, 22: 0, 23: 0}), shop)
    rig.begin()
    assert rig.protocol.faults == []
    rig.home()
    assert isinstance(rig.until(Homed, Lost), Homed)
    assert rig.protocol.position == 0
    there(rig, "12.5")
    assert rig.reads == pytest.approx(19.5, abs=STEP)


# --- doubt


def test_two_orders_at_once_are_both_lost() -> None:
    rig = moving(at_home())
    rig.move("10")
    lost = rig.until(Lost, Arrived)
    assert isinstance(lost, Lost)
    rig.pump(3)
    assert not rig.controller.moving and rig.protocol.position is None


def test_a_move_of_a_carriage_that_was_never_homed() -> None:
    rig = Rig()
    rig.begin()
    rig.move("10")
    assert isinstance(rig.until(Lost, Arrived), Lost)


def test_a_loss_is_reported_once_while_it_stands() -> None:
    rig = at_home()
    rig.controller.reset_button()
    rig.pump(5)
    assert [event.why for event in rig.lost] == [Doubt.RESET]


def test_a_controller_that_goes_silent_at_rest_is_lost() -> None:
    rig = there(at_home(), "20")
    rig.pump(5)
    assert rig.lost == []
    rig.controller.take = lambda data, at: b""  # type: ignore[method-assign]
    lost = rig.until(Lost, within_s=5)
    assert isinstance(lost, Lost) and lost.why is Doubt.SILENT


def test_the_sled_is_followed_while_the_place_is_unknown() -> None:
    rig = at_home()
    rig.controller.reset_button()
    rig.pump(3)
    rig.controller.sled(True)
    rig.pump(0.5)
    assert any(isinstance(event, SledMoved) and not event.clear for event in rig.events)


def test_no_text_of_a_loss_holds_cut_or_ready() -> None:
    folder = Path(assistant.carriage.__file__).parent
    for path in folder.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Raise) or isinstance(node, ast.Assign) and "text" in ast.unparse(node.targets[0]):
                words = ast.unparse(node).lower()
                assert " cut" not in words and "ready" not in words, f"{path.name}:{node.lineno}"
