"""The facts that are written."""

from __future__ import annotations

from assistant.session import facts as f

_KINDS = [kind for kind in vars(f).values() if isinstance(kind, type) and issubclass(kind, f.Fact)]
JOURNALLED: tuple[type[f.Fact], ...] = tuple(kind for kind in _KINDS if kind is not f.Fact and not kind.passing)
"""Every kind that is written, in the order in which they stand in `session.facts`."""
