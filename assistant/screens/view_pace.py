"""How long a pass takes, how long the rest will take, and where the time went. Computed from the facts' own times.

A pass counts from the call of its setting until it is cut, a changeover from a setup's beginning to its first setting.
Medians are used, so that one slow pass changes little. A time that contains standing by, a detour or an interruption
doesn't count at all, nor does waiting for glue between two stages, nor a pass that was taken back.
"""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

from assistant.plans.model import Job
from assistant.session import facts as f
from assistant.session.facts import Record

LEAST = 3  # passes before a time left is shown
REMEMBERED = 101  # the pace of only the latest passes, because hands get faster
PAUSES = (f.StoodBy, f.CarriedOn, f.Resumed, f.SteppedBack, f.Jumped, f.Asked)
LONG_S = 60.0  # a wait from which on it is named
MOST_WAITS = 100  # of them kept, the newest


@dataclass(frozen=True, slots=True)
class SetupTime:
    """What a setup took so far: seconds, passes cut of so many. expected_s: at the session's pace, None if unknown."""

    setup: int
    seconds: float
    cut: int
    passes: int
    expected_s: float | None


@dataclass(frozen=True, slots=True)
class Wait:
    """More than `LONG_S` s went by in this setup before `what` was answered: a pass, a check, a question or a stop."""

    setup: int
    what: str
    seconds: float


@dataclass(frozen=True, slots=True)
class Times:
    """Where the time went, in order. Without the time in which the session was left."""

    setups: tuple[SetupTime, ...] = ()
    waits: tuple[Wait, ...] = ()


class Pace:
    """Facts in order -> seconds for a pass and for a changeover, and where the time went."""

    def __init__(self) -> None:
        self._passes: dict[tuple[int, int], float] = {}  # (setup, pass) -> seconds, the newest last
        self._changeovers: deque[float] = deque(maxlen=REMEMBERED)
        self._job: Job | None = None
        self._setup_at: float | None = None
        self._called_at: float | None = None
        self._at = 0.0
        self._setup = 0
        self._seconds: dict[int, float] = {}
        self._cut: dict[int, set[int]] = {}
        self._waits: deque[Wait] = deque(maxlen=MOST_WAITS)
        self._open: tuple[str, float] | None = None  # what waits for an answer, since when

    def take(self, records: Iterable[Record]) -> None:
        """Take the next records, whether passing or not."""
        for record in records:
            fact, at = record.fact, record.at
            self._spend(fact, at)
            if isinstance(fact, f.Started):
                self._job = fact.job
            elif isinstance(fact, f.JobExtended):
                self._job = fact.extend(self._job) if self._job else None
            elif isinstance(fact, f.SetupStarted):
                self._called_at = None
                self._setup_at = None if self._begins_a_stage(fact.setup) else at
                self._setup = fact.setup
            elif isinstance(fact, f.SettingCalled):
                if self._setup_at is not None:
                    self._changeovers.append(at - self._setup_at)
                self._setup_at, self._called_at = None, at
            elif isinstance(fact, f.PassCut):
                self._keep_pass((fact.setup, fact.pass_), at)
            elif isinstance(fact, PAUSES):
                self._setup_at = self._called_at = None
                if isinstance(fact, f.SteppedBack | f.Jumped):
                    self._setup = fact.setup
                    self._passes.pop((fact.setup, fact.pass_), None)
                    self._cut.get(fact.setup, set()).discard(fact.pass_)

    def _keep_pass(self, which: tuple[int, int], at: float) -> None:
        setup, pass_ = which
        self._cut.setdefault(setup, set()).add(pass_)
        self._passes.pop(which, None)
        if self._called_at is not None:
            self._passes[which] = at - self._called_at
        if len(self._passes) > REMEMBERED:
            del self._passes[next(iter(self._passes))]
        self._called_at = None

    def _spend(self, fact: f.Fact, at: float) -> None:
        """Count the time up to this fact, and name what was waited for if it was long."""
        if isinstance(fact, f.Resumed):  # meanwhile the session was left
            self._at, self._open = at, None
            return
        if self._setup:
            self._seconds[self._setup] = self._seconds.get(self._setup, 0.0) + max(0.0, at - self._at)
        self._at = at
        if not isinstance(fact, _OPENS + _ANSWERS):
            return
        if self._open is not None and at - self._open[1] > LONG_S:
            self._waits.append(Wait(self._setup, self._open[0], at - self._open[1]))
        self._open = (_name_of(fact), at) if isinstance(fact, _OPENS) else None

    def _begins_a_stage(self, setup: int) -> bool:
        """Whether glue had to dry between the last setup and this one."""
        setups = self._job.setups if self._job else ()
        if not self._setup or max(self._setup, setup) > len(setups):
            return False
        return setups[setup - 1].stage > setups[self._setup - 1].stage

    @property
    def pass_s(self) -> float | None:
        """The median time of a pass, None before `LEAST` passes."""
        return statistics.median(self._passes.values()) if len(self._passes) >= LEAST else None

    def left_s(self, passes: int, setups: int) -> float | None:
        """Seconds that so many passes and changeovers to more setups will take; None if not known yet."""
        each = self.pass_s
        if each is None:
            return None
        between = statistics.median(self._changeovers) if self._changeovers else 0.0
        return passes * each + setups * between

    def times(self) -> Times:
        """Where the time went up to the last record."""
        job = self._job
        if job is None:
            return Times()
        setups = []
        for number, seconds in sorted(self._seconds.items()):
            passes = len(job.pattern_of(number).passes)
            cut = len(self._cut.get(number, ()))
            setups.append(SetupTime(number, seconds, cut, passes, self.left_s(passes, 1)))
        # A pass counts as a wait only if it took much longer than the others.
        each = 2 * (self.pass_s or 0.0)
        waits = tuple(w for w in self._waits if not w.what.startswith(_PASS) or w.seconds > each)
        return Times(tuple(setups), waits)


_PASS = "pass "
_STANDING_BY = "standing by"
_OPENS: tuple[type[f.Fact], ...] = (f.SettingCalled, f.CheckOpened, f.Asked, f.StoodBy)
_ANSWERS: tuple[type[f.Fact], ...] = (f.PassCut, f.CheckConfirmed, f.CarriedOn, f.Dropped, f.Finished, f.EndedEarly)


def _name_of(fact: f.Fact) -> str:
    match fact:
        case f.SettingCalled(_, pass_, _):
            return f"{_PASS}{pass_}"
        case f.CheckOpened(_, check):
            return check
        case f.StoodBy():
            return _STANDING_BY
    return "a question"


def shown_left(seconds: float | None) -> str:
    """In words for a screen; "" if not known."""
    if seconds is None:
        return ""
    return f"{_about(seconds)} left"


def _about(seconds: float) -> str:
    minutes = round(seconds / 60)
    return "less than a minute" if minutes < 1 else f"about {shown_minutes(seconds)}"


def shown_minutes(seconds: float) -> str:
    """Whole minutes: "4 min", "1 h 35 min", "under 1 min"."""
    minutes = round(seconds / 60)
    if minutes < 1:
        return "under 1 min"
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02} min"


def time_lines(times: Times) -> tuple[str, ...]:
    """The minutes of each setup beside those expected, the newest first, and the waits."""
    lines = []
    for each in reversed(times.setups):
        passes = f"{each.cut} of {each.passes} passes" if each.cut < each.passes else f"{each.passes} passes"
        beside = f", {shown_minutes(each.expected_s)} at the usual pace" if each.expected_s is not None else ""
        lines.append(f"Setup {each.setup}: {shown_minutes(each.seconds)} for {passes}{beside}")
    by_place: dict[tuple[int, str], float] = {}
    for wait in times.waits:
        place = wait.setup, wait.what
        by_place[place] = by_place.get(place, 0.0) + wait.seconds
    waits = [
        f"{shown_minutes(seconds)} at {what} (setup {setup})"
        if what != _STANDING_BY
        else f"{shown_minutes(seconds)} standing by (setup {setup})"
        for (setup, what), seconds in reversed(by_place.items())
    ]
    if waits:
        lines.insert(1, f"Waits: {', '.join(waits)}")
    return tuple(lines)
