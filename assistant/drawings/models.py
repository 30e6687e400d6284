"""Lays out the drawing for a DXF file: the same pictures at full size, one below another."""

from __future__ import annotations

from assistant.drawings import parts
from assistant.drawings.picture import Item, Picture, Text
from assistant.drawings.sheets import joint_pictures, stage_pictures
from assistant.plans.model import Job, Plan

BETWEEN = 12.0
STAGE_WIDTH, JOINT_HEIGHT = 260.0, 200.0


def model(plan: Plan, job: Job) -> list[Item]:
    """Both parts at 1:1 with dimensions and passes, then stages and the joint. The board's end is horizontal."""
    pictures = [Picture((Text((0, 2), job.title, 5, bold=True),), 0, 8)]
    for pattern in job.patterns:
        size = parts.full_size(pattern)
        if not pattern.is_second_half:  # the first half shows the whole end
            pictures.append(parts.dimensions(job, pattern, size))
        pictures.append(parts.passes(job, pattern, size))
        if not pattern.is_second_half:
            pictures.append(parts.profile(job, pattern))
    pictures += stage_pictures(plan, job, STAGE_WIDTH)
    pictures += joint_pictures(plan, job, STAGE_WIDTH, JOINT_HEIGHT)
    items: list[Item] = []
    y = 0.0
    for picture in pictures:
        y -= picture.height
        items += picture.at(0, y)
        y -= BETWEEN
    return items
