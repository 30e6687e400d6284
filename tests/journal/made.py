"""Sessions made for the tests, and a child process that appends until it is stopped.

`python -m tests.journal.made append STATE ID` prints the number of the last fact after each
commit; `fill STATE ID BYTES` does so under a limit on the size of files, and says how it ended.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from assistant.errors import JournalError
from assistant.journal import schema
from assistant.journal.store import FILE_NAME, Journal
from assistant.session import facts as f

FIXTURES = Path(__file__).parent / "fixtures"
UTC = "2026-11-25T09:30:00.000+00:00"


def records(facts: Sequence[f.Fact], first: int = 1) -> list[f.Record]:
    """These facts numbered from `first`, two seconds apart."""
    return [
        f.Record(n, 2.0 * n, f"2026-11-25T09:{n // 30 % 60:02d}:{2 * n % 60:02d}.000+00:00", fact)
        for n, fact in enumerate(facts, start=first)
    ]


def event(first: int) -> list[f.Record]:
    """What one tap journals: a pass cut and the next setting called. `first` is odd."""
    number = first // 2 + 1
    return records([f.PassCut(1, number, "pedal"), f.SettingCalled(1, number + 1, f"{1235 + number}/100")], first)


SAMPLE: tuple[f.Fact, ...] = (
    f.SetupStarted(1),
    f.CheckOpened(1, "clamps"),
    f.CheckConfirmed(1, "clamps", "pedal"),
    f.SettingCalled(1, 1, "1235/100"),
    f.PassCut(1, 1, "pedal"),
    f.SettingCalled(1, 2, "2470/100"),
    f.StoodBy("voice"),
    f.CarriedOn("voice"),
    f.SettingCalled(1, 2, "2470/100"),
    f.PassCut(1, 2, "voice"),
    f.SteppedBack(1, 2),
    f.SettingCalled(1, 2, "2470/100"),
    f.PassCut(1, 2, "keys"),
    f.Noted(1, 2, "tear-out at the back"),
    f.Resumed(1, 0),
    f.Reregistered(1),
    f.Jumped(1, 1),
    f.SettingCalled(1, 1, "1/3"),
    f.PassCut(1, 1, "page"),
    f.SetupDone(1),
    f.StageReady(2),
    f.EndedEarly(1, 0),
    f.Resumed(1, 0),
    f.Finished(),
)


def journal_with(state: Path, facts: Sequence[f.Fact] = SAMPLE, title: str = "Nesting tea trays") -> str:
    """A journal in `state` with one more session of these facts; returns its id."""
    with Journal.open(state) as journal:
        session = journal.new_session(title, "ab" * 32, "trays.toml", UTC)
        journal.append(session, records(facts))
    return session


def edited(state: Path, *statements: str) -> None:
    """The journal, changed and sealed again as if it had been written that way."""
    with closing(sqlite3.connect(state / FILE_NAME)) as connection, connection:
        for statement in statements:
            connection.execute(statement)
        schema.seal_all(connection)


def old_journal(state: Path, *statements: str) -> None:
    """A journal of schema version 1 in `state`: the fixture that its release wrote, changed by these statements."""
    state.mkdir(exist_ok=True)
    shutil.copyfile(FIXTURES / "schema_1.sqlite3", state / FILE_NAME)
    with closing(sqlite3.connect(state / FILE_NAME)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def append_for_ever(state: Path, session: str) -> None:
    """One event after another, and a line per commit, written without buffering."""
    with Journal.open(state) as journal:
        last = sum(1 for _ in journal.replay(session))
        while True:
            journal.append(session, event(last + 1))
            last += 2
            os.write(1, b"%d\n" % last)


def fill(state: Path, session: str, limit: int) -> None:
    """Append until the file size limit is reached. Then lift the limit and append once more."""
    import resource

    with Journal.open(state) as journal:
        last = 0
        _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
        try:
            while last < 100_000:
                journal.append(session, event(last + 1))
                last += 2
        except JournalError as error:
            os.write(1, f"{last} refused: {error}\n".encode())
        resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
        journal.append(session, event(last + 1))
        os.write(1, b"%d after\n" % (last + 2))


if __name__ == "__main__":
    if sys.argv[1] == "append":
        append_for_ever(Path(sys.argv[2]), sys.argv[3])
    else:
        fill(Path(sys.argv[2]), sys.argv[3], int(sys.argv[4]))
