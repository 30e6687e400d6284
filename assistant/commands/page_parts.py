"""What `cut`, `resume` and `page` share: the bench page's options, how it is opened, and the plan's drawing for it."""

from __future__ import annotations

import argparse
import hashlib
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from assistant.errors import BadInput, Fault
from assistant.journal.store import default_state_dir
from assistant.plans.model import Job
from assistant.runner.contracts import Clock, Post


def add_page_options(parser: argparse.ArgumentParser) -> None:
    """--page, --lan, --port, for `cut` and `resume`."""
    parser.add_argument("--page", action="store_true", help="show the session on a page for phone or tablet")
    add_server_options(parser)


def add_server_options(parser: argparse.ArgumentParser) -> None:
    """--lan, --port."""
    parser.add_argument(
        "--lan", action="store_true", help="open the page to the home network, in plain HTTP; else this computer only"
    )
    parser.add_argument("--port", type=int, metavar="N", help="the page's port (default: 8437)")


def page_faults(args: argparse.Namespace) -> list[Fault]:
    """What is wrong with the page's options of `cut` or `resume`."""
    faults = port_faults(args)
    if not args.page:
        for name, given in (("--lan", args.lan), ("--port", args.port is not None)):
            if given:
                faults.append(Fault("means nothing without --page", "", name, "give --page too, or leave it out"))
    elif args.rehearse is not None or args.mic is not None:
        faults.append(Fault("shows a live session, not a rehearsal", "", "--page", "leave out --page"))
    return faults


def port_faults(args: argparse.Namespace) -> list[Fault]:
    if args.port is None or 1024 <= args.port <= 65535:
        return []
    return [Fault("must be from 1024 to 65535", str(args.port), "--port", "leave it out, or give such a number")]


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
    """The page, with its first pairing code shown. Raises CouldNotRun when the port is taken.

    Beside a session the code isn't shown as a picture, which would lie over what is asked.
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


def drawing_of(path: Path | None, job: Job) -> Callable[[], bytes | None]:
    """Makes the plan's sheets as SVG when first asked; None where the plan file is gone or has changed since."""
    guard = threading.Lock()
    made: list[bytes | None] = []

    def drawing() -> bytes | None:
        with guard:
            if not made:
                made.append(_drawn(path, job))
            return made[0]

    return drawing


def _drawn(path: Path | None, job: Job) -> bytes | None:
    from assistant.drawings.sheets import paper_for, sheets
    from assistant.drawings.svg import write_svg
    from assistant.plans.plan_file import read_plan

    try:
        if path is None or hashlib.sha256(path.read_bytes()).hexdigest() != job.plan_digest:
            return None
        return write_svg(sheets(read_plan(path), job, paper_for(job.carriage.unit)), job.title)
    except (OSError, BadInput):
        return None
