"""Every error of our own, one root.

    KerfcallError
    +-- BadInput        one or more Faults in what the user gave; exit code 2
    +-- CouldNotRun     locked, disk, nothing to resume, a missing part; exit code 3
    |   +-- SessionLocked
    |   +-- JournalError
    +-- NoSuchPart      an optional library or device is missing; names what mends it

Foreign exceptions are turned into these at the adapter's door, with `raise ... from`.
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
    """A plan given where a shop file belongs, or the other way round; the command line that is right is its mend."""


class KerfcallError(Exception):
    """Root of all our errors."""

    exit_code = 3


class BadInput(KerfcallError, ValueError):
    """Faults in a plan, a shop file, a script or an argument, all of them at once."""

    exit_code = 2

    def __init__(self, faults: Sequence[Fault]):
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class CouldNotRun(KerfcallError):
    """The command was understood but can't be carried out now; the text says what mends it."""


class SessionLocked(CouldNotRun):
    """Another process drives this session, or a live one while no second may be."""


class JournalError(CouldNotRun):
    """The journal can't be read or written; nothing was lost that had been committed."""


class NoSuchPart(KerfcallError):
    """An optional library, model or device is missing; the text names the mend."""
