"""Faults of the command line: what, value, where and what to do in one line, with the nearest name."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path
from typing import Any

import pytest

from assistant.__main__ import build_parser, main
from assistant.commands import COMMANDS
from assistant.commands.command_line import Parser
from assistant.errors import BadInput
from tests.plans.files import PLAN, SHOP, write


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder where the commands are typed: a plan and a shop file, but no shop file of the user's."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("assistant.plans.shop_file.default_shop_path", lambda: tmp_path / "own" / "shop.toml")
    write(tmp_path, PLAN, "trays.toml")
    write(tmp_path, SHOP, "saw.toml")
    return tmp_path


@pytest.fixture
def faults(capsys: pytest.CaptureFixture[str]) -> Any:
    def run(line: str) -> list[str]:
        assert main(shlex.split(line)) == 2
        printed = capsys.readouterr()
        assert printed.out == "" and "usage" not in printed.err
        return printed.err.splitlines()

    return run


ONE_FAULT = [
    ("-- ", f"command line: no command is given; give one: {', '.join(COMMANDS)}"),
    ("lay-out", 'command line: there is no such command (got "lay-out"); did you mean kerfcall layout?'),
    ("zzz", f'command line: there is no such command (got "zzz"); give one: {", ".join(COMMANDS)}'),
    (
        "--shop saw.toml layout trays.toml",
        'command line: there is no such command (got "saw.toml"); '
        "the command comes first: kerfcall layout --shop saw.toml trays.toml",
    ),
    ("layout", "layout: PLAN: is missing; give it: kerfcall layout PLAN"),
    ("layout a --jsn", 'layout: there is no such option (got "--jsn"); did you mean --json?'),
    (
        "layout a --qqqq",
        'layout: there is no such option (got "--qqqq"); leave it out; kerfcall layout --help lists those there are',
    ),
    (
        "layout my plan",
        'layout: there is no place for this (got "plan"); '
        "leave it out: kerfcall layout takes PLAN; a value with a space in it goes in quotes",
    ),
    ("layout a --json=3", 'layout: --json: takes no value (got "3"); leave the value out: --json'),
    ("ready --seconds x", 'ready: --seconds: must be a number (got "x"); give it: --seconds N, e.g. --seconds 30'),
    ("ready --seconds", "ready: --seconds: needs a value; give it: --seconds N"),
    (
        "fit a --joints 1.5",
        'fit: --joints: must be a whole number (got "1.5"); give it: --joints N, e.g. --joints 20000',
    ),
    ("cut a --port x", 'cut: --port: must be a whole number (got "x"); give it: --port N, e.g. --port 3'),
    ("cut --s x", "cut: is short for more than one option (got --s); write it out: --shop or --state or --speaker"),
    (
        "journal shw",
        'journal: action: must be "export", "list", "repair" or "show" (got "shw"); did you mean "show"?',
    ),
    (
        "calibrate krf --json",
        'calibrate: kind: must be "kerf", "screw", "zero", "backlash" or "fit" (got "krf"); did you mean "kerf"?',
    ),
    (
        "page 5",
        'page: action: must be "devices", "revoke" or "serve" (got "5"); give it: kerfcall page devices|revoke|serve',
    ),
    ("calibrate zero --too-tight 0.05", "calibrate zero: --too-tight: means nothing here; use it with calibrate fit"),
    (
        "calibrate screw --new-blade=new",
        "calibrate screw: --new-blade: means nothing here; use it with calibrate kerf or calibrate fit",
    ),
    ("page --json", "page serve: --json: means nothing here; use it with page devices"),
    ("journal", "journal: action: is missing; give it: kerfcall journal export|list|repair|show"),
    (
        "suggest --width 9 --thickness 3 --unit inc",
        'suggest: --unit: must be "in" or "mm" (got "inc"); did you mean "in"?',
    ),
    (
        "suggest --thickness 3 --width -1/2",
        "suggest: --width: needs a value; a value that begins with a minus goes behind an equals sign: --width=-1/2",
    ),
]


@pytest.mark.parametrize(("line", "told"), ONE_FAULT, ids=[line or "nothing" for line, _ in ONE_FAULT])
def test_each_has_four_parts_and_the_nearest_name(faults: Any, line: str, told: str) -> None:
    assert faults(line) == [f"kerfcall: {told}"]


def test_all_that_is_missing_or_unknown_is_told_at_once(faults: Any) -> None:
    assert [line.split(": ")[2] for line in faults("suggest")] == ["--width", "--thickness"]
    assert [line.split("got ")[1].split(")")[0] for line in faults("layout a --jsn b")] == ['"--jsn"', '"b"']


def test_what_is_typed_can_send_nothing_to_the_terminal(faults: Any) -> None:
    (line,) = faults("'\x1b[2Jlay\nout'")
    assert line.isprintable() and '(got "[2Jlay out")' in line


def test_no_kind_of_fault_of_the_parser_is_passed_on_as_it_comes() -> None:
    """Each that the standard library's parser makes of these arguments is read, whatever this Python words it like."""
    parser = Parser(prog="kerfcall made")
    parser.add_argument("place")
    parser.add_argument("--count", type=int)
    parser.add_argument("--which", choices=("one", "two"))
    parser.add_argument("--pair", nargs=2)
    parser.add_argument("--few", nargs="+")
    parser.add_argument("--flag", action="store_true")
    lines = ("", "--count x a", "a --count", "a --which three", "a --pair 1", "a --few", "a --flag=1", "a --f x", "a b")
    for line in lines:
        with pytest.raises(BadInput) as caught:
            parser.parse_args(line.split())
        for fault in caught.value.faults:
            assert fault.where.startswith("made") and "--help" not in fault.mend, fault


def subparsers(parser: argparse.ArgumentParser) -> dict[str, Any]:
    return next((dict(a.choices) for a in parser._actions if isinstance(a, argparse._SubParsersAction)), {})


def test_every_command_is_parsed_by_it() -> None:
    for name in COMMANDS:
        command = subparsers(build_parser(name))[name]
        assert all(isinstance(parser, Parser) for parser in (command, *subparsers(command).values()))


SUBCOMMANDS = {
    "carriage": ["where", "home", "go", "configure"],
    "calibrate": ["kerf", "screw", "zero", "backlash", "fit"],
    "models": ["list", "get", "verify"],
    "journal": ["export", "list", "repair", "show"],
    "page": ["devices", "revoke", "serve"],
}


@pytest.mark.parametrize("command", SUBCOMMANDS)
def test_a_sub_command_has_its_own_options_only(command: str) -> None:
    parsers = subparsers(subparsers(build_parser(command))[command])
    assert list(parsers) == SUBCOMMANDS[command]
    options = {name: {o for a in parser._actions for o in a.option_strings} for name, parser in parsers.items()}
    of_one = {
        "carriage": {"--json": {"where"}, "--no-pedal": {"home", "go"}, "--shop": None},
        "calibrate": dict.fromkeys(("--most-change", "--new-blade"), {"kerf", "fit"})
        | {"--gap": {"fit"}, "--plan": None},
        "models": {"--shop": None},
        "journal": {"--state": None},
        "page": {"--json": {"devices"}, "--port": {"serve"}, "--lan": {"serve"}, "--state": None},
    }[command]
    for option, names in of_one.items():
        assert {name for name in parsers if option in options[name]} == (names or set(parsers)), option
    if command == "calibrate":
        assert "--reading" not in options["fit"] and "--dictate" in options["backlash"]


ANYWHERE = [
    ("journal --state s --json show X", {"action": "show", "id": "X", "state": Path("s"), "json": True}),
    ("journal --sta=s list", {"action": "list", "id": None, "state": Path("s")}),
    ("calibrate --json --shop kerf zero --history", {"kind": "zero", "shop": Path("kerf"), "history": True}),
    ("calibrate --reading A=1 kerf --reading B=2", {"kind": "kerf", "reading": ["A=1", "B=2"]}),
    ("models --json get --shop x NAME", {"action": "get", "name": "NAME", "json": True, "shop": Path("x")}),
    ("page", {"action": "serve", "port": None, "lan": None}),
    ("page --port 9000 --state s", {"action": "serve", "port": 9000, "state": Path("s")}),
    ("page --port 9000 serve", {"action": "serve", "port": 9000}),
    ("page --lan 10.0.0.9 serve", {"action": "serve", "lan": "10.0.0.9"}),
    ("page --state s revoke 2", {"action": "revoke", "device": "2", "state": Path("s")}),
]


@pytest.mark.parametrize(("line", "read"), ANYWHERE)
def test_options_may_stand_before_the_sub_command(line: str, read: dict[str, Any]) -> None:
    words = line.split()
    found = vars(build_parser(words[0]).parse_args(words))
    assert {name: found[name] for name in read} == read


IN_EACH_OTHERS_PLACE = [
    ("layout saw.toml --shop trays.toml", "layout trays.toml --shop saw.toml"),
    ("layout --shop trays.toml saw.toml --json", "layout --shop saw.toml trays.toml --json"),
    ("fit saw.toml --shop=trays.toml", "fit trays.toml --shop=saw.toml"),
    ("draw ./saw.toml --pdf a.pdf --shop trays.toml", "draw trays.toml --pdf a.pdf --shop saw.toml"),
    ("cut saw.toml --sho trays.toml --no-voice", "cut trays.toml --sho saw.toml --no-voice"),
    ("calibrate kerf --plan saw.toml --shop trays.toml", "calibrate kerf --plan trays.toml --shop saw.toml"),
]


@pytest.mark.parametrize(("line", "right"), IN_EACH_OTHERS_PLACE)
def test_plan_and_shop_file_in_each_others_place(faults: Any, line: str, right: str) -> None:
    found = faults(line)
    assert found[0].startswith(
        ("kerfcall: saw.toml: is a shop file, but a plan", "kerfcall: trays.toml: is a plan, but a")
    )
    assert all(each.endswith(f"; type: kerfcall {right}") for each in found)


ONE_IN_THE_OTHERS_PLACE = [
    ("layout saw.toml", "layout PLAN --shop saw.toml (with your plan for PLAN)"),
    ("layout saw.toml --shop saw.toml", "layout PLAN --shop saw.toml (with your plan for PLAN)"),
    ("layout trays.toml --shop trays.toml", "layout trays.toml --shop SHOP (with your shop file for SHOP)"),
    ("cut trays.toml --shop=trays.toml", "cut trays.toml --shop=SHOP (with your shop file for SHOP)"),
    (
        "calibrate zero --shop saw.toml --plan saw.toml",
        "calibrate zero --shop saw.toml --plan PLAN (with your plan for PLAN)",
    ),
    *(
        (f"{command} --shop trays.toml", f"{command} --shop SHOP (with your shop file for SHOP)")
        for command in ("phrases", "models list", "soundcheck", "ready --pedal", "hear a.wav", "calibrate kerf")
    ),
    (
        "suggest --width 84 --thickness 12 --shop trays.toml",
        "suggest --width 84 --thickness 12 --shop SHOP (with your shop file for SHOP)",
    ),
]


@pytest.mark.parametrize(("line", "right"), ONE_IN_THE_OTHERS_PLACE)
def test_a_plan_or_shop_file_in_the_place_of_the_other(faults: Any, line: str, right: str) -> None:
    (found,) = faults(line)
    assert found.endswith(f"; type: kerfcall {right}")


def test_a_plan_as_ones_own_shop_file(faults: Any, folder: Path) -> None:
    (folder / "own").mkdir()
    write(folder / "own", PLAN, "shop.toml")
    (found,) = faults("layout trays.toml")
    assert "shop.toml: is a plan, but a shop file is needed here" in found
    assert found.endswith("; type: kerfcall layout trays.toml --shop SHOP (with your shop file for SHOP)")


def test_a_file_that_could_be_either_is_read_as_what_is_wanted(faults: Any, folder: Path) -> None:
    write(folder, 'unit = "mm"\n', "empty.toml")
    assert all(": is missing; " in line or "no board" in line for line in faults("layout empty.toml --shop saw.toml"))
    assert [line.split(": ")[2] for line in faults("layout trays.toml --shop empty.toml")] == ["blade"]
