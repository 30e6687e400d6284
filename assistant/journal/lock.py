"""Allows one process for each session, by a file lock that the operating system frees even if its holder is killed."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from types import TracebackType

from assistant.errors import JournalError, SessionLocked
from assistant.journal import private

# The id becomes a file name, so it must not lead out of the folder.
_SAFE = re.compile(r"[0-9A-Za-z][0-9A-Za-z-]{0,63}")
_SESSION = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}-[0-9]{1,9}")  # the same folder has other locks too


class SessionLock:
    """Holds `<state_dir>/locks/<id>.lock` while entered. The file `<id>.pid` beside it has the holder's process id.

    The process id has its own file because a locked file can't be read on every system. Raises
    SessionLocked if another holder (also in this process) has the lock, JournalError if the
    lock can't be made at all.
    """

    def __init__(self, state_dir: Path, session_id: str):
        if not _SAFE.fullmatch(session_id):
            raise JournalError(f"{session_id!r} can't be a session: use only letters, digits and hyphens")
        self._id = session_id
        self._folder = Path(state_dir) / "locks"
        self._pid_file = self._folder / f"{session_id}.pid"
        self._lock: object | None = None

    def __enter__(self) -> SessionLock:
        self.acquire()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()

    def acquire(self) -> None:
        """Take the lock now or raise. It never waits."""
        from filelock import FileLock, Timeout

        path = self._folder / f"{self._id}.lock"
        try:
            private.make_folder(self._folder.parent, tighten_it=False)
            private.make_folder(self._folder, tighten_it=True)
            lock = FileLock(str(path), mode=private.FILE)
            lock.acquire(timeout=0)
        except Timeout as error:
            holder = ""
            with suppress(OSError, ValueError):
                holder = f" (process {int(self._pid_file.read_text(encoding='ascii'))})"
            raise SessionLocked(
                f"another Kerfcall is running session {self._id}{holder}; "
                "carry on there, or end that Kerfcall first: the session stays as it is"
            ) from error
        # filelock raises NotImplementedError on a file system that knows no locks.
        except (OSError, NotImplementedError) as error:
            raise JournalError(
                f"can't lock {path}: {error}; with --state DIR, choose a folder on a local disk that you may write to"
            ) from error
        self._lock = lock
        # The mode given above is only for a new file; this one may be older.
        private.tighten(path)
        # It only names the holder in a message: the lock holds without it.
        with suppress(OSError):
            private.make_file(self._pid_file)
            self._pid_file.write_text(f"{os.getpid()}\n", encoding="ascii")

    def release(self) -> None:
        """Release the lock. Safe to repeat."""
        if self._lock is None:
            return
        with suppress(OSError):
            # While the lock is still held: a moment later this could be the next holder's file.
            self._pid_file.unlink()
        self._lock.release()  # type: ignore[attr-defined]
        self._lock = None


@contextmanager
def no_session_running(state_dir: Path) -> Iterator[None]:
    """Inside, no session of this folder is running, and none can be resumed. Raises SessionLocked if one is running."""
    with ExitStack() as held:
        for path in sorted((state_dir / "locks").glob("*.lock")):
            if _SESSION.fullmatch(path.stem):
                held.enter_context(SessionLock(state_dir, path.stem))
        yield
