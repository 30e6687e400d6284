"""What there is to see, gathered as the session goes on: one immutable snapshot, always the newest.

It is made on the session's thread, so it only keeps references; the view does wording and drawing.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from assistant.screens.view_pace import Pace, Times
from assistant.session import facts as f
from assistant.session.effects import View
from assistant.session.events import DeviceChanged, Event, Gesture, Heard, Looked, NotHeard, SpeechEnded, SpeechStarted
from assistant.session.kinds import By, DeviceName, DeviceState, JobChange, Klass, Press, QuestionName
from assistant.wording.phrases import EXPLAINED
from assistant.wording.prompts import Words

KEPT = 40  # entries of the log


class Aside(StrEnum):
    """The class of a line in the log that the session doesn't announce."""

    WARNING = "warning"
    """Of the job's own."""
    NOTE = "note"
    """From outside the session."""


MARKS: dict[Klass | Aside, str] = {
    Klass.SETTING: ">>",
    Klass.CHECK: "??",
    Klass.MOVE: "??",
    Klass.QUESTION: "??",
    Klass.NOTICE: "!!",
    Klass.CAUTION: "!!",
    Aside.WARNING: "!!",
    Klass.LINE: "..",
    Klass.REFUSED: "..",
}
ASKING = (Klass.SETTING, Klass.CHECK, Klass.MOVE, Klass.QUESTION)
FACT_WORDS: dict[type[f.Fact], str] = {
    f.PassCut: "pass {pass_} is cut",
    f.CheckConfirmed: "{check} confirmed",
    f.StoodBy: "standing by",
    f.CarriedOn: "carrying on",
    f.SteppedBack: "back to pass {pass_}",
    f.Jumped: "to pass {pass_}",
    f.Noted: "problem marked",
    f.EndedEarly: "the session is ended",
    f.Asked: "read back",
    f.MoveAsked: "sent off",
    f.BoardChosen: "setup {setup} is next",
    f.SetupReopened: "setup {setup} is to be cut again",
    f.BoardSpoilt: "board spoilt",
    f.JobExtended: "one more board",
    f.WentWrong: "{mishap}",
    f.KerfMisplaced: "pass {pass_} lies in the wrong place",
    f.DepthSet: "cut to another depth from now on",
    f.CameBack: "back from a break",
    f.OldBladeBack: "the old blade is back on",
}


OPENS: set[type[f.Fact]] = {
    f.CheckOpened,
    f.SettingCalled,
    f.StoodBy,
    f.Asked,
    f.Dropped,
    f.Finished,
    f.EndedEarly,
    f.MoveProposed,
    f.MoveAsked,
}
"""Facts after which something else is open."""
TURNS_BACK: set[type[f.Fact]] = {
    f.SteppedBack,
    f.Jumped,
    f.StoodBy,
    f.Resumed,
    f.SetupReopened,
    f.BoardSpoilt,
    f.WentWrong,
    f.DepthSet,
    f.CameBack,
}
"""Facts after which "pass 3 is cut" or "clamps confirmed" may no longer be true."""


@dataclass(frozen=True, slots=True)
class LogEntry:
    """A line of the log: what happened, never what to do, because the line stays when the state changes.

    times: how often it came in a row. n: its own number in this log, even when it comes again; 0 outside a log. utc:
    when it came, the last time; "" if not known.
    """

    klass: Klass | Aside
    text: str
    times: int = 1
    n: int = 0
    utc: str = ""

    @property
    def counted_text(self) -> str:
        return f"{self.text} ({self.times} times)" if self.times > 1 else self.text

    @property
    def mark(self) -> str:
        return MARKS.get(self.klass, "--")

    @property
    def clock(self) -> str:
        """Hours and minutes here: "09:05"; "" if not known."""
        return clock_of(self.utc)


def clock_of(utc: str) -> str:
    """Hours and minutes here at this moment (ISO 8601); "" for ""."""
    return datetime.fromisoformat(utc).astimezone().strftime("%H:%M") if utc else ""


class GivenBy(StrEnum):
    """How an answer was given: the field of `Sight` that shows it."""

    VOICE = "heard"
    FOOT_OR_KEY = "hands"


@dataclass(frozen=True, slots=True)
class LastInput:
    """The last thing heard, or done by foot or key.

    given: as it came. made: what came of it. refused: it did not count.
    """

    given: str = ""
    made: str = ""
    refused: bool = False


@dataclass(frozen=True, slots=True)
class Sight:
    """What there is to see at one moment.

    left_s: seconds left, None if not known. faults: (device, text) for each part lost now. note: a list to show over
    the page, "" for none. alert: a line that came while the list was there, and that the list must not hide. ready_at:
    when the open check can be confirmed, by this process's monotonic clock, 0 for at once. setting, clamp, asking,
    will_move, closing: the latest announcements of the setting, what to clamp, what is asked, what a driven carriage
    will do and what to do at the end, each shown as long as the state asks for it. opening: what the session began
    with, to be read before the first cut. times: where the time went, while the session stands by or is over; else
    None, since a clock beside a blade hurries. ended_utc: when it was over.
    """

    view: View | None = None
    words: Words | None = None
    setting: str = ""
    clamp: str = ""
    asking: str = ""
    will_move: str = ""
    closing: str = ""
    opening: tuple[LogEntry, ...] = ()
    log: tuple[LogEntry, ...] = ()
    heard: LastInput = LastInput()
    hands: LastInput = LastInput()
    faults: tuple[tuple[DeviceName, str], ...] = ()
    speaking: bool = False
    left_s: float | None = None
    note: str = ""
    alert: str = ""
    ready_at: float = 0.0
    times: Times | None = None
    ended_utc: str = ""

    @property
    def laid_over(self) -> str:
        """The list, with the alert on top, where a low terminal cuts nothing off."""
        return f"{self.alert}\n{self.note}" if self.note and self.alert else self.note

    @property
    def wait_s(self) -> int:
        """Whole seconds until the open check can be confirmed, 0 where it can be."""
        return max(0, math.ceil(self.ready_at - time.monotonic())) if self.ready_at else 0


class Gathering:
    """Takes what the runner hands over and updates `sight`. Not for several threads at once."""

    def __init__(self) -> None:
        self.sight = Sight()
        self.pace = Pace()
        self._sounding: set[str] = set()
        self._awaited: GivenBy | None = None
        self._looking: GivenBy | None = None
        self._warned = False
        self._logged = 0
        self._utc = ""
        self._waits_for_view = False

    @property
    def whole(self) -> bool:
        """Whether the sight is of one moment.

        Within a turn that opens something, its words are here before its snapshot. Drawn then, they would be put to
        what was open before.
        """
        return not self._waits_for_view

    def show(self, view: View, line: str | None, words: Words, klass: Klass = Klass.LINE) -> None:
        """As `runner.contracts.Screen.show`."""
        if self.sight.view is None or view.generation != self.sight.view.generation:
            self._end_refusals()
            self._waits_for_view = False
        ready_at = time.monotonic() + view.wait_s if view.wait_s else 0.0
        passes = view.passes_in_all - view.cut_in_all
        left_s = self.pace.left_s(passes, view.setups_left) if view.setup and passes > 0 else None
        self._change(view=view, words=words, left_s=left_s, ready_at=ready_at)
        if not self._warned:
            self._warned = True
            warnings = tuple(LogEntry(Aside.WARNING, warning) for warning in words.job.warnings)
            self._log(*warnings, first=True)
            self._change(opening=(*warnings, *self.sight.opening))
        if line:
            self._log(LogEntry(klass, line))
            self._explain(line, klass)

    def said(self, text: str, klass: Klass, record: str) -> None:
        """As `runner.contracts.Screen.said`. The first line of a setting is its figures, which the view has anyway."""
        if klass == Klass.SETTING:
            self._change(setting=text.partition("\n")[2] or text)
        elif klass == Klass.CLAMP:
            self._change(clamp=text)
        elif klass == Klass.MOVE:
            self._change(will_move=self._without_faults(_with_what_came_before(self.sight.will_move, text)))
        elif klass in ASKING:
            self._change(asking=_with_what_came_before(self.sight.asking, text))
        elif klass == Klass.END:
            self._change(closing=_with_what_came_before(self.sight.closing, text))
        elif klass == Klass.CAUTION:
            self._change(opening=(*self.sight.opening, LogEntry(klass, text)))
        if record:
            self._log(LogEntry(klass, record))
        self._explain(record, klass)

    def note(self, text: str) -> None:
        """A list covers the page until the next answer or `end_note`; a line goes to the log.

        A line that warns ("!! ") is also shown above a list that covers the log.
        """
        if "\n" in text:
            self._change(note=text, alert="")
        elif text.startswith("!! "):
            self._log(LogEntry(Klass.NOTICE, text.removeprefix("!! ")))
            self._change(alert=text)
        else:
            self._log(LogEntry(Aside.NOTE, text.removeprefix("-- ")))

    def end_note(self) -> None:
        """The list has been there long enough."""
        self._change(note="")

    def turn(self, event: Event, records: Sequence[f.Record]) -> None:
        """As `runner.contracts.Watcher.turn`."""
        self.pace.take(records)
        self._awaited = None
        self._utc = event.utc
        kinds = {type(record.fact) for record in records}
        self._waits_for_view = self._waits_for_view or bool(kinds & OPENS)
        if kinds & (OPENS | {f.CarriedOn}):
            over = kinds & {f.Finished, f.EndedEarly}
            shown = over or f.StoodBy in kinds
            self._change(times=self.pace.times() if shown else None, ended_utc=event.utc if over else "")
        if kinds & TURNS_BACK:
            self._change(heard=LastInput(), hands=LastInput())
        # The caution stays until a check is confirmed, the plan's warnings until a pass is cut, what to clamp until a
        # setting is called.
        if f.SettingCalled in kinds:
            self._change(clamp="")
        if f.PassCut in kinds:
            self._change(opening=())
        elif f.CheckConfirmed in kinds:
            self._change(opening=tuple(entry for entry in self.sight.opening if entry.klass != Klass.CAUTION))
        match event:
            case Heard() | NotHeard() | Gesture():
                self._take_input(event, records)
            case SpeechStarted(_, _, id):
                self._sound(id, True)
            case SpeechEnded(_, _, id, _):
                self._sound(id, False)
            case DeviceChanged(_, _, device, state, text):
                self._fault(device, text if state == DeviceState.LOST else "")
            case Looked():
                self._awaited, self._looking = self._looking, None
                self._take_result(records)
        self._take_drive(records)

    def _take_drive(self, records: Sequence[f.Record]) -> None:
        """A lost carriage must not stand anywhere for one more page, and not every turn brings a new snapshot."""
        for fact in (record.fact for record in records):
            match fact:
                case f.CarriageLost(text=text):
                    self._fault(DeviceName.CARRIAGE, text)
                    if self.sight.view is not None:
                        self._change(view=replace(self.sight.view, stands=None, reported=None))
                case f.MoveAsked():
                    self._change(will_move="", note="", alert="")  # no list covers what moves
                case f.CarriageHomed():
                    self._fault(DeviceName.CARRIAGE, "")
                case f.NotSent() if self.sight.hands.made == FACT_WORDS[f.MoveAsked]:
                    self._change(hands=replace(self.sight.hands, made="nothing moved"))

    def _fault(self, device: DeviceName, text: str) -> None:
        """text: what is lost; "" if it works again."""
        others = tuple(fault for fault in self.sight.faults if fault[0] != device)
        gone = [fault[1] for fault in self.sight.faults if fault[0] == device]
        # "Voice is off" in the log would contradict the voice that is back.
        log = tuple(entry for entry in self.sight.log if entry.text not in gone)
        self._change(faults=(*others, (device, text)) if text else others, log=log)

    def _without_faults(self, text: str) -> str:
        """What is lost has a place of its own."""
        for _, fault in self.sight.faults:
            text = text.removeprefix(fault).lstrip()
        return text

    def _take_input(self, event: Heard | NotHeard | Gesture, records: Sequence[f.Record]) -> None:
        by_voice = isinstance(event, NotHeard) or (isinstance(event, Heard) and event.source == By.VOICE)
        given, otherwise = _given(event)
        made = _result_of(records)
        which = GivenBy.VOICE if by_voice else GivenBy.FOOT_OR_KEY
        self._looking = which if any(isinstance(record.fact, f.Looking) for record in records) else None
        self._change(note="", **{which: LastInput(given, made or otherwise)})
        self._awaited = None if made else which

    def _take_result(self, records: Sequence[f.Record]) -> None:
        """What came of an answer that first had to wait for a look at the sled."""
        made = _result_of(records)
        if made and self._awaited:
            self._change(**{self._awaited: replace(getattr(self.sight, self._awaited), made=made)})
            self._awaited = None

    def _explain(self, text: str, klass: Klass) -> None:
        """The first words shown or said in an answer's turn explain the result, unless a fact does."""
        refused = klass == Klass.REFUSED
        if self._awaited == GivenBy.VOICE:
            self._change(heard=replace(self.sight.heard, made=text, refused=refused))
        elif self._awaited == GivenBy.FOOT_OR_KEY:
            self._change(hands=replace(self.sight.hands, made=text, refused=refused))
        self._awaited = None

    def _end_refusals(self) -> None:
        """Something else is open now: "did not count" would seem to be about that."""
        sight = self.sight
        self._change(
            log=tuple(entry for entry in sight.log if entry.klass != Klass.REFUSED),
            heard=LastInput() if sight.heard.refused else sight.heard,
            hands=LastInput() if sight.hands.refused else sight.hands,
        )

    def _sound(self, id: str, begins: bool) -> None:
        (self._sounding.add if begins else self._sounding.discard)(id)
        self._change(speaking=bool(self._sounding))

    def _log(self, *entries: LogEntry, first: bool = False) -> None:
        """Equal entries in a row become one, with their number."""
        log = list(self.sight.log)
        for place, entry in enumerate(entries):
            last = log[-1] if log and not first else None
            if last is not None and (last.klass, last.text) == (entry.klass, entry.text):
                log[-1] = replace(last, times=last.times + 1, utc=self._utc)
                continue
            self._logged += 1
            log.insert(place if first else len(log), replace(entry, n=self._logged, utc=self._utc))
        self._change(log=tuple(log[-KEPT:]))

    def _change(self, **changes: object) -> None:
        self.sight = replace(self.sight, **changes)  # type: ignore[arg-type]


def _with_what_came_before(last: str, text: str) -> str:
    """A repeated announcement leaves out what came before it, which is still true."""
    return last if last.endswith(text) else text


def _result_of(records: Sequence[f.Record]) -> str:
    """The first fact that says what came of an answer; "" if none does."""
    for fact in (record.fact for record in records):
        if isinstance(fact, f.Asked) and (asked := _asked(fact)):
            return asked
        if isinstance(fact, f.JobExtended) and not isinstance(fact.why, JobChange):
            return "what isn't begun is laid out again"
        if type(fact) in FACT_WORDS:
            figures = {name: getattr(fact, name, "") for name in ("pass_", "check", "setup")}
            return FACT_WORDS[type(fact)].format(**figures, mishap=_mishap_words(fact))
    return ""


def _asked(fact: f.Asked) -> str:
    """Which question about a mishap follows; "" for any other."""
    if fact.question == QuestionName.SAFE:
        return f"{_mishap_words(fact)}?"
    if fact.question == QuestionName.WHAT:
        return "what went wrong?"
    if fact.question == QuestionName.FIGURE and fact.figure:
        return f"figure {fact.figure}?"
    return "the next question" if fact.mishap else ""


def _mishap_words(fact: f.Fact) -> str:
    """What went wrong, by this fact; "" if it is about anything else."""
    return fact.mishap.means if isinstance(fact, f.WentWrong | f.Asked) and fact.mishap else ""


def _given(event: Heard | NotHeard | Gesture) -> tuple[str, str]:
    """How it came, and its meaning if nothing else says what came of it."""
    if isinstance(event, Gesture):
        return f"{event.source} {Press(event.gesture).shown}", ""
    if isinstance(event, NotHeard):
        return "something", event.reason
    meaning = EXPLAINED.get(event.intent, "").partition(" (")[0].format(argument=event.argument, twelve="", twice="")
    if event.source != By.VOICE:
        return f"{event.source} {event.intent}", meaning
    return f'"{event.phrase}"', meaning
