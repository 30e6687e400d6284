"""`calibrate --drive`: a motor brings the carriage to each place, and what is measured there is what it truly is."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.plans.shop_file import read_shop
from tests.commands.drive_rig import Bench, ended, until

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")
YES_NO = "Type yes or no"


@pytest.fixture(autouse=True)
def alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("KERFCALL_RUNTIME_DIR", str(tmp_path / "run"))


@pytest.fixture
def benches(tmp_path: Path) -> Iterator[Callable[[Screw], Bench]]:
    made: list[Bench] = []

    def make(screw: Screw) -> Bench:
        made.append(Bench(tmp_path, Simulated(screw)))
        return made[-1]

    yield make
    for bench in made:
        bench.close()


def let(child: Any) -> None:
    child.expect(YES_NO)
    child.sendline("yes")


def measure(child: Any, bench: Bench, what: str, off: float = 0.0) -> list[str]:
    """Let each move, answer each question with what a caliper shows there, and give the places that were asked for."""
    asked = []
    while True:
        # A move, a place, or, when all are measured, whether to write the value.
        found = child.expect([r"Start it\? Type yes or no", rf"([\d.]+ mm(?: down)?), {what}: ", "Write .*yes or no"])
        if found == 2:
            return asked
        if found == 0:
            child.sendline("yes")
        else:
            asked.append(child.match[1])
            child.sendline(f"{bench.screw.at + off:.2f}")


def test_the_screw_is_measured_where_the_motor_brings_it(benches: Any, tmp_path: Path) -> None:
    bench = benches(Screw(steps_per_mm=399, play=0.08, home_at=-1.0))
    with bench.spawned("calibrate", "screw", "--drive", "--shop", "shop.toml") as child:
        child.expect_exact("Unplug the saw.")
        let(child)
        child.expect_exact("Homed.")
        asked = measure(child, bench, "how far the carriage stands from one fixed point", off=12.3)
        child.sendline("yes")
        assert ended(child)[0] == 0
    assert len(asked) == 10
    carriage = read_shop(tmp_path / "shop.toml").carriage
    assert float(1 / carriage.resolution) == pytest.approx(399, rel=2e-4)


@pytest.mark.long
def test_the_play_is_measured_from_both_sides(benches: Any, tmp_path: Path) -> None:
    bench = benches(Screw(play=0.31, home_at=-1.0))
    with bench.spawned("calibrate", "backlash", "--drive", "--shop", "shop.toml") as child:
        let(child)
        child.expect_exact("Homed.")
        asked = measure(child, bench, "what the dial gauge on the carriage shows")
        child.sendline("yes")
        assert ended(child)[0] == 0
    assert [place.endswith(" down") for place in asked] == [False, True] * 4
    assert all(re.sub(" down", "", one) == other for one, other in zip(asked[1::2], asked[::2], strict=True))
    assert float(read_shop(tmp_path / "shop.toml").carriage.backlash) == pytest.approx(0.31, abs=0.01)


def test_what_was_measured_before_a_loss_is_given_back(benches: Any) -> None:
    bench = benches(Screw(play=0.08, home_at=-1.0))
    with bench.spawned("calibrate", "zero", "--drive", "--shop", "shop.toml") as child:
        let(child)
        let(child)
        child.expect(r"([\d.]+ mm), from the face of the stop to the near side of a tooth: ")
        first = child.match[1]
        child.sendline("9.82")
        child.expect(YES_NO)
        at = bench.screw.at
        child.sendline("yes")
        until(lambda: bench.screw.at > at + 1)
        bench.terminal.start()
        code, text = ended(child)
    assert code == 3 and "Your readings are not lost" in text and f"'{first}=9.82'" in text
    assert "Home it again." in text


def test_leaving_moves_no_more_and_keeps_the_readings(benches: Any) -> None:
    bench = benches(Screw(play=0.08, home_at=-1.0))
    with bench.spawned("calibrate", "screw", "--drive", "--shop", "shop.toml") as child:
        child.expect(YES_NO)
        child.sendline("no")
        code, text = ended(child)
    assert code == 2 and "reading" in text
    assert bench.moves_sent == []


def test_what_does_not_go_with_it_is_said_at_once(benches: Any, tmp_path: Path) -> None:
    bench = benches(Screw(play=0.08, home_at=-1.0))
    words = ("calibrate", "screw", "--drive", "--plan", "b.toml", "--json", "--shop")
    done = bench.workshop.run(*words, "shop.toml")
    assert done.code == 2 and "--plan" in done.err and "--json" in done.err
    bench.workshop.write("hand.toml", "[blade]\nkerf = 3\n")
    done = bench.workshop.run("calibrate", "screw", "--drive", "--shop", "hand.toml")
    assert done.code == 2 and "the carriage is set by hand" in done.err
    done = bench.workshop.run("calibrate", "screw", "--drive", "--shop", "shop.toml")
    assert done.code == 3 and "at a terminal" in done.err
    assert not (tmp_path / "b.toml").exists() and bench.controller.sent == []
