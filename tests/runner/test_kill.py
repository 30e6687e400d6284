"""A rehearsed session is killed (SIGKILL) at random moments and resumed, over and over: nothing is lost or repeated."""

from __future__ import annotations

import json
import os
import random
import signal
import time
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from assistant.journal.store import Journal
from assistant.session import facts as f
from tests import forked
from tests.commands.program import PLAN as ONE_PART

KILLS = 40
SHOP = 'unit = "mm"\nchecks_off = ["edge and face", "backing"]\n[blade]\nkerf = 3.18\n'
PLAN = f"""{ONE_PART}
[[boards]]
name = "short side"
part = "B"
"""
TAKEN_BACK = {"stepped_back", "jumped"}


def line(n: int) -> str:
    """A tap and a long press in turn get through every state: a cut, a stand by, carrying on, checks, questions.

    Now and then a pass is taken back, or the session goes to a cut pass; the next long press is the yes.
    """
    if n % 38 == 17:
        return "heard marigold return to previous"
    if n % 38 == 35:
        return "heard marigold go to pass one number one"
    return "pedal tap" if n % 2 else "pedal hold"


SCRIPT = "".join(f"{5 * n} {line(n)}\n" for n in range(1, 2001))


@dataclass
class Bench:
    folder: Path
    chance: random.Random
    session: str | None = None
    seen: list[tuple[str, int, int]] = field(default_factory=list)
    taken_back: int = 0
    kills: int = 0
    finished: int = 0

    def words(self) -> list[str]:
        verb = ["resume", self.session] if self.session else ["cut", "plan.toml", "--shop", "shop.toml"]
        return [*verb, "--state", "state", "--rehearse", "script.txt"]

    def run_and_kill(self) -> None:
        """One run: read some lines, wait some microseconds, kill."""
        reading, writing = os.pipe()
        child = forked.Child(self.words(), self.folder, os.environ, stdout=writing)
        os.close(writing)
        lines = self.chance.randrange(1, 220)
        with open(reading, encoding="utf-8") as shown:
            for line in shown:
                self.note(json.loads(line))
                lines -= 1
                if lines == 0:
                    time.sleep(self.chance.random() * 0.003)
                    child.kill()
                    break
            for line in shown.read().splitlines(keepends=True):
                if line.endswith("\n"):
                    self.note(json.loads(line))
        self.kills += child.wait() == -signal.SIGKILL

    def note(self, line: dict[str, object]) -> None:
        self.session = str(line["session"])
        if line["type"] == "fact" and line["kind"] in {"pass_cut", *TAKEN_BACK}:
            self.seen.append((str(line["kind"]), int(str(line["setup"])), int(str(line["pass"]))))

    def check(self) -> None:
        """Every pass announced as cut is in the journal, in order, and none is there twice."""
        if self.session is None:
            return
        with Journal.open(self.folder / "state") as journal:
            records = list(journal.replay(self.session))
            state = next(row.state for row in journal.sessions() if row.id == self.session)
        counted = [
            (r.fact.kind, r.fact.setup, r.fact.pass_)
            for r in records
            if isinstance(r.fact, f.PassCut | f.SteppedBack | f.Jumped)
        ]
        assert [r.n for r in records] == list(range(1, len(records) + 1)), "no fact is missing in between"
        assert counted[: len(self.seen)] == self.seen, "a confirmed pass was lost, or one taken back"
        cut = cut_at_last(counted)
        self.seen = counted
        if state == "finished":
            assert cut == {(s, p) for s, n in ((1, 2), (2, 2), (3, 4)) for p in range(1, n + 1)}
            self.finished += 1
            self.taken_back += sum(kind in TAKEN_BACK for kind, _, _ in counted)
            self.session, self.seen = None, []


def cut_at_last(counted: list[tuple[str, int, int]]) -> set[tuple[int, int]]:
    """The passes that are cut; none may be recorded twice unless back or go-to named it in between."""
    cut: set[tuple[int, int]] = set()
    for kind, *place in counted:
        where = (place[0], place[1])
        if kind == "pass_cut":
            assert where not in cut, "a pass was recorded as new a second time"
            cut.add(where)
        else:
            cut.discard(where)
    return cut


@pytest.mark.skipif(not forked.AVAILABLE, reason="the program is forked off by its handle, which Linux has")
def test_no_confirmed_pass_is_lost_and_none_repeated_over_many_kills(tmp_path: Path) -> None:
    for name, text in (("plan.toml", PLAN), ("shop.toml", SHOP), ("script.txt", SCRIPT)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    bench = Bench(tmp_path, random.Random(20))
    # Until sessions got to their end in spite of the kills, and passes were taken back in between, as chance has it.
    while bench.kills < KILLS or bench.finished < 2 or not bench.taken_back:
        bench.run_and_kill()
        bench.check()
    print(f"{bench.kills} kills, {bench.finished} sessions finished, {bench.taken_back} passes taken back in them")
