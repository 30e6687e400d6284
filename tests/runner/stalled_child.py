"""The program over a slow disk, run by the tests.

A commit does not return while the file named in the environment is there. It is written all the same, as on a card
whose sync takes its time.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from assistant.__main__ import main
from assistant.journal.store import Journal
from assistant.session.facts import Record

STALLED_BY = "KERFCALL_TEST_STALLED_BY"


def stall() -> None:
    """Make every commit wait for the disk from now on."""
    path = Path(os.environ[STALLED_BY])
    append = Journal.append

    def slowly(journal: Journal, session_id: str, records: Sequence[Record]) -> None:
        append(journal, session_id, records)
        while path.exists():
            time.sleep(0.01)

    Journal.append = slowly  # type: ignore[method-assign]


if __name__ == "__main__":
    stall()
    sys.exit(main())
