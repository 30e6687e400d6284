"""Gathers what the probes of `kerfcall ready` find: none of them raises here, and none is waited for without end.

It knows nothing of the parts: which probes there are and how they are ordered is `commands/readiness.py`.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from assistant.health import BROKEN, Finding, one_line
from assistant.patience import Patience

PROBE_S = 5.0  # for a probe that has no time of its own: as long as nothing moves in this program
LONGEST_S = 180.0  # in all, for one that moves in circles
STEP = 0.05  # processor seconds; waiting for the probes takes less


@dataclass(frozen=True, slots=True)
class Probe:
    """What looks at some parts. parts: the lines that `look` gives, in that order. mend: where it fails as a whole.

    within_s: without an answer and without movement. From then on one that answers is called slow.
    """

    parts: tuple[str, ...]
    look: Callable[[], Sequence[Finding]]
    mend: str
    within_s: float = PROBE_S

    def broken(self, text: str) -> Sequence[Finding]:
        """A line for each part, where the probe itself failed."""
        return [Finding(part, BROKEN, text, self.mend) for part in self.parts]


Answer = queue.SimpleQueue[tuple[float, Sequence[Finding]]]
"""How long the probe took, s, and its lines."""


def gather(probes: Sequence[Probe]) -> list[Finding]:
    """The lines of all probes, in their order; they look at the same time, each on a thread of its own.

    A probe that raises, or is not done within its time, or gives other lines than it promised, is broken itself. Its
    time runs while nothing moves: one may wait for what another loads.
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
                lines = probe.broken("could not be looked at: another line came")
        except BaseException as error:  # SystemExit too: a thread would drop it unseen
            lines = probe.broken(f"could not be looked at: {one_line(error)}")
        answer.put((time.monotonic() - began, lines))

    # A daemon: a driver that hangs must not keep the program from ending.
    threading.Thread(target=look, name=f"ready {probe.parts[0]}", daemon=True).start()
    return answer


def _wait_for(probe: Probe, answer: Answer, patiences: Sequence[Patience], patience: Patience) -> Sequence[Finding]:
    while True:
        over = [one for one in patiences if one.over()]  # all are asked, so that the time of each runs
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
