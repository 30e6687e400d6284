"""Completion in real shells: what the Tab key offers, and that only the chosen command is imported for it."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from assistant.commands import COMMANDS
from assistant.commands.completion import SHELLS
from tests.commands.program import Workshop
from tests.sampling import every
from tests.test_rooms import HEAVY

ROOT = Path(__file__).parents[2]
WAIT_S = 60


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder in which `kerfcall` can be typed, with one plan in it."""
    folder = tmp_path / "bin"
    folder.mkdir()
    script = folder / "kerfcall"
    script.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m assistant "$@"\n', encoding="utf-8")
    script.chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH", "")))))
    work = tmp_path / "work"
    work.mkdir()
    (work / "trays.toml").touch()
    monkeypatch.chdir(work)
    return work


def offered(line: str, *, without: Sequence[str] = ()) -> list[str]:
    """What is offered at the end of this line, as a shell asks for it. without: modules that can't be imported."""
    script = (
        "import sys\n"
        f"for name in {list(without)!r}: sys.modules[name] = None\n"
        "from assistant.__main__ import main\n"
        "sys.argv = ['kerfcall']\nmain()\n"
    )
    answer = Path("answer")
    asked = {"_ARGCOMPLETE": "1", "_ARGCOMPLETE_STDOUT_FILENAME": str(answer), "_ARGCOMPLETE_IFS": "\n"}
    environment = {**os.environ, **asked, "COMP_LINE": line, "COMP_POINT": str(len(line))}
    subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, timeout=WAIT_S, check=True)
    return sorted(word.strip() for word in answer.read_text(encoding="utf-8").splitlines())


OFFERED = [
    ("kerfcall ", sorted(COMMANDS)),
    ("kerfcall re", ["ready", "resume"]),
    ("kerfcall calibrate ", ["backlash", "fit", "kerf", "screw", "zero"]),
    ("kerfcall calibrate kerf --caliper-r", ["--caliper-range"]),
    ("kerfcall calibrate fit --caliper", []),
    ("kerfcall journal show --j", ["--json"]),
    ("kerfcall page --po", ["--port"]),
    ("kerfcall init --plan te", ["tea-trays"]),
    ("kerfcall init --zero ", ["inside", "outside"]),
    ("kerfcall layout tr", ["trays.toml"]),
    ("kerfcall completion ", sorted(SHELLS)),
]


@pytest.mark.parametrize(("line", "words"), every(2, OFFERED))
def test_what_is_offered(program: Path, line: str, words: list[str]) -> None:
    assert offered(line) == words


@pytest.mark.parametrize(
    ("command", "option"),
    [("layout", "--shop"), ("cut", "--rehearse"), ("calibrate screw", "--dictate"), ("init", "--kerf-printed")],
)
def test_only_the_chosen_command_is_imported(program: Path, command: str, option: str) -> None:
    name = command.split()[0]
    others = [module for other, (module, _) in COMMANDS.items() if other not in (name, "completion")]
    assert option in offered(f"kerfcall {command} --", without=[*HEAVY, *others])


def pressing_tab(shell: str, begin: Sequence[str], line: str, shown: str) -> None:
    """Type the line and the Tab key into this shell, until what is completed is shown."""
    pexpect: Any = pytest.importorskip("pexpect", reason="a shell at a terminal needs pexpect")
    command, *words = shlex.split(shell)
    child = pexpect.spawn(command, words, encoding="utf-8", timeout=WAIT_S, dimensions=(24, 200))
    try:
        for each in begin:
            child.sendline(each)
        child.sendline("echo be''gin")
        child.expect("begin")
        child.send(f"{line}\t")
        child.expect_exact(shown)
    finally:
        child.close(force=True)


AT_THE_TAB_KEY = [
    ("kerfcall calibrate kerf --most", "--most-change"),
    ("kerfcall soundc", "soundcheck"),
    ("kerfcall layout tra", "trays.toml"),
]


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not installed")
@pytest.mark.parametrize(("line", "shown"), every(2, AT_THE_TAB_KEY))
def test_bash(program: Path, line: str, shown: str) -> None:
    pressing_tab("bash --norc --noprofile -i", ['eval "$(kerfcall completion bash)"'], line, shown)


@pytest.mark.skipif(shutil.which("zsh") is None, reason="zsh is not installed")
@pytest.mark.parametrize(("line", "shown"), AT_THE_TAB_KEY)
@pytest.mark.long
def test_zsh(program: Path, line: str, shown: str) -> None:
    begin = ["autoload -Uz compinit && compinit -u -D", 'eval "$(kerfcall completion zsh)"']
    pressing_tab("zsh -f -i", begin, line, shown)


@pytest.mark.skipif(shutil.which("fish") is None, reason="fish is not installed")
@pytest.mark.parametrize(("line", "shown"), AT_THE_TAB_KEY)
@pytest.mark.long
def test_fish(program: Path, line: str, shown: str) -> None:
    """Asked by fish's own `complete`, since its line editor draws suggestions that look like what is typed."""
    script = f"kerfcall completion fish | source; complete -C {shlex.quote(line)}"
    done = subprocess.run(["fish", "-N", "-c", script], capture_output=True, text=True, timeout=WAIT_S, check=True)
    assert shown in [row.split("\t")[0] for row in done.stdout.splitlines()]


def test_without_the_library_it_says_how_to_install_it(workshop: Workshop) -> None:
    script = (
        "import sys\nsys.modules['argcomplete'] = None\nsys.modules['argcomplete.shell_integration'] = None\n"
        "from assistant.__main__ import main\nsys.exit(main(['completion', 'bash']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=WAIT_S, check=False
    )
    assert done.returncode == 3 and done.stdout == ""
    assert done.stderr == "kerfcall: Completion needs argcomplete: python -m pip install argcomplete\n"


@pytest.mark.parametrize("shell", SHELLS)
def test_the_help_says_how_to_switch_it_on(workshop: Workshop, shell: str) -> None:
    done = workshop.run("completion", "--help")
    assert done.code == 0 and f"kerfcall completion {shell}" in done.out
    assert workshop.run("completion", shell).out
