"""Writes a corrected clearance into a plan file: completely or not at all, and leaving everything else as it was."""

from __future__ import annotations

import stat
from pathlib import Path

from assistant import files
from assistant.errors import BadInput, CouldNotRun, Fault
from assistant.plans.plan_file import try_plan
from assistant.plans.shop_writer import bytes_with


def write_clearance(plan: Path, text: str) -> None:
    """Write `joint.clearance`. text: TOML, such as '"0.15 mm"'.

    Raises BadInput if the plan would then have a fault, CouldNotRun if it can't be written, NoSuchPart without tomlkit.
    """
    data = bytes_with(plan, "joint.clearance", text)
    real = plan.resolve()  # a link stays a link
    try:
        with files.prepared(real, data, stat.S_IMODE(real.stat().st_mode)) as new:
            read, faults = try_plan(new)
            if read is None:
                # They name the file that was read, which is the new one; the user knows only the plan.
                raise BadInput([Fault(f.what, f.value, f.where.replace(new.name, real.name), f.mend) for f in faults])
    except OSError as error:
        raise CouldNotRun(f"{real.name} can't be written: {error.strerror}; it was not changed") from error
