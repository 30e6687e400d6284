"""A single flipped bit never changes what a session is, and never ends in a traceback.

A small sample with a fixed seed. `python -m tests.journal.bit_flips 2500` flips as many as you ask for.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journal import bit_flips
from tests.journal.bit_flips import bits, one, real_journals, tally, trials


@pytest.fixture(scope="module")
def journals(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Path, Path]]:
    folder = tmp_path_factory.mktemp("flips")
    return folder, real_journals(folder)


def test_a_sample_all_over(journals: tuple[Path, tuple[Path, Path]]) -> None:
    folder, states = journals
    tally.clear()
    assert list(trials(folder, states, 16, seed=14)) == []
    assert tally["same"] and tally["refused"], "the sample holds both what matters and what does not"


def test_the_header(journals: tuple[Path, tuple[Path, Path]]) -> None:
    """Versions, page size, encoding, the mark as a journal: section 1.3 of SQLite's file format."""
    folder, (closed, _) = journals
    fields = {16: 4, 18: 1, 19: 1, 28: 7, 47: 1, 56: 6, 59: 0, 60: 7, 63: 0, 63.5: 1, 68: 6, 71: 3}
    assert [wrong for byte, bit in fields.items() for wrong in one(folder, closed, 8 * int(byte) + bit)] == []


def test_what_was_written_last(journals: tuple[Path, tuple[Path, Path]]) -> None:
    """The end of a log, where SQLite would treat a damaged commit as never made."""
    folder, (_, killed) = journals
    end, frame = bits(killed), 8 * (24 + 4096)
    places = [
        end - 9,
        end - frame // 2,
        end - frame + 3,
        end - frame + 8 * 9,
        end - 2 * frame + 8 * 18,
        end - 3 * frame - 9,
    ]
    tally.clear()
    assert [wrong for place in places for wrong in one(folder, killed, place)] == []
    assert tally == {"refused": len(places)}


def test_the_first_fact_of_the_session_to_be_resumed(
    journals: tuple[Path, tuple[Path, Path]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says whether wood was cut. If that can't be read, no older session is used instead."""
    folder, (closed, _) = journals
    data = (closed / bit_flips.FILE_NAME).read_bytes()
    places = [at for at in range(len(data)) if data.startswith(b'"rehearsed":true', at)]
    assert len(places) >= 3
    assert [wrong for at in places for wrong in one(folder, closed, 8 * (at + 3))] == []
