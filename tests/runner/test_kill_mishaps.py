"""As `test_kill`, between the questions of each mishap: what was recorded is there, and what is due is asked."""

from __future__ import annotations

import json
import os
import random
import signal
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from assistant.journal.store import Journal
from assistant.plans.languages import language_of
from assistant.plans.mishaps import Mishap
from assistant.session import facts as f
from tests import forked
from tests.commands.program import PLAN as ONE_PART
from tests.sampling import every
from tests.session.watcher import Watcher

KILLS = 12
SHOP = 'unit = "mm"\nchecks_off = ["edge and face"]\n[blade]\nkerf = 3.18\n'
YES, NO, ONE_MORE = "pedal hold", "pedal double tap", "pedal tap"
GO_ON = ("heard marigold proceed to next pass", YES, "heard marigold carry on with the work")
"""Each does something in some states and nothing in the others, so that in turn they get through all of them."""
ANSWERS: dict[Mishap, tuple[str, ...]] = {
    Mishap.SLIPPED: (YES, NO, YES),
    Mishap.BUMPED: (YES, NO, YES),
    Mishap.DUST: (YES, NO, NO),
    Mishap.MISPLACED: (YES, NO, YES, ONE_MORE, ONE_MORE, YES, NO, YES),
    Mishap.SHALLOW: (YES, YES),
    Mishap.DEEP: (YES, ONE_MORE, ONE_MORE, YES, YES),
    Mishap.MISSED: (YES, ONE_MORE, YES, YES),
    Mishap.KERF: (YES, ONE_MORE, YES, YES),
    Mishap.BLADE: (YES, ONE_MORE, YES, YES),
    Mishap.BREAK: (YES, "heard marigold carry on with the work", YES, YES),
}
TOLD = (f.WentWrong, f.KerfMisplaced, f.DepthSet, f.CameBack, f.SetupReopened)
KINDS = {"pass_cut", "stepped_back", "jumped", *(fact.kind for fact in TOLD)}


def lines(mishap: Mishap) -> Iterator[str]:
    """Some passes, then standing by and what is told; most of it is answered, at last so that it goes on."""
    said = language_of("en").mishaps[mishap]
    for told in range(60):
        yield from GO_ON * (5 + told % 7)
        yield YES  # where a pass is called, this stands by
        yield f"heard marigold {said}"
        yield from ANSWERS.get(mishap, (YES, YES))


class FromJournal(Watcher):
    """Of a session that is read, not heard: whether something was asked can't be told, only what followed from it."""

    def read(self, fact: f.Fact) -> None:
        self.wrong.asks_of_cuts = True
        super().read(fact)
        self.to_ask, self.to_register = frozenset(), False


@dataclass
class Bench:
    folder: Path
    chance: random.Random
    session: str | None = None
    seen: list[tuple[str, int, int]] = field(default_factory=list)
    kills: int = 0
    finished: int = 0
    told: int = 0
    in_the_middle: int = 0

    def run_and_kill(self) -> None:
        verb = ["resume", self.session] if self.session else ["cut", "plan.toml", "--shop", "shop.toml"]
        words = [*verb, "--state", "state", "--rehearse", "script.txt"]
        reading, writing = os.pipe()
        child = forked.Child(words, self.folder, os.environ, stdout=writing)
        os.close(writing)
        left, waits = self.chance.randrange(10, 260), self.chance.random() < 0.7
        with open(reading, encoding="utf-8") as shown:
            for line in shown:
                fact = self.note(json.loads(line))
                left -= 1
                # Mostly as soon as something was told, which is the moment between two questions.
                if left < 0 and (fact == "went_wrong" or not waits):
                    time.sleep(self.chance.random() * 0.003)
                    child.kill()
                    self.in_the_middle += fact == "went_wrong"
                    break
            for line in shown.read().splitlines(keepends=True):
                if line.endswith("\n"):
                    self.note(json.loads(line))
        code = child.wait()
        assert code in (0, -signal.SIGKILL), code
        self.kills += code == -signal.SIGKILL

    def note(self, line: dict[str, object]) -> str:
        self.session = str(line["session"])
        kind = str(line["kind"]) if line["type"] == "fact" else ""
        if kind in KINDS:
            self.seen.append((kind, int(str(line.get("setup", 0))), int(str(line.get("pass", 0)))))
        return kind

    def check(self) -> None:
        """All that was shown is in the journal, in order; and the second bookkeeper finds nothing amiss in it."""
        if self.session is None:
            return
        with Journal.open(self.folder / "state") as journal:
            records = list(journal.replay(self.session))
            state = next(row.state for row in journal.sessions() if row.id == self.session)
        assert [record.n for record in records] == list(range(1, len(records) + 1))
        facts = [record.fact for record in records]
        kept = [
            (fact.kind, getattr(fact, "setup", 0), getattr(fact, "pass_", 0)) for fact in facts if fact.kind in KINDS
        ]
        assert kept[: len(self.seen)] == self.seen, "what was told and shown is lost"
        started = facts[0]
        assert isinstance(started, f.Started)
        watcher = FromJournal(started.job)
        for fact in facts:
            watcher.read(fact)
        self.seen = kept
        if state == "finished":
            assert watcher.over
            self.finished += 1
            self.told += sum(isinstance(fact, f.WentWrong) for fact in facts)
            self.session, self.seen = None, []


@pytest.mark.skipif(not forked.AVAILABLE, reason="the program is forked off by its handle, which Linux has")
@pytest.mark.parametrize("mishap", every(6, Mishap))
def test_a_mishap_told_is_not_lost_wherever_it_is_killed(mishap: Mishap, tmp_path: Path) -> None:
    script = "".join(f"{12 * n} {line}\n" for n, line in enumerate(lines(mishap), start=1))
    for name, text in (("plan.toml", ONE_PART), ("shop.toml", SHOP), ("script.txt", script)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    bench = Bench(tmp_path, random.Random(str(mishap)))
    while bench.kills < KILLS or not bench.told:
        bench.run_and_kill()
        bench.check()
    print(f"{bench.kills} kills, {bench.in_the_middle} of them between questions, {bench.finished} sessions finished")
    assert bench.in_the_middle >= 2 and bench.finished >= 1
