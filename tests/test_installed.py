"""Python and the packages: which are missing or of the wrong version, with the command."""

from __future__ import annotations

import builtins
import sys
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from assistant import installed
from assistant.health import BROKEN, LIMITED, WORKS, Finding

PROJECT = Path(__file__).parents[1] / "pyproject.toml"
HERE: dict[str, str] = {"filelock": "3.20", "numpy": "2.1.0", "platformdirs": "4.3", "reportlab": "4.2.5"}
WANTED = ["filelock>=3.12", "numpy>=1.26", "platformdirs>=4", "reportlab>=4.2", 'ezdxf>=1.3; extra == "dxf"']


def packages(here: dict[str, str | None], wanted: Sequence[str] = WANTED) -> Finding:
    return installed.packages(lambda: wanted, here.get)


@pytest.mark.parametrize(("version", "state"), [((3, 10, 9), BROKEN), ((3, 11, 0), WORKS), ((3, 13, 9), WORKS)])
def test_python_versions(version: tuple[int, ...], state: str) -> None:
    assert installed.python(version).state == state
    assert installed.python((3, 14, 0)).state == BROKEN


def test_all_packages_are_there() -> None:
    assert packages({**HERE}) == Finding(
        "packages",
        WORKS,
        "all 4; of the extras: none",
        "",
        {"missing": [], "wrong_version": {}, "extras": []},
    )
    assert packages({**HERE, "ezdxf": "1.4"}).data["extras"] == ["dxf"]


def test_without_a_package_that_cutting_needs_it_is_broken() -> None:
    line = packages({**HERE, "filelock": None})
    assert (line.state, line.mend) == (BROKEN, "python -m pip install filelock")
    assert line.data == {"missing": ["filelock"]}


def test_a_package_that_is_listed_and_not_there_is_broken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(installed, "importable", lambda name: name != "numpy")
    line = packages({**HERE})
    assert (line.state, line.mend) == (BROKEN, "python -m pip install --force-reinstall numpy")


def test_a_missing_package_that_cutting_does_not_need_is_named_with_its_command() -> None:
    line = packages({**HERE, "reportlab": None})
    assert (line.state, line.text) == (LIMITED, "missing: reportlab")
    assert line.mend == "python -m pip install 'reportlab>=4.2'"


@pytest.mark.parametrize(
    ("name", "version", "state"),
    [("numpy", "1.25.2", BROKEN), ("reportlab", "4.1.9", LIMITED), ("ezdxf", "1.2", LIMITED)],
)
def test_a_wrong_version_is_named_with_the_one_wanted(name: str, version: str, state: str) -> None:
    line = packages({**HERE, name: version})
    assert line.state == state
    assert f"{name} {version}, but >=" in line.text
    assert line.mend.startswith(f"python -m pip install '{name}>=")
    assert line.data["wrong_version"] == {name: version}


def test_versions_are_compared_as_versions_not_as_text() -> None:
    """PEP 440: 1.9 is before 1.26, and a pre-release of what is wanted serves."""
    assert packages({**HERE, "numpy": "1.9"}).state == BROKEN
    assert packages({**HERE, "numpy": "10.0rc1"}).state == WORKS


def test_a_package_for_another_system_is_not_missed() -> None:
    assert packages({**HERE}, [*WANTED, 'pynput>=1.8; sys_platform == "amiga"']).state == WORKS


def test_the_packages_declared_are_those_of_the_project() -> None:
    """pyproject.toml, read by another reader than the installer's."""
    project = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]
    named = {line.split(">")[0].split("=")[0] for line in project["dependencies"]}
    assert set(installed.CORE) < named and "packaging" in named
    assert set(installed.EXTRAS) | {"checks", "test"} == set(project["optional-dependencies"])


def test_without_the_package_that_compares_versions(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.split(".")[0] == "packaging"]:
        monkeypatch.delitem(sys.modules, name)
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name.startswith("packaging"):
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    line = packages({**HERE})
    assert (line.state, line.mend) == (LIMITED, "python -m pip install packaging")


def test_run_without_being_installed() -> None:
    assert packages({**HERE}, []).state == LIMITED


def test_this_machine_has_what_the_tests_need() -> None:
    line = installed.packages()
    assert line.state in (WORKS, LIMITED), line
