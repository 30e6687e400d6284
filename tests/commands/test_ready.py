"""`kerfcall ready`: every part is named with what it does, and with what to do when it doesn't work."""

from __future__ import annotations

import json
import os
import re
import select
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.__main__ import main
from assistant.calibrating.history import now
from assistant.calibrating.values import KINDS
from assistant.commands import ready
from assistant.commands.readiness import ORDER
from assistant.health import BROKEN, LIMITED, SHOWN, WORKS, Finding
from assistant.hearing import health as hearing_health
from assistant.hearing.contract import RATE
from assistant.plans.health import shop_file
from assistant.plans.model import VoiceSettings
from assistant.plans.shop_writer import record
from tests.hearing.voices import pcm, write_wav
from tests.pedal.xserver import XServer, needs_x
from tests.plans.files import DEMO
from tests.sound_server import SoundServer

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    path = tmp_path / "shop.toml"
    path.write_text('unit = "mm"\n[blade]\nkerf = 3.18\n')
    return path


def parts(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict[str, dict[str, Any]]]:
    code = main(["ready", "--json", *words])
    told = json.loads(capsys.readouterr().out)
    assert set(told) == {"ready", "exit_code", "parts"}
    assert told["ready"] is (code == 0) and told["exit_code"] == code
    return code, {part["part"]: part for part in told["parts"]}


def test_the_whole_survey_as_json(capsys: pytest.CaptureFixture[str], shop: Path, no_display: None) -> None:
    """The shape that the module documents: every part, each with the same five keys."""
    _, found = parts(capsys, "--shop", str(shop))
    assert tuple(found) == ORDER
    for part in found.values():
        assert set(part) == {"part", "state", "text", "mend", "data"}
        assert part["state"] in (WORKS, LIMITED, BROKEN)
        assert part["text"]
        assert part["mend"] or part["state"] == WORKS, part
    assert found["shop file"]["state"] == WORKS and found["shop file"]["data"]["kerf_mm"] == 3.18
    assert found["pedal"]["state"] == LIMITED and "no display server" in found["pedal"]["text"]


def test_each_documented_figure_is_there(capsys: pytest.CaptureFixture[str], shop: Path) -> None:
    """`ready.__doc__` names the figures of each part; what it names is given, and nothing else."""
    named = " ".join(str(ready.__doc__).split()).split('"data" is')[1]
    _, found = parts(capsys, "--shop", str(shop))
    given = {key for part in found.values() for key in part["data"]}
    assert len(given) > 20
    for key in given:
        assert f'"{key}"' in named
    once = {"rms_dbfs", "loudest_dbfs", "peak_dbfs", "spoken", "faults", "took_s"}  # microphone, bad shop file, slow
    once |= {"port", "firmware", "options", "home_switch_closed", "clear", "cautions"}  # a motor on the screw
    assert set(re.findall(r'"([a-z_]+)"', named)) - given <= once


def test_a_missing_shop_file_is_bad_input(capsys: pytest.CaptureFixture[str], tmp_path: Path, no_sound: None) -> None:
    code, found = parts(capsys, "--shop", str(tmp_path / "none.toml"))
    others = [part for part in found.values() if part["state"] == BROKEN and part["part"] != "shop file"]
    assert code == (3 if others else 2)
    assert found["shop file"]["state"] == BROKEN and found["shop file"]["mend"]


def test_every_fault_of_the_shop_file_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, no_sound: None
) -> None:
    path = tmp_path / "shop.toml"
    path.write_text('[blade]\nkerf = -1\n[pedal]\nkey = "b"\n')
    code, found = parts(capsys, "--shop", str(path))
    assert code in (2, 3)
    assert "blade.kerf" in found["shop file"]["text"] and "pedal.key" in found["shop file"]["text"]


def test_a_phrase_that_could_be_taken_for_another_is_a_fault_of_the_shop_file(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, no_sound: None
) -> None:
    path = tmp_path / "shop.toml"
    path.write_text('[blade]\nkerf = 3\n[[phrases]]\nintent = "cut"\nadd = ["return to the previous"]\n')
    code, found = parts(capsys, "--shop", str(path))
    others = [part for part in found.values() if part["state"] == BROKEN and part["part"] != "shop file"]
    assert code == (3 if others else 2)
    assert 'sounds too much like "return to previous" for "back"' in found["shop file"]["text"]
    assert found["shop file"]["mend"] == "choose words that sound quite different"


LINES = [
    Finding("voice", WORKS, "speaks"),
    Finding("noise", LIMITED, "the built-in one", "pip install it"),
    Finding("disk", BROKEN, "2 MB free", "free at least 50 MB"),
]


def shown(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, lines: list[Finding], code: int) -> str:
    monkeypatch.setattr("assistant.commands.ready.survey", lambda shop: lines)
    assert main(["ready"]) == code
    return capsys.readouterr().out


def test_the_screen_says_what_to_do(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    assert shown(capsys, monkeypatch, LINES, 3).splitlines() == [
        "voice         working   speaks",
        "noise         limited   the built-in one",
        "                        Do: pip install it",
        "disk          broken    2 MB free",
        "                        Do: free at least 50 MB",
        "Not ready. Broken: disk.",
    ]


def test_each_fault_of_the_shop_file_has_its_remedy_under_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = tmp_path / "shop.toml"
    path.write_text('[blade]\nkerf = -1\n[pedal]\nkeey = "b"\n')
    line, shop = shop_file(path)
    assert shop is None
    assert shown(capsys, monkeypatch, [line], 2).splitlines() == [
        "shop file     broken    shop.toml: blade.kerf: must be over 0 mm (got -1 mm)",
        "                        Do: give a larger length",
        "                        shop.toml: pedal.keey: is not a key that Kerfcall knows",
        "                        Do: did you mean key?",
        "Not ready. Broken: shop file.",
    ]


def test_a_plan_named_as_the_shop_file_is_recognised(capsys: pytest.CaptureFixture[str], no_sound: None) -> None:
    _, found = parts(capsys, "--shop", str(DEMO / "tea-trays.toml"))
    (fault,) = found["shop file"]["data"]["faults"]
    assert fault["text"] == "tea-trays.toml: is a plan, but a shop file is needed here"
    assert fault["mend"] == "type: kerfcall ready --shop SHOP (with your shop file for SHOP)"


def test_what_stands_in_does_not_stop_a_session(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert shown(capsys, monkeypatch, LINES[:2], 0).endswith("Ready: a session can run.\n")


def test_a_bad_shop_file_alone_is_bad_input(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    found = [Finding("shop file", BROKEN, "no kerf", "measure it")]
    assert "Broken: shop file." in shown(capsys, monkeypatch, found, 2)


def test_a_screen_without_a_terminal_is_80_columns_of_plain_text(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    long = Finding("pedal", LIMITED, "words that say why " * 8, "python -m pip install --no-deps pynput")
    lines = shown(capsys, monkeypatch, [long], 0).splitlines()
    assert len(lines) > 3 and max(map(len, lines)) <= 80
    assert all(line.startswith(" " * 24) for line in lines[1:-1])
    assert "\x1b" not in "".join(lines)


def test_a_path_is_not_broken_so_that_it_can_be_copied(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = "/a-folder/" + "with-a-long-name/" * 6
    assert path in shown(capsys, monkeypatch, [Finding("journal", WORKS, path)], 0)


def test_help_tells_the_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["ready", "--help"])
    assert ended.value.code == 0
    told = " ".join(capsys.readouterr().out.split())
    assert ready.EXIT_CODES in told and "never stops a blade" in told


@posix
@needs_x
def test_when_all_works_it_is_one_screen_of_80_by_24(
    shop: Path, xserver: XServer, sound_server: SoundServer, tmp_path: Path
) -> None:
    """A real terminal, X display and sound server; the line that asked to wait is gone at the end."""
    pytest.importorskip("pyte", reason="pyte is not installed")
    pytest.importorskip("miniaudio", reason="miniaudio has no wheel here")
    if hearing_health.noise(VoiceSettings()).state != WORKS:
        pytest.skip("RNNoise is not installed")
    from tests.screens.view_rig import SHELL, Rig

    shop = shop.rename(Path(sound_server.environment["HOME"]) / "shop.toml")
    for kind in (*KINDS, "square"):
        record(shop, kind, now(), "", {"value": 3.18, "degrees": 0.02})
    room = np.random.default_rng(1).standard_normal(60 * RATE) / 1000
    hiss = write_wav(tmp_path / "r.wav", pcm(room))
    environ: dict[str, Any] = {**sound_server.where}
    command = [sys.executable, "-m", "assistant", "ready", "--shop", str(shop)]
    with sound_server.playing(hiss):
        rig = Rig(command, rows=40, DISPLAY=xserver.display, TZ="CET-1CEST", **environ)
        try:
            rig.until("say a few words")
            code = rig.ended()
            shown = rig.screen.text
        finally:
            rig.close()
    lines = [line for line in shown.splitlines() if line.strip() and line.strip() != SHELL]
    told = {line[:14].strip(): line[14:24].strip() for line in lines}
    assert code == 0, shown
    # Whatever clock this machine has: a wrong one would take a second and a third line.
    assert {part: told.get(part) for part in ORDER if part != "clock"} == dict.fromkeys(ORDER[:-1], SHOWN[WORKS]), shown
    longer = told["clock"] != SHOWN[WORKS] or "; slow: took" in shown  # on a machine that has much else to do
    assert len(lines) == len(ORDER) + 1 < 24 or longer
    assert all(words in shown for words in ("~/shop.toml, kerf 3.18 mm", "by pedal, terminal keys, voice", "Ready: "))
    assert "say a few words" not in shown


@pytest.mark.parametrize("seconds", ["0", "601", "nan", "inf"])
def test_a_wait_that_is_no_wait_is_refused(seconds: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ready", "--pedal", "--seconds", seconds]) == 2
    assert "give 1 to 600 seconds" in capsys.readouterr().err


def test_without_display_and_terminal_the_pedal_can_not_be_named(
    no_display: None, capsys: pytest.CaptureFixture[str]
) -> None:
    if sys.stdin is not None and not sys.stdin.closed and sys.stdin.isatty():
        pytest.skip("the tests themselves have a terminal")
    assert main(["ready", "--pedal", "--seconds", "1"]) == 3
    assert "no display server" in capsys.readouterr().err


@needs_x
@pytest.mark.parametrize(("symbol", "code", "key"), [("Next", 0, "page_down"), ("XF86Tools", 0, "f13"), ("b", 1, None)])
def test_ready_pedal_names_a_real_key(xserver: XServer, symbol: str, code: int, key: str | None) -> None:
    command = [sys.executable, "-m", "assistant", "ready", "--pedal", "--seconds", "8", "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL) as process:
        assert process.stderr is not None and b"Press the pedal once" in process.stderr.readline()
        time.sleep(1.0)
        xserver.xdotool("keydown", symbol, "sleep", "1", "keyup", symbol)
        out, _ = process.communicate(timeout=30)
    told = json.loads(out)
    assert process.returncode == code
    assert (told["key"], told["usable"], told["gestures"]) == (key, code == 0, ["hold"])
    assert told["repeats"] > 0


@posix
@pytest.mark.parametrize(("sent", "word"), [(b"\x1b[6~", 'key = "page_down"'), (b"b", "refused")])
def test_without_a_display_the_terminal_names_the_key(no_display: None, sent: bytes, word: str) -> None:
    master, slave = os.openpty()
    command = [sys.executable, "-m", "assistant", "ready", "--pedal", "--seconds", "8"]
    with subprocess.Popen(command, stdin=slave, stdout=slave, stderr=slave) as process:
        try:
            seen = _read_until(master, "keep its window in front")
            time.sleep(0.3)
            os.write(master, sent)
            seen = _read_until(master, word)
            assert "[6~" not in seen
            assert process.wait(10) == (0 if word != "refused" else 1)
        finally:
            process.kill()
    os.close(master)
    os.close(slave)


def _read_until(fd: int, text: str) -> str:
    seen, end = "", time.monotonic() + 10
    while text not in seen:
        assert time.monotonic() < end, seen
        if select.select([fd], [], [], 0.1)[0]:
            seen += os.read(fd, 4096).decode()
    return seen
