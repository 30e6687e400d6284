"""A plan is written as a new file, or there is one fault that says what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import BadInput
from assistant.plans.new_file import write_new_file


def test_it_is_written_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    write_new_file(path, 'title = "Kästchen"\n', "--write")
    assert path.read_bytes() == 'title = "Kästchen"\n'.encode()


def test_one_that_is_there_stays_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "old.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(BadInput, match="--write: the file exists and was not overwritten .*old.toml"):
        write_new_file(path, "new", "--write")
    assert path.read_text(encoding="utf-8") == "mine"


def test_half_a_file_is_none(tmp_path: Path) -> None:
    """A lone surrogate is no text that UTF-8 can hold."""
    path = tmp_path / "new.toml"
    with pytest.raises(BadInput, match="can't be written"):
        write_new_file(path, 'title = "\ud800"\n', "--to")
    assert not path.exists()


@pytest.mark.parametrize("name", ["none/new.toml", "new\0.toml"])
def test_what_cant_be_written_says_why(name: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="--plan: can't be written: .*; check the folder"):
        write_new_file(tmp_path / name, "new", "--plan")
