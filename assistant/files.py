"""Files written whole or not at all: who stops the process at any step finds the old file or the new one.

The new file is written beside its place, synced, and put there by one rename. Like `errors`, this may be
imported from every room. What fails is an OSError, which each caller tells in its own words.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

PRIVATE = 0o600  # what a temporary file has from its beginning, so that nobody else reads it in between
Content = bytes | Callable[[IO[bytes]], object]


@contextlib.contextmanager
def prepared(path: Path, content: Content, mode: int = PRIVATE) -> Iterator[Path]:
    """Within: the new file lies beside `path`, written and synced, under the name given. At the end it takes its place.

    content: the bytes, or what writes them into the file given. mode: its permissions, where the system has such.
    Whatever is raised within leaves `path` as it was and nothing beside it. Raises OSError.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".new", dir=path.parent)
    new = Path(name)
    try:
        with open(handle, "wb") as file:
            if isinstance(content, bytes):
                file.write(content)
            else:
                content(file)
            file.flush()
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
    """Write the file, or leave it as it was; see `prepared`."""
    with prepared(path, content, mode):
        pass


def usual_mode() -> int:
    """The permissions that a new file gets from this user's mask. Not for use beside other threads that open files."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _sync_folder(folder: Path) -> None:
    """So that the rename survives a power cut; where folders can't be synced, the system sees to it."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
