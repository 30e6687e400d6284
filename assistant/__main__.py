"""The command line: finds the command's module, imports only that, and turns errors into exit codes."""

from __future__ import annotations

import importlib
import io
import os
import sys
from collections.abc import Sequence

from assistant import __version__
from assistant.commands import COMMANDS
from assistant.commands.command_line import Parser, with_right_line
from assistant.errors import BadInput, KerfcallError

CAUTION = (
    "Kerfcall never stops a blade. The saw's manual, local codes and qualified practice rule; "
    "hearing protection stays on."
)


def build_parser(chosen: str | None) -> Parser:
    """The parser; only the chosen command's module is imported, so that --help stays quick."""
    parser = Parser(
        prog="kerfcall",
        description="Hands-free cutting assistant for box joints and other slotted joinery.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"kerfcall {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, (module, help_text) in COMMANDS.items():
        command = commands.add_parser(name, help=help_text, description=help_text, epilog=CAUTION)
        if name == chosen:
            importlib.import_module(module).add_arguments(command)
    return parser


def _print_whatever_comes() -> None:
    """A plan's names may hold letters that this terminal's encoding lacks: show their codes rather than fail."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns its exit code: 0 done, 1 left open, 2 bad input, 3 could not run."""
    _print_whatever_comes()
    words = list(sys.argv[1:] if argv is None else argv)
    chosen = next((word for word in words if word in COMMANDS), None)
    plan = shop = None
    try:
        args = build_parser(chosen).parse_args(words)
        plan, shop = getattr(args, "plan", None), getattr(args, "shop", None)
        return importlib.import_module(COMMANDS[args.command][0]).run(args)
    except BadInput as error:
        for fault in with_right_line(error.faults, words, plan, shop):
            print(f"kerfcall: {fault}", file=sys.stderr)
        return error.exit_code
    except KerfcallError as error:
        print(f"kerfcall: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        return 1
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


if __name__ == "__main__":
    sys.exit(main())
