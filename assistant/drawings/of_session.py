"""The sheets of a session's plan, for whoever looks at them while it runs."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from pathlib import Path

from assistant.drawings.sheets import paper_for, sheets
from assistant.drawings.svg import write_svg
from assistant.errors import BadInput
from assistant.plans.model import Job
from assistant.plans.plan_file import read_plan


def drawing_of(path: Path | None, job: Job) -> Callable[[], bytes | None]:
    """Draws the plan's sheets as SVG on the first call.

    Gives None if the plan file is gone or has changed since, and for a test joint.
    """
    # Each connection has a thread, and several devices can ask at the same time.
    guard = threading.Lock()
    made: list[bytes | None] = []

    def drawing() -> bytes | None:
        with guard:
            if not made:
                made.append(_drawn(path, job))
            return made[0]

    return drawing


def _drawn(path: Path | None, job: Job) -> bytes | None:
    try:
        if path is None or hashlib.sha256(path.read_bytes()).hexdigest() != job.plan_digest:
            return None
        plan = read_plan(path)
        if job.title != plan.title:
            return None  # a test joint, of which the plan draws only the boards that come after it
        return write_svg(sheets(plan, job, paper_for(job.carriage.unit)), job.title)
    except (OSError, BadInput):
        return None
