"""The journal's speed: `python -m tests.bench.journal`. Exit code 1 when a ratio is over its limit.

replay   100,000 facts; floor: bare fetchall and json.loads of the same rows
append   one tap's facts, committed; floor: a bare INSERT of the same rows and COMMIT, same settings
syncs    counted from outside by strace, where it is installed
"""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from statistics import quantiles

from assistant.journal.store import FILE_NAME, Journal
from tests.journal.made import UTC, event

FACTS = 100_000
COMMITS = 1_000
REPLAY_RATIO, APPEND_RATIO, LINEAR_RATIO = 8.0, 3.0, 1.5


def best_in_turn(runs: int, *works: Callable[[], object]) -> list[float]:
    """The shortest of several runs of each, s: the machine's other work only ever adds.

    They take turns, so that a clock that rises or falls meanwhile does so for all of them.
    """
    times = [[timed(work) / 1000 for work in works] for _ in range(runs)]
    return [min(each) for each in zip(*times, strict=True)]


def filled(journal: Journal, facts: int) -> str:
    session = journal.new_session("bench", "", "", UTC)
    journal.append(session, [record for n in range(1, facts, 2) for record in event(n)])
    return session


def replay(state: Path) -> bool:
    """Absolute, ratio to the floor, and growth: ten times a tenth of the facts is as much work as all of them once."""
    query = "SELECT n, at, utc, kind, version, body FROM facts WHERE session = ? ORDER BY n"
    with Journal.open(state) as journal, closing(sqlite3.connect(state / FILE_NAME)) as connection:
        whole, tenth = filled(journal, FACTS), filled(journal, FACTS // 10)

        def ours(session: str, facts: int) -> None:
            assert sum(1 for _ in journal.replay(session)) == facts

        long, short, floor = best_in_turn(
            5,
            lambda: ours(whole, FACTS),
            lambda: [ours(tenth, FACTS // 10) for _ in range(10)],
            lambda: [json.loads(row[5]) for row in connection.execute(query, (whole,)).fetchall()],
        )
    growth = long / short
    print(f"replay of {FACTS:,} facts: {long:.3f} s (limit 1 s); floor {floor:.3f} s; ratio {long / floor:.2f}")
    print(f"replay of {FACTS // 10:,} facts, ten times: {short:.3f} s; growth per fact {growth:.2f} (1 = linear)")
    return long / floor <= REPLAY_RATIO and growth <= LINEAR_RATIO


def timed(work: Callable[[], object]) -> float:
    """How long one call takes, ms."""
    begun = time.perf_counter()
    work()
    return (time.perf_counter() - begun) * 1000


def append(state: Path) -> bool:
    """p50, p95 and greatest, and the ratio of medians to a bare INSERT + COMMIT under the same settings."""
    with Journal.open(state) as journal, closing(sqlite3.connect(state / "bare", isolation_level=None)) as bare:
        session = journal.new_session("bench", "", "", UTC)
        bare.execute("PRAGMA journal_mode = WAL")
        bare.execute("PRAGMA synchronous = FULL")
        bare.execute("CREATE TABLE facts (s TEXT, n INTEGER, at REAL, utc TEXT, k TEXT, v INTEGER, b TEXT)")
        rows = [(session, 1, 2.0, UTC, "setting_called", 1, '{"setup":1,"pass":1,"setting":"1235/100"}')] * 2

        def plain() -> None:
            bare.execute("BEGIN IMMEDIATE")
            bare.executemany("INSERT INTO facts VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
            bare.execute("COMMIT")

        ours, floor = [], []
        for index in range(COMMITS):  # in turn, so that the disk's other work falls on both
            ours.append(timed(lambda index=index: journal.append(session, event(2 * index + 1))))
            floor.append(timed(plain))
    own, least = quantiles(ours, n=20), quantiles(floor, n=20)
    ratio = own[9] / least[9]
    print(f"append of one tap's facts: p50 {own[9]:.2f} ms, p95 {own[18]:.2f} ms (limit 5 ms), most {max(ours):.2f} ms")
    print(f"floor, INSERT + COMMIT: p50 {least[9]:.2f} ms, p95 {least[18]:.2f} ms; ratio of medians {ratio:.2f}")
    return ratio <= APPEND_RATIO


APPENDS = """
import sys
from pathlib import Path
from assistant.journal.store import Journal
from tests.journal.made import UTC, event
with Journal.open(Path(sys.argv[1])) as journal:
    session = journal.new_session("bench", "", "", UTC)
    for index in range(int(sys.argv[2])):
        journal.append(session, event(2 * index + 1))
"""


def syncs(state: Path) -> bool:
    """Twice as many appends must cost that many more syncs: one each."""
    if shutil.which("strace") is None:
        print("syncs: not counted (strace is not installed)")
        return True
    few, many = (_counted(state / str(appends), appends) for appends in (50, 150))
    print(f"syncs: {few} for 50 appends, {many} for 150: {(many - few) / 100:.2f} per append")
    return many - few >= 100


def _counted(state: Path, appends: int) -> int:
    command = ["strace", "-f", "-e", "trace=fsync,fdatasync", sys.executable, "-c", APPENDS, str(state), str(appends)]
    traced = subprocess.run(command, capture_output=True, text=True, check=True)
    return len(re.findall(r"\bf(?:data)?sync\(", traced.stderr))


def main() -> int:
    """Runs all three; 0 when every ratio holds."""
    with tempfile.TemporaryDirectory() as folder:
        results = [work(Path(folder) / work.__name__) for work in (replay, append, syncs)]
    return 0 if all(results) else 1


if __name__ == "__main__":
    sys.exit(main())
