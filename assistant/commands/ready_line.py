"""A line of `kerfcall ready`, and how the lines are gathered: none raises, none is waited for longer than its time."""

from __future__ import annotations

import os
import queue
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from assistant.patience import Patience

WORKS, STANDS_IN, BROKEN = "works", "stands in", "broken"
PROBE_S = 5.0  # for a probe that has no time of its own: as long as nothing moves in this program
LONGEST_S = 180.0  # in all, for one that moves in circles
STEP = 0.05  # processor seconds; waiting for the probes takes less


@dataclass(frozen=True, slots=True)
class Line:
    """One part. state: works | stands in | broken. mend: what to do, "" where there is nothing to do.

    data: its figures for other programs, JSON-ready.
    """

    part: str
    state: str
    text: str
    mend: str = ""
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Probe:
    """What looks at some parts. parts: the lines that `look` gives, in that order. mend: where it fails as a whole.

    within_s: without an answer and without movement. From then on one that answers is called slow.
    """

    parts: tuple[str, ...]
    look: Callable[[], Sequence[Line]]
    mend: str
    within_s: float = PROBE_S


Answer = queue.SimpleQueue[tuple[float, Sequence[Line]]]
"""How long the probe took, s, and its lines."""


def gathered(probes: Sequence[Probe]) -> list[Line]:
    """The lines of all probes, in their order; they look at the same time, each on a thread of its own.

    A probe that raises, or is not done within its time, or gives other lines than it promised, is broken itself. Its
    time runs while nothing moves: one may wait for what another loads.
    """
    waits = [(probe, _started(probe), Patience(probe.within_s, LONGEST_S, time.process_time, STEP)) for probe in probes]
    lines: list[Line] = []
    for probe, answer, patience in waits:
        lines += _awaited(probe, answer, [other for _, _, other in waits], patience)
    return lines


def _awaited(probe: Probe, answer: Answer, patiences: Sequence[Patience], patience: Patience) -> Sequence[Line]:
    while True:
        over = [one for one in patiences if one.over()]  # all are asked, so that the time of each runs
        try:
            took_s, lines = answer.get(timeout=0.0 if patience in over else min(0.2, probe.within_s / 4))
        except queue.Empty:
            if patience in over:
                return _all(probe, patience.why())
        else:
            slow = took_s > probe.within_s
            return [_slow(line, took_s) for line in lines] if slow else lines


def _slow(line: Line, took_s: float) -> Line:
    return replace(line, text=f"{line.text}; slow: took {took_s:.0f} s", data={**line.data, "took_s": round(took_s, 1)})


def _started(probe: Probe) -> Answer:
    answer: Answer = queue.SimpleQueue()
    began = time.monotonic()

    def look() -> None:
        lines = _looked(probe)
        answer.put((time.monotonic() - began, lines))

    # A daemon: a driver that hangs must not keep the program from ending.
    threading.Thread(target=look, name=f"ready {probe.parts[0]}", daemon=True).start()
    return answer


def _looked(probe: Probe) -> Sequence[Line]:
    try:
        lines = probe.look()
        if tuple(line.part for line in lines) == probe.parts:
            return lines
    except BaseException as error:  # SystemExit too: a thread would drop it unseen
        return _all(probe, f"could not be looked at: {plain(error)}")
    return _all(probe, "could not be looked at: another line came")


def _all(probe: Probe, text: str) -> Sequence[Line]:
    return [Line(part, BROKEN, text, probe.mend) for part in probe.parts]


def plain(error: BaseException) -> str:
    """One line of an exception, without paths of its code."""
    first = str(error).strip().splitlines()
    if isinstance(error, OSError) and error.strerror:
        return f"{error.strerror}: {short(error.filename)}" if error.filename else error.strerror
    return first[0] if first else type(error).__name__


def short(path: str | bytes | os.PathLike[Any] | int) -> str:
    """A path as a shell takes it, with ~ for the home folder."""
    text = str(path) if isinstance(path, int) else os.fsdecode(path)
    home = str(Path.home()) if os.environ.get("HOME") or os.name == "nt" else ""
    if len(home) > 1 and os.name != "nt" and (text == home or text.startswith(home + os.sep)):
        return f"~{text[len(home) :]}"
    return text


def pip(*requirements: str) -> str:
    """The command that installs them."""
    import shlex

    return f"python -m pip install {' '.join(shlex.quote(one) for one in requirements)}"
