"""What the journal contains. A fact is journalled unless its class says `passing = True`.

Passing facts carry what is open (a question, a held notice) through `apply` in a running session. They are never
written, so a resumed session has no open questions. `setup` and `pass_` count from 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import ClassVar

from assistant.joinery.model import Pattern
from assistant.joinery.walls import assumed_kerf
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job, Setup
from assistant.session.kinds import By, DeviceName, Doubt, JobChange, MoveKind, QuestionName, Then


@dataclass(frozen=True, slots=True)
class Move:
    """What a driven carriage is to do, and what follows.

    to: mm; None on the way to the home switch. setup, pass_: of the setting, pass 0 for zero. step: on from one pass to
    the next in the same setup, upwards and no farther than `driven.FARTHEST_STEP`; the saw may run. held: while the
    pedal is held down.
    """

    what: MoveKind
    then: Then
    setup: int
    pass_: int = 0
    to: Fraction | None = None
    step: bool = False
    held: bool = True


@dataclass(frozen=True, slots=True)
class Fact:
    kind: ClassVar[str] = ""
    version: ClassVar[int] = 1
    passing: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class Record:
    """A fact with its number and time. n: from 1 within the session. at: session time, s. utc: ISO 8601."""

    n: int
    at: float
    utc: str
    fact: Fact


@dataclass(frozen=True, slots=True)
class Started(Fact):
    """rehearsed: played from a script or a recording; no wood is cut."""

    kind: ClassVar[str] = "started"
    version: ClassVar[int] = 4
    job: Job
    # The default keeps older journals readable; without it in repr, their records print as they did.
    rehearsed: bool = field(default=False, repr=False)


@dataclass(frozen=True, slots=True)
class TestJointSkipped(Fact):
    """No joint of this blade, wood and clearance was known, and the operator chose to cut the boards without one."""

    kind: ClassVar[str] = "test_joint_skipped"


@dataclass(frozen=True, slots=True)
class SetupStarted(Fact):
    kind: ClassVar[str] = "setup_started"
    setup: int


@dataclass(frozen=True, slots=True)
class CheckOpened(Fact):
    kind: ClassVar[str] = "check_opened"
    setup: int
    check: str


@dataclass(frozen=True, slots=True)
class CheckConfirmed(Fact):
    kind: ClassVar[str] = "check_confirmed"
    setup: int
    check: str
    by: By


@dataclass(frozen=True, slots=True)
class SettingCalled(Fact):
    """setting: mm as an exact fraction in text ("1235/100"), as rounded for the carriage."""

    kind: ClassVar[str] = "setting_called"
    setup: int
    pass_: int
    setting: str


@dataclass(frozen=True, slots=True)
class PassCut(Fact):
    kind: ClassVar[str] = "pass_cut"
    setup: int
    pass_: int
    by: By


@dataclass(frozen=True, slots=True)
class StoodBy(Fact):
    kind: ClassVar[str] = "stood_by"
    by: By


@dataclass(frozen=True, slots=True)
class CarriedOn(Fact):
    kind: ClassVar[str] = "carried_on"
    by: By


@dataclass(frozen=True, slots=True)
class SteppedBack(Fact):
    """This pass counts as not cut from here on."""

    kind: ClassVar[str] = "stepped_back"
    setup: int
    pass_: int


@dataclass(frozen=True, slots=True)
class Jumped(Fact):
    """This pass counts as not cut from here on, and is called next."""

    kind: ClassVar[str] = "jumped"
    setup: int
    pass_: int


@dataclass(frozen=True, slots=True)
class Noted(Fact):
    """The operator marked a problem at this place. text can be empty."""

    kind: ClassVar[str] = "noted"
    setup: int
    pass_: int
    text: str


@dataclass(frozen=True, slots=True)
class Resumed(Fact):
    """pass_: the pass in flight, which counts as not cut and is called again; 0 if none was called in this setup."""

    kind: ClassVar[str] = "resumed"
    setup: int
    pass_: int


@dataclass(frozen=True, slots=True)
class Reregistered(Fact):
    """The board was clamped again. setting: where a cut was tried, as in `SettingCalled`; the carriage stands there.

    "" if no cut was tried.
    """

    kind: ClassVar[str] = "reregistered"
    version: ClassVar[int] = 2
    setup: int
    # The default keeps older journals readable; without it in repr, their records print as they did.
    setting: str = field(default="", repr=False)


@dataclass(frozen=True, slots=True)
class Zeroed(Fact):
    """The carriage was zeroed again after an interruption, and stands at zero."""

    kind: ClassVar[str] = "zeroed"
    setup: int


@dataclass(frozen=True, slots=True)
class StageReady(Fact):
    kind: ClassVar[str] = "stage_ready"
    stage: int


@dataclass(frozen=True, slots=True)
class SetupDone(Fact):
    """Every pass is cut, and every check at the setup's end is confirmed."""

    kind: ClassVar[str] = "setup_done"
    setup: int


@dataclass(frozen=True, slots=True)
class Finished(Fact):
    kind: ClassVar[str] = "finished"


@dataclass(frozen=True, slots=True)
class EndedEarly(Fact):
    kind: ClassVar[str] = "ended_early"
    setup: int
    pass_: int


@dataclass(frozen=True, slots=True)
class JobExtended(Fact):
    """The job has grown. patterns, setups: what joins it, numbered on. order: the whole new one. why: its reason.

    Setups that new ones replace are left out of the order. why: a mishap only where the kerf changes by it.
    kerf: from now on, mm, as in `SettingCalled`; "" where it stays.
    """

    kind: ClassVar[str] = "job_extended"
    version: ClassVar[int] = 2
    patterns: tuple[Pattern, ...]
    setups: tuple[Setup, ...]
    order: tuple[int, ...]
    why: JobChange | Mishap
    # The default keeps older journals readable; without it in repr, their records print as they did.
    kerf: str = field(default="", repr=False)

    def extend(self, job: Job) -> Job:
        """The job as it is from now on."""
        setups, patterns = (*job.setups, *self.setups), (*job.patterns, *self.patterns)
        grown = replace(job, setups=setups, patterns=patterns, order=self.order)
        if not self.kerf:
            return grown
        kerf = Fraction(self.kerf)
        slotted = job.slotted
        assumed = kerf - job.clearance if slotted else assumed_kerf(kerf, job.clearance)
        blade_since = len(job.setups) if self.why == Mishap.BLADE else job.blade_since
        return replace(grown, kerf=kerf, assumed_kerf=assumed, blade_since=blade_since, kerf_since=len(job.patterns))


@dataclass(frozen=True, slots=True)
class BoardChosen(Fact):
    """This setup follows, whatever the order says, once the board in the clamps is out of them."""

    kind: ClassVar[str] = "board_chosen"
    setup: int


@dataclass(frozen=True, slots=True)
class SetupReopened(Fact):
    """These passes are to be cut again. socket: only this one; 0: all of it.

    cut_off: the length of the end that goes, mm, as in `SettingCalled`; "" for none. deeper: the kerfs are there, but
    not deep enough.
    """

    kind: ClassVar[str] = "setup_reopened"
    version: ClassVar[int] = 2
    setup: int
    passes: tuple[int, ...]
    socket: int
    cut_off: str
    # Without it in repr, older journals' records print as they did.
    deeper: bool = field(default=False, repr=False)


@dataclass(frozen=True, slots=True)
class BoardSpoilt(Fact):
    """A board is spoilt. setups: all that were to be cut into it."""

    kind: ClassVar[str] = "board_spoilt"
    setups: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class WentWrong(Fact):
    """The operator said what went wrong, and that saw and work are safe. pass_: 0 for none."""

    kind: ClassVar[str] = "went_wrong"
    setup: int
    pass_: int
    mishap: Mishap


@dataclass(frozen=True, slots=True)
class KerfMisplaced(Fact):
    """A kerf that was meant for this pass lies elsewhere, and the board is kept all the same.

    off_by: farther from the edge at the stop than it should be, mm, as in `SettingCalled`; negative for nearer.
    """

    kind: ClassVar[str] = "kerf_misplaced"
    setup: int
    pass_: int
    off_by: str


@dataclass(frozen=True, slots=True)
class DepthSet(Fact):
    """From now on these patterns are cut to another depth. patterns: their places in the job. depth: mm, as above."""

    kind: ClassVar[str] = "depth_set"
    patterns: tuple[int, ...]
    depth: str

    def change(self, job: Job) -> Job:
        """The job as it is from now on."""
        depth = Fraction(self.depth)
        patterns = enumerate(job.patterns)
        return replace(job, patterns=tuple(replace(p, depth=depth) if n in self.patterns else p for n, p in patterns))


@dataclass(frozen=True, slots=True)
class CameBack(Fact):
    """After a break. lowered: the blade was lowered, or its height changed. touched: anything else was, as the work."""

    kind: ClassVar[str] = "came_back"
    setup: int
    lowered: bool
    touched: bool


@dataclass(frozen=True, slots=True)
class CutsSure(Fact):
    """Of every cut of this setup it is known whether it is good; what isn't was taken back by a fact of its own."""

    kind: ClassVar[str] = "cuts_sure"
    setup: int


@dataclass(frozen=True, slots=True)
class OldBladeBack(Fact):
    """The blade that was on before another one was reported is back on the saw, so that its kerf still counts."""

    kind: ClassVar[str] = "old_blade_back"
    setup: int


@dataclass(frozen=True, slots=True)
class Reopened(Fact):
    """A finished session, or one that was ended early, is open again."""

    kind: ClassVar[str] = "reopened"


@dataclass(frozen=True, slots=True)
class MoveAsked(Fact):
    """A driven carriage was sent off. to: as in `SettingCalled`, "" on the way home.

    pass_: 0 for zero and on the way home. held: it moves only while the pedal is held down.
    """

    kind: ClassVar[str] = "move_asked"
    setup: int
    pass_: int
    what: MoveKind
    to: str
    held: bool


@dataclass(frozen=True, slots=True)
class Moved(Fact):
    """A driven carriage stands. asked, reported: as in `SettingCalled`, the second as the controller counts."""

    kind: ClassVar[str] = "moved"
    setup: int
    pass_: int
    asked: str
    reported: str


@dataclass(frozen=True, slots=True)
class CarriageHalted(Fact):
    """A driven carriage was halted on its way. reported: where, as in `Moved`."""

    kind: ClassVar[str] = "halted"
    setup: int
    reported: str


@dataclass(frozen=True, slots=True)
class CarriageLost(Fact):
    """From here on nobody knows where a driven carriage stands."""

    kind: ClassVar[str] = "carriage_lost"
    setup: int
    why: Doubt
    text: str


@dataclass(frozen=True, slots=True)
class CarriageHomed(Fact):
    """A driven carriage found its zero. off_by: how far above its true place it had said that it stood, as in `Moved`.

    "" if its place had not been known. beyond: it was farther off, and no more could be counted.
    """

    kind: ClassVar[str] = "homed"
    setup: int
    off_by: str
    beyond: bool = False


# Passing facts: applied, never written.


@dataclass(frozen=True, slots=True)
class MoveProposed(Fact):
    """A driven carriage waits for the pedal. halted: on its way."""

    kind: ClassVar[str] = "move_proposed"
    passing: ClassVar[bool] = True
    move: Move
    halted: bool


@dataclass(frozen=True, slots=True)
class MoveBegun(Fact):
    """What the `MoveAsked` that follows is for."""

    kind: ClassVar[str] = "move_begun"
    passing: ClassVar[bool] = True
    move: Move


@dataclass(frozen=True, slots=True)
class SledAt(Fact):
    """The sled was drawn right back, or left that place."""

    kind: ClassVar[str] = "sled_at"
    passing: ClassVar[bool] = True
    clear: bool


@dataclass(frozen=True, slots=True)
class Looking(Fact):
    """An answer waits for a fresh look at the sled. asked_at: when it was complete, session time, s. by: its source."""

    kind: ClassVar[str] = "looking"
    passing: ClassVar[bool] = True
    id: str
    asked_at: float
    by: By


@dataclass(frozen=True, slots=True)
class LookedAt(Fact):
    """The fresh look has come."""

    kind: ClassVar[str] = "looked_at"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class NotSent(Fact):
    """A driven carriage was not sent off after all, and stands where it stood."""

    kind: ClassVar[str] = "not_sent"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class Asked(Fact):
    """A read-back or question is open."""

    kind: ClassVar[str] = "asked"
    passing: ClassVar[bool] = True
    question: QuestionName
    setup: int
    pass_: int
    mishap: Mishap | None = None
    figure: int = 0


@dataclass(frozen=True, slots=True)
class Dropped(Fact):
    """The open question was answered, refused or timed out."""

    kind: ClassVar[str] = "dropped"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class StandsThere(Fact):
    """The operator has read that the carriage stands where it was called to, so the next move starts there.

    Passing: after another interruption it must be read again.
    """

    kind: ClassVar[str] = "stands_there"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class StillClamped(Fact):
    """The operator has said that the work lies in the clamps just as it did.

    Passing: after another interruption it must be looked at again.
    """

    kind: ClassVar[str] = "still_clamped"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class NoticeHeld(Fact):
    """An unsolicited message, to be spoken at the next gesture or phrase. Only the newest for each device is kept."""

    kind: ClassVar[str] = "notice_held"
    passing: ClassVar[bool] = True
    device: DeviceName
    text: str


@dataclass(frozen=True, slots=True)
class NoticesSpoken(Fact):
    kind: ClassVar[str] = "notices_spoken"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class HearingOut(Fact):
    """In this run, an answer counts only once its question has been spoken or shown."""

    kind: ClassVar[str] = "hearing_out"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class OpeningOut(Fact):
    """The voice and the screens have been given what was opened."""

    kind: ClassVar[str] = "opening_out"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class Carried(Fact):
    """The announcement with this id carries what is open."""

    kind: ClassVar[str] = "carried"
    passing: ClassVar[bool] = True
    id: str


@dataclass(frozen=True, slots=True)
class Delivered(Fact):
    """From this time on (s) what is open counts as announced."""

    kind: ClassVar[str] = "delivered"
    passing: ClassVar[bool] = True
    from_s: float


@dataclass(frozen=True, slots=True)
class Unspoken(Fact):
    """The voice could not say what is open, so a screen must show it."""

    kind: ClassVar[str] = "unspoken"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class OnScreen(Fact):
    """A screen has shown what is open."""

    kind: ClassVar[str] = "on_screen"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class Reminded(Fact):
    """The operator was reminded that an answer came before its question had been announced."""

    kind: ClassVar[str] = "reminded"
    passing: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class VoiceSet(Fact):
    """How many steps louder and quicker than at the start; negative: quieter, slower."""

    kind: ClassVar[str] = "voice_set"
    passing: ClassVar[bool] = True
    # Not written: the next run begins with the shop file's voice (`voice.to_keep` says how to keep this one).
    louder: int
    quicker: int


@dataclass(frozen=True, slots=True)
class Announced(Fact):
    """count: announcements made in this turn. It keeps their ids unique within a run."""

    kind: ClassVar[str] = "announced"
    passing: ClassVar[bool] = True
    count: int
