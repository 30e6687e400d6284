from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assistant.session import facts as f
from assistant.session.state import State


@dataclass(frozen=True, slots=True)
class Changed:
    extended: f.JobExtended
    successor: int


def kerf_changed(state: State, kerf: Fraction, other_blade: bool) -> Changed:
    raise NotImplementedError
