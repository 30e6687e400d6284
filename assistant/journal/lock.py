"""One process per session: an operating system's file lock, freed even when its holder is killed."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from types import TracebackType

from assistant.errors import JournalError, SessionLocked
from assistant.journal import private

_SAFE = re.compile(r"[0-9A-Za-z][0-9A-Za-z-]{0,63}")
_SESSION = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}-[0-9]{1,9}")  # other locks lie in the same folder


class SessionLock:
    """Holds `<state_dir>/locks/<id>.lock` while entered; the holder's pid stands in `<id>.pid` beside it.

    The pid has its own file because a locked file can't be read on every system. Raises
    SessionLocked when another holder (also in this process) has it, JournalError when the
    lock can't be made at all.
    """

    def __init__(self, state_dir: Path, session_id: str):
        if not _SAFE.fullmatch(session_id):
            raise JournalError(f"{session_id!r} can't be a session's id: letters, digits and hyphens only")
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
        """Take the lock now or raise; never waits."""
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
                f"session {self._id} is being driven by another Kerfcall{holder}; "
                "carry on there, or end that one first: the session stays as it is"
            ) from error
        except (OSError, NotImplementedError) as error:
            raise JournalError(
                f"can't lock {path}: {error}; choose a folder on a local disk that you may write to with --state DIR"
            ) from error
        self._lock = lock
        private.tighten(path)
        with suppress(OSError):
            private.make_file(self._pid_file)
            self._pid_file.write_text(f"{os.getpid()}\n", encoding="ascii")

    def release(self) -> None:
        """Let go; safe to repeat."""
        if self._lock is None:
            return
        with suppress(OSError):
            self._pid_file.unlink()
        self._lock.release()  # type: ignore[attr-defined]
        self._lock = None


@contextmanager
def no_session_running(state_dir: Path) -> Iterator[None]:
    """Within: no session of this folder is driven, nor can one be begun again. Raises SessionLocked for one that is."""
    with ExitStack() as held:
        for path in sorted((state_dir / "locks").glob("*.lock")):
            if _SESSION.fullmatch(path.stem):
                held.enter_context(SessionLock(state_dir, path.stem))
        yield
