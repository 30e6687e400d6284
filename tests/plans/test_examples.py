"""The shop files to copy: those that lie in `demo_plans`, and the command does what it says."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import pytest

from assistant.plans import examples
from assistant.plans.shop_file import read_shop, try_shop
from tests.plans.files import DEMO, DEMO_SHOPS


def test_every_demo_shop_file_is_named() -> None:
    assert sorted(examples.SHOPS) == [path.name for path in DEMO_SHOPS]
    assert examples.examples_folder() == DEMO


def test_each_is_for_the_carriage_it_is_described_for() -> None:
    for name, described in examples.SHOPS.items():
        carriage = read_shop(DEMO / name).carriage
        assert {"readout": "readout", "handwheel": "handwheel", "steps": "stepper"}[carriage.kind] in described
        assert ("inches" in described) == (carriage.unit == "in")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX shell")
@pytest.mark.parametrize("folder", ["", "a folder/that is not there"])
def test_the_command_makes_a_shop_file(tmp_path: Path, folder: str) -> None:
    own = tmp_path / folder / "shop.toml"
    (fault,) = try_shop(own)[1]
    assert fault.what.startswith("there is no such file in ") and all(name in fault.mend for name in examples.SHOPS)
    command = re.search(r"figures: (.*); the examples are", fault.mend)
    assert command is not None
    subprocess.run(command[1], shell=True, check=True, timeout=60)
    assert read_shop(own).blade.kerf > 0


def test_a_wheel_carries_them(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without a checkout they lie where the installer put them."""
    data = tomllib.loads((DEMO.parent / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"][
        "data-files"
    ]
    ((place, patterns),) = data.items()
    (tmp_path / place).mkdir(parents=True)
    for path in (path for pattern in patterns for path in DEMO.parent.glob(pattern)):
        (tmp_path / place / path.name).write_bytes(path.read_bytes())
    monkeypatch.setattr(examples, "__file__", str(tmp_path / "lib/assistant/plans/examples.py"))
    installed = [metadata.PackagePath(place, path.name) for path in (tmp_path / place).iterdir()]
    for file in installed:
        file.dist = metadata.PathDistribution(tmp_path / "kerfcall.dist-info")
    monkeypatch.setattr(metadata, "files", lambda name: installed)
    assert examples.examples_folder() == tmp_path / place


def test_where_there_are_none_it_says_what_to_write(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(examples, "__file__", str(tmp_path / "lib/assistant/plans/examples.py"))
    monkeypatch.setattr(metadata, "files", lambda name: None)
    assert examples.how_to_copy(tmp_path / "shop.toml") == "write one with at least [blade] and the measured kerf"
