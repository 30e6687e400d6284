"""`kerfcall carriage` at a real pseudo-terminal, against a simulated controller behind another."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from tests.commands.drive_rig import Bench, ended

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")
YES_NO = "Type yes or no"


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    monkeypatch.setenv("KERFCALL_RUNTIME_DIR", str(tmp_path / "run"))
    bench = Bench(tmp_path)
    yield bench
    bench.close()


def go(*words: str) -> tuple[str, ...]:
    return ("carriage", "go", *words, "--shop", "shop.toml")


def test_where_says_what_the_controller_says_and_moves_nothing(bench: Bench) -> None:
    done = bench.workshop.run("carriage", "where", "--json", "--shop", "shop.toml")
    assert done.code == 0, done.err
    found = json.loads(done.out)
    assert found["state"] == "Alarm" and found["reading_mm"] is None and found["faults"] == []
    assert found["home_switch_closed"] is False and found["clear"] is True and found["firmware"].startswith("1.1")
    bench.sled(away=True)
    done = bench.workshop.run("carriage", "where", "--shop", "shop.toml")
    assert done.code == 0 and "closed, so the sled is away" in done.out
    assert bench.moves_sent == []


def test_nobody_at_a_terminal_moves_nothing(bench: Bench) -> None:
    for words in (("home",), ("go", "20"), ("configure",)):
        done = bench.workshop.run("carriage", *words, "--shop", "shop.toml")
        assert done.code == 3 and "at a terminal" in done.err and "To fix it" in done.err
    assert bench.controller.sent == []


def test_every_fault_at_once_before_the_line_is_opened(bench: Bench) -> None:
    done = bench.workshop.run("carriage", "go", "400", "--shop", "shop.toml")
    assert done.code == 2 and "give -1 mm to 290 mm" in done.err
    bench.workshop.write("shop.toml", "[blade]\nkerf = 3\n")
    done = bench.workshop.run("carriage", "go", "here", "--shop", "shop.toml")
    assert done.code == 2 and "SETTING" in done.err and "the carriage is set by hand" in done.err
    assert "[carriage.drive]" in done.err


def test_two_processes_never_drive_one_carriage(bench: Bench) -> None:
    with bench.spawned(*go("20")) as child:
        child.expect(YES_NO)
        for part in ("where", "home", "configure"):
            with bench.spawned("carriage", part, "--shop", "shop.toml") as other:
                code, text = ended(other)
            assert code == 3 and "kerfcall carriage go" in text and "another live session" in text
        child.sendline("no")
        assert ended(child)[0] == 1


def test_configure_shows_asks_and_stores_one_at_a_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("KERFCALL_RUNTIME_DIR", str(tmp_path / "run"))
    bench = Bench(tmp_path, Simulated(Screw(play=0.08, home_at=-1.0), settings={1: 25, 100: 250, 10: 2}))
    try:
        with bench.spawned("carriage", "configure", "--shop", "shop.toml") as child:
            child.expect_exact("3 to change.")
            child.expect_exact("$100 is 250, new 400: the shop file's steps a millimetre.")
            child.expect(YES_NO)
            assert bench.controller.settings[100] == 250
            child.sendline("yes")
            child.expect_exact("Stored: $100 = 400.")
            child.expect_exact("$1 is 25, new 255")
            child.expect(YES_NO)
            assert bench.controller.settings[100] == 400
            child.sendline("no")
            child.expect(r"\$10 is 2, new 3")
            child.expect(YES_NO)
            child.sendline("yes")
            child.expect_exact("To put right: controller: $1")
            assert ended(child)[0] == 1
        assert (bench.controller.settings[1], bench.controller.settings[10]) == (25, 3)
        assert bench.moves_sent == []
        with bench.spawned("carriage", "configure", "--shop", "shop.toml") as child:
            child.expect_exact("1 to change.")
            child.expect(YES_NO)
            child.sendline("yes")
            assert ended(child)[0] == 0
        with bench.spawned("carriage", "configure", "--shop", "shop.toml") as child:
            child.expect_exact("Every setting is as the shop file needs it.")
            assert ended(child)[0] == 0
    finally:
        bench.close()
