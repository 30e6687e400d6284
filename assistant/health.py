"""What `kerfcall ready` reports about a part: a finding, and the words that findings share.

Each room has a `health.py` with the probes for its own parts; `commands/readiness.py` runs them all.
"""

from __future__ import annotations

import importlib.util
import os
import shlex
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any


class PartState(StrEnum):
    """A part's state, as `ready --json` has it."""

    WORKS = "works"
    LIMITED = "stands in"
    """The part lacks something, or another part replaces it."""
    BROKEN = "broken"


WORKS, LIMITED, BROKEN = PartState.WORKS, PartState.LIMITED, PartState.BROKEN
SHOWN = {WORKS: "working", LIMITED: "limited", BROKEN: "broken"}
"""The states as `ready` shows them."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found out about one part. mend: what to do, "" for nothing.

    data: its figures for other programs, JSON-ready.
    """

    part: str
    state: PartState
    text: str
    mend: str = ""
    data: Mapping[str, Any] = field(default_factory=dict)


def one_line(error: BaseException) -> str:
    """The first line of an exception, without paths of its code: a finding takes one line on the screen."""
    first = str(error).strip().splitlines()
    if isinstance(error, OSError) and error.strerror:
        return f"{error.strerror}: {with_tilde(error.filename)}" if error.filename else error.strerror
    return first[0] if first else type(error).__name__


def with_tilde(path: str | bytes | os.PathLike[Any] | int) -> str:
    """A path as a shell accepts it, with ~ for the home folder."""
    text = str(path) if isinstance(path, int) else os.fsdecode(path)
    home = str(Path.home()) if os.environ.get("HOME") or os.name == "nt" else ""
    if len(home) > 1 and os.name != "nt" and (text == home or text.startswith(home + os.sep)):
        return f"~{text[len(home) :]}"
    return text


def pip(*requirements: str) -> str:
    """The command that installs these requirements."""
    return f"python -m pip install {' '.join(shlex.quote(one) for one in requirements)}"


def importable(name: str) -> bool:
    """Whether a module exists. It isn't imported."""
    try:
        return importlib.util.find_spec(name) is not None
    except (ImportError, ValueError):
        return False
