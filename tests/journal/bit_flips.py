"""Flips single bits in a real journal: `python -m tests.journal.bit_flips [COUNT] [SEED]`. Exit code 1 for any harm.

After each flip it does everything that a user can do. A session is read as it was written or refused; `resume` takes
the session that it took before, or refuses; nothing ends in an exception that isn't ours. Then `repair`: what it leaves
is sound, and again each session is as it was written or refused.
"""

from __future__ import annotations

import contextlib
import io
import random
import re
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from unittest import mock

from assistant.__main__ import main as kerfcall
from assistant.errors import CouldNotRun, JournalError
from assistant.journal import store
from assistant.journal.choosing import latest_begun, replayed
from assistant.journal.repair import repair
from assistant.journal.store import FILE_NAME, Journal, SessionRow
from assistant.plans.since_begun import phrases_left_out, plan_changes
from assistant.session.facts import Record
from tests.commands.program import FIRST_CALL, Workshop
from tests.journal.made import UTC

FINISHED = (
    FIRST_CALL + "10 pedal tap\n20 pedal tap\n30 pedal hold\n40 pedal hold\n50 pedal tap\n60 pedal tap\n70 pedal hold\n"
)
LOG = FILE_NAME + "-wal"
Read = dict[str, tuple[SessionRow, list[Record]]]


def real_journals(folder: Path) -> tuple[Path, Path]:
    """Three sessions that the program rehearsed: in a journal as it was closed, and as a killed process leaves it.

    In the second one most of it is in the log.
    """
    workshop = Workshop(folder)
    workshop.cut(FINISHED)
    workshop.cut(FIRST_CALL + "10 pedal tap\n12 heard marigold mark a problem here\n14 interrupt\n")
    workshop.cut(FIRST_CALL + "10 pedal tap\n12 pedal hold\n14 interrupt\n")
    closed, killed = folder / "state", folder / "killed"
    with Journal.open(closed) as journal, Journal.open(folder / "live") as live:
        for row in journal.sessions():
            session = live.new_session(row.title, row.plan_digest, row.plan_path, UTC)
            records = list(journal.replay(row.id))
            for first in range(0, len(records), 5):
                live.append(session, records[first : first + 5])
        shutil.copytree(folder / "live", killed, ignore=shutil.ignore_patterns("*-shm", "locks"))
    return closed, killed


def read(state: Path) -> Read:
    """Everything in an undamaged journal."""
    with Journal.open(state) as journal:
        return {row.id: (row, list(journal.replay(row.id))) for row in journal.sessions()}


def flipped(state: Path, trial: Path, place: int) -> Path:
    """A copy in which bit `place` of the database, or of the log after it, is flipped."""
    shutil.rmtree(trial, ignore_errors=True)
    trial.mkdir()
    for name in (FILE_NAME, LOG):
        if not (state / name).exists():
            continue
        data = bytearray((state / name).read_bytes())
        if 0 <= place < 8 * len(data):
            data[place // 8] ^= 1 << place % 8
        place -= 8 * len(data)
        (trial / name).write_bytes(data)
    return trial


def bits(state: Path) -> int:
    return 8 * sum((state / name).stat().st_size for name in (FILE_NAME, LOG) if (state / name).exists())


def harm(trial: Path, sound: Read) -> Iterator[str]:
    """What must not happen, in words; nothing if all is well. `tally` counts "refused" and "same" separately."""
    refusals: list[str] = []

    def attempt(what: str, work: Callable[[], str]) -> Iterator[str]:
        try:
            wrong = work()
        except JournalError as refusal:
            refusals.append(str(refusal))
            if not re.search(r"journal .+[:,] .+; .*\w", str(refusal), re.DOTALL):
                yield f"{what}: no four parts: {refusal}"
        except CouldNotRun as refusal:
            yield f"{what}: {refusal}"
        except Exception as error:
            yield f"{what}: {error!r}"
        else:
            if wrong:
                yield f"{what}: {wrong}"

    yield from attempt("replay", lambda: _differs(trial, sound))
    yield from attempt("resume", lambda: _taken_up(trial, sound))
    for action in ("list", "show", "export"):
        yield from attempt(action, lambda action=action: _command(action, trial))
    before = len(refusals)
    again = trial.with_name("repaired")
    shutil.rmtree(again, ignore_errors=True)
    shutil.copytree(trial, again)
    yield from attempt("cut", lambda: _begun(trial))
    yield from attempt("repair", lambda: _repaired(again, sound))
    tally["refused" if before else "same"] += 1


tally: Counter[str] = Counter()


def _differs(state: Path, sound: Read) -> str:
    with Journal.open(state) as journal:
        rows = journal.sessions()
        if [row.id for row in rows] != list(sound):
            return f"other sessions: {[row.id for row in rows]}"
        refusals = []
        for row in rows:
            was, records = sound[row.id]
            try:
                if list(journal.replay(row.id)) != records:
                    return f"session {row.id} is replayed differently"
            except JournalError as refusal:
                refusals.append(refusal)
            else:
                if row.fault:
                    refusals.append(JournalError(f"journal {state}, session {row.id}: {row.fault}; repair"))
                elif row != was:
                    return f"its row is {row}, was {was}"
        if refusals:
            raise refusals[0]
    return ""


def _taken_up(state: Path, sound: Read) -> str:
    newest = max(row.id for row, _ in sound.values() if row.state == "open")
    with Journal.open(state) as journal:
        row = latest_begun(journal, rehearsed=True)
        if row.id != newest:
            return f"takes {row.id}"
        plan_changes(Path(row.plan_path), row.plan_digest)
        phrases_left_out(replayed(journal, row.id).the_job)
    return ""


def _command(action: str, state: Path) -> str:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()) as told:
        code = kerfcall(["journal", action, "--state", str(state)])
    if code == 3:
        raise JournalError(told.getvalue().strip())
    return "" if code == 0 else f"exit code {code}"


def _begun(state: Path) -> str:
    with Journal.open(state) as journal:
        session = journal.new_session("Next", "", "", UTC)
        journal.discard_unbegun(session)
    return ""


def _repaired(state: Path, sound: Read) -> str:
    repair(state)
    if not (after := repair(state)).healthy:
        return f"not sound afterwards: {after}"
    with Journal.open(state) as journal:
        for row in journal.sessions():
            if row.fault:
                return f"session {row.id} is still damaged: {row.fault}"
            records = list(journal.replay(row.id, with_gaps=True))
            if row.id not in sound:
                return f"a session {row.id} that never was"
            if any(record not in sound[row.id][1] for record in records):
                return f"session {row.id} has other facts"
            with contextlib.suppress(JournalError):
                if list(journal.replay(row.id)) != sound[row.id][1]:
                    return f"session {row.id} is replayed differently"
    return ""


def trials(folder: Path, states: tuple[Path, ...], count: int, seed: int) -> Iterator[str]:
    """`count` flips in all, spread over these journals. Gives the harm that each flip did."""
    chance = random.Random(seed)
    for number in range(count):
        state = states[number % len(states)]
        yield from one(folder, state, chance.randrange(bits(state)))


_sound: dict[Path, Read] = {}


def one(folder: Path, state: Path, place: int) -> Iterator[str]:
    """One flip, and the harm that it did."""
    if state not in _sound:  # from a copy: reading plays the log into the database
        shutil.copytree(state, folder / f"sound-{state.name}")
        _sound[state] = read(folder / f"sound-{state.name}")
    with mock.patch.object(store, "_PATIENCE_S", ()):
        for wrong in harm(flipped(state, folder / "trial", place), _sound[state]):
            yield f"bit {place} of {state.name}: {wrong}"


def main() -> int:
    count, seed = (*map(int, sys.argv[1:3]), *(2500, 1)[len(sys.argv) - 1 :])
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        states = real_journals(folder)
        print(f"{count} flips, seed {seed}, in journals of {' and '.join(str(bits(s) // 8) for s in states)} bytes")
        harms = 0
        for wrong in trials(folder, states, count, seed):
            print(wrong)
            harms += 1
    print(", ".join(f"{what}: {many}" for what, many in sorted(tally.items())), f"; harm: {harms}")
    return 1 if harms else 0


if __name__ == "__main__":
    sys.exit(main())
