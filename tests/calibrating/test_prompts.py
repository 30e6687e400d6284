"""What `calibrate` asks, in a real pseudo-terminal: no answer loses the readings already given."""

from __future__ import annotations

import json
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.__main__ import main
from assistant.plans.shop_file import read_shop
from assistant.plans.shop_writer import read_history
from tests.plans.files import write
from tests.sampling import every

pexpect = pytest.importorskip("pexpect", reason="pexpect is not installed")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")

SHOP = 'unit = "mm"\n[blade]\nkerf = 3.2\n[carriage]\nkind = "handwheel"\nthreads_per_inch = 16\ndivisions = 125\n'
SHORT, LONG = "6.34", "28.57"
WOOD = [SHORT] * 5 + [LONG] * 5
PLACES = "ABCDEFGHJK"
CTRL_C, CTRL_D = "\x03", "\x04"
ENTER = "\r"


class Terminal:
    """`kerfcall calibrate kerf` on a board of five short fingers and five long ones, in a separate terminal."""

    def __init__(self, folder: Path, *more: str):
        self.folder = folder
        command = ["-m", "assistant", "calibrate", "kerf", "--plan", "kerf.toml", "--shop", "shop.toml", *more]
        self.child = pexpect.spawn(
            sys.executable, command, cwd=folder, encoding="utf-8", timeout=60, dimensions=(50, 1000)
        )
        self.child.setecho(False)

    def asked(self, question: str) -> str:
        """Everything shown up to the question, when it is asked."""
        self.child.expect_exact(question)
        return str(self.child.before)

    def answer(self, text: str) -> None:
        self.child.send(text if text in (CTRL_C, CTRL_D) else text + ENTER)

    def give(self, *readings: str, places: str = PLACES, once_more: bool = False) -> None:
        for place, reading in zip(places, readings, strict=False):
            self.asked(f"{place} again, the wood" if once_more else f"{place}, the wood")
            self.asked(": ")
            self.answer(reading)

    def ended(self) -> tuple[int, str]:
        """The exit code, and what was shown since the last question."""
        self.child.expect(pexpect.EOF)
        rest = str(self.child.before)
        self.child.close()
        assert "Traceback" not in rest
        return int(self.child.exitstatus), rest


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    write(tmp_path, SHOP, "shop.toml")
    monkeypatch.chdir(tmp_path)
    assert main(["calibrate", "kerf", "--plan", "kerf.toml", "--shop", "shop.toml"]) == 0
    return tmp_path


@pytest.fixture
def terminal(folder: Path) -> Iterator[Terminal]:
    made = Terminal(folder)
    yield made
    made.child.close(force=True)


def kerf(folder: Path) -> float:
    return float(read_shop(folder / "shop.toml").blade.kerf)


def given_again(shown: str) -> list[str]:
    """The words of the command line that gives the readings again."""
    assert "Your readings are not lost. This gives them again" in shown
    (line,) = (line for line in shown.splitlines() if line.strip().startswith("kerfcall calibrate"))
    return shlex.split(line)[1:]


def readings_in(words: list[str]) -> list[str]:
    return [word for before, word in zip(words, words[1:], strict=False) if before == "--reading"]


ALL = [f"{place}={value}" for place, value in zip(PLACES, WOOD, strict=True)]


@pytest.mark.parametrize("yes", every(2, ["y", "yes", "Y", "Yes", " YES "]))
def test_y_and_yes_in_any_case_write_the_kerf(terminal: Terminal, yes: str) -> None:
    terminal.give(*WOOD, ".", places=PLACES)
    terminal.asked("A again")
    terminal.answer(".")
    terminal.asked("Type yes or no: ")
    terminal.answer(yes)
    code, shown = terminal.ended()
    assert code == 0 and "blade.kerf = 3.1" in shown and "not lost" not in shown
    assert 3.1 < kerf(terminal.folder) < 3.2


@pytest.mark.parametrize("no", ["n", "No", CTRL_D, CTRL_C])
def test_if_the_value_is_not_written_a_line_gives_the_readings_again(
    terminal: Terminal, no: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """An empty or meaningless answer is asked again. That line with --yes writes the same kerf."""
    terminal.give(*WOOD)
    terminal.asked("A again")
    terminal.answer(".")
    for nonsense in ("", "maybe", "yess"):
        terminal.asked("Type yes or no: ")
        terminal.answer(nonsense)
        terminal.asked("Please answer yes or no.")
    terminal.asked("Type yes or no: ")
    terminal.answer(no)
    code, shown = terminal.ended()
    assert code == 1 and "Not written." in shown and kerf(terminal.folder) == 3.2
    words = given_again(shown)
    assert readings_in(words) == ALL
    assert main([*words, "--yes"]) == 0
    assert 3.1 < kerf(terminal.folder) < 3.2


@pytest.mark.parametrize("end", [CTRL_C, CTRL_D, "."])
def test_a_sudden_end_among_the_places_keeps_what_was_given(terminal: Terminal, end: str) -> None:
    """Too few for a kerf, so they give only the line, and the missing readings are added to it."""
    terminal.give(SHORT, "6.35", end)
    code, shown = terminal.ended()
    assert code == (130 if end == CTRL_C else 2)
    words = given_again(shown)
    assert readings_in(words) == ["A=6.34", "B=6.35"]
    rest = [word for reading in ALL[2:] for word in ("--reading", reading)]
    assert main([*words, *rest, "--yes"]) == 0
    assert len(read_history(terminal.folder / "shop.toml")[0].data["readings"]) == 10


def test_the_line_repeats_every_option_that_was_given(folder: Path) -> None:
    options = ("--caliper", "0.02 mm", "--caliper-error", "0.03", "--new-blade", "it's thin", "--most-change", "0.5")
    terminal = Terminal(folder, *options)
    terminal.give(SHORT, CTRL_C)
    words = given_again(terminal.ended()[1])
    assert words[: words.index("--reading")] == [
        *("calibrate", "kerf", "--plan", "kerf.toml", "--shop", "shop.toml"),
        *options,
    ]


def test_readings_that_disagree_are_kept_too(terminal: Terminal) -> None:
    """The fault is shown together with all readings."""
    terminal.give(*WOOD[:8], "29.57", "29.56")
    terminal.asked("A again")
    terminal.answer(".")
    code, shown = terminal.ended()
    assert code == 2 and "disagree" in shown
    assert readings_in(given_again(shown)) == [*ALL[:8], "J=29.57", "K=29.56"]


def test_going_back_and_enter_keep_the_reading(terminal: Terminal) -> None:
    """Only another reading or x replaces it. A meaningless answer is asked again."""
    terminal.give(SHORT, "6.35", "-")
    terminal.asked("B, the wood between cuts 2 and 3 [6.35; Enter keeps it, x takes it back]: ")
    terminal.answer("-")
    terminal.asked("A, the wood between cuts 1 and 2 [6.34; Enter keeps it, x takes it back]: ")
    terminal.answer("-")
    terminal.asked("A, the wood between cuts 1 and 2 [6.34;")
    terminal.answer("six")
    terminal.asked("this is not a length")
    terminal.asked("A, the wood between cuts 1 and 2 [6.34;")
    terminal.answer("")
    terminal.asked("B, the wood between cuts 2 and 3 [6.35;")
    terminal.answer("x")
    terminal.asked("B, the wood between cuts 2 and 3: ")
    terminal.answer("6.36")
    terminal.give("", CTRL_C, places="CD")
    assert readings_in(given_again(terminal.ended()[1])) == ["A=6.34", "B=6.36"]


def test_skipping_a_place_in_the_second_round_keeps_the_first_reading(terminal: Terminal) -> None:
    terminal.give(*WOOD)
    terminal.give("6.35", "", CTRL_C, once_more=True)
    assert readings_in(given_again(terminal.ended()[1])) == [*ALL, "A=6.35"]


@pytest.mark.parametrize(
    ("typed", "doubt"),
    [
        ("63.4", "63.4 mm: about 10 times too large; this place should give about 6.3 mm."),
        ("634", "634 mm: about 100 times too large"),
        ("0.634", "0.634 mm: about 10 times too small"),
        ("0.25", "0.25 mm: about 25 times too small"),
        ("0", "0 mm: this place should give about 6.3 mm."),
    ],
)
def test_a_reading_ten_times_off_is_questioned_before_the_next(terminal: Terminal, typed: str, doubt: str) -> None:
    terminal.give(typed)
    terminal.asked(doubt)
    for nonsense in ("", "perhaps", "-"):
        terminal.asked("Is it right? Type yes, no, or the right reading: ")
        terminal.answer(nonsense)
    terminal.asked("Is it right? Type yes, no, or the right reading: ")
    terminal.answer(SHORT)
    terminal.give("6.35", CTRL_C, places="BC")
    assert readings_in(given_again(terminal.ended()[1])) == ["A=6.34", "B=6.35"]


@pytest.mark.parametrize(
    ("answers", "kept"),
    [
        ([("right?", "Y"), ("B, ", CTRL_C)], ["A=63.4"]),
        ([("right?", "no"), ("A, ", ""), ("B, ", "6.35"), ("C, ", CTRL_C)], ["B=6.35"]),
        ([("right?", "64.4"), ("right?", "yes"), ("B, ", CTRL_C)], ["A=64.4"]),
        ([("right?", CTRL_C)], ["A=63.4"]),
        ([("right?", CTRL_D)], ["A=63.4"]),
    ],
)
def test_answers_to_a_questioned_reading(terminal: Terminal, answers: list[tuple[str, str]], kept: list[str]) -> None:
    """A yes keeps it, and a no asks for the place again. Without an answer it doesn't count, but is not lost."""
    terminal.give("63.4")
    for question, answer in answers:
        terminal.asked(question)
        terminal.asked(": ")
        terminal.answer(answer)
    assert readings_in(given_again(terminal.ended()[1])) == kept


def test_sound_readings_are_not_questioned(terminal: Terminal) -> None:
    """The kerf a quarter off the shop file's, either way."""
    values = ["5.54", "7.14", *WOOD[2:5], "27.77", "29.37", *WOOD[7:]]
    terminal.give(*values)
    shown = terminal.asked("A again")
    assert "Is it right?" not in shown


def test_a_jump_is_asked_about_twice_and_y_answers_both(terminal: Terminal) -> None:
    terminal.give(*(f"{float(value) - 0.42:.2f}" for value in WOOD))
    terminal.asked("A again")
    terminal.answer(".")
    terminal.asked("Type yes or no: ")
    terminal.answer("y")
    terminal.asked("Measure again, or say yes to write it. Type yes or no: ")
    terminal.answer("y")
    assert terminal.ended()[0] == 0 and kerf(terminal.folder) == pytest.approx(3.6, abs=0.01)


def test_json_stays_json_where_questions_are_asked(folder: Path) -> None:
    """They go to stderr, so that a file contains only the value."""
    command = f"{shlex.quote(sys.executable)} -m assistant calibrate kerf --plan kerf.toml --shop shop.toml --json >out"
    child = pexpect.spawn("/bin/sh", ["-c", command], cwd=folder, encoding="utf-8", timeout=60, dimensions=(50, 1000))
    for place, value in zip(PLACES, WOOD, strict=True):
        child.expect_exact(f"{place}, the wood")
        child.send(value + ENTER)
    child.expect_exact("A again")
    child.send("." + ENTER)
    child.expect_exact("Type yes or no: ")
    child.send("y" + ENTER)
    child.expect(pexpect.EOF)
    child.close()
    found: Any = json.loads((folder / "out").read_text(encoding="utf-8"))
    assert found["kind"] == "kerf" and kerf(folder) == float(found["write"]["value"])


def test_undo_takes_y_too(folder: Path) -> None:
    words = [word for reading in ALL for word in ("--reading", reading)]
    assert main(["calibrate", "kerf", "--plan", "kerf.toml", "--shop", "shop.toml", *words, "--yes"]) == 0
    terminal = Terminal(folder, "--undo")
    terminal.asked("Take back the last kerf calibration in force? Type yes or no: ")
    terminal.answer("")
    terminal.asked("Type yes or no: ")
    terminal.answer("y")
    assert terminal.ended()[0] == 0 and kerf(folder) == 3.2
