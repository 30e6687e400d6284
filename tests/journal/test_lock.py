"""One process drives a session. If it is killed, the session is free again."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.errors import JournalError, SessionLocked
from assistant.journal.lock import SessionLock

ROOT = Path(__file__).parents[2]
HOLD = """
import sys, time
from pathlib import Path
from assistant.journal.lock import SessionLock
with SessionLock(Path(sys.argv[1]), sys.argv[2]):
    print("held", flush=True)
    time.sleep(60)
"""


def test_another_process_is_refused_with_the_holders_pid_and_gets_in_once_it_was_killed(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path), "2026-11-25-1"], cwd=ROOT, stdout=subprocess.PIPE
    ) as child:
        assert child.stdout is not None and child.stdout.readline().strip() == b"held"
        try:
            with pytest.raises(SessionLocked, match=rf"session 2026-11-25-1 .*\(process {child.pid}\)"):
                SessionLock(tmp_path, "2026-11-25-1").acquire()
            with SessionLock(tmp_path, "2026-11-25-2"):
                pass
        finally:
            child.kill()
    assert child.returncode == (-signal.SIGKILL if os.name == "posix" else 1)
    with SessionLock(tmp_path, "2026-11-25-1"):
        pass


def test_it_is_held_once_within_a_process_too(tmp_path: Path) -> None:
    with SessionLock(tmp_path, "a"), pytest.raises(SessionLocked, match=str(os.getpid())):
        SessionLock(tmp_path, "a").acquire()


def test_leaving_frees_it_also_after_an_error(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="spoiled"), SessionLock(tmp_path, "a"):
        raise RuntimeError("spoiled")
    lock = SessionLock(tmp_path, "a")
    lock.acquire()
    lock.release()
    lock.release()


@pytest.mark.parametrize("name", ["../outside", "", "a/b", "a.b", "-"])
def test_an_id_never_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(JournalError, match="can't be a session"):
        SessionLock(tmp_path, name)


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(JournalError, match="can't lock .*--state DIR"):
        SessionLock(tmp_path / "file", "a").acquire()
