"""A plan or shop file that a command writes for the user to edit or to cut: always a new file."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from assistant.errors import BadInput, Fault
from assistant.plans.document import cleaned


def refuse_existing(path: Path, option: str) -> list[Fault]:
    """One fault where a file or folder of this name exists, so that nothing is asked in vain. option: that named it."""
    try:
        if path.is_dir():
            return [Fault("is a folder", cleaned(str(path)), option, "name a file inside it")]
        return [_exists(path, option)] if path.exists() else []
    except (OSError, ValueError):
        return []  # what is wrong with such a path, writing says


def write_new_file(path: Path, text: str, option: str) -> None:
    """Write it. option: that named the file, for messages. Raises BadInput where it exists or can't be written."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file, _gone_unless_whole(path):
            file.write(text)
            file.flush()
    except FileExistsError as error:
        raise BadInput([_exists(path, option)]) from error
    except (OSError, ValueError) as error:
        reason = cleaned(getattr(error, "strerror", None) or str(error))
        mend = "check the folder and your right to write there"
        raise BadInput([Fault(f"can't be written: {reason}", cleaned(str(path)), option, mend)]) from error


@contextlib.contextmanager
def _gone_unless_whole(path: Path) -> Iterator[None]:
    """Take the file away again where writing it fails or is stopped."""
    try:
        yield
    except BaseException:
        with contextlib.suppress(OSError):
            path.unlink()
        raise


def _exists(path: Path, option: str) -> Fault:
    mend = "give another name, or move the old file away"
    return Fault("the file exists and was not overwritten", cleaned(str(path)), option, mend)
