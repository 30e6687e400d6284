"""From a tap handled to the first line of motion at the controller, the commit and both fresh looks included.

A real journal (each commit synced), the real loop, the real drive and a pseudo-terminal with a simulated controller
behind it. Floor, from the same run and on a line of the same kind: two bare questions with their answers, an INSERT +
COMMIT, and a bare write. Run: python -m tests.bench.tap_to_step
"""

from __future__ import annotations

import os
import random
import sqlite3
import statistics
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from assistant.carriage.drive import LiveDrive
from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.joinery.model import Drive
from assistant.journal.store import Journal
from assistant.plans.model import Job
from assistant.runner.clock import LiveClock
from assistant.runner.loop import Outputs, Runner
from assistant.session.events import Arrived, Gesture, SledMoved, Start
from assistant.session.kinds import Press
from tests.bench.speaking import line
from tests.carriage.simulated_line import Terminal
from tests.journal.made import UTC
from tests.session.drives import CARRIAGE
from tests.session.jobs import few_checks, job, plan, with_pass_time

ROUNDS = 25
MOST = 6.0  # threads that wake each other need about 3; one that looked every 10 ms would be at 5 to 12
WITHIN_S = 20.0


class Controller(Simulated):
    """Notes when the first line of motion of each order has come."""

    moved_at: float | None = None

    def take(self, data: bytes, at: float) -> bytes:
        if b"$J" in data and self.moved_at is None:
            self.moved_at = time.monotonic()
        return super().take(data, at)


def controller() -> Controller:
    return Controller(Screw(400, 3.0, 0.0, (-6.0, 306.0), -3.0), {130: 305.0}, boot_s=0.1)


def long_job(port: str) -> Job:
    drive = Drive(port, home_reads=Fraction(-3), clear_input=True, steps_per_mm=Fraction(400))
    a_plan = plan(width=240, finger=80, ends=1, parts="A")
    made = with_pass_time(job(a_plan, few_checks(), replace(CARRIAGE, drive=drive)), 0.0)
    return replace(made, run_down_s=0.0)


class Bench:
    """A session that stands at its first pass."""

    def __init__(self, journal: Journal):
        self.clock, self.controller = LiveClock(), controller()
        self.line = Terminal(self.controller)
        session = journal.new_session("bench", "", "", UTC)
        self.runner = Runner(lambda records: journal.append(session, records), Outputs(), self.clock)
        self.job = long_job(self.line.path)
        self.drive = LiveDrive(self.clock, self.runner.post, self.job.carriage, lambda: True, lambda: None)
        self.runner.outputs.drive = self.drive
        self.runner.handle(Start(self.clock.at(), self.clock.utc(), self.job))
        while self.runner.state.mode != "cutting":
            self.gesture(Press.LONG)
            self.until(lambda event: not self.drive.moving)

    def gesture(self, press: Press) -> None:
        at = self.clock.at()
        self.runner.handle(Gesture(at, self.clock.utc(), press, at))

    def until(self, holds: object) -> None:
        """Handle what comes until this is true of it; None where nothing came for a while."""
        end = time.monotonic() + WITHIN_S
        while time.monotonic() < end:
            event = self.runner.next_event(0.2)
            if event is not None:
                self.runner.handle(event)
            if holds(event):  # type: ignore[operator]
                return
        raise RuntimeError(f"the session is {self.runner.state.mode}, and nothing follows")

    def tap(self) -> float:
        """Seconds from the tap to the first line of motion."""
        for away in (True, False):
            with self.line.at_rest:
                self.controller.sled(away)
            self.until(lambda event: isinstance(event, SledMoved))
        time.sleep(0.35 + random.random() * 0.1)  # a tap is known as one so long after the foot came up
        self.controller.moved_at = None
        begun = time.monotonic()
        self.gesture(Press.TAP)
        self.until(lambda event: isinstance(event, Arrived))
        assert self.controller.moved_at is not None
        return self.controller.moved_at - begun


class Bare:
    """What a tap can't do without: two questions with their answers and a write on a line of its own; and a commit."""

    def __init__(self, folder: Path):
        self.controller = controller()
        self.line = Terminal(self.controller)
        self.handle = os.open(self.line.path, os.O_RDWR | os.O_NOCTTY)
        self.database = sqlite3.connect(folder / "bare.sqlite3", isolation_level=None)
        self.database.execute("PRAGMA journal_mode = WAL")
        self.database.execute("PRAGMA synchronous = FULL")
        self.database.execute("CREATE TABLE facts (n INTEGER, body TEXT)")
        time.sleep(0.5)

    def close(self) -> None:
        self.database.close()
        os.close(self.handle)
        self.line.close()

    def asked(self) -> float:
        """Seconds for the questions and the write."""
        self.controller.moved_at = None
        begun = time.monotonic()
        for _ in range(2):
            os.write(self.handle, b"?")
            answer = b""
            while b">" not in answer:
                answer += os.read(self.handle, 4096)
        os.write(self.handle, b"$J=G91G21X0.01F600\n")
        while self.controller.moved_at is None:
            time.sleep(0.0005)
        taken = self.controller.moved_at - begun
        time.sleep(0.1)
        os.read(self.handle, 4096)
        return taken

    def committed(self) -> float:
        """Seconds for the commit."""
        begun = time.perf_counter()
        self.database.execute("INSERT INTO facts VALUES (1, 'pass_cut')")
        return time.perf_counter() - begun


def main() -> int:
    asked, commits, taps = [], [], []
    with (
        tempfile.TemporaryDirectory() as folder,
        Journal.open(Path(folder)) as journal,
        closing(Bare(Path(folder))) as bare,
    ):
        bench = Bench(journal)
        for _ in range(ROUNDS):  # in turn, so that the machine's other work falls on all of them
            asked.append(bare.asked())
            commits.append(bare.committed())
            taps.append(bench.tap())
        bench.drive.close()
        bench.line.close()
    floor = statistics.median(asked) + statistics.median(commits)
    print(f"{ROUNDS} taps")
    line("floor: two bare questions and a write", asked)
    line("floor: bare INSERT + COMMIT", commits)
    line("tap to the first line of motion", taps)
    # Of so few, the p95 is one or two taps: the machine's, more than the program's.
    ratio = statistics.median(taps) / floor
    print(f"medians, over the floor: {ratio:.2f} (limit {MOST:g})")
    return int(ratio > MOST)


if __name__ == "__main__":
    sys.exit(main())
