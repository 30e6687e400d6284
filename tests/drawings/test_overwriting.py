"""A drawing overwrites a drawing of its kind, and nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.drawings.overwriting import BEGINS, why_not_written


@pytest.mark.parametrize("kind", BEGINS)
def test_a_drawing_of_its_kind_and_an_empty_file_are_overwritten(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "drawing"
    assert why_not_written(kind, path, "--there") is None
    for begins in (b"", BEGINS[kind] + b" and more"):
        path.write_bytes(begins)
        assert why_not_written(kind, path, "--there") is None
    for other in {b"my notes", *BEGINS.values()} - {BEGINS[kind]}:
        path.write_bytes(other)
        fault = why_not_written(kind, path, "--there")
        assert fault is not None and fault.where == "--there" and "was not overwritten" in fault.what


def test_a_folder_is_no_file_and_a_missing_one_has_none(tmp_path: Path) -> None:
    folder, missing = why_not_written("svg", tmp_path, "--svg"), why_not_written("svg", tmp_path / "no" / "a.svg", "")
    assert folder is not None and folder.what == "is not a file"
    assert missing is not None and missing.what == "there is no such folder"
