"""A plan that a command writes for the user to edit or to cut: a new file, never over one that is there."""

from __future__ import annotations

from pathlib import Path

from assistant.errors import BadInput, Fault
from assistant.plans.document import cleaned


def write_new_plan(path: Path, text: str, option: str) -> None:
    """Write it. option: that named the file, for messages. Raises BadInput where it is there or can't be written."""
    given = cleaned(str(path))
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        mend = "give another name, or move the old file away"
        raise BadInput([Fault("there is such a file, and it is not written over", given, option, mend)]) from error
    except (OSError, ValueError) as error:
        reason = cleaned(getattr(error, "strerror", None) or str(error))
        mend = "check the folder and your right to write there"
        raise BadInput([Fault(f"cannot be written: {reason}", given, option, mend)]) from error
