"""What `ready` checks about the journal: whether it can be read and written, and the space on its disk."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from assistant.errors import JournalError
from assistant.health import BROKEN, WORKS, Finding, one_line, with_tilde

LEAST_FREE_MB, LITTLE_FREE_MB = (
    50,
    500,
)  # with less than the first anything else that writes can make the next commit fail


def state_folder() -> Path:
    """The journal's folder. Raises ImportError where the library that finds it is missing."""
    from assistant.journal.store import default_state_dir

    return default_state_dir()


def nearest_existing(folder: Path) -> Path:
    """The folder, or the nearest existing folder above it."""
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return folder


def last_entry(folder: Path) -> str | None:
    """When the newest fact in this folder's journal was written, ISO 8601; None if there is none.

    Raises JournalError if the journal can't be read.
    """
    from assistant.journal.store import Journal, journal_path

    if not journal_path(folder).exists():
        return None
    # `ready` may run beside a session, so it takes no lock and brings nothing up to date.
    with Journal.open_beside(folder) as journal:
        return journal.last_utc()


def journal(find: Callable[[], Path] = state_folder) -> Finding:
    """Check that the journal can be read and written, since nothing is announced before it is committed."""
    from assistant.journal.store import journal_path

    mend = "make the folder writable, or give another with --state DIR"
    try:
        folder = find()
        # A temporary file shows whether the folder can be written, without touching the journal.
        with tempfile.NamedTemporaryFile(dir=nearest_existing(folder), prefix=".kerfcall-"):
            pass
        file = journal_path(folder)
        if file.exists() and not os.access(file, os.W_OK):
            return Finding(
                "journal", BROKEN, f"{with_tilde(file)} can't be written", "give yourself permission to write it"
            )
        last = last_entry(folder)
    except OSError as error:
        return Finding("journal", BROKEN, one_line(error), mend)
    except JournalError as error:
        text, _, what = str(error).partition("; ")
        return Finding("journal", BROKEN, text, what or "kerfcall journal repair")
    data = {"folder": str(folder), "last_entry_utc": last}
    last_line = f"last entry {last[:10]}" if last else "empty"
    return Finding("journal", WORKS, f"{with_tilde(folder)}, {last_line}", "", data)


def disk(find: Callable[[], Path] = state_folder) -> Finding:
    """Free space where the journal is kept."""
    try:
        free_mb = shutil.disk_usage(nearest_existing(find())).free // 1_000_000
    except OSError as error:
        return Finding("disk", BROKEN, one_line(error), "check that the journal's folder exists")
    data = {"free_mb": free_mb}
    if free_mb < LEAST_FREE_MB:
        return Finding("disk", BROKEN, f"{free_mb} MB free", f"free at least {LEAST_FREE_MB} MB", data)
    little = f"; under {LITTLE_FREE_MB} MB is not much" if free_mb < LITTLE_FREE_MB else ""
    return Finding("disk", WORKS, f"{free_mb:,} MB free{little}", "", data)
