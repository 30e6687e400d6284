"""The whole program with a motor on the screw: a real process in a real terminal, on a simulated controller's line."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.journal.store import Journal
from tests.carriage.simulated_line import Terminal
from tests.screens.view_rig import Rig, program

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals as on POSIX systems")
PLAN = """title = "Test tray"
unit = "mm"
[stock]
width = 30
thickness = 10
[joint]
layout = "even"
finger = 6
[[boards]]
name = "side"
part = "A"
[[boards]]
name = "end"
part = "B"
"""
SHOP = """unit = "mm"
[blade]
kerf = 3.18
run_down_s = 0
[carriage]
kind = "readout"
{travel}
backlash = 0.05
[carriage.drive]
port = "{port}"
home_reads = -3
clear_input = true
steps_per_mm = 400
[pedal]
pass_takes_s = 1
"""
FEED, WITHIN_S = 10.0, 0.5  # mm/s; what may be under way when the program ends, s


class Bench:
    """A simulated carriage behind a pseudo-terminal, and the program at another. first: the first pass's setting."""

    first = 9.16

    def __init__(self, folder: Path, travel: str = "travel = [0, 300]", **settings: float):
        """travel: a line of the shop file. settings: of the controller, "_1" for $1."""
        self.folder, self.travel = folder, travel
        screw = Screw(400, 14.0, 0.05, (-6.0, 306.0), -3.0)
        self.controller = Simulated(screw, {130: 305.0, **{int(key[1:]): value for key, value in settings.items()}})
        self.line = Terminal(self.controller)
        self.rig = Rig(self.command(), 100, 30)

    def command(self) -> list[str]:
        shop = SHOP.format(port=self.line.path, travel=self.travel)
        return program(self.folder, "--no-test-joint", plan=PLAN, shop=shop)

    @property
    def at(self) -> float:
        with self.line.at_rest:
            return self.controller.screw.at

    @property
    def has_begun(self) -> bool:
        with self.line.at_rest:
            return "$H" in self.controller.sent

    def let_it_go_home(self) -> None:
        """As somebody without a pedal does: asked for by a key, and answered by another."""
        self.rig.until("HANDS OFF", "Hold the pedal down", within_s=60)
        while "Start it?" not in self.rig.screen.text:
            self.rig.send("h")
            self.rig.read(1.0)
        while not self.has_begun:
            self.rig.read(1.3)  # it must have been shown for a while
            if not self.has_begun:  # a key would halt it
                self.rig.send("y")
            self.rig.read(0.3)

    def on_its_way_up(self) -> None:
        """Homed, and a millimetre or more on the way to the first setting."""
        while not (self.controller.state == "Jog" and 1.0 < self.at < 6.0):
            self.rig.read(0.01)

    def stands_still(self) -> float:
        """Where it stands once it has stopped."""
        before, place = None, self.at
        while before != place:
            time.sleep(0.15)
            before, place = place, self.at
        return place

    def close(self) -> None:
        self.rig.close()
        self.line.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path)
    yield made
    made.close()


def test_it_goes_home_and_stands_at_the_first_setting_before_the_board_is_named(bench: Bench) -> None:
    bench.let_it_go_home()
    bench.rig.until("side, part A, end 1", "against the left stop", within_s=60)
    assert abs(bench.at - bench.first) <= 1 / 400
    bench.rig.send("q")
    assert bench.rig.ended(60) == 1
    with Journal.open_to_read(bench.folder / "state") as journal:
        kinds = [record.fact.kind for record in journal.replay(journal.sessions()[0].id)]
    begun = ["started", "test_joint_skipped", "setup_started"]
    assert kinds[:7] == [*begun, "move_asked", "homed", "move_asked", "moved"]


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP])
def test_a_program_that_dies_or_is_stopped_leaves_half_a_second_of_travel_at_the_most(
    bench: Bench, how: signal.Signals
) -> None:
    """Homing is one order of the controller's own; of everything else only a piece is on its way."""
    bench.let_it_go_home()
    bench.on_its_way_up()
    at = bench.at
    os.kill(bench.rig.process.pid, how)
    stood = bench.stands_still()
    assert at - 0.1 <= stood <= at + FEED * (WITHIN_S + 0.1), "one more look at it may be a tenth of a second old"
    bench.rig.process.kill()


def test_a_key_halts_it_and_means_nothing_else(bench: Bench) -> None:
    bench.let_it_go_home()
    bench.on_its_way_up()
    bench.rig.send("q")  # any key, even one that would leave
    bench.rig.until("HALTED", within_s=30)
    assert bench.stands_still() < bench.first and bench.rig.process.poll() is None


def test_it_refuses_to_drive_a_controller_that_is_set_up_otherwise(tmp_path: Path) -> None:
    bench = Bench(tmp_path, _1=25, _100=250.0, _20=0)
    try:
        assert bench.rig.ended(60) == 2
        text = " ".join(bench.rig.sent.decode().split())
        assert "$1" in text and "$100" in text and "$20" in text and "kerfcall carriage configure" in text
        assert "Traceback" not in text
        assert not any(line.startswith("$J") or line == "$H" for line in bench.controller.sent)
    finally:
        bench.close()


def test_a_board_beyond_the_controllers_travel_is_refused_before_anything_moves(tmp_path: Path) -> None:
    bench = Bench(tmp_path, travel="", _130=20.0)
    try:
        assert bench.rig.ended(60) == 2
        text = " ".join(bench.rig.sent.decode().split())
        assert "lies outside what the motion controller's travel allows" in text and "--no-drive" in text
        assert not any(line.startswith("$J") or line == "$H" for line in bench.controller.sent)
    finally:
        bench.close()
