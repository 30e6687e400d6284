"""The command line's own faults in our four parts, and the line that should have been typed."""

from __future__ import annotations

import argparse
import re
import shlex
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NoReturn

from assistant.errors import BadInput, Fault, WrongFile

if TYPE_CHECKING:
    from pathlib import Path

KINDS = {"int": "must be a whole number", "float": "must be a number"}
PLAN, SHOP, COMMAND = "PLAN", "SHOP", "COMMAND"


class Parser(argparse.ArgumentParser):
    """Raises BadInput where argparse would print its usage and end the program."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **{"exit_on_error": False} | more)
        self._words: list[str] = []

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        self._words = list(args or ())
        try:
            return super().parse_known_args(args, namespace)
        except argparse.ArgumentError as error:
            raise BadInput(list(self._faults(error.message, error.argument_name or ""))) from error

    def parse_args(self, args: Any = None, namespace: Any = None) -> Any:
        words = list(args or ())
        if words and (command := self._subcommands().get(words[0])):
            words[1:] = command._subcommand_first(words[1:])
        found, left_over = self.parse_known_args(words, namespace)
        if left_over:
            parser, others = self, list[Parser]()
            while (chosen := parser._chosen(found)) is not None:
                # Only beside one another: an option of some other command is more likely a typing error.
                others = [] if parser is self else [p for p in parser._subcommands().values() if p is not chosen]
                parser = chosen
            raise BadInput(list(parser._left_over(left_over, others)))
        return found

    def error(self, message: str) -> NoReturn:
        # Before 3.12 what is missing or left over comes here, whatever `exit_on_error` says.
        raise BadInput(list(self._faults(message, "")))

    def _print_message(self, message: str, file: Any = None) -> None:
        """Print it as anything else: argparse drops what it can't write, without a word."""
        print(message, end="", file=file or sys.stderr)

    def _subparsers_action(self) -> argparse._SubParsersAction[Parser] | None:
        return next((a for a in self._actions if isinstance(a, argparse._SubParsersAction)), None)

    def _subcommands(self) -> dict[str, Parser]:
        action = self._subparsers_action()
        return {} if action is None else dict(action.choices)

    def _chosen(self, found: argparse.Namespace) -> Parser | None:
        """The parser of the sub-command that was chosen, None where there are no sub-commands."""
        action = self._subparsers_action()
        return None if action is None else action.choices.get(getattr(found, action.dest, ""))

    def _subcommand_first(self, words: list[str]) -> list[str]:
        """The same words with the sub-command before its options, since only its own parser knows them."""
        every = [self, *self._subcommands().values()]
        # "?" too: of --lan, an address only where one follows (`page_parts.lan_alone`).
        actions = [action for parser in every for action in parser._actions if action.nargs in (None, "?")]
        valued = {name for action in actions for name in action.option_strings}
        at = 0
        while self._subcommands() and at < len(words):
            word = words[at]
            if not word.startswith("-"):
                return [word, *words[:at], *words[at + 1 :]]
            # Any beginning of an option is short for it.
            at += 2 if "=" not in word and any(name.startswith(word) for name in valued) else 1
        return words

    def _faults(self, message: str, name: str) -> Iterator[Fault]:
        """message: argparse's, of any supported Python. name: of the argument it is about, "" for none."""
        for pattern, made in self._readings:
            # What was typed, and so the message, may hold line ends.
            if found := re.search(pattern, message, re.S):
                yield from made(self, found, name)
                return
        yield Fault(message, "", self._where(name), f"see {self.prog} --help")

    def _missing(self, found: re.Match[str], _: str) -> Iterator[Fault]:
        for name in found[1].split(", "):
            if name == COMMAND:
                yield Fault("no command is given", "", self._where(), f"give one: {', '.join(self._subcommands())}")
            else:
                yield Fault("is missing", "", self._where(name), f"give it: {self._least()}")

    def _valueless(self, found: re.Match[str], name: str) -> Iterator[Fault]:
        mend = f"give it: {self._call(name)}"
        for option, value in zip(self._words, self._words[1:], strict=False):
            if option in name.split("/") and re.match(r"-\.?\d", value):  # taken for an option
                mend = f"a value that begins with a minus goes behind an equals sign: {option}={value}"
        yield Fault("needs a value", "", self._where(name), mend)

    def _mistyped(self, found: re.Match[str], name: str) -> Iterator[Fault]:
        action = self._action(name)
        default = action.default if action is not None and action.default is not None else 3
        mend = f"give it: {self._call(name)}"
        if name.startswith("-"):
            mend += f", e.g. {name} {default:g}" if isinstance(default, (int, float)) else ""
        yield Fault(KINDS.get(found[1], f"must be a {found[1]}"), _shown(_unquoted(found[2])), self._where(name), mend)

    def _not_chosen(self, found: re.Match[str], name: str) -> Iterator[Fault]:
        from assistant.plans.reader import nearest, one_of

        action, value = self._action(name), _unquoted(found[1])
        choices = [str(choice) for choice in (action.choices if action is not None and action.choices else ())]
        near = nearest(value, choices)
        if isinstance(action, argparse._SubParsersAction) and name == COMMAND:
            mend = f"did you mean {self.prog} {near}?" if near else f"give one: {', '.join(choices)}"
            command = next((word for word in self._words if word in choices), None)
            if command is not None and self._words[0] not in choices:  # an option of the command's stands before it
                rest = [word for word in self._words if word is not command]
                mend = f"the command comes first: {shlex.join([self.prog, command, *rest])}"
            yield Fault("there is no such command", _shown(value), self._where(), mend)
        else:
            mend = f'did you mean "{near}"?' if near else f"give it: {self._call(name)}"
            yield Fault(f"must be {one_of(choices)}", _shown(value), self._where(name), mend)

    def _ambiguous(self, found: re.Match[str], _: str) -> Iterator[Fault]:
        several = " or ".join(found[2].split(", "))
        yield Fault("is short for more than one option", found[1], self._where(), f"write it out: {several}")

    def _value_of_a_flag(self, found: re.Match[str], name: str) -> Iterator[Fault]:
        yield Fault("takes no value", _shown(_unquoted(found[1])), self._where(name), f"leave the value out: {name}")

    # argparse has no codes for what is wrong, only words, and each Python its own.
    _readings: tuple[tuple[str, Callable[[Parser, re.Match[str], str], Iterator[Fault]]], ...] = (
        (r"^the following arguments are required: (.*)", _missing),
        (r"^expected .*arguments?$", _valueless),
        (r"^invalid (\w+) value: (.*)", _mistyped),
        (r"^invalid choice: (.*?)(?: \(choose from|, maybe you meant|$)", _not_chosen),
        (r"^ambiguous option: (\S+) could match (.*)", _ambiguous),
        (r"^ignored explicit argument (.*)", _value_of_a_flag),
    )

    def _left_over(self, words: Sequence[str], others: Sequence[Parser]) -> Iterator[Fault]:
        """A fault for each word that nothing has taken. others: the parsers of the other sub-commands."""
        rest = iter(words)
        for word in rest:
            option, equals, _ = word.partition("=")
            owners = {other.prog: a for other in others for a in other._actions if option in a.option_strings}
            if owners:
                if not equals and any(action.nargs is None for action in owners.values()):
                    next(rest, None)  # its value
                commands = " or ".join(prog.partition(" ")[2] for prog in owners)
                yield Fault("means nothing here", "", self._where(option), f"use it with {commands}")
            else:
                yield self._unknown(word)

    def _unknown(self, word: str) -> Fault:
        """A word that no option or argument has taken."""
        from assistant.plans.reader import nearest

        if not word.startswith("-") or word == "-":
            places = [_value_name(action) for action in self._actions if not action.option_strings]
            takes = " ".join(places) or "options only"
            mend = f"leave it out: {self.prog} takes {takes}; a value with a space in it goes in quotes"
            return Fault("there is no place for this", _shown(word), self._where(), mend)
        option = word.partition("=")[0]
        near = nearest(option, [name for action in self._actions for name in action.option_strings])
        mend = f"did you mean {near}?" if near else f"leave it out; {self.prog} --help lists those there are"
        return Fault("there is no such option", _shown(word), self._where(), mend)

    def _action(self, name: str) -> argparse.Action | None:
        names = set(name.split("/"))
        for action in self._actions:
            if names & {*action.option_strings, str(action.metavar), action.dest, _value_name(action)}:
                return action
        return None

    def _where(self, name: str = "") -> str:
        command = self.prog.partition(" ")[2] or "command line"
        return f"{command}: {name}" if name else command

    def _call(self, name: str) -> str:
        action = self._action(name)
        if isinstance(action, argparse._SubParsersAction):
            return f"{self.prog} {_value_name(action)}"
        if action is None or not action.option_strings:
            return self._least()
        return f"{name.split('/')[-1]} {_value_name(action)}"

    def _least(self) -> str:
        """The command with no more than it needs, to type."""
        needed = [action for action in self._actions if action.required]
        return " ".join([self.prog, *(" ".join([*a.option_strings[-1:], _value_name(a)]) for a in needed)])


class Commands(Parser):
    """The whole program's: its help lists the commands in groups."""

    def __init__(self, groups: Mapping[str, Sequence[str]], **more: Any) -> None:
        super().__init__(**more)
        self._groups = groups

    def format_help(self) -> str:
        # As the base class does it, but for the groups: argparse can't group sub-commands.
        formatter = self._get_formatter()
        formatter.add_usage(self.usage, self._actions, self._mutually_exclusive_groups)
        formatter.add_text(self.description)
        action = self._subparsers_action()
        listed = {} if action is None else {each.dest: each for each in action._get_subactions()}
        for title, names in self._groups.items():
            formatter.start_section(title)
            formatter.add_arguments([listed[name] for name in names])
            formatter.end_section()
        formatter.start_section("Options")
        formatter.add_arguments([action for action in self._actions if action.option_strings])
        formatter.end_section()
        formatter.add_text(f"{self.prog} COMMAND --help shows a command's own options.")
        formatter.add_text(self.epilog)
        return formatter.format_help()


def _value_name(action: argparse.Action) -> str:
    """What stands for its value in a line to type."""
    if action.metavar is not None:
        return str(action.metavar)
    if action.choices:
        return "|".join(str(choice) for choice in action.choices)
    return action.dest.upper()


def _shown(text: str) -> str:
    from assistant.plans.document import shown

    return shown(text)


def _unquoted(text: str) -> str:
    """What was typed, of argparse's quotation of it."""
    import ast

    try:
        return str(ast.literal_eval(text))
    except (SyntaxError, ValueError):
        return text


def with_right_line(faults: Sequence[Fault], words: Sequence[str], plan: Path | None, shop: Path | None) -> list[Fault]:
    """The same faults; where a plan or shop file was given for the other, the mend is the line to type.

    words: the command line, without the program's name. plan, shop: the files named on it.
    """
    if not any(isinstance(fault, WrongFile) for fault in faults):
        return list(faults)
    mend = right_line(words, plan, shop)
    return [replace(fault, mend=mend) if isinstance(fault, WrongFile) else fault for fault in faults]


def right_line(words: Sequence[str], plan: Path | None, shop: Path | None) -> str:
    """What should have been typed, as a mend; a capital word is left where a file is still to be named."""
    from pathlib import Path

    from assistant.plans.document import kind_of_file

    given = {"plan": kind_of_file(plan), "shop": kind_of_file(shop)}
    files = {"plan": plan, "shop": shop}
    right: dict[str, str] = {}
    for role, other, blank in (("plan", "shop", PLAN), ("shop", "plan", SHOP)):
        if given[role] == other or (role == "shop" and files[role] is None):
            right[role] = str(files[other]) if given[other] == role else blank
    line, named = [], False
    for before, word in zip(["", *words], words, strict=False):
        option, equals, value = word.partition("=")
        if equals and _is_shop_option(option):
            line.append(f"{option}={right.get('shop', value)}")
        elif _is_shop_option(before):
            line.append(right.get("shop", word))
        else:
            line.append(right["plan"] if "plan" in right and plan is not None and Path(word) == plan else word)
        named = named or _is_shop_option(option)
    if not named:
        line += ["--shop", right["shop"]]
    blanks = [blank for blank in (PLAN, SHOP) if any(word.rpartition("=")[2] == blank for word in line)]
    what = {PLAN: "your plan", SHOP: "your shop file"}
    to_fill_in = " and ".join(f"{what[blank]} for {blank}" for blank in blanks)
    return f"type: {shlex.join(['kerfcall', *line])}" + (f" (with {to_fill_in})" if to_fill_in else "")


def _is_shop_option(word: str) -> bool:
    """Whether argparse takes it for --shop: any beginning of an option is short for it."""
    return len(word) > 2 and "--shop".startswith(word)
