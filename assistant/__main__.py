"""The command line: finds the command's module, imports only that, and turns errors into exit codes.

Whatever this module needs is imported within `main`, where Ctrl-C is already minded.
"""

from __future__ import annotations

import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.commands.command_line import Parser


def build_parser(chosen: str | None) -> Parser:
    """The parser; only the chosen command's module is imported, so that --help stays quick."""
    import importlib

    from assistant import CAUTION, __version__
    from assistant.commands import COMMANDS
    from assistant.commands.command_line import Parser

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


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns its exit code: 0 done, 1 left open, 2 bad input, 3 could not run, 130 Ctrl-C.

    argv: None where this process is the program itself; its streams and signals are then seen to as well.
    """
    interrupted = False
    try:
        code = _run(list(argv)) if argv is not None else _whole()
    except KeyboardInterrupt as stop:
        code, interrupted = 130, True
        if sys.stderr is not None and sys.stderr.isatty():
            print(file=sys.stderr)  # the terminal has written ^C
        _tell("stopped with Ctrl-C" + (f": {stop}" if str(stop) else ""))
    if argv is None:
        from assistant import process

        process.end(interrupted)
    return code


def _whole() -> int:
    """The program from its first to its last word."""
    from assistant import process

    code, words = None, sys.argv[1:]
    try:
        if hindrance := process.begin():
            _tell(hindrance)
            return process.COULD_NOT_RUN
        try:
            code = _run(words)
        except SystemExit as asked:  # --help and --version
            code = int(asked.code or 0)
        sys.stdout.flush()
    except OSError as error:
        text, code = process.failed(error, code, 1 if words[:1] in (["cut"], ["resume"]) else 0)
        _tell(text)
    return code


def _tell(text: str) -> None:
    if sys.stderr is not None:
        print(f"kerfcall: {text}", file=sys.stderr)


def _lan_alone(words: list[str]) -> list[str]:
    if "--lan" not in words:
        return words
    from assistant.commands.page_parts import lan_alone

    return lan_alone(words)


def _run(words: list[str]) -> int:
    import importlib

    from assistant.commands import COMMANDS
    from assistant.commands.command_line import with_right_line
    from assistant.errors import BadInput, KerfcallError
    from assistant.process import swallowed

    plan = shop = None
    try:
        args = build_parser(next((word for word in words if word in COMMANDS), None)).parse_args(_lan_alone(words))
        plan, shop = getattr(args, "plan", None), getattr(args, "shop", None)
        try:
            return importlib.import_module(COMMANDS[args.command][0]).run(args)
        except (ImportError, KerfcallError) as error:
            if swallowed(error):
                raise KeyboardInterrupt from error
            raise
    except BadInput as error:
        for fault in with_right_line(error.faults, words, plan, shop):
            _tell(str(fault))
        return error.exit_code
    except KerfcallError as error:
        _tell(str(error))
        return error.exit_code


if __name__ == "__main__":
    sys.exit(main())
