"""Presses while the journal's disk is stalled record and confirm nothing that was not announced before.

The whole program runs in a pseudo-terminal. Only its journal's commits are delayed, as long as a certain file exists.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.runner.stalled_child import STALLED_BY
from tests.runner.test_whole_program import FIRST_CHECK, SECOND_CHECK, TOLD_S, Fact, Saw, checked, one_pass

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX"),
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
]
PASS_TAKES_S = 1.0  # as in SHOP
APART_S = PASS_TAKES_S + TOLD_S  # each press would count if its question had been announced at the press before it
REFUSED = "began before this was asked, so it does not count."
UNTIL_COMMITTED_S = 15.0
PRESSES = 4  # a plain line says how often, also the fourth time


class SlowSaw(Saw):
    """The program, whose disk stalls and goes on at the test's request."""

    def __init__(self, folder: Path):
        super().__init__(folder)
        self._stall = folder / "stalled"
        plan = (folder / "plan.toml").read_text(encoding="utf-8")
        (folder / "plan.toml").write_text(plan.replace("width = 18", "width = 90"), encoding="utf-8")

    def begin(self) -> None:
        words = self.cut("--no-voice", "--no-pedal")
        words[1:3] = ["-m", "tests.runner.stalled_child"]
        self.run(words, **{STALLED_BY: str(self._stall), "PYTHONPATH": str(Path(__file__).parents[2])})
        self.until(FIRST_CHECK)

    def press_in_stall(self, first: str, *keys: str) -> None:
        """The first key's facts are in the journal and its commit hangs. Only then do the other keys come."""
        time.sleep(APART_S)
        before = len(self.facts())
        self._stall.touch()
        self.child.send(first)
        end = time.monotonic() + UNTIL_COMMITTED_S
        while len(self.facts()) == before:
            assert time.monotonic() < end, "the first press was not recorded"
            time.sleep(0.05)
        for key in keys:
            time.sleep(APART_S)
            self.child.send(key)
        time.sleep(0.2)  # the last is on the queue too
        self._stall.unlink()

    def end(self) -> list[Fact]:
        """Leave the session. Returns everything recorded."""
        self.keys(("q", "stays open"))
        assert self.ended()[0] == 1
        return self.facts()


@pytest.fixture
def saw(tmp_path: Path) -> Iterator[SlowSaw]:
    saw = SlowSaw(tmp_path)
    yield saw
    saw.close()


START = [("started",), ("setup_started", 1)]


def test_taps_in_a_stall_record_only_the_pass_that_had_been_announced(saw: SlowSaw) -> None:
    """Each tap is later than the previous one by more than a pass takes. Afterwards passes are recorded as usual."""
    saw.begin()
    saw.keys(("h", SECOND_CHECK), ("h", "pass 1/"))
    saw.press_in_stall(" ", *PRESSES * " ")
    saw.until("pass 2/")
    saw.until(f"The tap {REFUSED}")
    saw.until(f"({PRESSES} times)")
    recorded = [*START, *checked(1, "keys"), *one_pass(1, 1, "keys"), ("setting_called", 1, 2)]
    assert saw.facts() == recorded
    time.sleep(APART_S)
    saw.keys((" ", "pass 3/"))
    assert saw.end() == [*recorded, ("pass_cut", 1, 2, "keys"), ("setting_called", 1, 3)]


@pytest.mark.long
def test_long_presses_in_a_stall_confirm_only_the_check_that_had_been_asked(saw: SlowSaw) -> None:
    """The first press confirms what was asked. What the others would confirm is asked only after the stall."""
    saw.begin()
    saw.press_in_stall("h", *PRESSES * "h")
    saw.until(SECOND_CHECK)
    saw.until(f"The long press {REFUSED}")
    saw.until(f"({PRESSES} times)")
    recorded = [*START, *checked(1, "keys")[:3]]
    assert saw.facts() == recorded
    saw.keys(("h", "pass 1/"))
    assert saw.end() == [*recorded, checked(1, "keys")[3], ("setting_called", 1, 1)]


def test_a_long_press_in_a_stall_stands_by_if_a_pass_was_announced_last(saw: SlowSaw) -> None:
    """It meant "stand by" when it began. What follows it in the stall confirms nothing and records no cut."""
    saw.begin()
    saw.keys(("h", SECOND_CHECK), ("h", "pass 1/"))
    saw.press_in_stall(" ", " ", "h", "h", " ")
    saw.until("-- Standing by.")
    saw.until(f"The long press {REFUSED}")
    saw.until(f"The tap {REFUSED}")
    begun = [*START, *checked(1, "keys"), *one_pass(1, 1, "keys"), ("setting_called", 1, 2)]
    assert saw.end() == [*begun, ("stood_by", "keys")]


@pytest.mark.long
def test_a_stall_of_the_last_pass_does_not_confirm_that_the_saw_is_off(saw: SlowSaw) -> None:
    """A setup of two passes. Presses in the stall would have confirmed the sockets' count before it was asked."""
    plan = saw.folder / "plan.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("width = 90", "width = 18"), encoding="utf-8")
    saw.begin()
    saw.keys(("h", SECOND_CHECK), ("h", "pass 1/2"))
    time.sleep(PASS_TAKES_S)
    saw.keys((" ", "pass 2/2"))
    saw.press_in_stall(" ", " ", "h", "h")
    saw.until("check: saw off")
    saw.until(f"The tap {REFUSED}")
    saw.until("-- Standing by.")
    saw.until(f"The long press {REFUSED}")
    passes = [*one_pass(1, 1, "keys"), *one_pass(1, 2, "keys")]
    assert saw.end() == [*START, *checked(1, "keys"), *passes, ("check_opened", 1, "saw off"), ("stood_by", "keys")]
