"""Writes files completely or not at all: a process stopped at any step leaves the old file or the new one.

The new file is written beside the old one, synced, and moved into place by one rename. Like `errors`, this module can
be imported from every room. Failures are OSErrors, and each caller words its own message.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

PRIVATE = 0o600  # a temporary file has these permissions from the start, so that nobody else can read it
Content = bytes | Callable[[IO[bytes]], object]


@contextlib.contextmanager
def prepared(path: Path, content: Content, mode: int = PRIVATE) -> Iterator[Path]:
    """Yields the path of the new file, written and synced beside `path`. It takes the place of `path` at the end.

    content: the bytes, or a function that writes them into the open file. mode: its permissions, where the system has
    them. Any exception inside leaves `path` unchanged and nothing beside it. Raises OSError.
    """
    # Beside it, since a rename is one step only within one file system.
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".new", dir=path.parent)
    new = Path(name)
    try:
        with open(handle, "wb") as file:
            if isinstance(content, bytes):
                file.write(content)
            else:
                content(file)
            file.flush()
            # Before the rename: else a power cut could leave the name on a file whose bytes were never written.
            os.fsync(file.fileno())
        if mode != PRIVATE:
            new.chmod(mode)
        yield new
        os.replace(new, path)
    except BaseException:
        with contextlib.suppress(OSError):
            new.unlink()
        raise
    _sync_folder(path.parent)


def write_whole(path: Path, content: Content, mode: int = PRIVATE) -> None:
    """Write the file, or leave it unchanged; see `prepared`."""
    with prepared(path, content, mode):
        pass


def usual_mode() -> int:
    """The permissions that this user's mask gives a new file. Unsafe while other threads open files."""
    # It can only be read by setting another.
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _sync_folder(folder: Path) -> None:
    """Makes the rename survive a power cut. Where folders can't be synced, the system takes care of it."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
