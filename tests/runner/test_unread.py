"""A terminal that nobody reads, with plain lines and with the view: the session goes on, and nothing unseen counts.

The whole program runs in a pseudo-terminal that is full to the last byte. Its journal shows what it recorded.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.journal.store import Journal
from tests.commands.program import PLAN
from tests.runner.test_whole_program import SHOP, TOLD_S, Fact, checked, one_pass, plain
from tests.sampling import every

pytest.importorskip("pyte")
pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX"),
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
]
if sys.platform != "win32":
    from tests.screens.view_rig import Rig, program

PATIENCE_S = 30.0
QUICK_VOICE = f"{SHOP}[voice]\nspeech_rate = 450\n"  # the test waits for what is said here
SAYINGS = 60  # more than the lines that wait for a terminal
START = [("started",), ("setup_started", 1)]


class Unread:
    """The program at its first check, which has been read. After `fill`, nobody reads."""

    def __init__(self, folder: Path, *options: str, silent: bool = True):
        self.folder = folder
        shop = SHOP if silent else QUICK_VOICE
        self.rig = Rig(program(folder, *options, plan=PLAN, shop=shop, silent=silent), 100, 40)
        self.rig.until("trailing end held down?")
        self.rig.read(TOLD_S)

    def facts(self) -> list[Fact]:
        with Journal.open(self.folder / "state") as journal:
            return [plain(record.fact) for record in journal.replay(journal.sessions()[-1].id)]

    def press_until(self, key: str, fact: Fact) -> None:
        """Press the key repeatedly, since it may be too early, until this is the newest fact. Reads nothing."""
        end = time.monotonic() + PATIENCE_S
        while self.facts()[-1] != fact:
            assert time.monotonic() < end, self.facts()[-3:]
            self.rig.send(key)
            time.sleep(1.0)

    def wait_for(self, facts: list[Fact]) -> None:
        end = time.monotonic() + PATIENCE_S
        while self.facts() != facts:
            assert time.monotonic() < end, self.facts()
            time.sleep(0.05)


@pytest.fixture(params=every(2, ["view", "plain"]))
def kind(request: pytest.FixtureRequest) -> tuple[str, ...]:
    return ("--plain",) if request.param == "plain" else ()


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Unread]]:
    begun: list[Unread] = []

    def begin(*options: str, **more: Any) -> Unread:
        begun.append(Unread(tmp_path, *options, **more))
        return begun[-1]

    yield begin
    for one in begun:
        one.rig.close()


def test_without_a_voice_nothing_that_was_not_shown_is_confirmed(
    start: Callable[..., Unread], kind: tuple[str, ...]
) -> None:
    """The check that was read is confirmed. The next check is confirmed only once it can be read."""
    one = start(*kind)
    one.rig.fill()
    one.rig.send("h")
    asked = [*START, *checked(1, "keys")[:3]]
    one.wait_for(asked)
    for key in "hdh":
        time.sleep(TOLD_S)
        one.rig.send(key)
    assert one.facts() == asked and one.rig.is_stuck
    one.rig.read(TOLD_S + 1.0)
    one.rig.send("h")
    one.wait_for([*asked, checked(1, "keys")[3], ("setting_called", 1, 1)])


def test_a_check_whose_lines_were_dropped_is_confirmed_once_it_was_said_again(start: Callable[..., Unread]) -> None:
    """The newest plain lines wait. A question that is not among them was never shown."""
    one = start("--plain")
    one.rig.fill()
    one.rig.send("h")
    asked = [*START, *checked(1, "keys")[:3]]
    one.wait_for(asked)
    for key in "?x" * SAYINGS:  # the list of keys, and a key without a meaning; many at once would be a paste
        one.rig.send(key)
        time.sleep(0.03)
    time.sleep(1.0)
    assert one.rig.is_stuck
    one.rig.read(TOLD_S + 1.0)
    assert "guard" not in one.rig.screen.text.lower()
    for _ in range(2):
        one.rig.send("h")
        one.rig.read(TOLD_S)
    assert one.facts() == asked
    one.rig.send("d")
    one.rig.until("Guard for this cut")
    one.rig.read(TOLD_S)
    one.rig.send("h")
    one.wait_for([*asked, checked(1, "keys")[3], ("setting_called", 1, 1)])


@pytest.mark.skipif(not shutil.which("espeak-ng"), reason="espeak-ng is not installed")
def test_with_a_voice_a_pass_is_recorded_once_it_was_spoken(
    start: Callable[..., Unread], kind: tuple[str, ...], tmp_path: Path
) -> None:
    """Nothing is read: the session waits for no terminal, and what was heard needs none."""
    one = start(*kind, "--speaker", str(tmp_path / "said.wav"), silent=False)
    one.rig.fill()
    one.press_until("h", ("check_opened", 1, "guard"))
    one.press_until("h", ("setting_called", 1, 1))
    one.press_until(" ", ("setting_called", 1, 2))
    one.press_until(" ", ("check_opened", 1, "saw off"))
    assert one.rig.is_stuck
    passes = [*one_pass(1, 1, "keys"), *one_pass(1, 2, "keys")]
    assert one.facts() == [*START, *checked(1, "keys"), *passes, ("check_opened", 1, "saw off")]


@pytest.mark.parametrize("way", ["q", "\x03", "SIGTERM"])
def test_it_ends_on_request_with_its_journal_whole(
    start: Callable[..., Unread], kind: tuple[str, ...], way: str
) -> None:
    one = start(*kind)
    one.rig.fill()
    one.rig.send("h")
    asked = [*START, *checked(1, "keys")[:3]]
    one.wait_for(asked)
    if way == "SIGTERM":
        os.kill(one.rig.process.pid, signal.SIGTERM)
    else:
        one.rig.send(way)
    assert one.rig.process.wait(PATIENCE_S) == 1
    assert one.facts() == asked
    with Journal.open(one.folder / "state") as journal:
        assert journal.sessions()[-1].state == "open"
    assert one.rig.termios.tcgetattr(one.rig.slave) == one.rig.mode
