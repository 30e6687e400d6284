"""The witness itself: it is silent while the product keeps the rule, and objects to each way of breaking it."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.runner.clock import SetClock
from assistant.runner.loop import Outputs, Runner
from assistant.session import announced, decide
from assistant.session.events import Displayed, Event, Gesture, Heard, SpeechEnded, SpeechStarted, Start, WentOut
from tests import witness
from tests.commands.program import PLAN
from tests.runner.adapters import Logbook
from tests.session.driver import UTC, Driver
from tests.session.jobs import few_checks, job, plan

STALL_S = 30.0
ROOT = Path(__file__).parents[1]


class StalledLogbook(Logbook):
    """Its journal takes its time."""

    def __init__(self, clock: SetClock):
        super().__init__()
        self._clock = clock

    def commit(self, records: Any) -> None:
        super().commit(records)
        self._clock.set(self._clock.at() + STALL_S)


class Impatient:
    """Cuts a small job on a slow machine, and answers too soon in every way there is before answering in time."""

    def __init__(self, spoken: bool, hear_out: bool = True):
        self.clock = SetClock()
        self.log = StalledLogbook(self.clock)
        self.runner = Runner(self.log.commit, Outputs(self.log, self.log, [self.log]), self.clock)
        self.spoken = spoken
        self.runner.handle(Start(0.0, UTC, job(plan(parts="A"), few_checks()), hear_out=hear_out))

    def run(self) -> None:
        gone_back = False
        while self.runner.state.mode != "finished":
            if self.runner.state.cut_in_all == 1 and not gone_back:
                gone_back = True
                at = self.clock.at()
                self.runner.handle(Heard(at, UTC, "back", None, "back", at, self.runner.state.generation))
            self.answer()
        self.runner.handle(self.press(self.clock.at()))

    def answer(self) -> None:
        """What is asked or called now. An early press is one that waited while the journal did."""
        before = self.runner.state.generation
        out = self.clock.at()
        carrier = self.runner.state.opening.announcement
        told: tuple[Event, ...] = (
            SpeechStarted(out + 0.5, UTC, carrier),
            self.press(out + 0.6),
            self.press(out + 1.9),
            self.press(out + 5.5),
            SpeechEnded(out + 6, UTC, carrier, "whole"),
        )
        if not self.spoken:
            told = (
                Displayed(out + 0.5, UTC, before),
                self.press(out + 2),
                SpeechEnded(out + 5, UTC, carrier, "failed"),
                self.press(out + 5.1),
            )
            if self.runner.state.cut_in_all:
                told = (told[2], self.press(out + 5.1), Displayed(out + 5.2, UTC, before), self.press(out + 5.3))
        # A long press begun before a question over a pass would stand by.
        early = () if self.runner.state.question else (self.press(out - 20), self.press(out - 0.1))
        for event in (*early, self.press(out), *told, self.press(out + 12)):
            if self.runner.state.generation == before:
                self.clock.set(event.at)
                self.runner.handle(event)

    def press(self, since: float) -> Gesture:
        mode = self.runner.state.effective_mode
        return Gesture(max(since, self.clock.at()), UTC, "tap" if mode == "cutting" else "hold", since)


def went_out_at_the_events_own_time(self: Runner, event: Event) -> None:
    self._one_turn(event)
    opening = self.state.opening
    if self.state.job is not None and opening.out_at is None:
        self._one_turn(WentOut(event.at, event.utc, opening.generation))


def no_matter_whose(state: Any, event: SpeechStarted | SpeechEnded) -> bool:
    return True


def known_when_handed_over(state: Any, since: float) -> bool:
    return announced.is_out(state, since)


def always(state: Any, since: float) -> bool:
    return True


def read_before_it_was_shown(turn: Any) -> None:
    turn.fact(decide.f.Delivered(turn.event.at))


def known_by_its_first_words(turn: Any, event: SpeechStarted) -> None:
    if decide._awaits(turn.state, event):
        turn.fact(decide.f.Delivered(event.at + decide.FIRST_WORDS_S))


Mutant = tuple[object, str, object]
MUTANTS: dict[str, tuple[bool, bool, tuple[Mutant, ...]]] = {
    "everything is out": (True, False, ((decide, "is_out", always), (decide, "is_announced", always))),
    "everything is announced": (True, True, ((decide, "is_announced", always),)),
    "handed over is announced": (True, True, ((decide, "is_announced", known_when_handed_over),)),
    "out at the event's own time": (True, False, ((Runner, "_turn", went_out_at_the_events_own_time),)),
    "no first words": (True, True, ((decide, "FIRST_WORDS_S", 0.0),)),
    "a setting known by its first words": (True, True, ((decide._EVENTS, "SpeechStarted", known_by_its_first_words),)),
    "nothing to be read": (False, True, ((decide, "READING_S", 0.0),)),
    "read unshown": (False, True, ((decide, "_read", read_before_it_was_shown),)),
}


@pytest.mark.parametrize("spoken", [True, False])
@pytest.mark.parametrize("hear_out", [True, False])
def test_a_product_that_keeps_the_rule_is_objected_to_by_nobody(spoken: bool, hear_out: bool) -> None:
    operator = Impatient(spoken, hear_out)
    operator.run()
    assert operator.runner.state.cut_in_all == 4 and not witness.taken()
    kinds = [kind for entry in operator.log.of("commit") for kind in entry[1:]]
    assert "stepped_back" in kinds and "finished" in kinds


@pytest.mark.parametrize("name", MUTANTS)
def test_each_way_of_breaking_it_is_objected_to(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    spoken, hear_out, mutants = MUTANTS[name]
    for where, what, instead in mutants:
        if isinstance(where, dict):
            (key,) = (key for key in where if key.__name__ == what)
            monkeypatch.setitem(where, key, instead)
        else:
            monkeypatch.setattr(where, what, instead)
    with pytest.raises(witness.Unannounced, match="from an answer that began at"):
        Impatient(spoken, hear_out).run()
    assert witness.taken(), "and it is remembered, lest somebody catch it"


def test_a_session_driven_by_hand_has_one_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decide, "is_out", always)
    monkeypatch.setattr(decide, "is_announced", always)
    driver = Driver(job(checks=few_checks()))
    driver.stalls_s = STALL_S
    driver.gesture("hold")
    with pytest.raises(witness.Unannounced, match="check_confirmed counted"):
        driver.gesture("hold", after=0.0, held=STALL_S / 2)


def test_standing_by_must_have_gone_out_before_it_is_carried_on(monkeypatch: pytest.MonkeyPatch) -> None:
    driver = Driver(job(checks=few_checks()))
    driver.stalls_s = STALL_S
    driver.heard("stand by")
    driver.gesture("hold", after=0.0, held=STALL_S / 2)
    assert driver.kinds == []
    monkeypatch.setattr(decide, "is_out", always)
    with pytest.raises(witness.Unannounced, match="carried_on counted"):
        driver.gesture("hold", after=0.0, held=STALL_S / 2)


# --- a process of its own

# The journal's third write takes so long that the next press is made before anything has been asked.
SLOW_JOURNAL = """
import time
from assistant.journal.store import Journal

append, written = Journal.append, []

def slowly(self, session, records):
    written.append(records)
    append(self, session, records)
    if len(written) == 2:
        time.sleep(3.0)

Journal.append = slowly
"""
ANYTHING_COUNTS = """
from assistant.session import decide

decide.is_out = decide.is_announced = lambda state, since: True
"""
RUNS_QUICKLY = 'unit = "mm"\n[blade]\nkerf = 3.18\n'


@pytest.fixture
def live(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], Any]]:
    """Begins a session in a pseudo-terminal, in a product changed by this code, and answers its first check twice."""
    pexpect = pytest.importorskip("pexpect")
    if sys.platform == "win32":
        pytest.skip("pseudo-terminals are a matter of POSIX")
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    (tmp_path / "shop.toml").write_text(RUNS_QUICKLY, encoding="utf-8")
    (tmp_path / "changed").mkdir()
    begun = []

    def begin(code: str) -> Any:
        # Hidden by the witness's own, and still run: a machine may have one.
        (tmp_path / "changed" / "sitecustomize.py").write_text(code, encoding="utf-8")
        kept = {name: value for name, value in os.environ.items() if name not in ("DISPLAY", "WAYLAND_DISPLAY")}
        kept["PYTHONPATH"] = os.pathsep.join((kept["PYTHONPATH"], str(tmp_path / "changed"), str(ROOT)))
        words = ("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--no-voice", "--plain")
        child = pexpect.spawn(
            sys.executable, ["-m", "assistant", *words], env=kept, cwd=tmp_path, encoding="utf-8", timeout=60
        )
        begun.append(child)
        child.expect_exact("check: zero")
        time.sleep(announced.READING_S + 0.5)
        child.send("h")
        time.sleep(1.0)
        child.send("h")
        return child

    yield begin
    for child in begun:
        child.close(force=True)


def ended(child: Any) -> int:
    pexpect = pytest.importorskip("pexpect")
    child.expect(pexpect.EOF)
    child.close()
    return int(child.exitstatus)


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
def test_in_a_process_of_its_own_a_press_replayed_from_a_stall_ends_it(live: Callable[[str], Any]) -> None:
    child = live(SLOW_JOURNAL + ANYTHING_COUNTS)
    assert ended(child) == witness.EXIT_CODE
    (objection,) = witness.taken()
    assert "check_confirmed counted" in objection and "check, 1, edge and face went out at" in objection


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")
def test_and_does_not_while_the_product_refuses_it(live: Callable[[str], Any]) -> None:
    child = live(SLOW_JOURNAL)
    child.expect_exact("check: edge and face")
    child.expect_exact("began before this was asked")
    child.sendintr()
    assert ended(child) != witness.EXIT_CODE
    assert not witness.taken()
