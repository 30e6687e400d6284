"""A live session: events as they come, deadlines by the wall clock."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from assistant.runner.loop import Runner
from assistant.session.events import Leave, TimePassed

TICK_S = 0.5
"""Longest wait on the queue, so that signals and file output go on when nothing else happens."""


@dataclass
class CtrlC:
    """came: whether there was a Ctrl-C. at_once: whether it raises KeyboardInterrupt instead of becoming an event."""

    came: bool = False
    at_once: bool = False


@contextlib.contextmanager
def leaving_on_signals(runner: Runner) -> Iterator[CtrlC]:
    """Ctrl-C, termination and a closed terminal become the event `Leave`: the session stays open."""
    ctrl_c = CtrlC()

    def leave(number: int, frame: object) -> None:
        if (drive := runner.outputs.drive) is not None:
            drive.halt()  # here and now: the session's thread may be busy
        ctrl_c.came = ctrl_c.came or number == signal.SIGINT
        if number == signal.SIGINT and ctrl_c.at_once:
            raise KeyboardInterrupt
        runner.post(Leave(runner.clock.at(), runner.clock.utc()))

    names = ("SIGINT", "SIGTERM", "SIGHUP")
    # Windows has no SIGHUP.
    kept = {n: signal.signal(n, leave) for name in names if (n := getattr(signal, name, None)) is not None}
    try:
        yield ctrl_c
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler)


def run_live(runner: Runner, pump: Callable[[float], None] | None = None) -> None:
    """Handle events until the session closes. `pump` is called with the session time at least twice a second."""
    while runner.closing is None:
        now = runner.clock.at()
        deadline = runner.next_deadline()
        wait = TICK_S if deadline is None else max(0.0, min(TICK_S, deadline - now))
        # What a pump causes, such as the end of an announcement in a file, must come at about its own time.
        event = runner.next_event(min(wait, 0.05) if pump else wait)
        if pump is not None:
            pump(runner.clock.at())
        if event is not None:
            runner.handle(event)
        # With an event, `handle` itself sends the deadlines that lie before it.
        elif deadline is not None and runner.clock.at() >= deadline:
            runner.handle(TimePassed(runner.clock.at(), runner.clock.utc()))
        # An event in the queue may be the voice's report. Not only when idle: steady events must not put this off.
        if runner.nothing_waits:
            runner.look_after_voice()
