"""What goes into a DXF file: the same pictures at full size, one above another, in one drawing."""

from __future__ import annotations

from collections.abc import Iterator

from assistant.drawings import parts
from assistant.drawings.picture import Item, Picture, Text
from assistant.drawings.sheets import joint_pictures, stage_pictures
from assistant.plans.model import Job, Plan

BETWEEN = 12.0
TALL = 200.0


def model(plan: Plan, job: Job) -> list[Item]:
    """Both parts at 1:1 with dimensions and passes, then stages and the joint. The board's end lies level."""
    items: list[Item] = []
    y = 0.0
    for picture in (_title(job), *_pictures(plan, job)):
        y -= picture.height
        items += picture.at(0, y)
        y -= BETWEEN
    return items


def _title(job: Job) -> Picture:
    return Picture((Text((0, 2), job.title, 5, bold=True),), 0, 8)


def _pictures(plan: Plan, job: Job) -> Iterator[Picture]:
    for pattern in job.patterns:
        size = parts.full_size(pattern)
        yield parts.dimensions(job, pattern, size)
        yield parts.passes(job, pattern, size)
        yield parts.profile(job, pattern)
    yield from stage_pictures(plan, job, 260.0)
    yield from joint_pictures(plan, job, 260.0, TALL)
