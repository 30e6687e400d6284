"""Reads the tables of published values beside the tests."""

from __future__ import annotations

import csv
from pathlib import Path

FOLDER = Path(__file__).parent.parent / "references"


def rows(name: str) -> list[dict[str, str]]:
    """The rows of tests/references/`name`.csv, without its comment lines."""
    with open(FOLDER / f"{name}.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))
