"""From a tap handled to the first sample of the next setting handed to the device, the commit included.

A real journal (each commit synced), the real loop, the real voice and mixer; the device is the sound
library's null backend, which asks in real time and plays to nobody. Cached: the setting was rendered
ahead. Not cached: nobody rendered it before. Floor, from the same run: a bare INSERT + COMMIT plus
one period of the device. Run: python -m tests.bench.gesture_to_sound
"""

from __future__ import annotations

import io
import random
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from functools import partial
from pathlib import Path

from assistant.journal.store import Journal
from assistant.plans.model import Job
from assistant.runner.clock import LiveClock
from assistant.runner.loop import Outputs, Runner
from assistant.screens.plain import PlainScreen
from assistant.session.events import Event, Gesture, SpeechStarted, Start
from assistant.session.state import CHECKS, CUTTING
from assistant.speaking.speaker import LiveSpeaker
from tests.bench.speaking import WatchedDevice, line, p95
from tests.journal.made import UTC
from tests.runner.adapters import drain
from tests.session.jobs import few_checks, job, plan, with_pass_time

ROUNDS = 75
LIMIT_S = 0.030
WITHIN_S = 10.0
# Against p95 of an INSERT + COMMIT plus p95 of a period. Not cached also renders the announcement.
MOST_CACHED, MOST_NOT_CACHED = 3.0, 5.0


class Speaker(LiveSpeaker):
    """The live speaker; what is asked to be rendered ahead is rendered only while `ahead` is set."""

    ahead = True
    next: tuple[str, ...] = ()

    def prepare(self, texts: Sequence[str]) -> None:
        self.next = tuple(texts)
        super().prepare(texts if self.ahead else ())

    def knows(self, text: str) -> bool:
        return self._renderer.ready(text) is not None


class Bench:
    """A session of one long setup, its adapters, and a bare database beside its journal."""

    def __init__(self, journal: Journal, bare: sqlite3.Connection):
        self.clock, self.device = LiveClock(), WatchedDevice()
        session = journal.new_session("bench", "", "", UTC)
        outputs = Outputs(screens=[PlainScreen(io.StringIO())])
        self.runner = Runner(lambda records: journal.append(session, records), outputs, self.clock)
        self.job = long_job()
        self.speaker = Speaker(self.clock, self.runner.post, self.job.voice, device=self.device)
        outputs.speaker = self.speaker
        self.bare = bare
        self.commits: list[float] = []
        bare.execute("PRAGMA journal_mode = WAL")
        bare.execute("PRAGMA synchronous = FULL")
        bare.execute("CREATE TABLE facts (s TEXT, n INTEGER, at REAL, utc TEXT, k TEXT, v INTEGER, b TEXT)")

    def begin(self) -> None:
        """Up to the first setting, with the loudspeaker open."""
        self.wait(lambda: self.speaker.state == "works")
        self.runner.handle(Start(self.clock.at(), self.clock.utc(), self.job))
        while self.runner.state.mode == CHECKS:
            self.gesture("hold")
        if self.runner.state.mode != CUTTING:
            raise RuntimeError(f"the session is {self.runner.state.mode}")

    def taps(self, ahead: bool) -> list[float]:
        """Seconds from tap to sound, ROUNDS times."""
        self.speaker.ahead = ahead
        self.gesture("tap")  # what it renders ahead, or not, is for the next
        found = []
        for _ in range(ROUNDS):
            following = self.speaker.next[1]
            if ahead:
                self.wait(partial(self.speaker.knows, following))
            elif self.speaker.knows(following):
                raise RuntimeError(f"was rendered before: {following}")
            self.commit_bare()
            time.sleep(0.02 + random.random() * 0.02)  # anywhere within the device's period, as a foot is
            found.append(self.gesture("tap"))
        return found

    def gesture(self, kind: str) -> float:
        """Seconds from the gesture to the end of the device's period that holds the first sample."""
        drain(self.runner)
        begun = self.clock.at()
        self.runner.handle(Gesture(begun, self.clock.utc(), kind, begun))
        started = self.heard()
        filled = time.monotonic() - (self.clock.at() - started.at)
        self.wait(lambda: self.device.asked[-1] >= filled)
        handed = next(at for at in self.device.asked if at >= filled)
        return started.at - begun + (handed - filled)

    def heard(self) -> Event:
        end = time.monotonic() + WITHIN_S
        while time.monotonic() < end:
            event = self.runner.next_event(0.5)
            if event is not None:
                self.runner.handle(event)
            if isinstance(event, SpeechStarted):
                return event
        raise RuntimeError("no announcement began")

    def wait(self, holds: Callable[[], bool]) -> None:
        end = time.monotonic() + WITHIN_S
        while not holds():
            if time.monotonic() > end:
                raise RuntimeError("the voice or the device did not come")
            time.sleep(0.001)

    def commit_bare(self) -> None:
        row = ("bench", 1, 2.0, UTC, "setting_called", 1, '{"setup":1,"pass":1,"setting":"1235/100"}')
        begun = time.perf_counter()
        self.bare.execute("BEGIN IMMEDIATE")
        self.bare.execute("INSERT INTO facts VALUES (?, ?, ?, ?, ?, ?, ?)", row)
        self.bare.execute("COMMIT")
        self.commits.append(time.perf_counter() - begun)


def long_job() -> Job:
    """One wide socket: every pass has a setting, and so an announcement, of its own."""
    made = with_pass_time(job(plan(width=1500, finger=500, ends=1, parts="A"), few_checks()), 0.0)
    if made.total_passes < 2 * ROUNDS + 10:
        raise RuntimeError("the job has too few passes")
    return made


def report(bench: Bench, cached: list[float], uncached: list[float]) -> int:
    """Prints the figures. Returns 1 when a ratio is over its limit."""
    periods = [after - before for before, after in zip(bench.device.asked, bench.device.asked[1:], strict=False)]
    floor = p95(bench.commits) + p95(periods)
    print(f"{bench.speaker.line}; {len(cached)} taps each; to hold: p95 {LIMIT_S * 1e3:g} ms")
    line("floor: bare INSERT + COMMIT", bench.commits)
    line("floor: the device's period", periods)
    line("tap to first sample, cached", cached)
    line("tap to first sample, not cached", uncached)
    over = False
    for name, values, most in (("cached", cached, MOST_CACHED), ("not cached", uncached, MOST_NOT_CACHED)):
        ratio = p95(values) / floor
        held = "held" if p95(values) <= LIMIT_S else "NOT HELD"
        print(f"{name + ' / (commit + period), p95':42} {ratio:.2f} (at most {most:g}); limit {held}")
        over = over or ratio > most
    return int(over)


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        database = sqlite3.connect(Path(folder) / "bare", isolation_level=None)
        with Journal.open(Path(folder) / "state") as journal, closing(database) as bare:
            bench = Bench(journal, bare)
            try:
                bench.begin()
                cached, uncached = bench.taps(ahead=True), bench.taps(ahead=False)
            finally:
                bench.speaker.close()
            return report(bench, cached, uncached)


if __name__ == "__main__":
    sys.exit(main())
