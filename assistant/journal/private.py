"""Keeps the journal and its neighbours private: nobody but the user may open the files (0600) and folders (0700).

This works only on systems with such permissions. A folder that the user chose and that already existed keeps its own,
since it may hold other things, for other people.
"""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

FOLDER, FILE = 0o700, 0o600
_OTHERS = stat.S_IRWXG | stat.S_IRWXO


def make_folder(path: Path, tighten_it: bool) -> None:
    """Make the folder and any missing folders above it. A new folder is private.

    tighten_it: also make an existing folder private, since its name says that it is Kerfcall's. Raises OSError.
    """
    path.mkdir(mode=FOLDER, parents=True, exist_ok=True)
    if tighten_it:
        tighten(path)


def make_file(path: Path) -> None:
    """Make an empty file if it is missing, never even briefly with more permissions than it keeps. Raises OSError."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, FILE))
    tighten(path)


def tighten(path: Path) -> None:
    """Take all permissions from everyone but the owner. If that fails, the permissions stay as they are."""
    with contextlib.suppress(OSError):
        mode = stat.S_IMODE(path.stat().st_mode)
        if os.name == "posix" and mode & _OTHERS:
            path.chmod(mode & ~_OTHERS)
