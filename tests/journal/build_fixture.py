"""Builds fixtures/schema_N.sqlite3 and what it holds, once per released schema.

Run as `python -m tests.journal.build_fixture`.

It refuses to overwrite: a fixture represents journals that users have.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from fractions import Fraction
from pathlib import Path

from assistant.joinery.model import Carriage, Pass, Pattern, Segment
from assistant.journal import schema
from assistant.journal.store import FILE_NAME, Journal
from assistant.plans.model import Check, Job, PedalSettings, Setup, VoiceSettings
from assistant.session import facts as f
from tests.journal.made import SAMPLE, UTC, records

FIXTURES = Path(__file__).parent / "fixtures"


def small_job() -> Job:
    """Three sockets in an 84 mm board, one pass each: enough for one of everything that a job stores."""
    edges = [Fraction(12 * n) for n in range(8)]
    segments = tuple(Segment(a, b, n % 2 == 0) for n, (a, b) in enumerate(zip(edges, edges[1:], strict=False)))
    passes = tuple(
        Pass(n, n, Fraction(24 * n - 12), Fraction(24 * n) - Fraction(1, 3), Fraction(24 * n)) for n in range(1, 4)
    )
    return Job(
        title="Spice drawers",
        plan_digest="cd" * 32,
        kerf=Fraction(318, 100),
        clearance=Fraction(1, 10),
        assumed_kerf=Fraction(313, 100),
        warnings=("slivers under 3 mm at the far edge",),
        checks=(Check("clamps", "clamps tight?", "all clamps are secure", "setup"),),
        stages=("cut",),
        patterns=(Pattern("A", Fraction(84), Fraction(123, 10), segments, passes),),
        setups=(Setup(1, 1, "drawer side", "A", 1, 2, 1, 0),),
        order=(1,),
        carriage=Carriage(travel=(Fraction(0), Fraction(400))),
        pedal=PedalSettings(),
        voice=VoiceSettings(),
        greatest_error=Fraction(1, 300),
        worst_clearance=Fraction(28, 300),
    )


def build(folder: Path) -> tuple[Path, Path]:
    """Write both files; returns their paths."""
    version = len(schema.MIGRATIONS)
    database, held = folder / f"schema_{version}.sqlite3", folder / f"schema_{version}.json"
    if database.exists():
        sys.exit(f"{database.name} exists already; a released schema's fixture is never rewritten")
    job = small_job()
    sessions = [("Nesting tea trays", SAMPLE), (job.title, (f.Started(job), f.SetupStarted(1), f.EndedEarly(1, 0)))]
    sessions.append(("Instrument case", (f.SetupStarted(1), f.SettingCalled(1, 1, "127/10"))))
    told = []
    with tempfile.TemporaryDirectory() as state:
        with Journal.open(Path(state)) as journal:
            for title, facts in sessions:
                session = journal.new_session(title, "ab" * 32, f"{title}.toml", UTC)
                journal.append(session, records(facts))
            for row in journal.sessions():
                facts = [[r.n, r.fact.kind, repr(r.fact)] for r in journal.replay(row.id)]
                told.append({"id": row.id, "state": row.state, "facts": facts})
        folder.mkdir(exist_ok=True)
        shutil.copyfile(Path(state) / FILE_NAME, database)
    held.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    return database, held


if __name__ == "__main__":
    for path in build(FIXTURES):
        print(path.name, path.stat().st_size, "bytes")
