"""The command line itself: exit codes, one line a fault, never a traceback."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from assistant import __version__
from assistant.commands import COMMANDS, GROUPS
from tests.commands.program import Workshop


def test_version_and_help(workshop: Workshop) -> None:
    assert workshop.run("--version").out == f"kerfcall {__version__}\n"
    done = workshop.run("--help")
    assert done.code == 0 and all(name in done.out for name in COMMANDS)
    assert "Kerfcall never stops a blade" in " ".join(done.out.split())


def test_the_commands_come_in_groups_also_where_none_is_given(workshop: Workshop) -> None:
    assert sorted(name for names in GROUPS.values() for name in names) == sorted(COMMANDS)
    assert list(GROUPS) == ["Set up", "Plan", "Cut", "Look back"]
    done = workshop.run()
    assert (done.code, done.out, done.err) == (0, workshop.run("--help").out, "")
    at = -1
    for title, names in GROUPS.items():
        for line in (f"\n{title}:\n", *(f"\n  {name} " for name in names)):
            at, before = done.out.index(line, max(at, 0)), at
            assert at > before


def test_the_version_stands_once() -> None:
    """Python Packaging User Guide, "Writing your pyproject.toml": a dynamic field comes from the build backend."""
    file = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
    assert "version" not in file["project"] and file["project"]["dynamic"] == ["version"]
    assert file["tool"]["setuptools"]["dynamic"]["version"] == {"attr": "assistant.__version__"}


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(workshop: Workshop, command: str) -> None:
    done = workshop.run(command, "--help")
    assert done.code == 0 and f"kerfcall {command}" in done.out and done.err == ""


@pytest.mark.parametrize("words", [("saw",), ("layout",), ("cut",), ("layout", "plan.toml", "--nope")])
def test_wrong_usage_is_exit_code_2(workshop: Workshop, words: tuple[str, ...]) -> None:
    done = workshop.run(*words)
    assert done.code == 2 and done.out == "" and len(done.err.splitlines()) == 1
    assert done.err.startswith("kerfcall: ") and "; " in done.err


def test_options_may_stand_anywhere_after_the_command(workshop: Workshop) -> None:
    first = workshop.run("layout", "--json", "--shop", "shop.toml", "plan.toml")
    last = workshop.run("layout", "plan.toml", "--shop", "shop.toml", "--json")
    assert first.code == last.code == 0 and first.out == last.out


def test_a_plan_may_bear_the_name_of_a_command(workshop: Workshop) -> None:
    (workshop.folder / "plan.toml").rename(workshop.folder / "cut")
    assert workshop.run("layout", "cut", "--shop", "shop.toml").code == 0


def test_faults_come_one_a_line_with_their_place(workshop: Workshop) -> None:
    workshop.write("plan.toml", 'unit = "mm"\n[stock]\nwidth = 0\n[joint]\nlayout = "evn"\n')
    done = workshop.run("layout", "plan.toml", "--shop", "shop.toml")
    assert done.code == 2
    assert all(line.startswith("kerfcall: plan.toml") for line in done.err.splitlines())
    assert 'did you mean "even"' in done.err or "even" in done.err


def test_a_reader_that_goes_away_is_no_fault(workshop: Workshop) -> None:
    command = [sys.executable, "-m", "assistant", "layout", "plan.toml", "--shop", "shop.toml", "--json"]
    with subprocess.Popen(
        command, cwd=workshop.folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None and child.stderr is not None
        child.stdout.close()
        assert "Traceback" not in child.stderr.read()


def test_a_state_folder_that_can_not_be_made_is_said(workshop: Workshop) -> None:
    workshop.write("state", "a file stands where the folder should be")
    workshop.write("script.txt", "1 pedal tap\n")
    done = workshop.run("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--rehearse", "script.txt")
    assert done.code == 3 and "state" in done.err
