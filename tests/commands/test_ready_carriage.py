"""`kerfcall ready` with a motor on the screw: its controller, the sled's switch, and what nobody can probe."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.__main__ import main
from assistant.carriage.health import CLEAR_PROVES, NO_CLEAR
from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.commands import ready
from assistant.commands.readiness import CARRIAGE, ORDER, SHOP_FILE, order, survey
from assistant.health import BROKEN, WORKS, Finding
from assistant.hearing import sound_child
from tests.commands.drive_rig import SHOP, Bench

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")


@pytest.fixture(autouse=True)
def alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("KERFCALL_RUNTIME_DIR", str(tmp_path / "run"))
    monkeypatch.setattr(sound_child, "CHILD", 'print(\'{"outputs": [], "inputs": []}\')')


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    bench = Bench(tmp_path)
    yield bench
    bench.close()


def found(folder: Path) -> Finding:
    lines = survey(folder / "shop.toml")
    assert tuple(line.part for line in lines) == order(driven=True)
    return next(line for line in lines if line.part == CARRIAGE)


def test_a_carriage_without_a_motor_has_no_line() -> None:
    assert CARRIAGE not in ORDER == order(driven=False)
    assert order(driven=True).index(CARRIAGE) == order(driven=True).index(SHOP_FILE) + 1


def test_a_controller_that_fits_is_named_with_its_switches(bench: Bench, tmp_path: Path) -> None:
    line = found(tmp_path)
    assert (line.state, line.mend) == (WORKS, "")
    assert (
        "firmware 1.1" in line.text and "home switch open" in line.text and "the sled is drawn right back" in line.text
    )
    assert line.data["home_switch_closed"] is False and line.data["clear"] is True
    assert bench.moves_sent == []
    named = " ".join(str(ready.__doc__).split()).split('"data" is')[1]
    assert all(f'"{key}"' in named for key in line.data)


def test_each_setting_that_differs_has_its_own_line_and_remedy(tmp_path: Path, capsys: Any, monkeypatch: Any) -> None:
    bench = Bench(tmp_path, Simulated(Screw(play=0.08, home_at=-1.0), settings={1: 25, 100: 250, 120: 5}))
    try:
        line = found(tmp_path)
    finally:
        bench.close()
    assert line.state == BROKEN
    faults = line.data["faults"]
    wrong = [fault for fault in faults if fault["mend"]]
    assert [re.findall(r"\$\d+", fault["text"])[0] for fault in wrong] == ["$100", "$1", "$120"]
    assert "must be 255" in wrong[1]["text"] and "kerfcall carriage configure" in wrong[1]["mend"]
    assert "(got 5 mm/s2)" in wrong[2]["text"] and "lower carriage.drive.feed" in wrong[2]["mend"]
    monkeypatch.setattr(ready, "survey", lambda _: [line])
    assert main(["ready"]) == 3
    shown = " ".join(capsys.readouterr().out.split())
    assert shown.count(" Do: ") == 3 and "Not ready. Broken: carriage." in shown
    # What no probe can find out comes with it, each time.
    for words in ("is no interlock", "cuts the motor's own supply", "It pinches", "1 kN", "hood", "does not see hands"):
        assert words in shown, words


def test_a_port_that_is_not_there_is_broken_with_its_mend(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text(SHOP.format(port=tmp_path / "nothing"), encoding="utf-8")
    line = found(tmp_path)
    assert line.state == BROKEN and "is not there" in line.text
    assert "carriage.drive.port" in line.mend


def test_a_port_that_answers_nothing_is_broken_too(bench: Bench, tmp_path: Path) -> None:
    with bench.terminal.at_rest:
        bench.controller.power(False)
    line = found(tmp_path)
    assert line.state == BROKEN and line.mend
    assert bench.moves_sent == []


def test_without_a_clear_input_it_says_what_that_leaves_to_the_operator(tmp_path: Path) -> None:
    bench = Bench(tmp_path, shop=SHOP.replace("clear_input = true\n", ""))
    try:
        line = found(tmp_path)
    finally:
        bench.close()
    assert line.state == WORKS and "clear" not in line.data
    assert NO_CLEAR in line.data["cautions"] and CLEAR_PROVES not in line.data["cautions"]


def sled_command(tmp_path: Path, seconds: str) -> subprocess.Popen[str]:
    words = [
        sys.executable,
        "-m",
        "assistant",
        "ready",
        "--sled",
        "--json",
        "--seconds",
        seconds,
        "--shop",
        "shop.toml",
    ]
    return subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def until_said(process: subprocess.Popen[str], words: str) -> None:
    assert process.stderr is not None
    said = ""
    while words not in said:
        line = process.stderr.readline()
        assert line, said
        said += line


def test_ready_sled_must_see_the_sled_go_and_come_back(bench: Bench, tmp_path: Path) -> None:
    bench.sled(away=True)
    with sled_command(tmp_path, "60") as process:
        until_said(process, "Draw the sled right back.")
        bench.sled(away=False)
        until_said(process, "Push the sled away")
        bench.sled(away=True)
        assert process.poll() is None
        # It looks a few times a second; a sled is slower.
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(1.5)
        bench.sled(away=False)
        out, _ = process.communicate(timeout=60)
    assert (process.returncode, json.loads(out)) == (0, {"clear_input_seen": True})
    assert bench.moves_sent == []


@pytest.mark.parametrize("away", [False, True], ids=["broken wire or stuck open", "stuck closed"])
def test_a_switch_that_shows_one_level_only_is_no_clear_input(bench: Bench, tmp_path: Path, away: bool) -> None:
    bench.sled(away=away)
    with sled_command(tmp_path, "2") as process:
        out, _ = process.communicate(timeout=60)
    assert (process.returncode, json.loads(out)) == (1, {"clear_input_seen": False})


def test_without_a_clear_input_there_is_no_sled_to_look_at(tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "shop.toml").write_text("[blade]\nkerf = 3\n", encoding="utf-8")
    assert main(["ready", "--sled", "--shop", str(tmp_path / "shop.toml")]) == 2
    assert "carriage.drive.clear_input" in capsys.readouterr().err
    assert main(["ready", "--sled", "--pedal"]) == 2
    assert "--pedal" in capsys.readouterr().err
