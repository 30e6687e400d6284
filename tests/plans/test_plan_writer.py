"""A corrected clearance is written into the plan, and nothing else of it changes."""

from __future__ import annotations

import os
import stat
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from assistant.errors import BadInput, CouldNotRun
from assistant.plans.plan_file import read_plan
from assistant.plans.plan_writer import write_clearance
from tests.plans.files import PLAN, write


def test_only_the_clearance_changes(tmp_path: Path) -> None:
    text = PLAN.replace("finger = 6", "finger = 6  # a quarter\r\nclearance = 0.1   # felt right in ash")
    path = write(tmp_path, text, "trays.toml")
    write_clearance(path, '"0.15 mm"')
    assert path.read_bytes().decode() == text.replace("clearance = 0.1 ", 'clearance = "0.15 mm" ')
    assert read_plan(path).joint.clearance == Fraction("0.15")


def test_a_plan_without_one_gets_it_in_its_joint(tmp_path: Path) -> None:
    path = write(tmp_path, PLAN, "trays.toml")
    write_clearance(path, '"0.15 mm"')
    before, after = PLAN.splitlines(), path.read_text("utf-8").splitlines()
    assert [line for line in after if line not in before] == ['clearance = "0.15 mm"']
    assert read_plan(path).joint.clearance == Fraction("0.15")


def test_a_plan_that_would_have_a_fault_is_left_alone(tmp_path: Path) -> None:
    path = write(tmp_path, PLAN, "trays.toml")
    with pytest.raises(BadInput, match=r"^trays\.toml: joint\.clearance: "):
        write_clearance(path, '"20 mm"')
    assert path.read_text("utf-8") == PLAN
    assert os.listdir(tmp_path) == ["trays.toml"]


@pytest.mark.skipif(sys.platform == "win32", reason="permissions and links of POSIX")
def test_links_and_permissions_stay(tmp_path: Path) -> None:
    path = write(tmp_path, PLAN, "trays.toml")
    path.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(path)
    write_clearance(link, '"0.15 mm"')
    assert link.is_symlink() and stat.S_IMODE(path.stat().st_mode) == 0o640
    assert "0.15" in path.read_text("utf-8")


def test_what_can_not_be_written_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, PLAN, "trays.toml")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(CouldNotRun, match=r"trays\.toml can't be written: Permission denied; it was not changed"):
        write_clearance(path, '"0.15 mm"')
    assert path.read_text("utf-8") == PLAN
