"""Packages: which are missing or of the wrong version, with the command; voice, noise suppression, recogniser."""

from __future__ import annotations

import builtins
import sys
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from assistant.commands import ready_software
from assistant.commands.ready_line import BROKEN, STANDS_IN, WORKS, Line
from assistant.errors import NoSuchPart
from assistant.hearing import denoise
from assistant.hearing.models import Found
from assistant.plans.model import Check, VoiceSettings

PROJECT = Path(__file__).parents[2] / "pyproject.toml"
HERE: dict[str, str] = {"filelock": "3.20", "numpy": "2.1.0", "platformdirs": "4.3", "reportlab": "4.2.5"}
WANTED = ["filelock>=3.12", "numpy>=1.26", "platformdirs>=4", "reportlab>=4.2", 'ezdxf>=1.3; extra == "dxf"']


def packages(here: dict[str, str | None], wanted: Sequence[str] = WANTED) -> Line:
    return ready_software.packages(lambda: wanted, here.get)


@pytest.mark.parametrize(("version", "state"), [((3, 10, 9), BROKEN), ((3, 11, 0), WORKS), ((3, 13, 9), WORKS)])
def test_python_versions(version: tuple[int, ...], state: str) -> None:
    assert ready_software.python(version).state == state
    assert ready_software.python((3, 14, 0)).state == BROKEN


def test_all_packages_are_there() -> None:
    assert packages({**HERE}) == Line(
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
    monkeypatch.setattr(ready_software, "importable", lambda name: name != "numpy")
    line = packages({**HERE})
    assert (line.state, line.mend) == (BROKEN, "python -m pip install --force-reinstall numpy")


def test_a_missing_package_that_cutting_does_not_need_is_named_with_its_command() -> None:
    line = packages({**HERE, "reportlab": None})
    assert (line.state, line.text) == (STANDS_IN, "missing: reportlab")
    assert line.mend == "python -m pip install 'reportlab>=4.2'"


@pytest.mark.parametrize(
    ("name", "version", "state"),
    [("numpy", "1.25.2", BROKEN), ("reportlab", "4.1.9", STANDS_IN), ("ezdxf", "1.2", STANDS_IN)],
)
def test_a_wrong_version_is_named_with_the_one_wanted(name: str, version: str, state: str) -> None:
    line = packages({**HERE, name: version})
    assert line.state == state
    assert f"{name} {version} where >=" in line.text
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
    assert set(ready_software.CORE) < named and "packaging" in named
    assert set(ready_software.EXTRAS) | {"checks", "test"} == set(project["optional-dependencies"])


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
    assert (line.state, line.mend) == (STANDS_IN, "python -m pip install packaging")


def test_run_without_being_installed() -> None:
    assert packages({**HERE}, []).state == STANDS_IN


def test_this_machine_has_what_the_tests_need() -> None:
    line = ready_software.packages()
    assert line.state in (WORKS, STANDS_IN), line


def test_a_voice_that_can_not_be_had_is_text(monkeypatch: pytest.MonkeyPatch) -> None:
    def none(settings: VoiceSettings) -> None:
        raise NoSuchPart("no voice: none is installed")

    monkeypatch.setattr("assistant.speaking.choose.choose_engine", none)
    line = ready_software.voice(VoiceSettings())
    assert line.state == STANDS_IN and "text on the screen: no voice" in line.text and "espeakng-loader" in line.mend


def without_rnnoise() -> denoise.Denoiser:
    raise NoSuchPart("RNNoise is not installed; pip install --no-deps pyrnnoise")


class Stub(denoise.Plain):
    name = "rnnoise"


@pytest.mark.parametrize(
    ("asked", "rnnoise", "state", "chosen", "words"),
    [
        ("auto", Stub, WORKS, "rnnoise", "RNNoise: its library is installed"),
        (
            "auto",
            without_rnnoise,
            STANDS_IN,
            "spectral",
            "built-in suppression, weaker near a saw: RNNoise is not inst",
        ),
        ("rnnoise", without_rnnoise, STANDS_IN, "spectral", "rnnoise was asked for: RNNoise is not installed"),
        ("rnnoise", Stub, WORKS, "rnnoise", "RNNoise, as the shop file asks"),
        ("spectral", Stub, WORKS, "spectral", "the built-in suppression, as the shop file asks"),
        ("none", Stub, WORKS, "none", "no suppression, as the shop file asks"),
    ],
)
def test_noise_suppression_is_told_with_its_reason(
    asked: str,
    rnnoise: Callable[[], denoise.Denoiser],
    state: str,
    chosen: str,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(denoise, "_rnnoise", rnnoise)
    monkeypatch.setitem(denoise.MAKERS, "rnnoise", rnnoise)
    line = ready_software.noise(VoiceSettings(denoiser=asked))
    assert (line.state, line.data) == (state, {"chosen": chosen, "asked_for": asked})
    assert words in line.text
    assert ("pip install --no-deps pyrnnoise" in line.mend) is (state == STANDS_IN)


def test_the_noise_suppression_told_is_the_one_that_hearing_takes() -> None:
    chosen, _ = denoise.choose_denoiser("auto")
    assert ready_software.noise(VoiceSettings()).data["chosen"] == chosen.name


def test_the_recogniser_is_told_with_its_model(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    line = ready_software.recogniser(VoiceSettings(recogniser="pocketsphinx"))
    assert line.data == {"recogniser": "pocketsphinx", "model": None, "language": "en"}
    assert (line.state, line.text) == (WORKS, "pocketsphinx, its own model: the shop file asks for it")
    folder = tmp_path / "vosk-model-small-en"
    monkeypatch.setattr(
        "assistant.hearing.models.find_models", lambda voice, folders=None: [Found(folder, "", (), True)]
    )
    monkeypatch.setattr("assistant.hearing.models._vosk_missing", lambda found, usable: "")
    line = ready_software.recogniser(VoiceSettings())
    assert line.data["model"] == str(folder) and line.text == f"vosk, {folder}"
    monkeypatch.setattr(ready_software, "importable", lambda name: False)
    line = ready_software.recogniser(VoiceSettings(recogniser="pocketsphinx"))
    assert (line.state, line.mend) == (STANDS_IN, "python -m pip install pocketsphinx")


def test_a_recogniser_that_was_asked_for_and_is_not_there_is_stood_in_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.hearing.models.find_models", lambda voice, folders=None: [])
    line = ready_software.recogniser(VoiceSettings(recogniser="vosk"))
    assert line.state == STANDS_IN and line.data["recogniser"] == "pocketsphinx" and "models list" in line.mend


def test_words_that_the_recogniser_does_not_know_are_named_on_its_line() -> None:
    own = Check("dust port", "dust port open?", "the dust port is wide qzxopen", "setup")
    line = ready_software.recogniser(VoiceSettings(recogniser="pocketsphinx", lead_in="zxqwort"), (own,))
    assert line.state == STANDS_IN and line.data["unknown"] == ["zxqwort", "qzxopen"]
    assert '"zxqwort", "qzxopen"' in line.text and "kerfcall phrases" in line.mend
    taught = VoiceSettings(
        recogniser="pocketsphinx", lead_in="zxqwort", pronunciations=(("zxqwort", "Z EH K S W ER T"),)
    )
    assert ready_software.recogniser(taught).state == WORKS
