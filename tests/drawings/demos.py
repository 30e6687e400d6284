"""The jobs of all demo plans on all demo shops, and how what must be kept clear is written."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from assistant.plans.job import build_job
from assistant.plans.model import Job, Plan
from assistant.plans.plan_file import read_both
from tests.plans.files import DEMO, DEMO_PLANS, DEMO_SHOPS

NAMES = [(plan.stem, shop.stem) for plan in DEMO_PLANS for shop in DEMO_SHOPS]
NUMBER = r"-?\d+(?:/\d+)?(?: \d+/\d+)?"
IN_TURN = [
    pytest.param(plan.stem, shop.stem, marks=() if n % len(DEMO_SHOPS) == m else pytest.mark.long)
    for n, plan in enumerate(DEMO_PLANS)
    for m, shop in enumerate(DEMO_SHOPS)
]
"""For `parametrize`: in every run each plan on one of the shops, in turn; on the others in the long one."""
REACH, HEIGHT = rf"{NUMBER} to {NUMBER} (?:mm|in)", rf"{NUMBER} (?:mm|in)"


@cache
def demo(plan: str, shop: str) -> tuple[Plan, Job]:
    both = read_both(DEMO / f"{plan}.toml", DEMO / f"{shop}.toml")
    return both[0], build_job(*both)


def other_side(job: Job) -> Job:
    """The same job on a machine with its stop on the other side."""
    side = "left" if job.carriage.stop_side == "right" else "right"
    return replace(job, carriage=replace(job.carriage, stop_side=side))
