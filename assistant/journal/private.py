"""The journal and what lies beside it are the user's own: files for nobody else (0600), folders too (0700).

Only where the system has such permissions. A folder that the user named and that was there before keeps its own: it may
hold other things, for others.
"""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

FOLDER, FILE = 0o700, 0o600
_OTHERS = stat.S_IRWXG | stat.S_IRWXO


def make_folder(path: Path, tighten_it: bool) -> None:
    """The folder, and those above it, where missing; the folder itself private.

    tighten_it: it is Kerfcall's by its name, so that one already there is made private as well. Raises OSError.
    """
    path.mkdir(mode=FOLDER, parents=True, exist_ok=True)
    if tighten_it:
        tighten(path)


def make_file(path: Path) -> None:
    """The file, empty where it is missing: never for a moment with more permissions than it keeps. Raises OSError."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, FILE))
    tighten(path)


def tighten(path: Path) -> None:
    """Take from everybody but its owner what they may do with it; where that can't be done, it stays as it is."""
    with contextlib.suppress(OSError):
        mode = stat.S_IMODE(path.stat().st_mode)
        if os.name == "posix" and mode & _OTHERS:
            path.chmod(mode & ~_OTHERS)
