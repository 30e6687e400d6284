"""The command line: finds the command's module, imports only that, and turns errors into exit codes.

It imports what it needs within `main`, where Ctrl-C is already handled.
"""

from __future__ import annotations

import sys

# Type checkers know this name too. Importing it would take time in which Python itself still answers a Ctrl-C.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.commands.command_line import Parser


def build_parser(chosen: str | None) -> Parser:
    """The parser; only the chosen command's module is imported, so that --help stays quick."""
    import importlib

    from assistant import CAUTION, __version__
    from assistant.commands import COMMANDS, GROUPS
    from assistant.commands.command_line import COMMAND, Commands, Parser

    parser = Commands(
        GROUPS,
        prog="kerfcall",
        description="Hands-free cutting assistant for box joints and other slotted joinery.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"kerfcall {__version__}")
    commands = parser.add_subparsers(dest="command", metavar=COMMAND, required=True, parser_class=Parser)
    for name, (module, help_text) in COMMANDS.items():
        described = f"{help_text[0].upper()}{help_text[1:]}."
        command = commands.add_parser(name, help=help_text, description=described, epilog=CAUTION)
        if name == chosen:
            importlib.import_module(module).add_arguments(command)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns its exit code: 0 done, 1 left open, 2 bad input, 3 could not run, 130 Ctrl-C.

    argv: None where this process is the program itself; its streams and signals are then set up as well.
    """
    interrupted = False
    try:
        code = _run(list(argv)) if argv is not None else _run_as_program()
    except KeyboardInterrupt as stop:
        code, interrupted = 130, True
        if sys.stderr is not None and sys.stderr.isatty():
            print(file=sys.stderr)  # the terminal has written ^C
        _complain("stopped with Ctrl-C" + (f": {stop}" if str(stop) else ""))
    if argv is None:
        from assistant import process

        process.end(interrupted)
    return code


def _run_as_program() -> int:
    """Run the command of this process's own words, with its streams made usable before and flushed after."""
    import os

    from assistant import process

    if "_ARGCOMPLETE" in os.environ:  # by a shell at the Tab key
        from assistant.commands.completion import answer, typed_words

        answer(build_parser(_command_in(typed_words())))
    code, words = None, sys.argv[1:]
    try:
        if hindrance := process.begin():
            _complain(hindrance)
            return process.COULD_NOT_RUN
        try:
            code = _run(words)
        except SystemExit as asked:  # --help and --version
            code = int(asked.code or 0)
        sys.stdout.flush()  # here, where a full disk still gets a message; the interpreter's own flush comes too late
    except OSError as error:
        # Nobody reads what a session shows any more: it is left open. Of other commands only words are lost.
        text, code = process.explained(error, code, 1 if words[:1] in (["cut"], ["resume"]) else 0)
        _complain(text)
    return code


def _command_in(words: Sequence[str]) -> str | None:
    """The command among these words, None where there is none."""
    from assistant.commands import COMMANDS

    return next((word for word in words if word in COMMANDS), None)


def _complain(text: str) -> None:
    if sys.stderr is not None:
        print(f"kerfcall: {text}", file=sys.stderr)


def _run(words: list[str]) -> int:
    import importlib

    from assistant.commands import COMMANDS
    from assistant.commands.command_line import with_right_line
    from assistant.errors import BadInput, KerfcallError
    from assistant.process import is_ctrl_c_in_disguise

    plan = shop = None
    try:
        typed = words
        if "--lan" in words:  # only then: the import costs every other command time
            from assistant.commands.page_parts import lan_alone

            typed = lan_alone(words)
        parser = build_parser(_command_in(words))
        if not words:
            parser.print_help()
            return 0
        args = parser.parse_args(typed)
        plan, shop = getattr(args, "plan", None), getattr(args, "shop", None)
        try:
            return importlib.import_module(COMMANDS[args.command][0]).run(args)
        except (ImportError, KerfcallError) as error:
            if is_ctrl_c_in_disguise(error):
                raise KeyboardInterrupt from error
            raise
    except BadInput as error:
        for fault in with_right_line(error.faults, words, plan, shop):
            _complain(str(fault))
        return error.exit_code
    except KerfcallError as error:
        _complain(str(error))
        return error.exit_code


if __name__ == "__main__":
    sys.exit(main())
