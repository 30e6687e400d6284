"""A session told in plain words: what was cut when and by what, checks, notes, pauses, and the pace."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from statistics import median
from typing import Any

from assistant.joinery.model import Carriage
from assistant.joinery.settings import reading
from assistant.joinery.units import MM_PER_UNIT
from assistant.journal.faults import SET_APART, naming
from assistant.journal.store import SessionRow
from assistant.plans.model import Job
from assistant.session import facts as f


def standing(row: SessionRow) -> str:
    """ "open", "finished" or "ended early"; and whether it was only rehearsed, so that no wood was cut."""
    return f"{row.state}, rehearsed" if row.rehearsed else row.state


def listing(rows: Sequence[SessionRow]) -> str:
    """A table of sessions, the newest last."""
    head = ("session", "state", "started", "newest fact", "passes cut", "facts", "title")
    lines: list[tuple[str, ...]] = [head]
    lines += [
        (
            row.id,
            standing(row),
            local_time(row.started_utc),
            local_time(row.last_utc) if row.last_utc else "none",
            str(row.passes_cut),
            str(row.facts),
            one_line(row.title),
        )
        for row in rows
    ]
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    table = ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines]
    damaged = [f"Session {row.id} is damaged: {one_line(row.fault)}; {SET_APART}." for row in rows if row.fault]
    return "\n".join(table + damaged)


def account(row: SessionRow, records: Iterable[f.Record]) -> str:
    """The whole session, a line per fact, and its sums."""
    teller = _Teller(row.id)
    body = [line for record in records for line in teller.tell(record)]
    if teller.expected <= row.last:
        body.append(f"  (facts {teller.expected} to {row.last} are lost)")
    return "\n".join([*_heading(row, teller), "", *body, *([""] if body else []), *teller.sums(row)])


def local_time(utc: str) -> str:
    """ "2026-11-25 14:02:11" in this machine's time zone; the text itself where it is no time."""
    try:
        return datetime.fromisoformat(utc).astimezone().strftime("%Y-%m-%d %H:%M:%S")
    except (ValueError, OverflowError, OSError):
        return one_line(utc)


def duration(seconds: float) -> str:
    """ "8 s", "2 min 05 s", "1 h 07 min"."""
    whole = max(0, round(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def length(exact: str, unit: str = "mm") -> str:
    """ "12.35 mm" for "1235/100": up to four decimals of its unit, and "about" where that isn't the whole of it."""
    value = Fraction(exact) / MM_PER_UNIT[unit]
    text = f"{float(value):.4f}".rstrip("0").rstrip(".")
    return f"{'' if Fraction(text) == value else 'about '}{text} {unit}"


def setting(exact: str, carriage: Carriage | None) -> str:
    """A setting as its carriage shows it, with its length beside a dial's or a stepper's; in mm where none is known."""
    if carriage is None:
        return length(exact)
    shown = reading(carriage, Fraction(exact))
    match carriage.kind:
        case "handwheel":
            return f"{shown} ({length(exact, carriage.unit)})"
        case "steps":
            return f"{shown} steps ({length(exact, carriage.unit)})"
    return f"{shown} {carriage.unit}"


def counted(count: int, one: str, many: str = "") -> str:
    """ "1 fact", "2 facts"."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def one_line(text: str) -> str:
    """Without control characters, which could move the terminal's cursor."""
    return "".join(c if c.isprintable() else " " for c in text)


def _heading(row: SessionRow, teller: _Teller) -> list[str]:
    total = f" of {teller.job.total_passes}" if teller.job else ""
    lines = [
        f"Session {row.id}: {one_line(row.title)}",
        f"  {standing(row)}; {row.passes_cut}{total} passes cut; {counted(row.facts, 'fact')}",
        f"  started {local_time(row.started_utc)}" + (f", newest {local_time(row.last_utc)}" if row.last_utc else ""),
    ]
    if row.plan_path or row.plan_digest:
        lines.append(f"  plan {one_line(row.plan_path) or '(file unknown)'} (SHA-256 {row.plan_digest[:12]}...)")
    if row.program_version:
        lines.append(f"  written by Kerfcall {row.program_version}")
    return lines


@dataclass(slots=True)
class _Teller:
    """Walks the facts once; keeps sums only. Times in s."""

    session: str
    job: Job | None = None
    last_at: float = 0.0
    expected: int = 1
    called: tuple[int, int, float] | None = None
    stood_by_at: float | None = None
    standing_by: float = 0.0
    stand_bys: int = 0
    takes: list[float] = field(default_factory=list)
    cuts_by: dict[str, int] = field(default_factory=dict)
    notes: int = 0
    taken_back: int = 0
    resumed: int = 0

    def tell(self, record: f.Record) -> Iterator[str]:
        fact = record.fact
        if record.n != self.expected:
            yield f"  (facts {self.expected} to {record.n - 1} are lost)"
        self.expected = record.n + 1
        with naming(self.session, record.n, fact.kind):
            lines = _TELL[type(fact)](self, fact, record.at)
        for line in lines:
            if line.startswith("Setup "):
                yield f"{clock(record.at)}  {line}"
            else:
                yield f"{clock(record.at)}    {line}"
        self.last_at = max(self.last_at, record.at)

    def started(self, fact: f.Started, at: float) -> list[str]:
        self.job = fact.job
        return ["session started"]

    def setup_started(self, fact: f.SetupStarted, at: float) -> list[str]:
        return [f"Setup {fact.setup}{self._of_setup(fact.setup)}"]

    def _of_setup(self, number: int) -> str:
        if self.job is None or not 1 <= number <= len(self.job.setups):
            return ""
        setup = self.job.setups[number - 1]
        copies = f", {setup.copies} boards together" if setup.copies > 1 else ""
        end = "" if self.job.layout == "slots" else f", end {setup.end}"
        return f": {one_line(setup.board)}, part {setup.part}{end}{copies}"

    def check_opened(self, fact: f.CheckOpened, at: float) -> list[str]:
        return [f"check asked: {one_line(fact.check)}"]

    def check_confirmed(self, fact: f.CheckConfirmed, at: float) -> list[str]:
        return [f"check confirmed by {one_line(fact.by)}: {one_line(fact.check)}"]

    def setting_called(self, fact: f.SettingCalled, at: float) -> list[str]:
        self.called = (fact.setup, fact.pass_, at)
        return [f"pass {fact.pass_} called at {setting(fact.setting, self.job.carriage if self.job else None)}"]

    def pass_cut(self, fact: f.PassCut, at: float) -> list[str]:
        self.cuts_by[fact.by] = self.cuts_by.get(fact.by, 0) + 1
        took = ""
        if self.called is not None and self.called[:2] == (fact.setup, fact.pass_):
            self.takes.append(at - self.called[2])
            took = f", {duration(at - self.called[2])} after its setting was called"
            self.called = None
        return [f"pass {fact.pass_} cut, said by {one_line(fact.by)}{took}"]

    def stood_by(self, fact: f.StoodBy, at: float) -> list[str]:
        self.stood_by_at, self.called = at, None
        self.stand_bys += 1
        return [f"standing by, by {one_line(fact.by)}"]

    def carried_on(self, fact: f.CarriedOn, at: float) -> list[str]:
        spent = self._end_stand_by(at)
        return [f"carried on, by {one_line(fact.by)}, after {duration(spent)}"]

    def _end_stand_by(self, at: float) -> float:
        spent = at - self.stood_by_at if self.stood_by_at is not None else 0.0
        self.standing_by += spent
        self.stood_by_at = None
        return spent

    def stepped_back(self, fact: f.SteppedBack, at: float) -> list[str]:
        self.taken_back += 1
        self.called = None
        return [f"back: setup {fact.setup}, pass {fact.pass_} counts as not cut"]

    def jumped(self, fact: f.Jumped, at: float) -> list[str]:
        self.taken_back += 1
        self.called = None
        return [f"went to setup {fact.setup}, pass {fact.pass_}, which counts as not cut"]

    def noted(self, fact: f.Noted, at: float) -> list[str]:
        self.notes += 1
        text = f": {one_line(fact.text)}" if fact.text else " (no text)"
        return [f"problem marked at setup {fact.setup}, pass {fact.pass_}{text}"]

    def resumed_(self, fact: f.Resumed, at: float) -> list[str]:
        self.resumed += 1
        self._end_stand_by(self.last_at)
        self.called = None
        place = f"pass {fact.pass_} to be cut again" if fact.pass_ else "no pass was called"
        return [f"resumed in setup {fact.setup}; {place}"]

    def zeroed(self, fact: f.Zeroed, at: float) -> list[str]:
        return ["the carriage was zeroed again"]

    def reregistered(self, fact: f.Reregistered, at: float) -> list[str]:
        tried = " and tried against the still blade" if fact.setting else ""
        return [f"work of setup {fact.setup} clamped afresh at the stop{tried}"]

    def stage_ready(self, fact: f.StageReady, at: float) -> list[str]:
        return [f"stage {fact.stage} ready"]

    def setup_done(self, fact: f.SetupDone, at: float) -> list[str]:
        return [f"setup {fact.setup} done"]

    def finished(self, fact: f.Finished, at: float) -> list[str]:
        return ["session finished"]

    def ended_early(self, fact: f.EndedEarly, at: float) -> list[str]:
        place = f"setup {fact.setup}, pass {fact.pass_}" if fact.pass_ else f"setup {fact.setup}"
        return [f"ended early at {place}"]

    def sums(self, row: SessionRow) -> list[str]:
        """The closing lines: time at it, pauses, the pace, and what was out of the ordinary."""
        self._end_stand_by(self.last_at)
        lines = [f"time: {duration(self.last_at)}"]
        if self.stand_bys:
            lines.append(f"standing by: {counted(self.stand_bys, 'time')}, {duration(self.standing_by)} in all")
        if self.takes:
            lines.append(
                f"pace: {duration(median(self.takes))} a pass in the middle of them, "
                f"{duration(min(self.takes))} at the quickest, {duration(max(self.takes))} at the slowest"
            )
        if self.cuts_by:
            named = ", ".join(f"{count} by {one_line(by)}" for by, count in sorted(self.cuts_by.items()))
            lines.append(f"passes recorded: {named}")
        extra = [
            text
            for count, text in (
                (self.taken_back, f"{self.taken_back} taken back"),
                (self.notes, f"{counted(self.notes, 'problem')} marked"),
                (self.resumed, f"resumed {counted(self.resumed, 'time')}"),
            )
            if count
        ]
        return lines + ([", ".join(extra)] if extra else [])


def clock(at: float) -> str:
    """Session time as "0:03:07"."""
    whole = max(0, int(at))
    return f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"


_TELL: dict[type[f.Fact], Callable[[_Teller, Any, float], list[str]]] = {
    f.Started: _Teller.started,
    f.SetupStarted: _Teller.setup_started,
    f.CheckOpened: _Teller.check_opened,
    f.CheckConfirmed: _Teller.check_confirmed,
    f.SettingCalled: _Teller.setting_called,
    f.PassCut: _Teller.pass_cut,
    f.StoodBy: _Teller.stood_by,
    f.CarriedOn: _Teller.carried_on,
    f.SteppedBack: _Teller.stepped_back,
    f.Jumped: _Teller.jumped,
    f.Noted: _Teller.noted,
    f.Resumed: _Teller.resumed_,
    f.Reregistered: _Teller.reregistered,
    f.Zeroed: _Teller.zeroed,
    f.StageReady: _Teller.stage_ready,
    f.SetupDone: _Teller.setup_done,
    f.Finished: _Teller.finished,
    f.EndedEarly: _Teller.ended_early,
}
