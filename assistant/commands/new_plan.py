"""Writes a plan for the user to edit or to cut, as a new file. An existing file is never overwritten."""

from __future__ import annotations

from pathlib import Path

from assistant.errors import BadInput, Fault
from assistant.plans.document import cleaned


def write_new_plan(path: Path, text: str, option: str) -> None:
    """Write a plan. option: the option that gave the path, for messages.

    Raises BadInput if the file exists or can't be written.
    """
    given = cleaned(str(path))
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        mend = "give another name, or move the old file away"
        raise BadInput([Fault("the file exists and was not overwritten", given, option, mend)]) from error
    except (OSError, ValueError) as error:
        reason = cleaned(getattr(error, "strerror", None) or str(error))
        mend = "check the folder, and that you may write there"
        raise BadInput([Fault(f"can't be written: {reason}", given, option, mend)]) from error
