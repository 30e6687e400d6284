"""Pieces of sentences, put together."""

from __future__ import annotations

from typing import Any

Figures = dict[str, Any]
"""A prompt's, by name: Fractions in mm, counts, names."""
# At the end of every question. Plain lines leave it out, since they stay when something else is asked.
YES_NO = "Long press for yes, double tap for no."
MOST_NAMED = 3
"""Up to so many marked problems, open sessions or passes are named one by one."""


def sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text[-1:] in ".?!" else ".")


def listed(parts: list[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
