"""What the README and the guide for developers say is so."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import pytest

from assistant.__main__ import build_parser
from assistant.commands import COMMANDS
from assistant.plans.shop_file import read_shop
from assistant.screens.key_meanings import GESTURES, KEY_LIST
from tests.conftest import LONGEST

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def options_of(command: str) -> set[str]:
    (choices,) = (a.choices for a in build_parser(command)._actions if isinstance(a, argparse._SubParsersAction))
    parsers = [choices[command]]
    for parser in parsers:  # which grows
        parsers += [p for a in parser._actions if isinstance(a, argparse._SubParsersAction) for p in a.choices.values()]
    return {option for parser in parsers for action in parser._actions for option in action.option_strings}


def test_it_opens_with_the_job_in_one_paragraph() -> None:
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# Kerfcall"
    assert all(word in paragraph for word in ("box joints", "plan file", "aloud", "pedal", "interruption", "offline"))


def test_it_says_that_no_blade_is_stopped() -> None:
    assert "Kerfcall never stops a blade" in README
    assert re.search(r"manual,\s+local\s+regulations and safe working practice come first", README.replace("> ", ""))


def test_there_are_two_commands_to_copy() -> None:
    assert len(re.findall(r"```sh\n.*?```", README, re.S)) == 2


def test_every_command_is_named() -> None:
    assert [command for command in COMMANDS if not re.search(rf"`(kerfcall )?{command}\b", README)] == []


def test_every_option_that_is_named_exists() -> None:
    known = set().union(*(options_of(command) for command in COMMANDS)) | {"--no-deps", "--dist"}
    named = set(re.findall(r"`[^`]*?(--[a-z][a-z-]+)", README)) | set(re.findall(r" (--[a-z][a-z-]+)", README))
    assert named <= known, named - known


def test_what_it_puts_into_a_shop_file_is_read(tmp_path: Path) -> None:
    (example,) = re.findall(r"```toml\n(.*?)```", README, re.S)
    shop = tmp_path / "shop.toml"
    shop.write_text(f"[blade]\nkerf = 3\n{example}", encoding="utf-8")
    assert dict(read_shop(shop).voice.phrases)["cut"][-1] == "wilco that one is cut"


def test_every_file_that_is_named_exists() -> None:
    for text in (README, DEVELOPERS):
        for name in re.findall(r"`((?:demo_plans|tests|models|\.ci)/[\w./-]*)`", text):
            assert (ROOT / name).exists(), name


def test_every_file_that_is_to_begin_first_exists() -> None:
    assert [name for name in LONGEST if not (ROOT / "tests" / name).is_file()] == []


def test_every_module_that_the_guide_names_exists() -> None:
    named = sorted(set(re.findall(r"`([a-z]+/[a-z_]+\.py)`", DEVELOPERS)))
    assert len(named) > 30
    assert [name for name in named if not (ROOT / "assistant" / name).exists() and not (ROOT / name).exists()] == []


@pytest.mark.parametrize(
    ("key", "gesture", "stored"), [("space", "tap", "tap"), ("d", "double tap", "double"), ("h", "long press", "hold")]
)
def test_the_keys_of_the_gestures(key: str, gesture: str, stored: str) -> None:
    assert re.search(rf"^\| {gesture} \({key}\)", README, re.M)
    assert GESTURES[key] == stored
    assert re.search(rf"^ *(.*  )?{key}\b.*  ?{gesture}", KEY_LIST, re.M)


def test_the_top_level_is_as_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "assistant", "models", "tests", "demo_plans", "LICENSE"}
    made_here = {"build", "dist"} | ({"PKG-INFO", "setup.cfg"} if (ROOT / "PKG-INFO").exists() else set())
    present = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert agreed <= present
    assert {name for name in present - agreed - made_here if not name.endswith((".egg-info", ".wav"))} == set()
