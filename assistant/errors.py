"""All of Kerfcall's own errors, under one root.

    KerfcallError
    +-- BadInput        one or more Faults in what the user gave; exit code 2
    +-- CouldNotRun     locked, no disk space, nothing to resume, a missing part; exit code 3
    |   +-- SessionLocked
    |   +-- JournalError
    +-- NoSuchPart      an optional library or device is missing; the text says how to fix it

Adapters turn foreign exceptions into these, with `raise ... from`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with what the user gave, in four parts.

    what: what is wrong, a clause without a full stop.
    value: the value received with its unit, as the user wrote it, or "" where there is none.
    where: file and key, e.g. "trays.toml: joint.finger".
    mend: what to do about it, a clause.
    """

    what: str
    value: str
    where: str
    mend: str

    def __str__(self) -> str:
        value = f" (got {self.value})" if self.value else ""
        return f"{self.where}: {self.what}{value}; {self.mend}"


@dataclass(frozen=True, slots=True)
class WrongFile(Fault):
    """A plan given where a shop file belongs, or the other way round; its mend is the correct command line."""


class KerfcallError(Exception):
    """The root of all Kerfcall errors."""

    exit_code = 3


class BadInput(KerfcallError, ValueError):
    """Every fault in a plan, a shop file, a script or an argument, all at once."""

    exit_code = 2

    def __init__(self, faults: Sequence[Fault]):
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class CouldNotRun(KerfcallError):
    """The command was understood but can't run now; the text says how to fix it."""


class SessionLocked(CouldNotRun):
    """Another process drives this session, or drives a live session when only one may run."""


class JournalError(CouldNotRun):
    """The journal can't be read or written; nothing already committed was lost."""


class NoSuchPart(KerfcallError):
    """An optional library, model or device is missing; the text says how to fix it."""
