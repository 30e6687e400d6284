"""`kerfcall init`: by options and by questions at a real terminal, the same file; and no file is ever overwritten."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from assistant.joinery.units import plain_length
from assistant.plans.examples import SHOPS, example_plans
from assistant.plans.new_shop import Answers, shop_text
from assistant.plans.shop_file import read_shop
from tests.commands.program import Workshop
from tests.plans.files import DEMO

ROOT = Path(__file__).parents[2]
WAIT_S = 60
HANDWHEEL = ("--unit", "in", "--carriage", "handwheel", "--threads-per-inch", "16", "--divisions", "125")


def written(workshop: Workshop, *words: str) -> str:
    done = workshop.run("init", "--to", "new.toml", "--yes", *words)
    assert done.code == 0, done.err
    path = workshop.folder / "new.toml"
    read_shop(path)
    text = path.read_text(encoding="utf-8")
    path.unlink()
    return text


def test_one_option_is_enough_and_the_file_is_sound(workshop: Workshop) -> None:
    done = workshop.run("init", "--to", "new.toml", "--yes", "--kerf-printed", "3.2")
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith("Written: new.toml\n")
    first, second = "kerfcall ready --shop new.toml", "kerfcall calibrate kerf --plan kerf-test.toml"
    assert done.out.index(first) < done.out.index(second)
    assert read_shop(workshop.folder / "new.toml").carriage == read_shop(workshop.folder / "shop.toml").carriage


def test_a_printed_kerf_is_not_calibrated_for_ready(workshop: Workshop) -> None:
    assert workshop.run("init", "--to", "new.toml", "--yes", "--kerf-printed", "3.2").code == 0
    parts = {part["part"]: part for part in workshop.run("ready", "--shop", "new.toml", "--json").lines[0]["parts"]}
    assert parts["shop file"]["state"] == "works"
    assert parts["kerf"]["state"] != "works" and parts["kerf"]["mend"] == "kerfcall calibrate kerf"
    assert (
        "calibrated" in parts["kerf"]["text"]
        and plain_length(read_shop(workshop.folder / "new.toml").blade.kerf) in parts["kerf"]["text"]
    )


def test_it_goes_on_with_what_it_announces(workshop: Workshop) -> None:
    """The two commands that are shown as the next ones, and a layout of a copied plan, work with the file."""
    assert workshop.run("init", "--to", "my saw.toml", "--yes", "--kerf", "3.18").code == 0
    assert workshop.run("calibrate", "kerf", "--plan", "kerf-test.toml", "--shop", "my saw.toml").code == 0
    assert workshop.run("init", "--plan", "tea-trays").code == 0
    assert workshop.run("layout", "tea-trays.toml", "--shop", "my saw.toml").code == 0


def test_without_no_pedal_and_no_voice_it_says_how_to_cut(workshop: Workshop) -> None:
    words = ("init", "--to", "new.toml", "--yes", "--kerf", "3", "--pedal-key", "none", "--voice", "no")
    assert "kerfcall cut PLAN --no-pedal --no-voice --shop new.toml" in workshop.run(*words).out


def test_without_a_terminal_nothing_is_written_unasked(workshop: Workshop) -> None:
    done = workshop.run("init", "--to", "new.toml", "--kerf", "3")
    assert done.code == 1 and "kerf = 3 " in done.out
    assert not (workshop.folder / "new.toml").exists()


@pytest.mark.parametrize("words", [("--kerf", "3"), (*HANDWHEEL, "--kerf-printed", "1/8 in", "--pedal-key", "none")])
def test_no_answer_is_lost_where_it_was_not_written(workshop: Workshop, words: tuple[str, ...]) -> None:
    """The line that is shown gives them all again."""
    shown = workshop.run("init", "--to", "new.toml", *words).out.splitlines()[-1]
    program, *again = shlex.split(shown)
    assert program == "kerfcall" and workshop.run(*again).code == 0
    text = (workshop.folder / "new.toml").read_text(encoding="utf-8")
    (workshop.folder / "new.toml").unlink()
    assert text == written(workshop, *words)


REFUSED = [
    ((), ["--kerf: is missing"]),
    (("--carriage", "steps"), ["--kerf: is missing", "--steps-per-mm: is missing"]),
    (("--carriage", "handwheel"), ["--kerf: is missing", "--pitch: is missing", "--divisions: is missing"]),
    (
        ("--kerf", "3", "--kerf-printed", "3.2", "--pitch", "2", "--pedal-key", "q"),
        [
            "--kerf-printed: was given together with --kerf",
            "--pitch: means nothing with",
            "--pedal-key: is a key that types",
        ],
    ),
    (("--kerf", ""), ["--kerf: this is not a length"]),
    (
        ("--kerf", "3", "--pedal-key", "none", "--pedal-device", "x"),
        ["--pedal-device: means nothing with --pedal-key none"],
    ),
    (("--to", "shop.toml"), ["--to: the file exists and was not overwritten", "--kerf: is missing"]),
    (("--to", ".", "--kerf", "3"), ["--to: is a folder"]),
    (("--to", "plan.toml/new.toml", "--kerf", "3"), ["--to: its folder cannot be made"]),
    (("--copy", "readout", "--kerf", "3"), ["--kerf: means nothing where an example is copied"]),
    (("--copy", "readout", "--plan", "tea-trays"), ["--plan: was given together with --copy"]),
    (("--copy", "steps", "--to", "shop.toml"), ["--to: the file exists and was not overwritten"]),
    (("--plan", "tea-tray"), ["--plan: there is no such demo plan (got tea-tray); did you mean tea-trays?"]),
]


@pytest.mark.parametrize(("words", "faults"), REFUSED, ids=[" ".join(words) or "nothing" for words, _ in REFUSED])
def test_every_fault_at_once_and_nothing_is_written(
    workshop: Workshop, words: tuple[str, ...], faults: list[str]
) -> None:
    before = {path: path.read_bytes() for path in workshop.folder.iterdir()}
    done = workshop.run("init", "--yes", *(() if {"--to", "--plan"} & set(words) else ("--to", "new.toml")), *words)
    assert done.code == 2 and done.out == ""
    lines = done.err.splitlines()
    assert len(lines) == len(faults)
    for fault in faults:
        assert any(line.startswith(f"kerfcall: {fault}") and "; " in line for line in lines), (fault, lines)
    assert {path: path.read_bytes() for path in workshop.folder.iterdir()} == before


def test_an_unknown_plan_lists_all(workshop: Workshop) -> None:
    done = workshop.run("init", "--plan", "zzz")
    assert done.code == 2 and f"there are: {', '.join(example_plans())}" in done.err


@pytest.mark.parametrize("kind", SHOPS)
def test_an_example_shop_file_is_copied_as_it_is(workshop: Workshop, kind: str) -> None:
    done = workshop.run("init", "--copy", kind, "--to", "a/b/own.toml")
    assert done.code == 0 and "blade.kerf" in done.out and "kerfcall ready --shop a/b/own.toml" in done.out
    assert (workshop.folder / "a/b/own.toml").read_bytes() == (DEMO / SHOPS[kind]).read_bytes()


@pytest.mark.parametrize("name", example_plans())
def test_an_example_plan_is_copied_as_it_is(workshop: Workshop, name: str) -> None:
    assert workshop.run("init", "--plan", name).code == 0
    made = workshop.folder / f"{name}.toml"
    assert made.read_bytes() == (DEMO / made.name).read_bytes()
    made.write_text("mine", encoding="utf-8")
    assert workshop.run("init", "--plan", f"{name}.toml").code == 2
    assert made.read_text(encoding="utf-8") == "mine"


def test_without_a_name_it_is_the_users_own_shop_file(workshop: Workshop) -> None:
    home = {
        "XDG_CONFIG_HOME": str(workshop.folder / "config"),
        "HOME": str(workshop.folder),
        "APPDATA": str(workshop.folder),
    }
    assert "`kerfcall init` asks" in workshop.run("layout", "plan.toml", **home).err
    done = workshop.run("init", "--yes", "--kerf", "3.18", **home)
    assert done.code == 0 and "\n  kerfcall ready\n" in done.out
    assert workshop.run("layout", "plan.toml", **home).code == 0
    assert workshop.run("init", "--yes", "--kerf", "3.18", **home).code == 2


@pytest.fixture
def terminal(tmp_path: Path) -> Any:
    """Starts the program at a pseudo-terminal, with a home of its own and no display."""
    pexpect = pytest.importorskip("pexpect", reason="a terminal of its own needs pexpect")
    kept = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    kept |= {
        "HOME": str(tmp_path),
        "XDG_CONFIG_HOME": str(tmp_path / "config"),
        "PYTHONPATH": os.pathsep.join(sys.path),
    }
    started = []

    def start(*words: str) -> Any:
        command = ["-m", "assistant", "init", *words]
        child = pexpect.spawn(
            sys.executable, command, cwd=str(tmp_path), env=kept, encoding="utf-8", timeout=WAIT_S, dimensions=(60, 120)
        )
        started.append(child)
        return child

    yield start
    for child in started:
        child.close(force=True)


def converse(child: Any, turns: Sequence[tuple[str, str]]) -> None:
    for question, reply in turns:
        child.expect_exact(question)
        child.send(reply)


def test_questions_and_options_give_the_same_file(terminal: Any, tmp_path: Path, workshop: Workshop) -> None:
    child = terminal()
    turns = [
        ("mm or in [mm]: ", "in\r"),
        ("by readout, handwheel or steps [readout]: ", "handwheel\r"),
        ("threads (16 tpi): ", "16 tpi\r"),
        ("(e.g. 100): ", "a lot\r"),
        ("must be a whole number", ""),
        ("(e.g. 100): ", "125\r"),
        ("left or right [left]: ", "right\r"),
        ("outside or inside [outside]: ", "\r"),
        ("for the terminal's keys [press]: ", "\r"),
        ("Press the pedal once", "\x1b[6~"),  # Page Down, as terminals send it
        ("The pedal sends page_down.", ""),
        ("(Enter: not measured): ", "\r"),
        ("marked as not calibrated: ", "1/8\r"),
        ("yes or no [yes]: ", "\r"),
        ("not calibrated until you run `kerfcall calibrate kerf`", ""),
        ("Write this? Type yes or no: ", "ja\r"),
        ("Please answer yes or no.", ""),
        ("Type yes or no: ", "yes\r"),
        ("kerfcall calibrate kerf --plan", ""),
    ]
    converse(child, turns)
    child.read()
    child.wait()
    assert child.exitstatus == 0
    asked = (tmp_path / "config/kerfcall/shop.toml").read_text(encoding="utf-8")
    assert asked == written(workshop, *HANDWHEEL, "--stop-side", "right", "--kerf-printed", "1/8")


@pytest.mark.parametrize("at_the_end", [False, True])
def test_ctrl_c_leaves_nothing_written(terminal: Any, tmp_path: Path, at_the_end: bool) -> None:
    child = terminal("--kerf", "3", "--pedal-key", "none", "--voice", "no", "--carriage", "readout", "--zero", "inside")
    turns = [("mm or in [mm]: ", "mm\r"), ("in millimetres [0.01]: ", "\r"), ("left or right [left]: ", "\r")]
    converse(child, [*turns, ("Type yes or no: ", "\x03")] if at_the_end else [turns[0], ("[0.01]: ", "\x03")])
    child.expect_exact("Nothing was written" if at_the_end else "stopped with Ctrl-C: nothing was written")
    child.wait()
    assert child.exitstatus == (1 if at_the_end else 130)
    assert not [path for path in tmp_path.rglob("*.toml") if path.name not in ("plan.toml",)]


def test_the_end_of_the_input_writes_nothing(terminal: Any, tmp_path: Path) -> None:
    child = terminal("--kerf", "3")
    converse(child, [("mm or in [mm]: ", "\x04"), ("Nothing was written.", "")])
    child.wait()
    assert child.exitstatus == 1 and not (tmp_path / "config").exists()


def test_the_text_shown_is_the_text_written(workshop: Workshop) -> None:
    done = workshop.run("init", "--to", "new.toml", "--kerf", "3", "--zero", "inside")
    assert shop_text(Answers(kerf="3", zero="inside")) in done.out
