"""What has changed since a session was begun: files gone or changed, and the port of its drive."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.errors import BadInput
from assistant.plans.model import Job
from assistant.plans.since_begun import phrases_left_out, plan_changes, shop_changes, with_drive_of_today
from tests.plans.files import SHOP, job_of, write

DRIVEN = """
[carriage]
travel = [0, 290]
[carriage.drive]
port = "/dev/ttyACM0"
home_reads = -1
"""


def begun(folder: Path, shop: str = SHOP) -> Job:
    return replace(job_of(folder, shop=shop), shop_path=str(folder / "shop.toml"))


def test_a_plan_file_is_named_where_it_is_gone_or_another(tmp_path: Path) -> None:
    plan = write(tmp_path, "as it was", "trays.toml")
    digest = hashlib.sha256(b"as it was").hexdigest()
    assert plan_changes(plan, digest) == ()
    plan.write_text("another", encoding="utf-8")
    assert plan_changes(plan, digest)[0].startswith("The plan file trays.toml has changed since.")
    plan.unlink()
    assert plan_changes(plan, digest)[0].startswith("The plan file trays.toml is gone.")


def test_a_shop_file_is_named_where_it_is_gone_bad_or_another(tmp_path: Path) -> None:
    job = begun(tmp_path)
    assert shop_changes(job, None) == () == phrases_left_out(job)
    path = write(tmp_path, SHOP.replace("3.18", "3.2"), "shop.toml")
    assert "kerf 3.18 mm, now 3.2 mm" in shop_changes(job, None)[0]
    path.write_text("[", encoding="utf-8")
    assert "can no longer be read" in shop_changes(job, None)[0]
    with pytest.raises(BadInput):
        shop_changes(job, path)
    path.unlink()
    assert shop_changes(job, None) == ("The shop file shop.toml is gone. The session goes on with its own figures.",)


def test_of_a_drive_its_port_is_that_of_today_and_with_another_blade_what_its_switch_reads(tmp_path: Path) -> None:
    job = begun(tmp_path, SHOP + DRIVEN)
    old = job.carriage.drive
    assert old is not None and with_drive_of_today(job, None) == job
    write(tmp_path, SHOP + DRIVEN.replace("ttyACM0", "ttyACM1").replace("= -1", "= -2"), "shop.toml")
    now = with_drive_of_today(job, None)
    assert now.carriage.drive == replace(old, port="/dev/ttyACM1")
    # Where the switch closes moves every cut, so it stays as it was for the blade that the session began with.
    of_another_blade = with_drive_of_today(replace(job, blade_since=1), None)
    assert of_another_blade.carriage.drive == replace(old, port="/dev/ttyACM1", home_reads=-2)
    (tmp_path / "shop.toml").unlink()
    assert with_drive_of_today(job, None) == job
    by_hand = begun(tmp_path)
    assert with_drive_of_today(by_hand, write(tmp_path, SHOP + DRIVEN, "shop.toml")) == by_hand
