"""The package: what it declares, and what works from the wheel alone and from the unpacked source archive."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tarfile
import tomllib
import venv
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from filelock import FileLock

import assistant
from assistant.plans.shop_file import read_shop
from tests.plans.files import DEMO

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
SETUPTOOLS = PROJECT["tool"]["setuptools"]
WAIT_S = 600


def test_every_folder_of_the_package_is_installed() -> None:
    """setuptools, "Package Discovery": a folder of data is a package of its own."""
    package = ROOT / "assistant"
    folders = {path.parent for path in package.rglob("*") if path.is_file() and "__pycache__" not in path.parts}
    found = {".".join(folder.relative_to(ROOT).parts) for folder in folders}
    assert sorted(found | {"assistant.demo_plans"}) == SETUPTOOLS["packages"]
    assert SETUPTOOLS["package-dir"]["assistant.demo_plans"] == DEMO.name


def test_every_file_of_the_package_is_installed() -> None:
    patterns = [pattern for each in SETUPTOOLS["package-data"].values() for pattern in each]
    data = [p for p in (ROOT / "assistant").rglob("*") if p.is_file() and p.suffix not in (".py", ".pyc")]
    assert data and not [path for path in data if not any(path.match(pattern) for pattern in patterns)]
    assert (ROOT / "assistant/py.typed") in data  # PEP 561


def test_what_is_declared() -> None:
    project = PROJECT["project"]
    assert project["authors"] == [{"name": "Kerfcall developers"}]
    versions = {line.rsplit("3.", 1)[1] for line in project["classifiers"] if "Python :: 3." in line}
    assert (versions, project["requires-python"]) == ({"11", "12", "13"}, ">=3.11,<3.14")
    assert not any(line.startswith("License ::") for line in project["classifiers"])  # PEP 639: beside an expression
    assert "urls" not in project  # there is no public address


@dataclass(frozen=True)
class Built:
    """The source archive unpacked, and the wheel that was made of it."""

    unpacked: Path
    wheel: Path


def outside_of_the_checkout() -> dict[str, str]:
    """The environment of somebody who has never seen it."""
    ours = ("PYTHONPATH", "DISPLAY", "WAYLAND_DISPLAY", "VIRTUAL_ENV")
    return {k: v for k, v in os.environ.items() if k not in ours and not k.startswith("PYTEST_")}


def run(command: Sequence[str | Path], folder: Path, **environ: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(word) for word in command],
        cwd=folder,
        env=outside_of_the_checkout() | environ,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=WAIT_S,
        check=False,
    )


def done(command: Sequence[str | Path], folder: Path, **environ: str) -> str:
    finished = run(command, folder, **environ)
    assert finished.returncode == 0, finished.stdout[-3000:] + finished.stderr[-3000:]
    return finished.stdout


class Empty:
    """A virtual environment with nothing in it: the pip of the one that runs the tests installs into it."""

    def __init__(self, folder: Path):
        venv.create(folder)
        self.programs = folder / ("Scripts" if sys.platform == "win32" else "bin")
        self.python = self.programs / "python"

    def pip(self, *words: str | Path) -> None:
        command = [sys.executable, "-m", "pip", "--python", self.python, "install", "-q", *words]
        done(command, self.programs.parent)


class Installation(Empty):
    """A virtual environment with nothing in it, an empty folder, and a home of its own."""

    def __init__(self, folder: Path):
        self.folder = folder / "empty"
        self.folder.mkdir(parents=True)
        super().__init__(folder / "venv")
        self._home = folder / "home"
        self._home.mkdir()

    def kerfcall(self, *words: str, code: int = 0) -> str:
        own = {"HOME": str(self._home), "XDG_CONFIG_HOME": "", "XDG_DATA_HOME": "", "APPDATA": str(self._home)}
        finished = run([self.programs / "kerfcall", *words], self.folder, **own)
        assert finished.returncode == code, finished.stdout[-3000:] + finished.stderr[-3000:]
        assert "Traceback" not in finished.stderr
        return finished.stdout

    @property
    def own_shop(self) -> Path:
        (path,) = self._home.rglob("shop.toml")
        return path


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    return copied(tmp_path / "checkout")


def copied(copy: Path) -> Path:
    """This checkout's copy, so that building leaves nothing in the real one."""
    made_here = shutil.ignore_patterns(
        ".git", ".venv", ".*_cache", ".hypothesis", "__pycache__", "*.egg-info", "build", "dist"
    )
    shutil.copytree(ROOT, copy, ignore=made_here)
    return copy


@pytest.fixture
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """As an installer does it: the source archive from the checkout, the wheel from the archive.

    Once for all workers, whose folders lie side by side.
    """
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "built"
    with FileLock(f"{folder}.lock"):
        if not (folder / "names").exists():
            shutil.rmtree(folder, ignore_errors=True)
            builder = Empty(folder / "venv")
            builder.pip(*PROJECT["build-system"]["requires"])
            checkout = copied(folder / "checkout")
            no_byte_code = {"PYTHONDONTWRITEBYTECODE": "1"}  # it would lie among what was unpacked
            hook = "import sys, setuptools.build_meta as backend; print(getattr(backend, sys.argv[1])(sys.argv[2]))"
            said = done([builder.python, "-c", hook, "build_sdist", folder], checkout, **no_byte_code)
            archive = said.splitlines()[-1]
            with tarfile.open(folder / archive) as file:
                file.extractall(folder, filter="data")
            unpacked = folder / archive.removesuffix(".tar.gz")
            said = done([builder.python, "-c", hook, "build_wheel", folder], unpacked, **no_byte_code)
            wheel = said.splitlines()[-1]
            (folder / "names").write_text(f"{unpacked.name}\n{wheel}", encoding="utf-8")
    return Built(*(folder / name for name in (folder / "names").read_text(encoding="utf-8").splitlines()))


@pytest.mark.long
def test_the_source_archive_holds_all_that_its_tests_need(built: Built, checkout: Path) -> None:
    for folder in ("assistant", "tests", "demo_plans", "models", ".ci"):
        expected = {
            p.relative_to(checkout) for p in (checkout / folder).rglob("*") if p.is_file() and p.suffix != ".wav"
        }
        present = {p.relative_to(built.unpacked) for p in (built.unpacked / folder).rglob("*") if p.is_file()}
        assert {path for path in expected if path.parent.parent.name != "models"} == present, folder
    units = "tests/joinery/test_units.py::test_every_64th_of_an_inch_matches_the_published_table"
    tests = (units, "tests/plans/test_examples.py", "tests/plans/test_new_shop.py", "tests/commands/test_main.py")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *tests]
    assert " passed" in done(command, built.unpacked, PYTHONPATH=str(built.unpacked))


@pytest.mark.long
def test_the_wheel_alone_is_enough(built: Built, tmp_path: Path) -> None:
    """In an empty folder: a shop file, a plan, its layout, a rehearsal, the demo; and `ready` names what is missing."""
    names = zipfile.ZipFile(built.wheel).namelist()
    assert "assistant/py.typed" in names and not [
        name for name in names if name.startswith(("tests/", ".ci", "source_"))
    ]
    assert f"kerfcall-{assistant.__version__}.dist-info/METADATA" in names
    here = Installation(tmp_path)
    here.pip(built.wheel)
    assert "Set up:" in here.kerfcall()
    here.kerfcall("init", "--yes", "--kerf-printed", "3.2")
    assert read_shop(here.own_shop).blade.kerf > 3
    for plan in DEMO.glob("*.toml"):
        if not plan.name.startswith("shop-"):
            here.kerfcall("init", "--plan", plan.stem)
            assert (here.folder / plan.name).read_bytes() == plan.read_bytes()
    here.kerfcall("init", "--copy", "readout", "--to", "saw.toml")
    assert "Part A: 84 mm wide" in here.kerfcall("layout", "tea-trays.toml")
    (here.folder / "script.txt").write_text("1 pedal hold\n9 pedal hold\n", encoding="utf-8")
    lines = here.kerfcall("cut", "tea-trays.toml", "--rehearse", "script.txt", code=1).splitlines()
    assert [line for line in map(json.loads, lines) if line.get("kind") == "check_confirmed"]
    assert "session finished" in here.kerfcall("demo")
    assert (here.folder / "kerfcall-demo.wav").stat().st_size > 1_000_000
    # No terminal and no pedal here, so a session can't run; each part that is not there comes with what to do.
    parts = {part["part"]: part for part in json.loads(here.kerfcall("ready", "--json", code=3))["parts"]}
    assert [parts[name]["state"] for name in ("packages", "voice", "shop file")] == ["works"] * 3
    assert "moonshine-voice==0.1.0" in parts["recogniser"]["mend"], "pocketsphinx alone can take an opposite"
    assert not [name for name, part in parts.items() if part["state"] != "works" and not part["mend"]]
    if sys.platform == "linux":
        assert "pip install --no-deps pynput" in parts["pedal"]["mend"]


@pytest.mark.long
def test_an_editable_installation_finds_the_demo_plans_of_the_checkout(checkout: Path, tmp_path: Path) -> None:
    here = Installation(tmp_path)
    here.pip("--no-deps", "-e", checkout)
    here.kerfcall("init", "--plan", "tea-trays")
    assert (here.folder / "tea-trays.toml").read_bytes() == (DEMO / "tea-trays.toml").read_bytes()
    assert "demo_plans" not in [path.name for path in (checkout / "assistant").iterdir()]
