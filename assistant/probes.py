"""Gathers what the probes of `kerfcall ready` find. No probe can raise an exception here or make it wait for ever.

This module knows nothing about the parts: `commands/readiness.py` lists the probes and their order.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from assistant.health import BROKEN, Finding, one_line
from assistant.patience import Patience

PROBE_S = 5.0  # for a probe without a limit of its own, counted while nothing in this program makes progress
LONGEST_S = 180.0  # the longest in all, for a probe that goes in circles
STEP = 0.05  # processor seconds; waiting for the probes uses less


@dataclass(frozen=True, slots=True)
class Probe:
    """Checks some parts. parts: one for each line that `look` returns, in order. mend: what to do if the probe fails.

    within_s: the longest time without an answer and without progress. An answer that takes longer is called slow.
    """

    parts: tuple[str, ...]
    look: Callable[[], Sequence[Finding]]
    mend: str
    within_s: float = PROBE_S

    def broken(self, text: str) -> Sequence[Finding]:
        """One line for each part, where the probe itself failed."""
        return [Finding(part, BROKEN, text, self.mend) for part in self.parts]


Answer = queue.SimpleQueue[tuple[float, Sequence[Finding]]]
"""How long the probe took, s, and its lines."""


def gather(probes: Sequence[Probe]) -> list[Finding]:
    """The lines of all probes, in order. The probes run at the same time, each on its own thread.

    A probe that raises, takes too long, or returns other lines than it promised is itself reported broken. Its time
    runs only while nothing makes progress, because one probe may wait for something that another is loading.
    """
    waits = [(probe, _start(probe), Patience(probe.within_s, LONGEST_S, time.process_time, STEP)) for probe in probes]
    lines: list[Finding] = []
    for probe, answer, patience in waits:
        lines += _wait_for(probe, answer, [other for _, _, other in waits], patience)
    return lines


def _start(probe: Probe) -> Answer:
    answer: Answer = queue.SimpleQueue()
    began = time.monotonic()

    def look() -> None:
        try:
            lines = probe.look()
            if tuple(line.part for line in lines) != probe.parts:
                lines = probe.broken("could not be checked: the probe returned another line")
        except BaseException as error:  # SystemExit too: a thread would drop it unseen
            lines = probe.broken(f"could not be checked: {one_line(error)}")
        answer.put((time.monotonic() - began, lines))

    # A daemon: a driver that hangs must not keep the program from ending.
    threading.Thread(target=look, name=f"ready {probe.parts[0]}", daemon=True).start()
    return answer


def _wait_for(probe: Probe, answer: Answer, patiences: Sequence[Patience], patience: Patience) -> Sequence[Finding]:
    while True:
        over = [one for one in patiences if one.over()]  # ask all of them, so that each one's time runs
        try:
            took_s, lines = answer.get(timeout=0.0 if patience in over else min(0.2, probe.within_s / 4))
        except queue.Empty:
            if patience in over:
                return probe.broken(patience.why())
            continue
        if took_s <= probe.within_s:
            return lines
        return [
            replace(
                line, text=f"{line.text}; slow: took {took_s:.0f} s", data={**line.data, "took_s": round(took_s, 1)}
            )
            for line in lines
        ]
