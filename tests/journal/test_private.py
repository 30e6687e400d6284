"""Only the user can see what was cut and when: 0600 and 0700, from the first moment."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.journal import private, store
from assistant.journal.lock import SessionLock
from assistant.journal.repair import repair
from assistant.journal.store import FILE_NAME, Journal
from tests.journal.made import UTC, event, journal_with

pytestmark = pytest.mark.skipif(os.name != "posix", reason="permissions of this kind are POSIX")
ROOT = Path(__file__).parents[2]


@pytest.fixture(params=[0o000, 0o022, 0o077], autouse=True)
def mask(request: pytest.FixtureRequest) -> Iterator[None]:
    """For any mask that the user has set."""
    before = os.umask(request.param)
    yield
    os.umask(before)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def modes(folder: Path) -> dict[str, int]:
    return {str(path.relative_to(folder)): mode(path) for path in folder.rglob("*")}


def test_a_folder_that_kerfcall_makes_and_all_in_it_are_private(tmp_path: Path) -> None:
    state = tmp_path / "state"
    with Journal.open(state) as journal:
        session = journal.new_session("t", "", "", UTC)
        journal.append(session, event(1))
        with SessionLock(state, session):
            found = modes(state)
    assert mode(state) == 0o700
    assert {FILE_NAME, f"{FILE_NAME}-wal", f"{FILE_NAME}-shm", "locks", f"locks/{session}.pid"} <= found.keys()
    assert {name: bits for name, bits in found.items() if bits != (0o700 if name == "locks" else 0o600)} == {}


def test_files_of_an_older_release_are_made_private_when_they_are_opened(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        session = journal.new_session("t", "", "", UTC)
        journal.append(session, event(1))
        shutil.copytree(tmp_path, tmp_path / "killed", ignore=shutil.ignore_patterns("killed"))
    state = tmp_path / "killed"
    (state / "locks" / f"{session}.lock").touch()
    for path in state.rglob("*"):
        path.chmod(0o755 if path.is_dir() else 0o644)
    with Journal.open(state), SessionLock(state, session):
        assert {name: bits for name, bits in modes(state).items() if bits & 0o077} == {}


def test_a_folder_that_was_there_keeps_its_own_permissions(tmp_path: Path) -> None:
    """The user chose this folder, and it may hold other files that others use."""
    shared = tmp_path / "shared"
    shared.mkdir()
    shared.chmod(0o775)
    (shared / "cutting list.txt").touch()
    (shared / "cutting list.txt").chmod(0o664)
    journal_with(shared)
    assert (mode(shared), mode(shared / "cutting list.txt"), mode(shared / FILE_NAME)) == (0o775, 0o664, 0o600)


def test_the_default_folder_is_made_private_though_it_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    default = tmp_path / "kerfcall"
    default.mkdir()
    default.chmod(0o755)
    monkeypatch.setattr(store, "default_state_dir", lambda: default)
    with Journal.open():
        pass
    assert mode(default) == 0o700


def test_what_repair_makes_is_private(tmp_path: Path) -> None:
    journal_with(tmp_path)
    data = bytearray((tmp_path / FILE_NAME).read_bytes())
    data[:100] = bytes(100)
    (tmp_path / FILE_NAME).write_bytes(data)
    kept = repair(tmp_path).kept
    assert kept is not None
    assert mode(kept) == mode(tmp_path / FILE_NAME) == 0o600


WATCH = """
import os, sqlite3, stat, sys
from pathlib import Path
from assistant.journal import schema
from assistant.journal.store import Journal
os.umask(0)
seen, connect = set(), schema.connect
def watched(path, create):
    seen.add(stat.S_IMODE(path.stat().st_mode))
    return connect(path, create)
schema.connect = watched
with Journal.open(Path(sys.argv[1])):
    print(*map(oct, seen))
"""


def test_it_is_never_readable_for_others_not_even_while_it_is_made(tmp_path: Path) -> None:
    """SQLite would make the file with the mask's permissions, to be changed only afterwards."""
    command = [sys.executable, "-c", WATCH, str(tmp_path / "state")]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.split() == ["0o600"]


def test_removing_permissions_never_adds_any(tmp_path: Path) -> None:
    file = tmp_path / "read only"
    file.touch()
    file.chmod(0o444)
    private.tighten(file)
    assert mode(file) == 0o400
    private.tighten(tmp_path / "not there")
