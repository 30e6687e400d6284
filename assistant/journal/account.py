"""A session in plain words: what was cut, when, and how it was recorded; checks, notes, pauses and the pace."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from statistics import median
from typing import Any

from assistant.joinery.model import Carriage, CarriageKind
from assistant.joinery.settings import reading
from assistant.joinery.units import MM_PER_UNIT, Unit
from assistant.journal.faults import SET_APART, naming
from assistant.journal.store import SessionRow
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job
from assistant.session import facts as f
from assistant.session.kinds import JobChange, MoveKind
from assistant.wording.halves import which_half


def state_in_words(row: SessionRow) -> str:
    """Open, finished or ended early, and whether it was only a rehearsal, without wood."""
    return f"{row.state}, rehearsed" if row.rehearsed else row.state


def listing(rows: Sequence[SessionRow]) -> str:
    """A table of sessions, the newest last."""
    head = ("session", "state", "started", "newest fact", "passes cut", "facts", "title")
    lines: list[tuple[str, ...]] = [head]
    lines += [
        (
            row.id,
            state_in_words(row),
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
    """The whole session: a line for each fact, then the totals."""
    facts = _FactsInWords(row.id)
    body = [line for record in records for line in facts.lines_of(record)]
    if facts.expected <= row.last:
        body.append(f"  (facts {facts.expected} to {row.last} are lost)")
    total = f" of {facts.job.passes_without(facts.spoilt)}" if facts.job else ""
    heading = [
        f"Session {row.id}: {one_line(row.title)}",
        f"  {state_in_words(row)}; {row.passes_cut}{total} passes cut; {counted(row.facts, 'fact')}",
        f"  started {local_time(row.started_utc)}" + (f", newest {local_time(row.last_utc)}" if row.last_utc else ""),
    ]
    if row.plan_path or row.plan_digest:
        heading.append(f"  plan {one_line(row.plan_path) or '(file unknown)'} (SHA-256 {row.plan_digest[:12]}...)")
    if row.program_version:
        heading.append(f"  written by Kerfcall {row.program_version}")
    return "\n".join([*heading, "", *body, *([""] if body else []), *facts.sums()])


def local_time(utc: str) -> str:
    """Such as "2026-11-25 14:02:11", in this machine's time zone; the text itself if it is not a time."""
    try:
        return datetime.fromisoformat(utc).astimezone().strftime("%Y-%m-%d %H:%M:%S")
    # A damaged date can lie outside what the C library converts; on Windows that is an OSError.
    except (ValueError, OverflowError, OSError):
        return one_line(utc)


def duration(seconds: float) -> str:
    """Such as "8 s", "2 min 05 s", "1 h 07 min"."""
    whole = max(0, round(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def length(exact: str, unit: Unit = Unit.MM) -> str:
    """Such as "12.35 mm" for "1235/100": up to four decimals of its unit, with "about" if it has more."""
    value = Fraction(exact) / MM_PER_UNIT[unit]
    text = f"{float(value):.4f}".rstrip("0").rstrip(".")
    return f"{'' if Fraction(text) == value else 'about '}{text} {unit}"


def setting(exact: str, carriage: Carriage | None) -> str:
    """A setting as the carriage shows it, with the length added for a dial or a stepper; in mm without a carriage."""
    if carriage is None:
        return length(exact)
    shown = reading(carriage, Fraction(exact))
    match carriage.kind:
        case CarriageKind.HANDWHEEL:
            return f"{shown} ({length(exact, carriage.unit)})"
        case CarriageKind.STEPS:
            return f"{shown} steps ({length(exact, carriage.unit)})"
    return f"{shown} {carriage.unit}"


def counted(count: int, one: str) -> str:
    """Such as "1 fact", "2 facts"."""
    return f"{count} {one}{'' if count == 1 else 's'}"


def one_line(text: str) -> str:
    """The text without control characters, which could move the terminal's cursor."""
    return "".join(c if c.isprintable() else " " for c in text)


@dataclass(slots=True)
class _FactsInWords:
    """Words the facts one by one, keeping only totals. Times in s."""

    session: str
    job: Job | None = None
    last_at: float = 0.0
    expected: int = 1
    called: tuple[int, int, float] | None = None
    stood_by_at: float | None = None
    standing_by: float = 0.0
    stand_bys: int = 0
    cuts: dict[tuple[int, int], tuple[str, float | None]] = field(default_factory=dict)
    """By setup and pass, those that count as cut: who recorded each, and how long after its setting was called."""
    spoilt: set[int] = field(default_factory=set)
    notes: int = 0
    taken_back: int = 0
    resumed: int = 0

    def lines_of(self, record: f.Record) -> Iterator[str]:
        fact = record.fact
        if record.n != self.expected:
            yield f"  (facts {self.expected} to {record.n - 1} are lost)"
        self.expected = record.n + 1
        with naming(self.session, record.n, fact.kind):
            line = _IN_WORDS[type(fact)](self, fact, record.at)
        # A setup's line is a heading for what was done in it.
        indent = "  " if isinstance(fact, f.SetupStarted) else "    "
        yield f"{clock(record.at)}{indent}{line}"
        self.last_at = max(self.last_at, record.at)

    def started(self, fact: f.Started, at: float) -> str:
        self.job = fact.job
        return "session started"

    def test_joint_skipped(self, fact: f.TestJointSkipped, at: float) -> str:
        return "test joint skipped: no joint of this blade, wood and clearance was known"

    def setup_started(self, fact: f.SetupStarted, at: float) -> str:
        if self.job is None or not 1 <= fact.setup <= len(self.job.setups):
            return f"Setup {fact.setup}"
        setup = self.job.setups[fact.setup - 1]
        copies = f", {setup.copies} boards together" if setup.copies > 1 else ""
        end = "" if self.job.slotted else f", end {setup.end}"
        end += which_half(setup)
        return f"Setup {fact.setup}: {one_line(setup.board)}, part {setup.part}{end}{copies}"

    def check_opened(self, fact: f.CheckOpened, at: float) -> str:
        return f"check asked: {one_line(fact.check)}"

    def check_confirmed(self, fact: f.CheckConfirmed, at: float) -> str:
        return f"check confirmed by {one_line(fact.by)}: {one_line(fact.check)}"

    def setting_called(self, fact: f.SettingCalled, at: float) -> str:
        self.called = (fact.setup, fact.pass_, at)
        return f"pass {fact.pass_} called at {setting(fact.setting, self.job.carriage if self.job else None)}"

    def pass_cut(self, fact: f.PassCut, at: float) -> str:
        place, took, after = (fact.setup, fact.pass_), None, ""
        if self.called is not None and self.called[:2] == place:
            took = at - self.called[2]
            after = f", {duration(took)} after its setting was called"
            self.called = None
        self.cuts[place] = (fact.by, took)
        return f"pass {fact.pass_} cut, recorded by {one_line(fact.by)}{after}"

    def stood_by(self, fact: f.StoodBy, at: float) -> str:
        # A pass that was called before the pause says nothing about the pace.
        self.stood_by_at, self.called = at, None
        self.stand_bys += 1
        return f"standing by, by {one_line(fact.by)}"

    def carried_on(self, fact: f.CarriedOn, at: float) -> str:
        spent = self._end_stand_by(at)
        return f"carried on, by {one_line(fact.by)}, after {duration(spent)}"

    def _end_stand_by(self, at: float) -> float:
        spent = at - self.stood_by_at if self.stood_by_at is not None else 0.0
        self.standing_by += spent
        self.stood_by_at = None
        return spent

    def stepped_back(self, fact: f.SteppedBack, at: float) -> str:
        self._take_back(fact.setup, fact.pass_)
        return f"went back: setup {fact.setup}, pass {fact.pass_} counts as not cut"

    def jumped(self, fact: f.Jumped, at: float) -> str:
        self._take_back(fact.setup, fact.pass_)
        return f"went to setup {fact.setup}, pass {fact.pass_}, which counts as not cut"

    def _take_back(self, setup: int, pass_: int) -> None:
        self.taken_back += 1
        self.cuts.pop((setup, pass_), None)
        self.called = None

    def noted(self, fact: f.Noted, at: float) -> str:
        self.notes += 1
        text = f": {one_line(fact.text)}" if fact.text else " (no text)"
        return f"problem marked at setup {fact.setup}, pass {fact.pass_}{text}"

    def resumed_(self, fact: f.Resumed, at: float) -> str:
        self.resumed += 1
        # Only up to the last fact: after it the session was left, and nobody stood by.
        self._end_stand_by(self.last_at)
        self.called = None
        place = f"pass {fact.pass_} must be cut again" if fact.pass_ else "no pass was called"
        return f"resumed in setup {fact.setup}; {place}"

    def zeroed(self, fact: f.Zeroed, at: float) -> str:
        return "the carriage was zeroed again"

    def reregistered(self, fact: f.Reregistered, at: float) -> str:
        tried = " and tried against the still blade" if fact.setting else ""
        return f"setup {fact.setup}: work clamped again at the stop{tried}"

    def stage_ready(self, fact: f.StageReady, at: float) -> str:
        return f"stage {fact.stage} ready"

    def setup_done(self, fact: f.SetupDone, at: float) -> str:
        return f"setup {fact.setup} done"

    def finished(self, fact: f.Finished, at: float) -> str:
        return "session finished"

    def ended_early(self, fact: f.EndedEarly, at: float) -> str:
        place = f"setup {fact.setup}, pass {fact.pass_}" if fact.pass_ else f"setup {fact.setup}"
        return f"ended early at {place}"

    def job_extended(self, fact: f.JobExtended, at: float) -> str:
        self.job = fact.extend(self.job) if self.job else None
        why: dict[str, str] = {JobChange.SPOILT: " in place of a spoilt board", JobChange.COPY: ", one more copy"}
        named = ", ".join(f"setup {one.number} ({one_line(one.board)}, end {one.end})" for one in fact.setups)
        if fact.kerf:
            unit = self.job.carriage.unit if self.job else Unit.MM
            return f"kerf {length(fact.kerf, unit)} from here on" + (f"; laid out again: {named}" if named else "")
        return f"added to the job{why.get(fact.why, '')}: {named}"

    def board_chosen(self, fact: f.BoardChosen, at: float) -> str:
        self.called = None
        return f"setup {fact.setup} chosen to be cut next"

    def setup_reopened(self, fact: f.SetupReopened, at: float) -> str:
        for pass_ in fact.passes:
            self._take_back(fact.setup, pass_)
        if fact.deeper:
            return f"setup {fact.setup} to be cut again, deeper"
        if fact.socket:
            return f"setup {fact.setup}, number {fact.socket} to be cut again"
        off = f", {length(fact.cut_off)} cut off the end" if fact.cut_off else ""
        return f"setup {fact.setup} to be cut again{off}"

    def went_wrong(self, fact: f.WentWrong, at: float) -> str:
        place = f"pass {fact.pass_}" if fact.pass_ else "before a pass"
        # By its word, since a journal may hold one that isn't known here.
        return f"went wrong at setup {fact.setup}, {place}: {Mishap(fact.mishap).means}"

    def kerf_misplaced(self, fact: f.KerfMisplaced, at: float) -> str:
        off_by = Fraction(fact.off_by)
        way = "nearer to" if off_by < 0 else "farther from"
        off = f"{length(str(abs(off_by)))} {way} the reference edge than it should be"
        return f"setup {fact.setup}, pass {fact.pass_}: a kerf lies {off}; the board is kept"

    def depth_set(self, fact: f.DepthSet, at: float) -> str:
        self.job = fact.change(self.job) if self.job else None
        return f"to be cut to {length(fact.depth)} from now on"

    def came_back(self, fact: f.CameBack, at: float) -> str:
        height = f"the blade's height was {'' if fact.lowered else 'not '}changed"
        return f"back from a break: {height}, {'something' if fact.touched else 'nothing'} else was touched"

    def cuts_sure(self, fact: f.CutsSure, at: float) -> str:
        return f"setup {fact.setup}: which cuts are good is known"

    def old_blade_back(self, fact: f.OldBladeBack, at: float) -> str:
        return "the old blade is back on the saw, and its kerf still counts"

    def board_spoilt(self, fact: f.BoardSpoilt, at: float) -> str:
        self.spoilt.update(fact.setups)
        self.cuts = {place: kept for place, kept in self.cuts.items() if place[0] not in fact.setups}
        self.called = None
        return f"board spoilt: {'setups' if len(fact.setups) > 1 else 'setup'} {', '.join(map(str, fact.setups))}"

    def reopened(self, fact: f.Reopened, at: float) -> str:
        return "session opened again"

    def move_asked(self, fact: f.MoveAsked, at: float) -> str:
        if fact.what == MoveKind.SETTING:
            where = f"to {setting(fact.to, self.job.carriage if self.job else None)}"
        else:
            where = "to its home switch" if fact.what == MoveKind.HOME else "to its home switch, to prove its place"
        return f"carriage sent {where}{', pedal held down' if fact.held else ''}"

    def moved(self, fact: f.Moved, at: float) -> str:
        carriage = self.job.carriage if self.job else None
        return f"carriage stands at {setting(fact.asked, carriage)} (reported: {length(fact.reported)})"

    def carriage_halted(self, fact: f.CarriageHalted, at: float) -> str:
        return f"carriage halted at {length(fact.reported)}"

    def carriage_lost(self, fact: f.CarriageLost, at: float) -> str:
        return f"carriage lost ({one_line(fact.why)}): {one_line(fact.text)}"

    def carriage_homed(self, fact: f.CarriageHomed, at: float) -> str:
        if fact.beyond:
            return "carriage at its home switch: farther off than could be counted"
        if not fact.off_by:
            return "carriage homed"
        return f"carriage at its home switch: {length(fact.off_by)} off"

    def sums(self) -> list[str]:
        """The closing lines: time, pauses, pace, and anything out of the ordinary."""
        self._end_stand_by(self.last_at)
        lines = [f"time: {duration(self.last_at)}"]
        if self.stand_bys:
            lines.append(f"standing by: {counted(self.stand_bys, 'time')}, {duration(self.standing_by)} in all")
        takes = [took for _, took in self.cuts.values() if took is not None]
        if takes:
            lines.append(
                # The median, since one pass with a long look in between would pull a mean.
                f"pace: {duration(median(takes))} a pass (median), "
                f"{duration(min(takes))} for the quickest, {duration(max(takes))} for the slowest"
            )
        if self.cuts:
            counts = Counter(by for by, _ in self.cuts.values())
            named = ", ".join(f"{count} by {one_line(by)}" for by, count in sorted(counts.items()))
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


_IN_WORDS: dict[type[f.Fact], Callable[[_FactsInWords, Any, float], str]] = {
    f.Started: _FactsInWords.started,
    f.TestJointSkipped: _FactsInWords.test_joint_skipped,
    f.SetupStarted: _FactsInWords.setup_started,
    f.CheckOpened: _FactsInWords.check_opened,
    f.CheckConfirmed: _FactsInWords.check_confirmed,
    f.SettingCalled: _FactsInWords.setting_called,
    f.PassCut: _FactsInWords.pass_cut,
    f.StoodBy: _FactsInWords.stood_by,
    f.CarriedOn: _FactsInWords.carried_on,
    f.SteppedBack: _FactsInWords.stepped_back,
    f.Jumped: _FactsInWords.jumped,
    f.Noted: _FactsInWords.noted,
    f.Resumed: _FactsInWords.resumed_,
    f.Reregistered: _FactsInWords.reregistered,
    f.Zeroed: _FactsInWords.zeroed,
    f.StageReady: _FactsInWords.stage_ready,
    f.SetupDone: _FactsInWords.setup_done,
    f.Finished: _FactsInWords.finished,
    f.EndedEarly: _FactsInWords.ended_early,
    f.JobExtended: _FactsInWords.job_extended,
    f.BoardChosen: _FactsInWords.board_chosen,
    f.SetupReopened: _FactsInWords.setup_reopened,
    f.BoardSpoilt: _FactsInWords.board_spoilt,
    f.WentWrong: _FactsInWords.went_wrong,
    f.KerfMisplaced: _FactsInWords.kerf_misplaced,
    f.DepthSet: _FactsInWords.depth_set,
    f.CameBack: _FactsInWords.came_back,
    f.CutsSure: _FactsInWords.cuts_sure,
    f.OldBladeBack: _FactsInWords.old_blade_back,
    f.Reopened: _FactsInWords.reopened,
    f.MoveAsked: _FactsInWords.move_asked,
    f.Moved: _FactsInWords.moved,
    f.CarriageHalted: _FactsInWords.carriage_halted,
    f.CarriageLost: _FactsInWords.carriage_lost,
    f.CarriageHomed: _FactsInWords.carriage_homed,
}
