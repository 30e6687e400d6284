"""Mishaps at the saw, rehearsed: real speech through the real recogniser, a session, and a saw that cuts as it is set.

All that the operator says of a mishap is spoken by a synthetic voice and heard by the recogniser that a session uses,
under the grammar in force then; before and after it the pedal answers. The saw below knows where the work, the carriage
and the blade really are. Each rehearsal ends with every board that is kept measured on the bench, or with a board that
counts as spoilt, and with a journal that reads back to the same state.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from assistant.hearing.listener import FileListener
from assistant.joinery.model import Pass
from assistant.journal.playing import played
from assistant.journal.store import Journal
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job, VoiceSettings
from assistant.runner.clock import LiveClock
from assistant.session import facts as f
from assistant.session.events import Event, Heard
from assistant.session.intents import wanted
from assistant.session.state import State
from assistant.wording.phrases import phrases_for
from tests.hearing.voices import need, padded, spoken
from tests.sampling import every
from tests.session.driver import UTC, Driver
from tests.session.drives import Rig, driven_job
from tests.session.jobs import job, plan

VOICES = ("flite:rms", "flite:kal16")
"""Such as phrases may be tuned on (`tests.hearing.corpus.speakers`)."""
KERF = Fraction(318, 100)
CLEARANCE = Fraction(1, 10)
YES, NO, CARRY_ON = "marigold affirm that is right", "negative cancel that", "marigold carry on working"
SAY = {
    Mishap.SLIPPED: "the work has moved in its clamps",
    Mishap.BUMPED: "the carriage was bumped into",
    Mishap.MISPLACED: "a cut is in the wrong place",
    Mishap.SHALLOW: "these sockets are too shallow",
    Mishap.DEEP: "it is cutting far too deep",
    Mishap.MISSED: "a pass has been left out",
    Mishap.OVERSHOT: "it has gone past the setting",
    Mishap.JAMMED: "the timber has jammed on the blade",
    Mishap.TRIPPED: "the circuit breaker has tripped",
    Mishap.LOOSE: "loose bits are lying around",
    Mishap.DUST: "sawdust has got in the way",
    Mishap.CUPPED: "this timber is warped across its width",
    Mishap.CHIPPED: "a finger has broken off",
    Mishap.SWAPPED: "the two patterns were mixed up",
    Mishap.KERF: "the kerf was measured again",
    Mishap.BLADE: "another blade was put on",
    Mishap.BREAK: "it is time for a coffee",
}


@dataclass
class Cut:
    """The wood that one pass has really removed: from low to high off the reference edge, so deep. mm."""

    low: Fraction
    high: Fraction
    depth: Fraction


@dataclass
class Saw:
    """Where work, carriage and blade really are, and what has been cut of each end. mm.

    slipped: how far the work lies from where it should. bumped: how far the carriage stands from what it reads. height:
    how far the blade stands from what was confirmed. kerf: the blade's.
    """

    job: Job
    kerf: Fraction = KERF
    slipped: Fraction = Fraction(0)
    bumped: Fraction = Fraction(0)
    height: Fraction = Fraction(0)
    misread: Fraction = Fraction(0)
    ends: dict[tuple[str, int, int], list[Cut]] = field(default_factory=dict)
    thrown_away: list[tuple[str, int]] = field(default_factory=list)
    last: f.Fact | None = None

    def read(self, fact: f.Fact) -> None:
        match fact:
            case f.JobExtended():
                self.job = fact.extend(self.job)
            case f.DepthSet():
                self.job = fact.change(self.job)
            case f.PassCut(setup, pass_):
                self.cut(setup, self.job.pattern_of(setup).passes[pass_ - 1])
            case f.Reregistered():
                self.slipped = self.bumped = Fraction(0)
            case f.SetupStarted():
                self.slipped = Fraction(0)
            case f.CheckConfirmed(_, "zero"):
                self.bumped = Fraction(0)
            case f.CheckConfirmed(_, "blade height"):
                self.height = Fraction(0)
            case f.SetupReopened(setup, deeper=False):
                self.ends[self.end(setup)] = []
            case f.BoardSpoilt(setups):
                self.thrown_away += {self.end(setup)[:2] for setup in setups}
        self.last = fact

    def cut(self, setup: int, one: Pass) -> None:
        high = one.setting + self.slipped + self.bumped + self.misread
        depth = self.job.pattern_of(setup).depth + self.height
        self.ends.setdefault(self.end(setup), []).append(Cut(high - self.kerf, high, depth))
        self.misread = Fraction(0)

    def end(self, setup: int) -> tuple[str, int, int]:
        one = self.job.setups[setup - 1]
        return one.board, one.first_copy, one.end

    def kept(self) -> Iterator[tuple[int, list[Cut]]]:
        """Each end of a board that is kept: the last of its setups in the order, and its cuts."""
        for end, cuts in self.ends.items():
            if end[:2] not in self.thrown_away:
                yield next(n for n in reversed(self.job.order) if self.end(n) == end), cuts


class ByEar:
    """An operator who speaks: what is said goes through the recogniser as sound."""

    def __init__(self, driver: Driver, ear: FileListener, posted: list[Event], voice: str, saw: Saw):
        self.driver, self.ear, self.posted, self.voice, self.saw = driver, ear, posted, voice, saw
        self.told: list[str] = []
        self.tries = 0
        self._read = 0
        self.keep_up()

    @property
    def state(self) -> State:
        return self.driver.state

    def keep_up(self) -> None:
        for record in self.driver.records[self._read :]:
            self.saw.read(record.fact)
        self._read = len(self.driver.records)

    def say(self, *texts: str) -> None:
        """Each is said until it is understood: like people who aren't, a little differently, and then in short."""
        for text in texts:
            lead_in, _, rest = text.partition(" ")
            # A figure that is said twice can also be said once.
            ways = [text, f"{lead_in}, {rest}", text.partition(" number")[0], f"{lead_in}... {rest}"]
            heard = next((event for event in map(self._heard, ways) if event is not None), None)
            assert heard is not None, f"{text!r} was not understood: {self.posted}"
            self.driver.at += 20
            self.driver.send(replace(heard, at=self.driver.at, since=self.driver.at - 1))
            self.told.append(self.driver.said)
            self.keep_up()

    def _heard(self, text: str) -> Heard | None:
        """What the recogniser makes of it, under the grammar in force."""
        state = self.state
        self.posted.clear()
        self.ear.listen(phrases_for(wanted(state), state.the_job.checks, state.the_job.voice), state.generation)
        self.ear.feed(padded(spoken(self.voice, text)))
        self.ear.flush()
        self.tries += 1
        return next((event for event in self.posted if isinstance(event, Heard)), None)

    def tell(self, mishap: Mishap) -> None:
        if self.state.mode != "standing by":
            self.say("stand by for me")
        self.say(f"marigold {SAY[mishap]}")
        question = self.state.question
        assert question is not None and question.mishap == mishap

    def press(self, gesture: str = "hold") -> None:
        self.driver.gesture(gesture, after=20)
        self.keep_up()

    def cut(self, passes: int = 1) -> None:
        for _ in range(passes):
            while self.state.effective_mode != "cutting":
                assert self.state.mode != "finished"
                self.press()
            if isinstance(self.driver, Rig):
                self.driver.out_and_back()
            self.press("tap")

    def to_the_end(self) -> None:
        """Whatever is asked is done and confirmed, and whatever is called is cut."""
        for _ in range(400):
            if self.state.mode == "finished":
                return
            if self.state.effective_mode == "cutting":
                self.cut()
            else:
                self.press()
        raise AssertionError("it never ends")

    def was_told(self, *parts: str) -> None:
        said = " ".join(self.told).lower()
        missing = [part for part in parts if part.lower() not in said]
        assert not missing, f"{missing} was not said: {said}"


# --- the rehearsals: after three passes of the first end, or as many as each cuts itself


def slipped(it: ByEar) -> None:
    it.saw.slipped = Fraction(8, 10)
    it.tell(Mishap.SLIPPED)
    it.say(YES, YES, CARRY_ON)
    it.was_told("Was pass three cut before that", "move the work, not the carriage")


def slipped_before_the_last_cut(it: ByEar) -> None:
    """Pass 4 was cut where the work lay by then: 0.3 mm too near. It is cut again, and a finger is thin by that."""
    it.saw.slipped = Fraction(-3, 10)
    it.cut()
    it.tell(Mishap.SLIPPED)
    it.say(YES, NO, YES, CARRY_ON)
    assert it.state.question is not None and it.state.question.pass_ == 4


def slipped_before_the_first_cut(it: ByEar) -> None:
    it.saw.slipped = Fraction(8, 10)
    it.tell(Mishap.SLIPPED)
    it.say(YES, CARRY_ON)
    it.was_told("only the edge to go by")


def bumped(it: ByEar) -> None:
    it.saw.bumped = Fraction(-4, 10)
    it.tell(Mishap.BUMPED)
    it.say(YES, YES, CARRY_ON)
    it.was_told("until it fits, and set the reading there to")


def bumped_before_the_first_cut(it: ByEar) -> None:
    it.saw.bumped = Fraction(-4, 10)
    it.tell(Mishap.BUMPED)
    it.say(YES, CARRY_ON)
    it.was_told("carriage zeroed to the reference edge?")


def bumped_motor(it: ByEar) -> None:
    it.tell(Mishap.BUMPED)
    it.say(YES, YES, CARRY_ON)
    it.was_told("down to the home switch")


def a_strip_can_save_it(it: ByEar) -> None:
    """The operator turned 0.8 mm too little, and saw it before tapping."""
    it.saw.misread = Fraction(-8, 10)
    it.saw.cut(it.state.setup, it.state.pattern.passes[it.state.cursor - 1])
    it.tell(Mishap.MISPLACED)
    it.say(YES, YES, "marigold the figure is eight number eight", YES, YES, YES, CARRY_ON)
    it.was_told("Was it pass one, the one called now?", "loses zero point eight millimetres", "A strip glued in")


def no_strip_can_save_it(it: ByEar) -> None:
    it.saw.misread = Fraction(-4)
    it.saw.cut(it.state.setup, it.state.pattern.passes[it.state.cursor - 1])
    it.tell(Mishap.MISPLACED)
    it.say(YES, YES, "marigold the figure is four zero number four zero", YES, YES, NO, YES)
    it.was_told("A strip can't save that; its mate is good.")


def too_shallow(it: ByEar) -> None:
    """The blade sank by 1.5 mm after its height was confirmed; seen only on the second end."""
    while it.state.setup == 1:
        if it.state.effective_mode == "cutting":
            it.cut()
        else:
            it.press()
    it.cut(2)
    it.tell(Mishap.SHALLOW)
    it.say(YES, YES, CARRY_ON)
    it.was_told("long side, one of two, end one and long side, two of two, end one")


def too_deep_and_matched(it: ByEar) -> None:
    it.tell(Mishap.DEEP)
    it.say(YES, "marigold the figure is four number four", YES, YES, CARRY_ON)
    it.was_told("stand zero point four millimetres proud")


def too_deep_and_spoilt(it: ByEar) -> None:
    it.tell(Mishap.DEEP)
    it.say(YES, "marigold the figure is four number four", YES, NO, YES)


def too_deep_before_the_first_cut(it: ByEar) -> None:
    """Nothing is cut so high yet, so nothing has to match it."""
    it.tell(Mishap.DEEP)
    it.say(YES)
    it.was_told("lower the blade to")
    it.say(CARRY_ON)


def missed(it: ByEar) -> None:
    """Pass 2 was tapped without being cut."""
    del it.saw.ends[it.saw.end(1)][1]
    it.tell(Mishap.MISSED)
    it.say(YES, "marigold the figure is two number two", YES, YES, CARRY_ON)


def overshot(it: ByEar) -> None:
    it.tell(Mishap.OVERSHOT)
    it.say(YES, CARRY_ON)
    it.was_told("Come up to it from below")


def overshot_and_cut(it: ByEar) -> None:
    """Pass 3 of part A begins a socket, so 1 mm farther on it stays within it."""
    it.saw.misread = Fraction(1)
    it.saw.cut(it.state.setup, it.state.pattern.passes[it.state.cursor - 1])
    it.tell(Mishap.OVERSHOT)
    it.say(NO, YES, YES, "marigold the figure is one zero number one zero", YES, NO, YES, CARRY_ON)
    it.was_told("no finger has lost anything")


def jammed(it: ByEar) -> None:
    it.saw.slipped = Fraction(1, 2)
    it.tell(Mishap.JAMMED)
    it.say(YES, CARRY_ON)
    it.was_told("don't draw it back", "turn the blade backwards with a piece of wood")


def breaker(it: ByEar) -> None:
    it.saw.slipped = Fraction(-1, 5)
    it.tell(Mishap.TRIPPED)
    it.say(YES, CARRY_ON)
    it.was_told("saw's switch at off")


def loose_piece(it: ByEar) -> None:
    it.tell(Mishap.LOOSE)
    it.say(YES, CARRY_ON)
    it.was_told("never with your fingers")


def sawdust(it: ByEar) -> None:
    it.saw.slipped = Fraction(3, 10)
    it.tell(Mishap.DUST)
    it.say(YES, YES, CARRY_ON)
    it.was_told("Brush it away", "to the left stop, and clamp")


def cupped_and_clamped_flat(it: ByEar) -> None:
    it.tell(Mishap.CUPPED)
    it.say(YES, YES, CARRY_ON)


def cupped_and_spoilt(it: ByEar) -> None:
    it.tell(Mishap.CUPPED)
    it.say(YES, NO, YES)


def chipped(it: ByEar) -> None:
    it.tell(Mishap.CHIPPED)
    it.say(YES, YES, CARRY_ON)
    it.was_told("fresh face of the backing")


def wrong_board_that_will_do(it: ByEar) -> None:
    it.tell(Mishap.SWAPPED)
    it.say(YES, YES, CARRY_ON)


def wrong_board(it: ByEar) -> None:
    it.tell(Mishap.SWAPPED)
    it.say(YES, NO)
    it.was_told("the right one is cut next")


def kerf_measured(it: ByEar) -> None:
    """The blade has cut 3.30 mm all the time, not 3.18."""
    it.tell(Mishap.KERF)
    it.say(YES, "marigold the figure is three three zero number three three zero", YES, YES, CARRY_ON)
    it.was_told("what is begun is finished by the old figures")


def other_blade(it: ByEar) -> None:
    it.tell(Mishap.BLADE)
    it.saw.kerf = Fraction(28, 10)
    it.say(YES, "marigold the figure is two eight zero number two eight zero", YES, YES)
    it.was_told("what is begun is finished by the new figures")


def old_blade_put_back(it: ByEar) -> None:
    """The other one won't do. Fitted again, the old one stands a little lower, and a little to one side."""
    it.tell(Mishap.BLADE)
    it.saw.height, it.saw.bumped = Fraction(-1), Fraction(3, 10)
    it.say(YES, NO, NO, NO, YES)
    it.was_told("The kerf stays as it was.")


def a_break(it: ByEar) -> None:
    it.tell(Mishap.BREAK)
    it.say(YES, CARRY_ON, NO, NO)
    it.was_told("Leave zero and clamps alone")


def a_break_with_the_blade_lowered(it: ByEar) -> None:
    it.tell(Mishap.BREAK)
    it.say(YES)
    it.saw.height, it.saw.slipped = Fraction(-3), Fraction(1)
    it.say(CARRY_ON, YES, YES)


@dataclass(frozen=True)
class Rehearsal:
    """cut: passes made before. spoilt: a board is. lost: of a finger, mm: what the wood has lost for good.

    depth: of every end, beyond what the plan says. begun: how far the walls of the begun end may be off.
    """

    play: Callable[[ByEar], None]
    cut: int = 3
    spoilt: bool = False
    lost: Fraction = Fraction(0)
    height: Fraction = Fraction(0)
    deeper: Fraction = Fraction(0)
    begun: Fraction = Fraction(0)
    kerf: Fraction = KERF
    driven: bool = False

    @property
    def name(self) -> str:
        return self.play.__name__


REHEARSALS = (
    Rehearsal(slipped),
    Rehearsal(slipped_before_the_last_cut, lost=Fraction(3, 10)),
    Rehearsal(slipped_before_the_first_cut, cut=0),
    Rehearsal(bumped),
    Rehearsal(bumped_before_the_first_cut, cut=0),
    Rehearsal(bumped_motor, driven=True),
    Rehearsal(a_strip_can_save_it, cut=0, lost=Fraction(8, 10)),
    Rehearsal(no_strip_can_save_it, cut=0, spoilt=True),
    Rehearsal(too_shallow, cut=1, height=Fraction(-3, 2)),
    Rehearsal(too_deep_and_matched, height=Fraction(4, 10), deeper=Fraction(4, 10)),
    Rehearsal(too_deep_before_the_first_cut, cut=0, height=Fraction(4, 10)),
    Rehearsal(too_deep_and_spoilt, height=Fraction(4, 10), spoilt=True),
    Rehearsal(missed),
    Rehearsal(overshot),
    Rehearsal(overshot_and_cut, cut=2),
    Rehearsal(jammed),
    Rehearsal(breaker),
    Rehearsal(loose_piece),
    Rehearsal(sawdust),
    Rehearsal(cupped_and_clamped_flat),
    Rehearsal(cupped_and_spoilt, spoilt=True),
    Rehearsal(chipped),
    Rehearsal(wrong_board_that_will_do),
    Rehearsal(wrong_board),
    Rehearsal(kerf_measured, kerf=Fraction(330, 100), begun=Fraction(12, 100)),
    Rehearsal(other_blade),
    Rehearsal(old_blade_put_back),
    Rehearsal(a_break),
    Rehearsal(a_break_with_the_blade_lowered),
)


@pytest.fixture(scope="module")
def posted() -> list[Event]:
    return []


@pytest.fixture(scope="module")
def ear(posted: list[Event]) -> Iterator[FileListener]:
    need("espeak-ng")
    need("flite")
    listener = FileListener(LiveClock(), posted.append, VoiceSettings(), job(two_boards()).checks)
    yield listener
    listener.close()


def two_boards() -> Any:
    return plan(30, 6, count=2, ends=2, parts="A", clearance=CLEARANCE)


@pytest.mark.parametrize("voice", every(2, VOICES))
@pytest.mark.parametrize("one", every(4, REHEARSALS), ids=lambda one: one.name)
def test_a_mishap_ends_in_a_good_joint_or_a_spoilt_board(
    one: Rehearsal, voice: str, ear: FileListener, posted: list[Event], tmp_path: Path
) -> None:
    a_job = driven_job(two_boards()) if one.driven else job(two_boards())
    saw = Saw(a_job, one.kerf)
    it = ByEar(Rig(a_job) if one.driven else Driver(a_job), ear, posted, voice, saw)
    while it.state.effective_mode != "cutting":
        it.press()
    saw.height = one.height
    it.cut(one.cut)
    one.play(it)
    it.to_the_end()
    assert bool(saw.thrown_away) == one.spoilt
    assert {it.saw.end(n)[1:] for n in it.state.counted} == {(c, e) for c in _copies(saw) for e in (1, 2)}
    for setup, cuts in saw.kept():
        _measure(saw, setup, cuts, one, begun=saw.end(setup) == saw.end(1))
    _reads_back(it.driver, tmp_path)
    print(f"{one.name}, {voice}: said {len(it.told)} things in {it.tries} tries")


def _copies(saw: Saw) -> set[int]:
    return {copy for _, copy, _ in saw.ends if ("long side", copy) not in saw.thrown_away}


def _measure(saw: Saw, setup: int, cuts: Sequence[Cut], one: Rehearsal, begun: bool) -> None:
    """Each socket is clear from wall to wall at its depth, and no finger has lost more than what was told."""
    pattern = saw.job.pattern_of(setup)
    allowed = saw.job.carriage.resolution / 2 + (one.begun if begun else 0)
    deep = [cut for cut in cuts if cut.depth == pattern.depth]
    for socket in pattern.sockets:
        at = max(socket.start, Fraction(0))
        for cut in sorted(deep, key=lambda cut: cut.low):
            if cut.low <= at + allowed:
                at = max(at, cut.high)
        assert at >= min(socket.end, pattern.width) - allowed, f"socket from {socket.start} is clear to {at}"
    assert all(cut.depth <= pattern.depth for cut in cuts), "nothing is deeper than the joint"
    for finger in pattern.fingers:
        # The first finger has the open edge on one side, so only what has gone from its wall counts.
        gone = max((min(finger.end, cut.high) - max(finger.start, cut.low) for cut in cuts), default=Fraction(0))
        assert gone <= allowed + (one.lost if begun else 0), f"finger from {finger.start} has lost {gone}"


def _reads_back(driver: Driver, folder: Path) -> None:
    """The journal holds all of it, the mishap too, and leads to the same state."""
    with Journal.open(folder) as journal:
        session = journal.new_session("Small tray", "", "", UTC)
        journal.append(session, driver.records)
        state = played(journal, session)
    assert (state.cuts, state.status, state.marked) == (driver.state.cuts, driver.state.status, driver.state.marked)
    assert "went_wrong" in driver.all_kinds
