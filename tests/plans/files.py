"""Plan and shop files for the tests: valid files, and the faults reported for invalid files."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import BadInput
from assistant.plans.job import build_job
from assistant.plans.model import Job, Plan, Shop
from assistant.plans.plan_file import read_both, read_plan
from assistant.plans.shop_file import read_shop

DEMO = Path(__file__).parents[2] / "demo_plans"
DEMO_PLANS = sorted(path for path in DEMO.glob("*.toml") if not path.name.startswith("shop-"))
DEMO_SHOPS = sorted(DEMO.glob("shop-*.toml"))

PLAN = """
title = "Trays"
unit = "mm"
[stock]
width = 84
thickness = 12
[joint]
layout = "even"
finger = 6
[[boards]]
name = "long side"
part = "A"
[[boards]]
name = "short side"
part = "B"
"""
LISTED = PLAN.replace('layout = "even"\nfinger = 6', 'layout = "listed"\nwidths = [20, 44, 20]')
SHOP = """
unit = "mm"
[blade]
kerf = 3.18
"""


def write(folder: Path, text: str | bytes, name: str) -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def plan_of(folder: Path, text: str | bytes = PLAN) -> Plan:
    return read_plan(write(folder, text, "trays.toml"))


def shop_of(folder: Path, text: str | bytes = SHOP) -> Shop:
    return read_shop(write(folder, text, "shop.toml"))


def job_of(folder: Path, plan: str = PLAN, shop: str = SHOP) -> Job:
    return build_job(*read_both(write(folder, plan, "trays.toml"), write(folder, shop, "shop.toml")))


def plan_faults(folder: Path, text: str | bytes) -> list[str]:
    with pytest.raises(BadInput) as caught:
        plan_of(folder, text)
    return [str(fault) for fault in caught.value.faults]


def shop_faults(folder: Path, text: str | bytes) -> list[str]:
    with pytest.raises(BadInput) as caught:
        shop_of(folder, text)
    return [str(fault) for fault in caught.value.faults]


def job_faults(folder: Path, plan: str = PLAN, shop: str = SHOP) -> list[str]:
    with pytest.raises(BadInput) as caught:
        job_of(folder, plan, shop)
    return [str(fault) for fault in caught.value.faults]
