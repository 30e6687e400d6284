"""Whole or not at all: whatever stops the writing, at whatever step."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path
from typing import IO

import pytest

from assistant import files
from assistant.files import PRIVATE, prepared, usual_mode, write_whole

posix = pytest.mark.skipif(os.name == "nt", reason="file modes, SIGKILL and fork are POSIX")

KILLER = """
import os, signal, sys
from pathlib import Path
from assistant import files

path, limit = Path(sys.argv[1]), 0
while True:
    limit, step = limit + 1, 0
    for one in path.parent.iterdir():
        one.unlink()
    path.write_bytes(b"old")

    def trace(frame, event, argument):
        global step
        if frame.f_code.co_filename != files.__file__:
            return None
        step += 1
        if step == limit:
            os.kill(os.getpid(), signal.SIGKILL)
        return trace

    child = os.fork()
    if not child:
        sys.settrace(trace)
        files.write_whole(path, b"new and longer")
        sys.settrace(None)
        os._exit(0)
    killed = os.WIFSIGNALED(os.waitpid(child, 0)[1])
    print(killed, path.read_bytes().decode(), sep=":", flush=True)
    if not killed:
        break
"""


@posix
def test_killed_at_each_step_the_file_is_the_old_one_or_the_new_one(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", KILLER, str(tmp_path / "file")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    rows = [line.split(":") for line in done.stdout.splitlines()]
    assert len(rows) > 20
    assert {text for _, text in rows[:-1]} == {"old", "new and longer"}, "both sides of the rename were tried"
    assert rows[-1] == ["False", "new and longer"]


@pytest.mark.parametrize("broken", ["mkstemp", "content", "fsync", "chmod", "within", "replace", "interrupt"])
def test_what_fails_leaves_the_old_file_and_nothing_beside_it(
    broken: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")

    def full(*_: object, **__: object) -> None:
        raise KeyboardInterrupt if broken == "interrupt" else OSError(28, "No space left on device")

    if broken == "mkstemp":
        monkeypatch.setattr("tempfile.mkstemp", full)
    elif broken in ("fsync", "replace"):
        monkeypatch.setattr(os, broken, full)
    elif broken == "chmod":
        monkeypatch.setattr(Path, "chmod", full)
    content = full if broken in ("content", "interrupt") else b"new"
    with (
        pytest.raises(KeyboardInterrupt if broken == "interrupt" else OSError),
        prepared(path, content, 0o644),
    ):
        if broken == "within":
            full()
    assert [one.read_bytes() for one in tmp_path.iterdir()] == [b"old"]


def test_within_the_old_file_stands_and_the_new_one_can_be_looked_at(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    with prepared(path, b"new") as new:
        assert (path.read_bytes(), new.read_bytes()) == (b"old", b"new")
        assert new.parent == tmp_path
    assert path.read_bytes() == b"new" and not new.exists()


def test_content_may_be_written_by_a_function(tmp_path: Path) -> None:
    def content(file: IO[bytes]) -> None:
        file.write(b"from ")
        file.write(b"two pieces")

    write_whole(tmp_path / "file", content)
    assert (tmp_path / "file").read_bytes() == b"from two pieces"


@posix
@pytest.mark.parametrize("mode", [PRIVATE, 0o640, 0o666])
def test_the_mode_is_the_one_asked_for_whatever_the_mask(mode: int, tmp_path: Path) -> None:
    before = os.umask(0o077)
    try:
        write_whole(tmp_path / "file", b"", mode)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "file").stat().st_mode) == mode


@posix
def test_the_usual_mode_is_that_of_any_new_file(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        (tmp_path / "plain").touch()
        assert usual_mode() == stat.S_IMODE((tmp_path / "plain").stat().st_mode) == 0o640
        assert os.umask(0o027) == 0o027
    finally:
        os.umask(before)


@posix
def test_the_folder_is_synced_after_the_rename(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[str] = []
    sync, move = os.fsync, os.replace

    def synced(handle: int) -> None:
        done.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        sync(handle)

    def moved(source: Path, target: Path) -> None:
        done.append("rename")
        move(source, target)

    monkeypatch.setattr(files.os, "fsync", synced)
    monkeypatch.setattr(files.os, "replace", moved)
    write_whole(tmp_path / "file", b"new")
    assert done == ["file", "rename", "folder"]
