"""Allows one live session per user.

A pedal's key reaches every program that listens for it, so one press would count in all sessions. So the first takes
an operating system's file lock, which is freed even when its holder is killed. The lock is in the user's runtime
folder, which belongs to this computer, unlike a home folder that several computers may share. A note beside the lock
names the holder.
"""

from __future__ import annotations

import json
import os
import shlex
import sys
import warnings
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from assistant.errors import CouldNotRun, SessionLocked
from assistant.files import write_whole
from assistant.journal import private
from assistant.journal.store import default_state_dir

FOLDER_VARIABLE = "KERFCALL_RUNTIME_DIR"
NAME = "live-session"
PATIENCE_S = 0.3  # time for a session that is just ending, and for the holder to write its note


class LiveLock:
    """Holds `live-session.lock` while entered; `live-session.json` beside it names the holder.

    title: the plan's, or the command that moves the carriage. state_dir: the journal's folder, if it isn't the user's
    usual one. session: its id, or "" until `name` gives it. Raises SessionLocked, naming the holder, when another
    process drives a live session, and CouldNotRun when no folder can take the lock.
    """

    def __init__(self, title: str, state_dir: Path | None, session: str = ""):
        self._note = {
            "pid": os.getpid(),
            "title": title,
            "session": session,
            # Whole, since whoever reads it may be in another folder.
            "state": str(state_dir.resolve()) if state_dir is not None else "",
            "since": datetime.now(UTC).isoformat(timespec="seconds"),
        }
        self._note_file = Path()
        self._lock: Any = None

    def __enter__(self) -> LiveLock:
        from filelock import FileLock, Timeout

        failed = []
        for folder in _folders():
            path = folder / f"{NAME}.lock"
            try:
                private.make_folder(folder, tighten_it=False)
                lock = FileLock(str(path), mode=private.FILE)
                lock.acquire(timeout=PATIENCE_S)
            # Before OSError, since filelock's Timeout is one.
            except Timeout as error:
                raise SessionLocked(refusal(folder / f"{NAME}.json")) from error
            # NotImplementedError: how filelock reports a file system that can't lock.
            except (OSError, NotImplementedError) as error:
                failed.append(f"can't lock {path}: {error}")
                continue
            self._lock, self._note_file = lock, folder / f"{NAME}.json"
            with suppress(OSError):  # a killed holder's note: it must not be mistaken for this session's
                self._note_file.unlink()
            self._write()
            return self
        raise CouldNotRun(
            f"{'; '.join(failed)}; the lock keeps a pedal from driving two sessions: name a folder on a local disk "
            f"where you have write permission in the environment variable {FOLDER_VARIABLE}"
        )

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        # While the lock is still held: afterwards the note may be another session's.
        with suppress(OSError):
            self._note_file.unlink()
        self._lock.release()

    def name(self, session: str) -> None:
        """The session's id, as soon as it has one."""
        self._note["session"] = session
        self._write()

    def _write(self) -> None:
        with suppress(OSError):  # the lock works without it; a refusal then names no holder
            write_whole(self._note_file, json.dumps(self._note).encode())


def _folders() -> Iterator[Path]:
    """Folders for the lock; the first that can be used is taken."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        yield Path(named)
        return
    from platformdirs import user_runtime_path

    folder = None
    with warnings.catch_warnings(), suppress(OSError):
        warnings.simplefilter("ignore")  # about a system without a runtime folder: a private one is made then
        folder = user_runtime_path("kerfcall", appauthor=False, ensure_exists=True)
    if folder is not None:
        yield folder
    # The last resort, since a home folder may be shared with other computers.
    yield default_state_dir()


def refusal(note_file: Path) -> str:
    """Who drives the live session, as far as the note says, and how to end it."""
    note = _particulars(note_file)
    who, kill, resume = "", "", ""
    if note is not None:
        pid, session = note["pid"], note["session"]
        since = datetime.fromisoformat(note["since"]).astimezone()
        called = f"session {session}, {note['title']}" if session else str(note["title"])
        who = f": {called} (process {pid}, since {since:%Y-%m-%d %H:%M})"
        kill = f", or with: {'taskkill /F /PID' if sys.platform == 'win32' else 'kill'} {pid}"
        state = f" --state {shlex.quote(note['state'])}" if note["state"] else ""
        resume = f"; it stays open for: kerfcall resume {session}{state}" if session else ""
    return (
        f"another live session is running{who}. Only one may run, since one press of the pedal would count in both. "
        f"End it with Ctrl-C in its terminal{kill}{resume}"
    )


def _particulars(note_file: Path) -> dict[str, Any] | None:
    """The holder's note about itself; None if it is missing or incomplete."""
    try:
        note = json.loads(note_file.read_bytes())
        datetime.fromisoformat(note["since"])
        texts = all(isinstance(note[key], str) for key in ("title", "session", "state"))
        return note if isinstance(note["pid"], int) and texts else None
    except (OSError, ValueError, TypeError, KeyError):
        return None
