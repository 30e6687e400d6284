"""What `cut`, `resume` and `page` share: the bench page's options and its opening."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable
from typing import Any

from assistant.errors import Fault
from assistant.journal.store import default_state_dir
from assistant.runner.contracts import Clock, Post

_ADDRESS = re.compile(r"[0-9]+(\.[0-9]+)+|[0-9a-f.]*:[0-9a-f:.]*(%\w+)?", re.IGNORECASE)


def add_page_options(parser: argparse.ArgumentParser) -> None:
    """Adds --page, --lan and --port, for `cut` and `resume`."""
    parser.add_argument("--page", action="store_true", help="also show the session on a phone or tablet")
    add_server_options(parser)


def add_server_options(parser: argparse.ArgumentParser) -> None:
    """Adds --lan and --port."""
    parser.add_argument(
        "--lan",
        nargs="?",
        const="",
        metavar="ADDRESS",
        help="open the page to your home network, unencrypted (plain HTTP), on all of this computer's addresses or on "
        "ADDRESS alone (default: this computer only)",
    )
    parser.add_argument("--port", type=int, metavar="N", help="the page's port, 1024 to 65535 (default: 8437)")


def page_faults(args: argparse.Namespace) -> list[Fault]:
    """What is wrong with the page options of `cut` or `resume`."""
    faults = server_faults(args)
    if not args.page:
        for name, given in (("--lan", args.lan is not None), ("--port", args.port is not None)):
            if given:
                faults.append(Fault("does nothing without --page", "", name, f"add --page, or leave out {name}"))
    elif args.rehearse is not None or args.mic is not None:
        faults.append(Fault("works in a live session only, not in a rehearsal", "", "--page", "leave out --page"))
    return faults


def server_faults(args: argparse.Namespace) -> list[Fault]:
    """What is wrong with --lan and --port."""
    faults = []
    if args.lan:
        from assistant.screens.page.gate import home_addresses, is_home_address

        if not is_home_address(args.lan):
            own = home_addresses()
            mend = (
                f"give {' or '.join(own)}, or --lan alone for all of them"
                if own
                else "join a network, or leave out --lan"
            )
            faults.append(Fault("is not an address of this computer on its network", args.lan, "--lan", mend))
    # For a lower port most systems want an administrator.
    if args.port is not None and not 1024 <= args.port <= 65535:
        mend = "give a number in that range, or leave out --port"
        faults.append(Fault("must be from 1024 to 65535", str(args.port), "--port", mend))
    return faults


def lan_alone(words: list[str]) -> list[str]:
    """The command line with an empty value for each --lan that no address follows.

    argparse would otherwise take the word after it, such as the plan, for the address.
    """
    after = [*words[1:], ""]
    return ["--lan=" if word == "--lan" and not _ADDRESS.fullmatch(after[n]) else word for n, word in enumerate(words)]


def open_page(
    args: argparse.Namespace,
    clock: Clock,
    note: Callable[[str], None],
    withdraw: Callable[[str], None],
    *,
    post: Post | None = None,
    session: str = "",
    drawing: Callable[[], bytes | None] = lambda: None,
) -> Any:
    """Opens the page and shows its first pairing code. Raises CouldNotRun when the port is taken.

    During a session (`post` given) the code isn't shown as a picture to scan, which would cover the question asked.
    """
    from assistant.screens.page.bench import BenchPage
    from assistant.screens.page.server import PORT

    page = BenchPage(
        args.state or default_state_dir(),
        clock,
        note,
        withdraw=withdraw,
        post=post,
        session=session,
        drawing=drawing,
        lan=args.lan,
        port=PORT if args.port is None else args.port,
    )
    page.invite(to_scan=post is None)
    return page
