"""Moves at a real pseudo-terminal, as `carriage` asks for them, against a simulated controller behind another.

At the end: where a move may go and from which side, with a drive that does at once what it is given.
"""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest

from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.errors import BadInput
from assistant.plans.model import Shop
from assistant.runner.contracts import Post
from assistant.runner.held_moves import HeldMoves, MovesTerminal, setting_typed
from assistant.session.events import Arrived, Homed
from tests.commands.drive_rig import SHOP, Bench, ended, until
from tests.pedal.xserver import XServer, needs_x
from tests.plans.files import shop_of
from tests.sampling import every

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")
HALF_STEP = 0.5 / 400
YES_NO = "Type yes or no"
LIFTED = ("sleep", "0.3")
"""Longer than contacts bounce."""


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    monkeypatch.setenv("KERFCALL_RUNTIME_DIR", str(tmp_path / "run"))
    bench = Bench(tmp_path)
    yield bench
    bench.close()


def go(*words: str) -> tuple[str, ...]:
    return ("carriage", "go", *words, "--shop", "shop.toml")


def test_without_a_pedal_each_move_is_a_question_and_yes(bench: Bench) -> None:
    with bench.spawned(*go("15.441")) as child:
        child.expect_exact("The nearest setting is 15.44 mm.")
        child.expect_exact("Saw off, blade still, hands off")
        child.expect_exact("down to the home switch")
        child.expect(YES_NO)
        assert bench.moves_sent == []
        child.sendline("yes")
        child.expect("Homed")
        child.expect_exact("up to 15.44 mm; any key halts it")
        child.expect(YES_NO)
        homed = bench.moves_sent
        assert len(homed) == 1 and homed[0].startswith("$H")
        child.sendline("yes")
        child.expect_exact("Standing at 15.44 mm.")
        code, text = ended(child)
    assert code == 0 and "each session begins by homing" in text
    assert abs(bench.screw.at - 15.44) <= HALF_STEP
    assert all(line.startswith("$J=") and "G53" in line for line in bench.moves_sent[1:])


def test_an_answer_typed_before_the_question_starts_nothing(bench: Bench) -> None:
    with bench.spawned(*go("20")) as child:
        child.sendline("yes")
        child.expect(YES_NO)
        child.sendline("no")
        code, text = ended(child)
    assert code == 1 and "Left" in text
    assert bench.moves_sent == []


@pytest.mark.parametrize("key", every(2, ["\x1a", "\x1c", "x", "\x1b[6~"]), ids=repr)
def test_any_key_halts(bench: Bench, key: str) -> None:
    """Those that would stop or end a program at a terminal too: stopped, it could halt nothing more."""
    with bench.spawned(*go("200")) as child:
        for _ in range(2):
            child.expect(YES_NO)
            child.sendline("yes")
        until(lambda: bench.screw.at > 8)
        child.send(key)
        child.expect_exact("alted at")
        at = bench.screw.at
        assert 8 < at < 100
        if key != "\x1c":
            child.expect(YES_NO)
            child.sendline("no")
        code, _ = ended(child)
    assert code == (130 if key == "\x1c" else 1)
    assert bench.screw.at == at, "it went on after the halt"


def test_ctrl_c_halts_and_leaves(bench: Bench) -> None:
    with bench.spawned(*go("200")) as child:
        for _ in range(2):
            child.expect(YES_NO)
            child.sendline("yes")
        until(lambda: bench.screw.at > 8)
        child.send("\x03")
        child.expect_exact("stopped with Ctrl-C: Halted at")
        at = bench.screw.at
        code, _ = ended(child)
    assert code == 130 and bench.screw.at == at < 100


@pytest.mark.parametrize("number", every(3, [signal.SIGTERM, signal.SIGHUP, signal.SIGINT]))
def test_what_ends_the_program_halts_the_carriage(bench: Bench, number: int) -> None:
    with bench.spawned(*go("200")) as child:
        for _ in range(2):
            child.expect(YES_NO)
            child.sendline("yes")
        until(lambda: bench.screw.at > 8)
        child.kill(number)
        ended(child)
    at = bench.screw.at
    assert 8 < at < 100 and not bench.controller.moving


@pytest.mark.parametrize("number", every(2, [signal.SIGKILL, signal.SIGSTOP]))
def test_a_dead_or_stopped_program_leaves_half_a_second_of_travel(bench: Bench, number: int) -> None:
    """At 600 mm/min that is 5 mm, and a quarter of one to stop from there at 200 mm/s2."""
    with bench.spawned(*go("200")) as child:
        for _ in range(2):
            child.expect(YES_NO)
            child.sendline("yes")
        until(lambda: bench.screw.at > 8)
        child.kill(number)
        at = bench.screw.at
        until(lambda: not bench.controller.moving)
        assert bench.screw.at - at <= 5.25
        stands = bench.screw.at
        if number == signal.SIGSTOP:
            threading.Event().wait(1)  # a shorter one is a hiccup, which a machine that is busy has too
            child.kill(signal.SIGCONT)
            child.expect_exact("Halted at")
            child.expect(YES_NO)
            child.sendline("no")
        ended(child)
    assert bench.screw.at == stands


def test_halted_on_the_way_home_it_asks_to_home_again(bench: Bench) -> None:
    bench.screw.put(150.0)
    with bench.spawned("carriage", "home", "--shop", "shop.toml") as child:
        child.expect(YES_NO)
        child.sendline("yes")
        until(lambda: bench.screw.at < 149)
        child.send(" ")
        child.expect_exact("Halted on the way to the home switch")
        at = bench.screw.at
        child.expect_exact("down to the home switch")
        child.expect(YES_NO)
        assert bench.screw.at == at > 100
        child.sendline("no")
        code, _ = ended(child)
    assert code == 1


def test_a_sled_that_is_away_is_said_and_moves_nothing(bench: Bench) -> None:
    with bench.spawned(*go("20")) as child:
        child.expect(YES_NO)
        child.sendline("yes")
        child.expect("Homed")
        child.expect(YES_NO)
        homed, at = bench.moves_sent, bench.screw.at
        bench.sled(away=True)
        child.sendline("yes")
        child.expect_exact("Nothing moved: the sled is not drawn right back.")
        child.expect(YES_NO)
        bench.sled(away=False)
        assert bench.moves_sent == homed and bench.screw.at == at
        child.sendline("yes")
        child.expect_exact("Standing at 20 mm.")
        assert ended(child)[0] == 0


def test_a_lost_place_is_said_with_its_mend(bench: Bench) -> None:
    with bench.spawned(*go("200")) as child:
        for _ in range(2):
            child.expect(YES_NO)
            child.sendline("yes")
        until(lambda: bench.screw.at > 8)
        bench.terminal.start()
        code, text = ended(child)
    assert code == 3 and "Standing" not in text and "home" in text.lower()


def test_home_by_hand_says_what_to_do_and_takes_it_for_zero(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("KERFCALL_RUNTIME_DIR", str(tmp_path / "run"))
    shop = SHOP.replace("home_reads = -1", 'home = "by hand"').replace("travel = [-1, 290]", "travel = [0, 290]")
    bench = Bench(tmp_path, Simulated(Screw(play=0.08, start=0.0), settings={20: 0, 22: 0}), shop)
    try:
        with bench.spawned(*go("12")) as child:
            child.expect_exact("Switch the motor's supply off.")
            child.expect_exact("the bar out and the motor on?")
            assert bench.moves_sent == []
            child.sendline("yes")
            child.expect_exact("Zero is set.")
            child.expect_exact("up to 12 mm")
            child.expect(YES_NO)
            assert bench.moves_sent == []
            child.sendline("yes")
            child.expect_exact("Standing at 12 mm.")
            assert ended(child)[0] == 0
        assert abs(bench.screw.at - 12) <= HALF_STEP
    finally:
        bench.close()


@needs_x
def test_a_pedal_holds_the_move_and_letting_go_halts_it(bench: Bench) -> None:
    x = XServer()
    try:
        with bench.spawned(*go("60"), DISPLAY=x.display) as child:
            child.expect_exact("Hold the pedal down until it stands: down to the home switch")
            x.key("Next")  # a tap
            child.expect_exact("Nothing moves by that.")
            assert bench.moves_sent == []
            x.down("Next")
            child.expect("Homed")
            child.expect_exact("Hold the pedal down until it stands: up to 60 mm")
            # Still down from before: the press that homed it moves nothing else.
            homed = bench.moves_sent
            x.xdotool("keyup", "Next", *LIFTED, "keydown", "Next")
            until(lambda: bench.screw.at > 8)
            x.up("Next")
            child.expect_exact("Halted at")
            at = bench.screw.at
            child.expect_exact("Hold the pedal down until it stands: up to 60 mm")
            assert 8 < at < 50 and len(homed) == 1
            x.down("Next")
            until(lambda: bench.screw.at > at + 1)
            child.send("x")
            child.expect_exact("Halted at")
            at = bench.screw.at
            child.expect_exact("Hold the pedal down until it stands: up to 60 mm")
            x.xdotool("keyup", "Next", *LIFTED)
            assert bench.screw.at == at
            x.down("Next")
            child.expect_exact("Standing at 60 mm.")
            x.up("Next")
            assert ended(child)[0] == 0
        assert abs(bench.screw.at - 60) <= HALF_STEP
    finally:
        x.end()


@needs_x
def test_a_pedal_that_is_lost_halts_what_it_holds(bench: Bench) -> None:
    x = XServer()
    try:
        with bench.spawned(*go("60"), DISPLAY=x.display) as child:
            child.expect_exact("Hold the pedal down")
            x.down("Next")
            child.expect("Homed")
            child.expect_exact("Hold the pedal down")
            x.xdotool("keyup", "Next", *LIFTED, "keydown", "Next")
            until(lambda: bench.screw.at > 8)
            x.end()
            child.expect_exact("Halted at")
            at = bench.screw.at
            child.expect(YES_NO)
            child.sendline("no")
            assert ended(child)[0] == 1
    finally:
        x.end()
    assert bench.screw.at == at < 60


@needs_x
def test_a_press_that_began_before_it_was_asked_lets_nothing_move(bench: Bench) -> None:
    x = XServer()
    try:
        with bench.spawned(*go("60"), DISPLAY=x.display) as child:
            child.expect_exact("asked for its settings")
            x.down("Next")
            child.expect_exact("Hold the pedal down until it stands")
            x.xdotool("keyup", "Next", *LIFTED)
            x.key("Next")
            child.expect_exact("Nothing moves by that.")
            # Nor is it asked of the controller, which would have been too late.
            assert "Nothing moved" not in child.before and bench.moves_sent == []
            child.send("q")
            assert ended(child)[0] == 1
    finally:
        x.end()


# With a drive that does at once what it is given


class ObedientDrive:
    """moves: (setting, the point to come to it from) of each move, mm. position: where it says that it stands."""

    def __init__(self) -> None:
        self.post: Post | None = None
        self.position: Fraction | None = None
        self.reach: tuple[Fraction, Fraction] | None = None
        self.moves: list[tuple[Fraction, Fraction]] = []
        self.halts = 0
        self.moving = False

    def look(self, id: str) -> None: ...

    def home(self, id: str, visit: bool, pressed_at: float, held: bool) -> None:
        assert self.post is not None
        self.post(Homed(pressed_at, "", id, None, False))

    def move_to(self, id: str, setting: Fraction, approach: Fraction, pressed_at: float, held: bool) -> None:
        assert self.post is not None
        self.moves.append((setting, approach))
        self.post(Arrived(pressed_at, "", id, setting))

    def halt(self) -> bool:
        self.halts += 1
        return True

    def pressed(self) -> bool:
        return self.halt()

    def released(self) -> None: ...

    def close(self) -> None: ...


class SilentTerminal:
    """Neither keys nor lines."""

    def __enter__(self) -> SilentTerminal:
        return self

    def __exit__(self, *_: object) -> None: ...

    def wait(self, within_s: float) -> list[str]:
        return []

    def put(self, text: str) -> None: ...

    def close(self) -> None: ...


YES_MAN = MovesTerminal(
    is_there=lambda: True,
    say=lambda line: None,
    agreed=lambda question: True,
    forget_typing=lambda: None,
    keys=lambda pedal: SilentTerminal(),
    lines=SilentTerminal,
)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return shop_of(tmp_path, SHOP.format(port="/dev/ttyUSB0"))


@pytest.fixture
def drive() -> ObedientDrive:
    return ObedientDrive()


@pytest.fixture
def moves(shop: Shop, drive: ObedientDrive) -> Iterator[HeldMoves]:
    def made(clock: object, post: Post, down: object, tick: object) -> ObedientDrive:
        drive.post = post
        return drive

    with HeldMoves(shop, YES_MAN, made, None, "") as moves:
        yield moves


def test_a_setting_may_lie_at_either_end_of_the_travel_and_no_farther(shop: Shop) -> None:
    assert (setting_typed("-1", shop), setting_typed("290", shop)) == (-1, 290)
    for beyond in ("-1.0025", "290.0025"):
        with pytest.raises(BadInput, match="outside the carriage's travel.*give -1 mm to 290 mm"):
            setting_typed(beyond, shop)


def test_nothing_moves_to_where_the_controllers_travel_does_not_reach(moves: HeldMoves, drive: ObedientDrive) -> None:
    drive.reach = (Fraction(0), Fraction(100))
    for beyond in ("-1", "100.0025"):
        with pytest.raises(BadInput, match="outside the controller's travel.*give 0 mm to 100 mm"):
            moves.go(Fraction(beyond))
    assert drive.moves == []
    assert moves.go(Fraction(0)) and moves.go(Fraction(100)), "its ends it reaches"


@pytest.mark.parametrize("stands", ["10", "20", "30", None])
def test_wherever_it_seems_to_stand_it_comes_up_to_a_setting_from_below(
    moves: HeldMoves, drive: ObedientDrive, stands: str | None
) -> None:
    """Nobody knows on which side the screw's play lies: half a millimetre and the play below, as for any setting."""
    drive.position = None if stands is None else Fraction(stands)
    assert moves.go(Fraction(20))
    assert drive.moves == [(20, Fraction("19.42"))]


def test_without_room_above_it_play_is_not_measured_at_a_setting(moves: HeldMoves, drive: ObedientDrive) -> None:
    with pytest.raises(BadInput, match="no room to come down to it.*290 mm"):
        moves.go(Fraction(290), down=True)
    assert drive.moves == []
    assert moves.go(Fraction(288), down=True) and drive.moves[0][1] > 288


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT", "SIGTSTP"])
def test_every_signal_that_ends_or_stops_a_program_halts_the_carriage_first(
    moves: HeldMoves, drive: ObedientDrive, name: str
) -> None:
    number = getattr(signal, name)
    assert callable(signal.getsignal(number)), "else it would end the tests as well"
    signal.raise_signal(number)
    assert drive.halts == 1
