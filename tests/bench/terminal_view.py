"""What the terminal view costs: the session's thread, the wire, and an idle program.

Handing over: what one turn (its snapshot, its announcement, its facts) takes of the session's thread while the
terminal isn't read at all; floor: the plain screen writing to memory. Wire: bytes for a pass at 80 by 24; floor: a
whole page. Idle: processor time and memory of the program standing at a check; floor: the same with --plain.
Run: python -m tests.bench.terminal_view
"""

from __future__ import annotations

import fcntl
import io
import os
import struct
import sys
import tempfile
import termios
import time
from contextlib import ExitStack, closing
from pathlib import Path

import psutil

from assistant.runner.clock import LiveClock
from assistant.runner.loop import Outputs, Runner
from assistant.screens.plain import PlainScreen
from assistant.screens.view import TerminalView
from assistant.screens.view_cells import changes
from assistant.screens.view_gauges import Gauges
from assistant.screens.view_page import PageComposer
from assistant.screens.view_sight import Gathering
from assistant.session.events import Gesture, Start
from tests.bench.speaking import line, p95
from tests.commands.program import PLAN
from tests.runner.adapters import drain
from tests.screens.view_rig import Rig, program
from tests.session.jobs import few_checks, job, plan, with_pass_time

TURNS = 300
IDLE_S = 10.0
MOST_HANDING, MOST_WIRE, MOST_IDLE = 4.0, 0.5, 3.0
LEAST_IDLE_S = 0.02  # of processor time, which is counted in hundredths: less can't be told from nothing
SHOP = 'unit = "mm"\n[blade]\nkerf = 3.18\n'


def long_runner(*screens: object) -> Runner:
    watchers = [screen for screen in screens if hasattr(screen, "turn")]
    clock = LiveClock()
    runner = Runner(lambda records: None, Outputs(screens=list(screens), watchers=watchers), clock)  # type: ignore[arg-type]
    made = with_pass_time(job(plan(width=1500, finger=5, parts="A", ends=1), few_checks()), 0.0)
    runner.handle(Start(clock.at(), "", made))
    while runner.state.mode == "checks":
        tap(runner, "hold")
    return runner


def tap(runner: Runner, gesture: str = "tap") -> float:
    """Seconds that the turn took."""
    begun = time.perf_counter()
    runner.handle(Gesture(runner.clock.at(), "", gesture, runner.clock.at()))
    taken = time.perf_counter() - begun
    drain(runner)
    return taken


def turns(runner: Runner) -> list[float]:
    found = []
    for _ in range(TURNS):
        found.append(tap(runner))
        time.sleep(0.005)
    return found


def handing_over() -> tuple[list[float], list[float]]:
    """Turns with the view on a terminal that nobody reads, and with plain lines in memory."""
    master, slave = os.openpty()
    fcntl.ioctl(master, termios.TIOCSWINSZ, struct.pack("HHHH", 60, 200, 0, 0))
    with os.fdopen(slave, "w", encoding="utf-8") as out:
        view = TerminalView(out, "bench")
        try:
            found = turns(long_runner(view))
        finally:
            view.close()
    os.close(master)
    return found, turns(long_runner(PlainScreen(io.StringIO(), keys=False)))


def wire(columns: int, rows: int) -> tuple[list[float], list[float], list[float]]:
    """Bytes of each pass, bytes of each whole page, and seconds that composing and comparing took."""
    gathering, page = Gathering(), PageComposer()
    runner = long_runner(gathering)
    shown = page.compose(gathering.sight, Gauges(), columns, rows)
    some, whole, seconds = [], [], []
    for _ in range(40):
        tap(runner)
        begun = time.perf_counter()
        new = page.compose(gathering.sight, Gauges(), columns, rows)
        sent = changes(shown, new)
        seconds.append(time.perf_counter() - begun)
        some.append(float(len(sent.encode())))
        whole.append(float(len(changes(None, new).encode())))
        shown = new
    return some, whole, seconds


def idle(*programs: tuple[str, ...]) -> list[tuple[float, float]]:
    """Of the program with each of these options at its first check, all of them at the same time.

    Processor seconds in IDLE_S, and MB in memory that are its own (USS).
    """
    with ExitStack() as stack:
        rigs = []
        for options in programs:
            folder = stack.enter_context(tempfile.TemporaryDirectory())
            command = program(Path(folder), *options, plan=PLAN, shop=SHOP)
            rigs.append(stack.enter_context(closing(Rig(command, KERFCALL_RUNTIME_DIR=folder))))
        for rig in rigs:
            rig.until("Carriage zeroed")
        read(rigs, 1.5)
        processes = [psutil.Process(rig.process.pid) for rig in rigs]
        before = [sum(process.cpu_times()[:2]) for process in processes]
        read(rigs, IDLE_S)
        return [
            (sum(process.cpu_times()[:2]) - spent, process.memory_full_info().uss / 1e6)
            for process, spent in zip(processes, before, strict=True)
        ]


def read(rigs: list[Rig], seconds: float) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        for rig in rigs:
            rig.read(0.1)


def main() -> int:
    view, plain = handing_over()
    line("turn, the view's terminal unread", view)
    line("floor: turn, plain lines in memory", plain)
    ratios = {"handing over, p95": (p95(view) / p95(plain), MOST_HANDING)}
    for columns, rows in ((80, 24), (200, 60)):
        some, whole, seconds = wire(columns, rows)
        line(f"compose and compare, {columns} x {rows}", seconds)
        mean = sum(some) / len(some)
        print(f"{f'bytes a pass, {columns} x {rows}':42} {mean:.0f} (most {max(some):.0f}; page {max(whole):.0f})")
        ratios[f"bytes a pass / a page, {columns} x {rows}"] = (mean / (sum(whole) / len(whole)), MOST_WIRE)
    (view_s, view_mb), (plain_s, plain_mb) = idle((), ("--plain",))
    print(f"{'idle, view':42} {view_s / IDLE_S:.2%} of a core, {view_mb:.1f} MB")
    print(f"{'floor: idle, plain':42} {plain_s / IDLE_S:.2%} of a core, {plain_mb:.1f} MB")
    ratios["idle processor time"] = (max(view_s, LEAST_IDLE_S) / max(plain_s, LEAST_IDLE_S), MOST_IDLE)
    for name, (ratio, most) in ratios.items():
        print(f"{name:42} {ratio:.2f} (at most {most:g})")
    return int(any(ratio > most for ratio, most in ratios.values()))


if __name__ == "__main__":
    sys.exit(main())
