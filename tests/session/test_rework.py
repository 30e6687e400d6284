"""Another board first, an end or a socket again, a spoilt board, one more copy: by example, and at random."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

import pytest

from assistant.joinery.model import Carriage, Pass
from assistant.journal.playing import misfit
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job
from assistant.session import aftermath
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.events import Event
from assistant.session.kinds import JobChange, SetupStatus
from assistant.session.mishaps import is_of_a_mishap
from assistant.session.order import coming, opposite
from assistant.session.rework import change_job, one_more, refusal, setups_of_board
from assistant.session.state import State
from assistant.session.turn import Turn
from tests.sampling import every, long
from tests.session.driver import Driver
from tests.session.drives import Rig, driven_job
from tests.session.jobs import EVERY_TWO, few_checks, job, plan, with_pass_time
from tests.session.watcher import Watcher

TO_CUT, BEGUN, CUT, REDO, SPOILT = SetupStatus


def through(driver: Driver, passes: int) -> None:
    """Cut so many passes of this setup."""
    driver.cut(passes)


def whole_setup(driver: Driver) -> None:
    while driver.state.effective_mode == "question":
        driver.gesture("hold")
    driver.cut(driver.state.passes - driver.state.cut_here)
    driver.count()


def asked_and_yes(driver: Driver, intent: Intent, argument: str | int | None = None) -> None:
    driver.heard(intent, argument)
    assert driver.state.effective_mode == "question", driver.said
    driver.gesture("hold")


def board_out(driver: Driver) -> None:
    assert driver.asked == "board out"
    driver.gesture("hold", after=driver.state.the_job.run_down_s)


def four_ends() -> Driver:
    """Two boards of part A, both ends, two sockets of two passes each."""
    return Driver(job(plan(30, 6, count=2, parts="A"), few_checks()))


def test_a_board_left_half_cut_is_cut_on_where_it_lay() -> None:
    driver = four_ends()
    through(driver, 1)
    asked_and_yes(driver, Intent.BOARD)
    assert driver.asked == "board out" and "Saw off and stopped, board out?" in driver.said
    board_out(driver)
    assert driver.state.setup == 2 and driver.state.status == (BEGUN, BEGUN, TO_CUT, TO_CUT)
    whole_setup(driver)
    whole_setup(driver)
    whole_setup(driver)
    assert (driver.state.setup, driver.state.cut) == (1, 1), "the order goes round to what was left"
    assert driver.state.question and driver.state.question.name == "registered", "before anything else is asked"
    driver.gesture("hold")
    assert driver.asked == "clamps" and driver.records[-2].fact == f.Reregistered(1, driver.records[-2].fact.setting)
    whole_setup(driver)
    assert driver.state.mode == "finished" and driver.state.left_in_all == 0


@pytest.mark.parametrize("intent", [Intent.BOARD, Intent.REDO, Intent.SPOILT, Intent.COPY])
def test_what_was_misheard_and_nobody_answers_changes_nothing(intent: Intent) -> None:
    driver = four_ends()
    through(driver, 1)
    before = driver.state
    driver.heard(intent)
    assert driver.state.question is not None
    driver.wait(14.9)
    assert driver.state.question is not None
    driver.wait(0.1)
    assert driver.state.question is None and "Nothing changed" in driver.said
    assert (driver.state.cuts, driver.state.status, driver.state.job) == (before.cuts, before.status, before.job)


def test_a_board_on_which_the_saw_has_not_run_is_changed_at_once() -> None:
    driver = four_ends()
    asked_and_yes(driver, Intent.BOARD, 3)
    assert (driver.state.setup, driver.state.status[0]) == (3, TO_CUT)


def test_nobody_says_that_the_saw_is_off_before_the_blade_can_have_stopped() -> None:
    driver = four_ends()
    through(driver, 1)
    asked_and_yes(driver, Intent.BOARD)
    driver.gesture("hold", after=3)
    assert driver.asked == "board out" and "takes 10 seconds to stop. Wait, take the board out" in driver.said


def test_a_spoilt_board_is_cut_anew_and_its_good_mates_stay() -> None:
    driver = four_ends()
    whole_setup(driver)
    through(driver, 2)
    asked_and_yes(driver, Intent.SPOILT)
    board_out(driver)
    state = driver.state
    assert state.status == (CUT, SPOILT, TO_CUT, SPOILT, BEGUN, TO_CUT), "both ends of the second board"
    new = state.the_job.setups[4:]
    assert [(one.board, one.end, one.first_copy) for one in new] == [("long side", 1, 3), ("long side", 2, 3)]
    assert state.the_job.order == (1, 2, 5, 3, 4, 6), "each after the last of its kind"
    while driver.state.mode != "finished":
        whole_setup(driver)
    assert driver.state.cut_in_all == driver.state.passes_in_all == 4 * driver.state.passes


def test_an_end_is_cut_off_with_as_much_of_the_board_opposite() -> None:
    driver = four_ends()
    whole_setup(driver)
    whole_setup(driver)
    driver.heard(Intent.REDO, 2)
    facing = opposite(driver.state, 2)
    assert facing is not None and facing.setup == 1
    off = driver.state.the_job.pattern_of(2).depth + driver.state.the_job.kerf
    assert off == 12 + Fraction(3, 10) + Fraction(318, 100), "the mate's thickness, what is sanded off, a kerf"
    assert "takes fifteen point four eight millimetres from the length" in driver.said
    assert "and long side, one of two, must lose as much" in driver.said
    driver.gesture("hold")
    assert driver.state.status[:2] == (REDO, REDO) and driver.state.cuts[:2] == (0, 0)
    assert driver.state.setup == 3, "what lies in the clamps is cut first"
    cut_off = [record.fact for record in driver.records if isinstance(record.fact, f.SetupReopened)]
    assert [(one.setup, one.socket, Fraction(one.cut_off)) for one in cut_off] == [(2, 0, off), (1, 0, off)]


def test_an_end_that_was_cut_off_says_so_once_and_has_blade_height_and_zero_asked() -> None:
    driver = Driver(job(plan(30, 6, count=2, parts="A", ends=1)))
    driver.cut(3)
    asked_and_yes(driver, Intent.REDO)
    board_out(driver)
    assert "First cut its old joint off: fifteen point four eight millimetres." in driver.said
    assert driver.asked == "zero", "the sled may have been set up otherwise for that"
    assert checks_of_this_board(driver)[-1] == "blade height", "and the blade raised"
    driver.gesture("tap")
    driver.heard(Intent.BOARD)
    driver.gesture("hold")
    board_out(driver)
    opposite_too = "First cut fifteen point four eight millimetres off this end, as off the board opposite."
    assert driver.state.setup == 2 and opposite_too in driver.said
    assert {"zero", "blade height"} <= set(checks_of_this_board(driver))
    asked_and_yes(driver, Intent.BOARD)
    board_out(driver)
    assert driver.state.setup == 1 and "First cut" not in driver.said


def checks_of_this_board(driver: Driver) -> list[str]:
    asked = []
    while driver.state.effective_mode == "checks":
        asked.append(driver.asked)
        driver.gesture("hold", after=10)
    return asked


def test_a_board_opposite_that_is_cut_off_too_loses_its_joint_once_each_time() -> None:
    driver = Driver(job(plan(30, 6, count=2, parts="A", ends=1)))
    whole_setup(driver)
    driver.cut(driver.state.passes)
    driver.heard(Intent.REDO, 1)
    driver.gesture("hold")
    board_out(driver)
    assert (driver.state.setup, driver.state.cuts) == (1, (0, 0))
    assert "First cut its old joint off: fifteen point four eight millimetres." in driver.said
    driver.cut(1)
    asked_and_yes(driver, Intent.REDO)
    board_out(driver)
    assert driver.state.setup == 1 and "fifteen point four eight millimetres." in driver.said
    whole_setup(driver)
    assert driver.state.setup == 2, "it has been cut off in neither case yet"
    assert "First cut its old joint off: thirty point nine six millimetres." in driver.said


def test_without_length_to_spare_the_board_is_spoilt() -> None:
    driver = four_ends()
    through(driver, 1)
    driver.heard(Intent.REDO)
    driver.heard(Intent.NO)
    assert driver.state.question and driver.state.question.name == "spoilt"
    driver.gesture("hold")
    assert driver.state.status[0] == SPOILT


def test_a_missing_socket_found_after_unclamping_is_cut_where_the_others_lie() -> None:
    driver = four_ends()
    while driver.state.mode != "finished":
        whole_setup(driver)
    asked_and_yes(driver, Intent.SOCKET, "1.2")
    assert (driver.state.setup, driver.state.cut_here) == (1, 2), "both passes of the first socket stay"
    assert driver.state.question and driver.state.question.name == "registered"
    whole_setup(driver)
    assert driver.state.mode == "finished"


def test_what_cannot_be_is_said_and_changes_nothing() -> None:
    driver = four_ends()
    state = driver.state
    for what, setup, key in (
        (JobChange.BOARD, 9, "no such setup"),
        (JobChange.BOARD, 1, "board is clamped"),
        (JobChange.END, 1, "nothing cut yet"),
        (JobChange.SOCKET, 1, "no such socket"),
    ):
        why = refusal(state, what, setup, 7)
        assert why is not None and why.key == key
    driver.heard(Intent.BOARD, 9)
    assert driver.kinds == [] and "no setup nine" in driver.said


@pytest.mark.parametrize("mishap", [mishap for mishap in Mishap if aftermath.OF[mishap].asks_on])
def test_no_change_of_a_session_that_was_left_takes_the_place_of_an_answer_about_a_mishap(mishap: Mishap) -> None:
    driver = four_ends()
    driver.cut(1)
    driver.heard(Intent.STAND_BY)
    driver.heard(Intent.MISHAP, mishap)
    driver.gesture("hold")
    assert driver.state.question and driver.state.question.mishap == mishap
    left = State()
    for record in driver.records:
        left = apply(left, record)
    for what in JobChange:
        why = refusal(left, what, 2, 1)
        assert why is not None and why.key == "mishap unsettled"
    driver.resume()
    for _ in range(9):
        if driver.state.question and driver.state.question.mishap == mishap:
            return
        driver.gesture("hold")
    pytest.fail("nobody asks about it")


def test_an_end_that_is_all_cut_and_chosen_once_more_is_counted_and_not_begun_again() -> None:
    driver = four_ends()
    driver.confirm_all()
    driver.cut(driver.state.passes)
    assert driver.asked == "saw off"
    asked_and_yes(driver, Intent.END)
    assert driver.state.mode == "ended early" and refusal(driver.state, JobChange.BOARD, 1) is None
    change = Turn(driver.state, Event(driver.at, ""))
    change_job(change, JobChange.BOARD, 1)
    driver.records += change.decision(None).records
    driver.resume()
    while driver.asked != "saw off":
        driver.gesture("hold")
    driver.count()
    assert "setup_done" in driver.kinds and driver.state.setup == 2


def test_the_board_chosen_while_the_cuts_are_counted_comes_next_whatever_the_order_says() -> None:
    driver = four_ends()
    driver.confirm_all()
    driver.cut(driver.state.passes)
    assert driver.asked == "saw off"
    asked_and_yes(driver, Intent.BOARD, 3)
    driver.count()
    assert "setup_done" in driver.kinds and driver.state.setup == 3


def test_of_a_stack_each_board_loses_the_length_and_of_many_boards_none_is_named() -> None:
    stacked = plan(30, 6, parts="A")
    stacked = replace(stacked, boards=(replace(stacked.boards[0], count=2, stack=2),))
    assert opposite(begun(job(stacked, few_checks())), 1) is None
    several = opposite(begun(job(plan(30, 6, count=4, parts="A"), few_checks())), 1)
    assert several is not None and several.setup == 0


def begun(a_job: Job) -> State:
    return Driver(a_job).state


def test_a_copy_of_a_lined_board_has_its_blanks_and_is_cut_in_both_stages() -> None:
    a_job = job(plan(30, 6, parts="A"), few_checks())
    first = a_job.setups[0]
    setups = (first, replace(first, number=2, board="long side blank"), replace(first, number=3, stage=2))
    staged = replace(a_job, stages=("one", "two"), setups=setups, order=(1, 2, 3))
    assert setups_of_board(staged, 3) == (1, 3)
    more = one_more(staged, (1, 3), JobChange.COPY, copies=1)
    assert [(s.number, s.board, s.stage, s.first_copy) for s in more.setups] == [
        (4, "long side blank", 1, 2),
        (5, "long side", 1, 2),
        (6, "long side", 2, 2),
    ]
    assert more.order == (1, 2, 4, 5, 3, 6), "each in its stage"
    state = apply(begun(staged), f.Record(9, 1.0, "", more))
    why = refusal(state, JobChange.BOARD, 6)
    assert why is not None and why.key == "stage waits"


def test_where_the_board_opposite_must_be_cut_off_too_it_does_not_stay_in_the_clamps() -> None:
    driver = Driver(with_pass_time(job(plan(count=2), few_checks()), 0.0))
    driver.confirm_all()
    driver.cut(1)
    here = driver.state.setup
    facing = opposite(driver.state, here)
    assert facing is not None and facing.setup
    asked_and_yes(driver, Intent.BOARD, facing.setup)
    driver.confirm_all()
    driver.cut(1)
    assert driver.state.setup == facing.setup
    asked_and_yes(driver, Intent.REDO, here)
    state = driver.state
    assert {state.status[n - 1] for n in (here, facing.setup)} == {SetupStatus.REDO}
    assert state.leaves and state.chosen == here, "its end is to be cut off before anything else is cut into it"


@pytest.mark.parametrize("called", [False, True], ids=["clamps are asked about", "its first pass is called"])
def test_a_board_opposite_that_lies_uncut_in_the_clamps_comes_out_to_lose_as_much(called: bool) -> None:
    """Nothing is cut into it before it is as long as the board opposite, and all about its clamping is asked again."""
    checks = [check for check in DEFAULT_CHECKS if check.name != "setting bar out"]
    driver = Driver(job(plan(30, 6, count=2, parts="A", ends=1), tuple(checks)))
    whole_setup(driver)
    driver.gesture("hold")
    if called:
        driver.confirm_all()
    assert driver.state.setup == 2 and driver.state.touched and not driver.state.cut
    asked_and_yes(driver, Intent.REDO, 1)
    if called:
        board_out(driver)
    assert driver.state.setup == 1 and "First cut its old joint off" in driver.said
    whole_setup(driver)
    assert driver.state.setup == 2
    assert "First cut fifteen point four eight millimetres off this end, as off the board opposite." in driver.said
    assert {"zero", "edge and face", "blade height"} <= (again := set(checks_of_this_board(driver)))
    assert again & {"clamps", "clamps and guard"}
    driver.resume()
    assert driver.state.comes_off is None, "once its pass is called, that is done"


def test_a_board_opposite_that_waits_for_its_turn_is_named_with_the_length_that_it_loses() -> None:
    driver = Driver(job(plan(30, 6, count=2, parts="AB", ends=1), few_checks()))
    whole_setup(driver)
    asked_and_yes(driver, Intent.BOARD, 3)
    driver.confirm_all()
    asked_and_yes(driver, Intent.REDO, 1)
    assert driver.state.setup == 3 and not driver.state.chosen, "it is no mate of what is in the clamps"
    asked_and_yes(driver, Intent.BOARD, 2)
    board_out(driver)
    assert driver.state.setup == 2 and "off this end, as off the board opposite." in driver.said


def first_half_of_the_opposite_is_cut(parts: str) -> Driver:
    """Setups 1 and 2 are a board, 3 and 4 the one opposite; of the latter, the second half is in the clamps, uncut."""
    driver = Driver(job(plan(84, 6, ends=1, count=2, parts=parts), few_checks(), IN_TWO))
    for _ in range(3):
        whole_setup(driver)
    driver.confirm_all()
    assert driver.state.setup == 4 and not driver.state.cut
    return driver


def test_an_end_opposite_whose_second_half_is_in_the_clamps_is_cut_off_and_cut_from_its_first() -> None:
    driver = first_half_of_the_opposite_is_cut("A")
    asked_and_yes(driver, Intent.REDO, 1)
    assert driver.state.status[:3] == (REDO, REDO, REDO)
    board_out(driver)
    begun = []
    while driver.state.mode != "finished":
        begun.append(driver.state.setup)
        whole_setup(driver)
    assert begun == [1, 2, 3, 4]


def test_an_end_opposite_whose_second_half_was_to_follow_is_cut_off_and_cut_from_its_first() -> None:
    """Two changes of a session that was left, one after the other."""
    driver = first_half_of_the_opposite_is_cut("AB")
    asked_and_yes(driver, Intent.BOARD, 5)
    board_out(driver)
    through(driver, 1)
    turn = Turn(driver.state, Event(driver.state.at, ""))
    change_job(turn, JobChange.BOARD, 4)
    change_job(turn, JobChange.END, 1)
    assert turn.state.setup == 5 and turn.state.status[:3] == (REDO, REDO, REDO)
    assert turn.state.chosen == 3, "the board that was to follow still does"


def test_when_the_board_that_was_to_follow_is_spoilt_as_well_another_follows() -> None:
    """Two changes of a session that was left, one after the other."""
    driver = Driver(with_pass_time(job(plan(), few_checks()), 0.0))
    driver.confirm_all()
    driver.heard("end")
    driver.heard("yes")
    for _ in range(2):
        state = driver.state
        _change(driver, coming(state) or state.setup)
        after = driver.state
        assert after.chosen and after.is_open(after.chosen)
        assert coming(after) == after.chosen != coming(state)


def _change(driver: Driver, setup: int) -> None:
    turn = Turn(driver.state, Event(driver.state.at, ""))
    change_job(turn, JobChange.SPOILT, setup)
    driver.state = turn.state


IN_TWO = Carriage(travel=(Fraction(0), Fraction(60)), distance_piece=Fraction("30.02"))


def test_an_end_cut_in_two_halves_is_cut_again_in_both() -> None:
    driver = Driver(job(plan(84, 6, ends=2, parts="A"), few_checks(), IN_TWO))
    why = refusal(driver.state, JobChange.BOARD, 2)
    assert why is not None and why.key == "half waits", "the piece must be in first"
    whole_setup(driver)
    through(driver, 1)
    asked_and_yes(driver, Intent.REDO)
    board_out(driver)
    assert (driver.state.setup, driver.state.cuts[:2]) == (1, (0, 0))
    asked_and_yes(driver, Intent.COPY)
    assert driver.state.the_job.order == (1, 2, 3, 4, 5, 6, 7, 8), "the halves of an end one after the other"


class Watched(Rig):
    """Without a drive nothing is sent, and this is a plain driver."""

    watcher: Watcher | None = None

    def _turn(self, event: Event) -> tuple[tuple[f.Fact, ...], tuple[object, ...]]:  # type: ignore[override]
        if self.watcher is None:
            self.watcher = Watcher(event.job)  # type: ignore[attr-defined]
        facts, effects = super()._turn(event)
        if any(isinstance(fact, f.NotSent) for fact in facts):
            self.watcher.not_sent()
        for fact in facts:
            if not fact.passing:
                self.watcher.read(fact)
        self.watcher.hear(effects)
        return facts, effects


@dataclass
class Kerf:
    """As it is in the wood. height: how often the blade's height had been confirmed when it was cut. depth: mm."""

    made: Pass
    setup: int
    height: int
    depth: Fraction


@dataclass
class Wood:
    """The boards as they lie on the bench, from the journal alone: the kerfs in each end, and what was cut off it.

    All that was cut at one height is as deep as the rest. The end that is judged tells of itself as a whole.
    """

    job: Job
    kerfs: dict[tuple[str, int, int], list[Kerf]] = field(default_factory=dict)
    heights: int = 0
    here: int = 0
    told: str = ""
    cut_off: Counter[tuple[str, int]] = field(default_factory=Counter)
    thrown_away: set[tuple[str, int]] = field(default_factory=set)

    def read(self, fact: f.Fact) -> None:
        match fact:
            case f.JobExtended():
                self.job = fact.extend(self.job)
            case f.SetupStarted(setup) | f.SteppedBack(setup):
                self.here = setup
            case f.CheckConfirmed(check="blade height"):
                self.heights += 1
            case f.PassCut(setup, pass_):
                pattern = self.job.pattern_of(setup)
                kerf = Kerf(pattern.passes[pass_ - 1], setup, self.heights, pattern.depth)
                self.kerfs.setdefault(self.end(setup), []).append(kerf)
            case f.WentWrong(mishap=mishap):
                self.told = mishap
            case f.DepthSet(_, depth):
                for kerf in self.of_this_height():
                    kerf.depth = Fraction(depth)
                self.job, self.told = fact.change(self.job), ""
            case f.SetupReopened(deeper=True):
                if self.told == "not deep enough":
                    for kerf in self.of_this_height():
                        kerf.depth -= 1
                self.told = ""  # one answer has all of it cut again
            case f.SetupReopened(setup, _, 0, off):
                self.kerfs[self.end(setup)] = []
                self.cut_off[self.end(setup)[:2]] += Fraction(off) if off else 0  # type: ignore[assignment]
            case f.BoardSpoilt(setups):
                self.thrown_away |= {self.end(setup)[:2] for setup in setups}

    def of_this_height(self) -> list[Kerf]:
        """The kerfs of each end of this depth of which any was cut since the height was last confirmed."""
        depth, stage = self.job.pattern_of(self.here).depth, self.job.setups[self.here - 1].stage
        kerfs = [kerf for end in self.kerfs.values() for kerf in end]
        judged = {kerf.setup for kerf in kerfs if kerf.height == self.heights} | {self.here}
        return [
            kerf
            for kerf in kerfs
            if kerf.setup in judged
            and self.job.pattern_of(kerf.setup).depth == depth
            and self.job.setups[kerf.setup - 1].stage == stage
        ]

    def end(self, setup: int) -> tuple[str, int, int]:
        one = self.job.setups[setup - 1]
        return one.board, one.first_copy, one.end

    def joints(self) -> Iterator[tuple[int, list[tuple[Fraction, Fraction]]]]:
        """Each end that is kept: the first of its setups, and the wood that is gone from it to its whole depth."""
        for end, kerfs in self.kerfs.items():
            if end[:2] not in self.thrown_away:
                first = next(n for n in self.job.order if self.end(n) == end)
                deep = [one.made for one in kerfs if one.depth >= self.job.pattern_of(first).depth]
                gone: list[tuple[Fraction, Fraction]] = []
                for low, high in sorted((one.kerf_from, one.kerf_to) for one in deep):
                    if gone and low <= gone[-1][1]:
                        gone[-1] = gone[-1][0], max(high, gone[-1][1])
                    else:
                        gone.append((low, high))
                yield first, gone


@pytest.mark.parametrize("seed", every(8, range(40)))
def test_whatever_became_of_it_every_board_that_is_kept_has_its_joint(seed: int) -> None:
    """A pass taken back and cut again makes the same kerf. What an end loses, the board opposite loses too."""
    chance = random.Random(1000 + seed)
    driver = Watched(jobs(chance))
    for _ in range(80):
        _do_something(driver, chance)
    for _ in range(4_000):
        if driver.state.mode == "finished":
            break
        _go_on(driver)
    assert driver.state.mode == "finished"
    (first, *facts) = [record.fact for record in driver.records]
    assert isinstance(first, f.Started)
    wood = Wood(first.job)
    for fact in facts:
        wood.read(fact)
    joints = list(wood.joints())
    assert len(joints) == len({wood.end(n) for n in wood.job.order if wood.end(n)[:2] not in wood.thrown_away})
    # Rounding moves a wall by half a step of the carriage at the most, and kerfs overlap by more.
    step = wood.job.carriage.resolution / 2
    for setup, gone in joints:
        sockets = wood.job.pattern_of(setup).sockets
        assert len(gone) == len(sockets)
        for (low, high), socket in zip(gone, sockets, strict=True):
            assert low <= socket.start + step and high >= socket.end - step
    if not any(isinstance(fact, f.JobExtended) for fact in facts):
        for part in {one.part for one in wood.job.setups}:
            boards = {wood.end(one.number)[:2] for one in wood.job.setups if one.part == part}
            assert len(boards) > 2 or len({wood.cut_off[board] for board in boards}) == 1, "they face each other"


CHANGES = (Intent.BOARD, Intent.REDO, Intent.SPOILT, Intent.COPY, Intent.SOCKET)
OTHERS = (Intent.BACK, Intent.YES, Intent.YES, Intent.STAND_BY, Intent.CARRY_ON, Intent.MARK, Intent.AGAIN)


def jobs(chance: random.Random) -> Job:
    boards = plan(30, 6, count=chance.choice((1, 2)))
    kind = chance.randrange(4)
    if kind == 0:
        return job(boards, few_checks(EVERY_TWO))
    if kind == 1:
        return job(plan(84, 6, ends=2, parts="A"), None, IN_TWO)
    if kind == 2:
        return driven_job(boards, None, home=chance.choice(("switch", "by hand")))
    return job(boards)


@pytest.mark.parametrize("seeds", [range(12), pytest.param(range(100, 220), marks=long)], ids=["some", "many"])
def test_at_random_every_rule_holds_and_a_replay_leads_to_the_same_job(seeds: Sequence[int]) -> None:
    for seed in seeds:
        chance = random.Random(seed)
        driver = Watched(jobs(chance))
        replay, read = State(), 0
        for _ in range(120):
            _do_something(driver, chance)
            for record in driver.records[read:]:
                assert misfit(replay, record.fact) == "", f"seed {seed}"
                replay = apply(replay, record)
            read = len(driver.records)
            names = ("setup", "cuts", "status", "chosen", "job", "confirmed", "marked", "saw_runs")
            assert all(getattr(replay, name) == getattr(driver.state, name) for name in names), f"seed {seed}"
            assert driver.watcher is not None and driver.state.cut_in_all == driver.watcher.cut_in_all()


def _go_on(driver: Watched) -> None:
    """What a careful operator does next."""
    question = driver.state.question
    if question and (question.name == "what" or (question.name == "figure" and not question.figure)):
        driver.gesture("double")  # a long press answers neither
    elif driver.state.effective_mode != "cutting":
        driver.hold()
    elif driver.state.the_job.carriage.drive:
        driver.cut_one()
    else:
        driver.gesture("tap")


def _do_something(driver: Watched, chance: random.Random) -> None:
    kind, state = chance.random(), driver.state
    setups = len(state.the_job.setups)
    if kind < 0.62:
        _go_on(driver)
    elif kind < 0.65:
        _goes_wrong(driver, chance)
    elif kind < 0.8:
        intent = chance.choice(CHANGES if setups < 24 else (Intent.BOARD, Intent.REDO, Intent.SOCKET))
        argument: str | int | None = chance.choice((None, chance.randint(0, setups + 1)))
        if intent is Intent.SOCKET:
            argument = f"{chance.randint(1, setups)}.{chance.randint(0, 4)}"
        driver.heard(intent, argument, after=14)
    elif kind < 0.95:
        driver.heard(chance.choice(OTHERS), after=14)
    elif state.mode == "ended early" or (state.mode == "finished" and kind < 0.98):
        return
    elif kind < 0.98 and state.mode != "finished":
        driver.resume()
    elif state.the_job.carriage.drive:
        driver.loses()


def _goes_wrong(driver: Watched, chance: random.Random) -> None:
    """Something is told, and most of what is asked about it is answered with yes."""
    driver.heard(Intent.STAND_BY, after=14)
    driver.heard(Intent.MISHAP, str(chance.choice(list(Mishap))), after=14)
    for _ in range(chance.randint(1, 10)):
        question = driver.state.question
        if question is None or not is_of_a_mishap(question):
            return
        driver.gesture(chance.choice(("hold", "hold", "hold", "double", "tap")), after=14)
