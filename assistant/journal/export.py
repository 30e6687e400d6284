"""Exports a session as JSON or CSV, for other programs."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from assistant.journal.codec import body_of
from assistant.journal.faults import naming
from assistant.journal.store import SessionRow
from assistant.session.facts import (
    CarriageHalted,
    CarriageHomed,
    DepthSet,
    JobExtended,
    KerfMisplaced,
    MoveAsked,
    Moved,
    Record,
    SettingCalled,
    SetupReopened,
    Started,
)

CSV_COLUMNS = (
    "session",
    "n",
    "at",
    "utc",
    "kind",
    "rehearsed",
    "stage",
    "setup",
    "pass",
    "check",
    "by",
    "setting",
    "setting_exact",
    "text",
    # Of a driven carriage; lengths in mm.
    "what",
    "to",
    "held",
    "asked",
    "reported",
    "why",
    "off_by",
    "beyond",
    # Of changes of the job; several numbers in one cell are separated by spaces.
    "socket",
    "cut_off",
    "passes",
    "setups",
    "kerf",
    # Of what went wrong; "deeper" of a setup whose kerfs are there, but not deep enough.
    "mishap",
    "deeper",
    "depth",
    "patterns",
    "lowered",
    "touched",
)
_WITH_LENGTHS = MoveAsked | Moved | CarriageHalted | CarriageHomed | SetupReopened | KerfMisplaced | DepthSet
LENGTHS_MM = ("to", "asked", "reported", "off_by", "cut_off", "depth")


def as_json(row: SessionRow, records: Iterable[Record]) -> dict[str, Any]:
    """{"session", "state", "plan_digest", "records": [{"n", "at", "utc", "kind", ...}]}.

    at: s since the session's start. A setting is a number in mm, exact to 1e-6, together with "setting_exact", a
    fraction as text; a driven carriage's lengths are numbers alone. `started` is exported without its job: the digest
    identifies the plan.
    """
    return {
        "session": row.id,
        "state": row.state,
        "plan_digest": row.plan_digest,
        "records": [_record(row.id, record) for record in records],
    }


def as_csv(row: SessionRow, records: Iterable[Record]) -> str:
    """A header, then a line for each fact. Columns that a kind doesn't have are empty."""
    text = io.StringIO()
    # By itself the csv module ends lines in CR LF, on every system.
    writer = csv.DictWriter(text, CSV_COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    for record in records:
        entry = _record(row.id, record).items()
        in_cells = {key: " ".join(map(str, value)) if isinstance(value, list) else value for key, value in entry}
        writer.writerow({"session": row.id, **in_cells})
    return text.getvalue()


def _record(session: str, record: Record) -> dict[str, Any]:
    fact = record.fact
    entry: dict[str, Any] = {"n": record.n, "at": record.at, "utc": record.utc, "kind": fact.kind}
    if isinstance(fact, Started):
        return entry | ({"rehearsed": True} if fact.rehearsed else {})
    if isinstance(fact, JobExtended):
        named = ", ".join(f"{one.board} {one.end}" for one in fact.setups)
        entry |= {"why": fact.why, "setups": [one.number for one in fact.setups], "text": named}
        with naming(session, record.n, fact.kind):
            return entry | ({"kerf": round(float(Fraction(fact.kerf)), 6)} if fact.kerf else {})
    entry.update(body_of(fact))
    if isinstance(fact, SettingCalled):
        with naming(session, record.n, fact.kind):
            entry["setting"] = round(float(Fraction(fact.setting)), 6)
        entry["setting_exact"] = fact.setting
    if isinstance(fact, _WITH_LENGTHS):
        with naming(session, record.n, fact.kind):
            entry |= {name: round(float(Fraction(entry[name])), 6) for name in LENGTHS_MM if entry.get(name)}
    return entry
