"""The session's state: a cursor, and for each setup a mask of its cuts and a status. It doesn't grow with time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, TypeVar

from assistant.joinery.model import Pattern
from assistant.plans.intents import Mode
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job, Setup
from assistant.session.facts import Looking, Move
from assistant.session.kinds import DeviceName, QuestionName, SetupStatus

Change = dict[str, Any]
"""New values of a state's fields, by name."""

NEW, CHECKS, CUTTING, STANDING_BY, RESUMING = Mode.NEW, Mode.CHECKS, Mode.CUTTING, Mode.STANDING_BY, Mode.RESUMING
MOVE_ASKED, HOMING, MOVING, HALTED = Mode.MOVE_ASKED, Mode.HOMING, Mode.MOVING, Mode.HALTED
FINISHED, ENDED_EARLY = Mode.FINISHED, Mode.ENDED_EARLY
QUESTION = Mode.QUESTION


@dataclass(frozen=True, slots=True)
class Confirmation:
    """Where the session was when a check was last confirmed.

    passes: cut since then, counted up to the check's `every`. Taking a pass back doesn't lower the count.
    """

    setup: int
    stage: int
    part: str
    depth: Fraction
    passes: int = 0


@dataclass(frozen=True, slots=True)
class Question:
    """An open read-back or question. mishap: what it is about, None for any other.

    figure: the number so far, in the steps of `concerned.length_of` or `kerf_of`; beyond a reference edge negative. 0:
    none yet; of a kerf, the one that it is now.
    """

    name: QuestionName
    setup: int
    pass_: int
    mishap: Mishap | None = None
    figure: int = 0


@dataclass(frozen=True, slots=True)
class WrongCut:
    """A kerf in the wood where none should be. It was meant for this pass of this setup.

    off_by: how far it lies off along the pattern's x, mm; None if nobody knows.
    """

    setup: int
    pass_: int
    off_by: Fraction | None


# No slots here or below: `changed` copies these through their __dict__.
@dataclass(frozen=True)
class Opening:
    """What waits for an answer now, and how far its announcement has got. Times are session times, s.

    generation: of the grammar in force; every opening has a new one. kind: the mode that it opened, or QUESTION.
    after: the kind of the opening that went out before it. Both are None if there was none. question: the open
    question, if kind is QUESTION. out_at: when the voice and the screens had been given it, None until then.
    announcement: the id of the announcement that carries it, "" for none. announced_at: since when it counts as
    announced, None while it doesn't. unspoken: the voice could not say it. displayed_at: when a screen had shown it,
    None until then. reminded: an answer came too early, and the operator has been reminded to wait.
    """

    generation: int = 0
    kind: Mode | None = None
    after: Mode | None = None
    question: Question | None = None
    out_at: float | None = None
    announcement: str = ""
    announced_at: float | None = None
    unspoken: bool = False
    displayed_at: float | None = None
    reminded: bool = False


@dataclass(frozen=True)
class Driving:
    """What this run knows of a driven carriage. None of it outlives the run: every resume begins by homing.

    known: it was homed, and nothing has cast doubt on its place since. at: the setting at which it has arrived and
    stands, mm; None elsewhere. left: the one that it was sent off from. reported: where the controller last said that
    it stands, mm. move, id: what it is to do, or does; id is "" while it waits. still: the blade stands still, as far
    as has been asked since the last call. placed: it has gone to this setup's first place, so the board may be named.
    visited: the home switch was visited after this setup's last pass. off_by, beyond: what was last found there, as in
    `events.Homed`. unproved: bit p - 1 is set if pass p of this setup was cut since the place was last proved.
    after_cut: nothing has happened since a pass was recorded. clear: the sled is drawn right back, None if not known.
    gone: it was seen to leave that place since the call. looking: the answer that waits for a fresh look at it.
    """

    known: bool = False
    at: Fraction | None = None
    left: Fraction | None = None
    reported: Fraction | None = None
    move: Move | None = None
    id: str = ""
    still: bool = False
    placed: bool = False
    visited: bool = False
    off_by: Fraction | None = None
    beyond: bool = False
    unproved: int = 0
    after_cut: bool = False
    clear: bool | None = None
    gone: bool = False
    looking: Looking | None = None


@dataclass(frozen=True, slots=True)
class CutOff:
    """An end that must lose length before it is clamped. end: its board, first copy and end.

    off: how much, mm. joint: its old joint goes with it; otherwise only the board opposite has lost as much. both: the
    end opposite is cut off with it, and the fact that says so is still to come.
    """

    end: tuple[str, int, int]
    off: Fraction
    joint: bool
    both: bool


def end_key(setup: Setup) -> tuple[str, int, int]:
    """The end of a board that is cut in this setup, whatever takes the setup's place later."""
    return setup.board, setup.first_copy, setup.end


@dataclass(frozen=True)
class State:
    """n: records applied. setup: from 1, 0 before the first. cursor: the pass last called in this setup, 0 for none.

    Of the job: cuts: a mask for each setup: bit p - 1 is set when its pass p is recorded as cut. shallow: likewise of
    the kerfs that are there but not deep enough, so that they don't count as cut. wrong: the cuts that lie, or may lie,
    where none should be, whether or not they were made again, each once. status: of each setup. cut_off: the ends that
    lose length before a setting is called for them. previous: the setup before this one, 0 for none. chosen: the setup
    that follows once the board in the clamps is out of them, whatever the order says; 0 for none. named: the setups
    whose board was ever named to be clamped. marked: (setup, pass) of every place where a problem was marked, each
    once, in order. trouble: the mishap reported while standing by, whose card is shown until the session goes on.
    unsettled: the mishap of which more must be asked, and was not in this run; another blade stays so until its kerf is
    given or the old one is back. on_break: the operator went away, and is asked what was touched meanwhile. steps:
    (setup, mm) of the ends in which this blade goes so much deeper than another one has cut.

    Of the checks: redo: bit i is set when check i must be asked again whatever its own rule says. touched: a check of
    this setup has been answered, so the previous setup is closed. to_register: this board has cuts in it and was
    clamped again, and nobody has tried yet whether it lies as it lay. moved: the mishap that may have moved the work or
    the carriage; only trying it against the still blade settles that, whatever anybody says of the clamps. doubted:
    (setup, mishap) where cuts may have been made after the mishap, and nobody has said which; a board keeps it while it
    waits for its turn. is_zeroed: since it may have moved, the carriage has been zeroed, so it is the work that is put
    right. saw_runs: it may; a pass was called since somebody last confirmed that it is off. saw_off_at: when the
    operator was first asked, after the last pass of this setup, whether the saw is off (s); None if not in this run.
    answered: checks confirmed in a row, without a setting called or a stop between. since_height: a mask for each setup
    of the passes that were cut since the blade's height was last confirmed.

    Of the carriage: carriage_at: the setting last called or tried, mm, or 0 if it was zeroed since. came_from:
    the last different setting before it, or the same setting if the operator has read it there. play_open: the carriage
    came down to this setting, and nobody knows whether the screw's play was taken up since. unread: it was touched, and
    nobody has read since whether it stands where it stood. driving: of a driven one.

    Of this run: setups_this_run: how many were begun, with the one that was gone on with; the third and later ones are
    announced in short. turns: for how many of them the board had to be turned over. opening: what waits for an answer.
    notices: (device, text) held back while a pass may be under way. said: announcements made. rehearsed: no wood is
    cut. hear_out: an answer counts only once its question has been spoken or shown; otherwise once the question went
    out. louder, quicker: steps of the voice, negative for softer and slower.
    """

    n: int = 0
    at: float = 0.0
    job: Job | None = None
    mode: Mode = NEW
    setup: int = 0
    cursor: int = 0
    cuts: tuple[int, ...] = ()
    status: tuple[SetupStatus, ...] = ()
    previous: int = 0
    chosen: int = 0
    named: frozenset[int] = frozenset()
    carriage_at: Fraction | None = None
    came_from: Fraction | None = None
    play_open: bool = False
    confirmed: tuple[Confirmation | None, ...] = ()
    redo: int = 0
    open_check: int | None = None
    touched: bool = False
    opening: Opening = Opening()
    notices: tuple[tuple[DeviceName, str], ...] = ()
    said: int = 0
    rehearsed: bool = False
    hear_out: bool = False
    louder: int = 0
    quicker: int = 0
    saw_off_at: float | None = None
    marked: tuple[tuple[int, int], ...] = ()
    setups_this_run: int = 0
    turns: int = 0
    saw_runs: bool = False
    to_register: bool = False
    moved: Mishap | None = None
    doubted: tuple[tuple[int, Mishap], ...] = ()
    is_zeroed: bool = False
    unsettled: Mishap | None = None
    steps: tuple[tuple[int, Fraction], ...] = ()
    trouble: Mishap | None = None
    on_break: bool = False
    unread: bool = False
    shallow: tuple[int, ...] = ()
    wrong: tuple[WrongCut, ...] = ()
    since_height: tuple[int, ...] = ()
    answered: int = 0
    cut_off: tuple[CutOff, ...] = ()
    driving: Driving = Driving()

    @property
    def generation(self) -> int:
        """The generation of the grammar in force."""
        return self.opening.generation

    @property
    def question(self) -> Question | None:
        """The open question."""
        return self.opening.question

    @property
    def the_job(self) -> Job:
        """The job. Only call it for a session that has started."""
        if self.job is None:
            raise ValueError("the session has not started")
        return self.job

    @property
    def the_setup(self) -> Setup:
        return self.the_job.setups[self.setup - 1]

    @property
    def pattern(self) -> Pattern:
        return self.the_job.pattern_of(self.setup)

    @property
    def doubt(self) -> Mishap | None:
        """The mishap after which cuts of this setup may have been made; None where all are known to be good."""
        return next((mishap for setup, mishap in self.doubted if setup == self.setup), None)

    @property
    def comes_off(self) -> CutOff | None:
        """What comes off the end of this setup before it is clamped."""
        return next((each for each in self.cut_off if each.end == end_key(self.the_setup)), None)

    @property
    def passes(self) -> int:
        """Passes in this setup."""
        return len(self.pattern.passes)

    @property
    def cut(self) -> int:
        """The mask of this setup, 0 before the first."""
        return self.cuts[self.setup - 1] if self.setup else 0

    @property
    def counted(self) -> tuple[int, ...]:
        """The setups that count, in the order of cutting: all but those of spoilt boards. None before the start."""
        order = self.job.order if self.job is not None else ()
        return tuple(n for n in order if self.status[n - 1] != SetupStatus.SPOILT)

    @property
    def place(self) -> int:
        """Which of the setups that count this one is, from 1; 0 if its board is spoilt."""
        return self.counted.index(self.setup) + 1 if self.setup in self.counted else 0

    @property
    def open_elsewhere(self) -> tuple[int, ...]:
        """The setups still to be cut beside the present one: after it in the order, then those before it."""
        place = self.the_job.order.index(self.setup) + 1 if self.setup in self.the_job.order else 0
        order = (*self.the_job.order[place:], *self.the_job.order[:place])
        return tuple(n for n in order if n != self.setup and self.is_open(n))

    def is_open(self, setup: int) -> bool:
        """Whether anything is still to be cut in this setup, and its board isn't spoilt."""
        return self.status[setup - 1] not in (SetupStatus.CUT, SetupStatus.SPOILT)

    @property
    def cut_in_all(self) -> int:
        return sum(self.cuts[n - 1].bit_count() for n in self.counted)

    @property
    def passes_in_all(self) -> int:
        return sum(len(self.the_job.pattern_of(n).passes) for n in self.counted)

    @property
    def left_in_all(self) -> int:
        return self.passes_in_all - self.cut_in_all

    @property
    def cut_here(self) -> int:
        return self.cut.bit_count()

    @property
    def leaves(self) -> bool:
        """Whether this board comes out of the clamps as it is, to go on with another setup."""
        return bool(self.chosen) and not (self.setup_complete and self.is_open(self.setup))

    @property
    def setup_complete(self) -> bool:
        return self.cut_here == self.passes

    @property
    def effective_mode(self) -> Mode:
        """What a gesture or phrase answers: QUESTION while one is open, else the mode."""
        return QUESTION if self.question else self.mode

    @property
    def quiet(self) -> bool:
        """Whether a pass may be under way. Nothing unsolicited is spoken then: a voice in mid-push startles."""
        return self.effective_mode == CUTTING

    def is_cut(self, pass_: int) -> bool:
        return bool(self.cut >> (pass_ - 1) & 1)

    def stands(self, pass_: int) -> bool:
        """Whether its kerf is there, deep enough or not."""
        return self.is_cut(pass_) or bool(self.shallow[self.setup - 1] >> (pass_ - 1) & 1)

    def next_pass(self) -> int:
        """The pass to call: the pass in flight, else the next uncut one above it, else the lowest uncut; 0 for none."""
        if self.cursor and not self.is_cut(self.cursor):
            return self.cursor
        uncut = ~self.cut & ((1 << self.passes) - 1)
        above = uncut >> self.cursor << self.cursor
        chosen = above or uncut
        return (chosen & -chosen).bit_length()


_Kept = TypeVar("_Kept", State, Opening, Driving)


def with_driving(state: State, **changes: Any) -> Change:
    """Changes of what is known of a driven carriage; nothing for one that is set by hand."""
    return {"driving": changed(state.driving, changes)} if state.the_job.carriage.drive else {}


def without_doubt(state: State, *setups: int) -> tuple[tuple[int, Mishap], ...]:
    """Where cuts are still in doubt, without these setups."""
    return tuple(each for each in state.doubted if each[0] not in setups)


def with_cuts(state: State, mask: int, setup: int = 0) -> tuple[int, ...]:
    """The masks of what is cut, with this one for a setup (0: the present one)."""
    return with_mask(state.cuts, setup or state.setup, mask)


def with_mask(masks: tuple[int, ...], setup: int, mask: int) -> tuple[int, ...]:
    """The masks of all setups, with this one for a setup."""
    return (*masks[: setup - 1], mask, *masks[setup:])


def with_status(state: State, status: SetupStatus, *setups: int) -> tuple[SetupStatus, ...]:
    """The status of all setups, with this one for some of them."""
    return tuple(status if n in setups else kept for n, kept in enumerate(state.status, start=1))


def changed(old: _Kept, changes: Mapping[str, Any]) -> _Kept:
    """As `dataclasses.replace` makes it, in an eighth of the time: resuming applies every record of a session."""
    if not changes.keys() <= old.__dict__.keys():
        raise TypeError(f"{type(old).__name__} has no {', '.join(changes.keys() - old.__dict__.keys())}")
    new = object.__new__(type(old))
    new.__dict__.update(old.__dict__)
    new.__dict__.update(changes)
    return new
