"""`kerfcall ready`: every part is named with what it does, and with what mends it when it doesn't."""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from assistant.__main__ import main
from assistant.commands import readiness
from assistant.commands.readiness import BROKEN, STANDS_IN, WORKS, Line
from assistant.commands.ready import behaviour, verdict
from assistant.pedal.names import Named
from assistant.plans.model import PedalSettings, VoiceSettings
from tests.pedal.xserver import XServer, needs_x

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    path = tmp_path / "shop.toml"
    path.write_text('unit = "mm"\n[blade]\nkerf = 3.18\n')
    return path


@pytest.fixture
def xserver(monkeypatch: pytest.MonkeyPatch) -> Iterator[XServer]:
    server = XServer()
    monkeypatch.setenv("DISPLAY", server.display)
    monkeypatch.setenv("XDG_SESSION_TYPE", "x11")
    yield server
    server.end()


@pytest.fixture
def no_display(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("XDG_SESSION_TYPE", raising=False)


def parts(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict[str, dict[str, str]]]:
    code = main(["ready", "--json", *words])
    told = json.loads(capsys.readouterr().out)
    assert told["ready"] is (code == 0)
    return code, {part["part"]: part for part in told["parts"]}


def test_every_part_has_a_line_and_whatever_does_not_work_has_a_mend(
    capsys: pytest.CaptureFixture[str], shop: Path, no_display: None
) -> None:
    _, found = parts(capsys, "--shop", str(shop))
    assert list(found) == [
        *("python", "packages", "voice", "loudspeaker", "microphone", "recogniser", "pedal", "terminal keys"),
        *("your answers", "shop file", "journal", "disk", "clock"),
    ]
    for part in found.values():
        assert part["state"] in (WORKS, STANDS_IN, BROKEN)
        assert part["text"]
        assert part["mend"] or part["state"] == WORKS, part
    assert found["shop file"]["state"] == WORKS and "3.18 mm" in found["shop file"]["text"]
    assert found["pedal"]["state"] == STANDS_IN and "no display server" in found["pedal"]["text"]


def test_a_missing_shop_file_stops_cutting(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, found = parts(capsys, "--shop", str(tmp_path / "none.toml"))
    assert code == 1
    assert found["shop file"]["state"] == BROKEN and found["shop file"]["mend"]


def test_every_fault_of_the_shop_file_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "shop.toml"
    path.write_text('[blade]\nkerf = -1\n[pedal]\nkey = "b"\n')
    code, found = parts(capsys, "--shop", str(path))
    assert code == 1
    assert "blade.kerf" in found["shop file"]["text"] and "pedal.key" in found["shop file"]["text"]


def test_the_screen_says_what_to_mend(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [Line("voice", WORKS, "speaks"), Line("disk", BROKEN, "2 MB free", "free at least 50 MB")]
    monkeypatch.setattr("assistant.commands.ready.survey", lambda shop: lines)
    assert main(["ready"]) == 1
    shown = capsys.readouterr().out
    assert "to mend it: free at least 50 MB" in shown and "Not ready: mend disk." in shown


def test_what_stands_in_does_not_stop_a_session(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.commands.ready.survey", lambda shop: [Line("voice", STANDS_IN, "text", "pip")])
    assert main(["ready"]) == 0
    assert "Ready: a session can run." in capsys.readouterr().out


def test_without_pedal_terminal_and_voice_there_is_no_way_to_answer() -> None:
    down = [Line(part, STANDS_IN, "") for part in ("pedal", "terminal keys", "microphone", "recogniser")]
    assert readiness.answers(*down).state == BROKEN
    for n in (0, 1):
        up = [*down[:n], Line(down[n].part, WORKS, ""), *down[n + 1 :]]
        assert readiness.answers(*up) == Line("your answers", WORKS, f"by {down[n].part}")
    voice = down[:2] + [Line("microphone", WORKS, ""), Line("recogniser", WORKS, "")]
    assert readiness.answers(*voice).text == "by voice"
    assert readiness.answers(*voice[:3], down[3]).state == BROKEN


@pytest.mark.parametrize(("version", "state"), [((3, 10, 9), BROKEN), ((3, 11, 0), WORKS), ((3, 13, 9), WORKS)])
def test_python_versions(version: tuple[int, ...], state: str) -> None:
    assert readiness.python(version).state == state
    assert readiness.python((3, 14, 0)).state == BROKEN


def test_a_missing_package_is_named_with_its_command(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readiness, "importable", lambda name: name != "filelock")
    line = readiness.required_packages()
    assert line.state == BROKEN and line.mend == "python -m pip install filelock"
    monkeypatch.setattr(readiness, "importable", lambda name: False)
    assert "no sound library" in readiness.sound()[0].text
    assert readiness.recogniser(VoiceSettings(recogniser="pocketsphinx")).state == STANDS_IN


def test_sound_devices_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readiness, "_devices", lambda: (["Headset", "Screen"], ["Headset"]))
    loudspeaker, microphone = readiness.sound()
    assert loudspeaker == Line("loudspeaker", WORKS, "Headset and 1 more")
    assert microphone == Line("microphone", WORKS, "Headset")


def test_a_sound_library_that_crashes_or_hangs_only_stands_in(monkeypatch: pytest.MonkeyPatch) -> None:
    for code in ("import os; os.abort()", "import time; time.sleep(60)", "print('no list')"):
        monkeypatch.setattr(readiness, "LIST_DEVICES", code)
        monkeypatch.setattr(readiness, "DEVICES_WITHIN_S", 0.5)
        monkeypatch.setattr(readiness, "importable", lambda name: True)
        assert readiness.sound()[0].state == STANDS_IN


def test_a_journal_folder_that_can_not_be_written_is_broken(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    assert readiness.journal_folder(lambda: blocked).state == BROKEN
    assert readiness.journal_folder(lambda: tmp_path / "not" / "there" / "yet").state == WORKS
    assert list(tmp_path.iterdir()) == [blocked]


@pytest.mark.parametrize(("free", "state"), [(49_999_999, BROKEN), (50_000_000, WORKS), (10**12, WORKS)])
def test_disk_room(free: int, state: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("shutil.disk_usage", lambda path: SimpleNamespace(free=free))
    assert readiness.disk(lambda: tmp_path).state == state


def test_a_wall_clock_that_was_never_set_is_told() -> None:
    assert readiness.clock(lambda: 0.0).state == STANDS_IN
    assert readiness.clock(lambda: 1.8e9).state == WORKS


@pytest.mark.parametrize("seconds", ["0", "601", "nan", "inf"])
def test_a_wait_that_is_no_wait_is_refused(seconds: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ready", "--pedal", "--seconds", seconds]) == 2
    assert "give 1 to 600 seconds" in capsys.readouterr().err


def test_words_on_each_kind_of_key() -> None:
    assert '[pedal]\nkey = "f13"' in verdict(Named("f13"))
    text = verdict(Named("b", types_text=True))
    assert "'b'" in text and "refused" in text and "set the pedal with its maker's tool" in text
    assert "can't be told from others" in verdict(Named("<0>"))


def test_words_on_what_a_pedal_does() -> None:
    settings = PedalSettings()
    text = behaviour(3, 20, 1.2, ("tap", "double", "hold"), settings)
    assert text.startswith("3 presses: 1 tap, 1 double, 1 hold.") and "repeats" in text and "Longest" not in text
    assert "a hold begins at 0.8 s" in behaviour(1, 0, 0.3, ("tap",), settings)
    assert "can't make a hold" in behaviour(3, 0, 0.005, ("tap",) * 3, settings)


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
