"""`kerfcall completion bash|zsh|fish`: the lines that make a shell complete Kerfcall's commands and options.

At the Tab key the shell runs `kerfcall` itself, which answers from the same parser that reads the command line. So no
list can grow stale, and only the module of the command that is being typed is imported.
"""

from __future__ import annotations

import argparse
import os

from assistant.errors import NoSuchPart
from assistant.health import pip

SHELLS = {
    "bash": "echo 'eval \"$(kerfcall completion bash)\"' >> ~/.bashrc",
    "zsh": "echo 'eval \"$(kerfcall completion zsh)\"' >> ~/.zshrc   (after compinit)",
    "fish": "kerfcall completion fish > ~/.config/fish/completions/kerfcall.fish",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("shell", choices=tuple(SHELLS), help="the shell to print completions for")
    parser.epilog = "\n".join(["To switch it on, for every new shell:", *(f"  {line}" for line in SHELLS.values())])


def run(args: argparse.Namespace) -> int:
    """Print what the shell has to run. Exit code 0; raises NoSuchPart without argcomplete."""
    try:
        from argcomplete.shell_integration import shellcode
    except ImportError as error:
        raise NoSuchPart(f"Completion needs argcomplete: {pip('argcomplete')}") from error
    print(shellcode(["kerfcall"], shell=args.shell))
    return 0


def answer(parser: argparse.ArgumentParser) -> None:
    """Answer the shell that asked what can come next, and end this process. parser: the whole program's."""
    import argcomplete

    argcomplete.autocomplete(parser, always_complete_options="long", exclude=["--help", "--version"])


def typed_words() -> list[str]:
    """What has been typed behind the program's name when a shell asks."""
    return os.environ.get("COMP_LINE", "").split()[1:]
