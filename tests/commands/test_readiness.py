"""The whole survey: every part has its line, in order, even when parts are missing or fail on the machine."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant import installed
from assistant.calibrating import health as calibrating
from assistant.calibrating.health import PARTS
from assistant.commands.readiness import CALIBRATIONS, ORDER, SHOP_FILE, SOUND, exit_code, survey
from assistant.health import BROKEN, LIMITED, WORKS, Finding
from assistant.hearing import health as hearing
from assistant.journal import health as journal
from assistant.pedal import health as pedal
from assistant.plans import health as plans
from assistant.runner import health as runner
from assistant.screens import health as screens
from assistant.speaking import health as speaking
from tests.sampling import every
from tests.test_rooms import HEAVY

PROBES = {
    "python": (installed, "python"),
    "packages": (installed, "packages"),
    "voice": (speaking, "voice"),
    "loudspeaker": (speaking, "loudspeaker"),
    "noise": (hearing, "noise"),
    "recogniser": (hearing, "recogniser"),
    "pedal": (pedal, "pedal"),
    "terminal keys": (screens, "terminal"),
    "display": (screens, "display"),
    SHOP_FILE: (plans, "shop_file"),
    "kerf": (calibrating, "ages"),
    "journal": (journal, "journal"),
    "disk": (journal, "disk"),
    "clock": (runner, "clock"),
}


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    path = tmp_path / "shop.toml"
    path.write_text('unit = "mm"\n[blade]\nkerf = 3.18\n', encoding="utf-8")
    return path


def test_each_calibration_of_the_shop_has_its_place() -> None:
    assert CALIBRATIONS == PARTS
    assert len(set(ORDER)) == len(ORDER)


def test_every_part_is_there_and_whatever_does_not_work_has_what_to_do(shop: Path) -> None:
    lines = survey(shop)
    assert tuple(line.part for line in lines) == ORDER
    for line in lines:
        assert line.state in (WORKS, LIMITED, BROKEN) and line.text
        assert line.mend or line.state == WORKS, line


def test_without_any_library_every_part_is_still_told(shop: Path) -> None:
    """Not even those that nothing can be cut without."""
    script = (
        "import sys\n"
        f"for name in {(*HEAVY, 'packaging', 'tomlkit')!r}: sys.modules[name] = None\n"
        "from assistant.__main__ import main\n"
        f"sys.exit(main(['ready', '--json', '--shop', {str(shop)!r}]))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 3 and not done.stderr, done.stderr
    parts = {part["part"]: part for part in json.loads(done.stdout)["parts"]}
    assert tuple(parts) == ORDER
    assert parts["shop file"]["state"] == WORKS and parts["journal"]["state"] == BROKEN
    assert all(part["mend"] for part in parts.values() if part["state"] != WORKS)


@pytest.mark.parametrize("part", every(3, PROBES))
def test_a_probe_that_fails_is_broken_and_takes_no_other_with_it(
    part: str, shop: Path, no_sound: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: Any) -> Any:
        raise RuntimeError("a fault nobody thought of")

    module, name = PROBES[part]
    monkeypatch.setattr(module, name, fails)
    found = {line.part: line for line in survey(shop)}
    assert tuple(found) == ORDER
    assert found[part].state == BROKEN and "a fault nobody thought of" in found[part].text and found[part].mend
    also = {"loudspeaker": SOUND, "kerf": CALIBRATIONS}.get(part, (part,))
    for other, line in found.items():
        assert other in also or "nobody thought of" not in line.text


@pytest.fixture
def hold() -> Iterator[threading.Event]:
    event = threading.Event()
    yield event
    event.set()


def test_probes_that_hang_are_waited_for_some_seconds_in_all(
    shop: Path, no_sound: None, hold: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    for part, (module, name) in PROBES.items():
        if part not in ("loudspeaker", SHOP_FILE):
            monkeypatch.setattr(module, name, lambda *_: hold.wait())
    lines = survey(shop)
    slow = [line.part for line in lines if "made no more progress" in line.text]
    assert {"packages", "voice", "kerf", "square", "journal", "clock"} <= set(slow)
    assert exit_code(lines) == 3


@pytest.mark.parametrize(
    ("broken", "code"), [((), 0), ((SHOP_FILE,), 2), (("disk",), 3), ((SHOP_FILE, "disk"), 3), ((runner.ANSWERS,), 3)]
)
def test_the_exit_code_tells(broken: tuple[str, ...], code: int) -> None:
    """As everywhere: 0 done, 2 bad input, 3 could not run."""
    states = {part: LIMITED for part in ORDER} | dict.fromkeys(broken, BROKEN)
    assert exit_code([Finding(part, state, "") for part, state in states.items()]) == code
