"""The jobs of all demo plans on all demo shops, and how what must be kept clear is written."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest

from assistant.plans.checks import DEFAULT_CHECKS, PIECE_CHECK
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


PIECE, BOTH_EDGES = "a distance piece", "both edges"
IN_HALVES = [
    pytest.param("tea-trays", PIECE),
    pytest.param("tray-dividers", PIECE),
    pytest.param("tea-trays", BOTH_EDGES),
    pytest.param("trinket-case-lined", BOTH_EDGES),
]
"""The same for boards wider than the travel, with a plan and how its far half is cut."""


@cache
def demo(plan: str, shop: str) -> tuple[Plan, Job]:
    if shop in (PIECE, BOTH_EDGES):
        return in_halves(plan, shop)
    both = read_both(DEMO / f"{plan}.toml", DEMO / f"{shop}.toml")
    return both[0], build_job(*both)


def in_halves(plan: str, way: str) -> tuple[Plan, Job]:
    """Any other demo plan on a readout whose travel ends at five sixths of the board."""
    read, shop = read_both(DEMO / f"{plan}.toml", DEMO / "shop-readout.toml")
    if way == BOTH_EDGES:  # an odd number of fingers, so that it is the same from both edges
        assert read.joint.finger
        width = read.width if read.width / read.joint.finger % 2 == 1 else read.width - read.joint.finger
        joint = replace(read.joint, far_half="other edge")
        read = replace(
            read, width=width, size=None, joint=joint, measured_widths=(width,) * sum(b.count for b in read.boards)
        )
    carriage = replace(shop.carriage, travel=(Fraction(-20), read.width * 5 / 6), distance_piece=read.width / 2)
    checks = shop.checks
    if way == PIECE:
        checks = (*(check for check in DEFAULT_CHECKS if check.name == PIECE_CHECK), *shop.checks)
    return read, build_job(read, replace(shop, carriage=carriage, checks=checks))


def other_side(job: Job) -> Job:
    """The same job on a machine with its stop on the other side."""
    side = "left" if job.carriage.stop_side == "right" else "right"
    return replace(job, carriage=replace(job.carriage, stop_side=side))
