"""Another kerf while a job is under way: what is laid out again, what is gone on with, and that every joint still fits.

Where wood is measured here, the blade cuts where its setting puts it and as wide as it is, whatever any pattern says.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from assistant.drawings.holding import holding_of
from assistant.errors import BadInput
from assistant.joinery.halves import Half
from assistant.joinery.lined import Lining
from assistant.joinery.model import Blade, Carriage, Pattern
from assistant.joinery.other_kerf import kerf_of
from assistant.joinery.settings import rounding_error
from assistant.joinery.slots import Slot
from assistant.journal import codec
from assistant.journal.playing import misfit
from assistant.plans.checks import DEFAULT_CHECKS, figures_of
from assistant.plans.intents import Intent
from assistant.plans.job import build_job
from assistant.plans.job_json import job_from_json, job_to_json
from assistant.plans.mishaps import Mishap
from assistant.plans.model import BoardPlan, Job, JointPlan, Plan, Setup, Shop
from assistant.plans.test_joint import build_test_joint
from assistant.screens.page.picture import pattern_of
from assistant.screens.view_board import BoardPicture, Window
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.concerned import left_shallow
from assistant.session.detours import follow_change
from assistant.session.events import Event, WentOut
from assistant.session.kinds import JobChange, SetupStatus
from assistant.session.order import coming, setups_of_end
from assistant.session.other_kerf import KerfChange, is_laid_out_for, is_of_another_blade, kerf_changed
from assistant.session.rework import refusal
from assistant.session.slip import Meets, first_half_again, trial
from assistant.session.state import State
from assistant.session.table import REPLACED, in_lines, rows_of, standing_of
from assistant.session.turn import Turn
from tests.sampling import every
from tests.session.driver import UTC, Driver
from tests.session.drives import driven_job
from tests.session.jobs import EVERY_TWO, few_checks, job, plan
from tests.session.test_rework import CHANGES, IN_TWO, Watched, asked_and_yes, board_out, whole_setup
from tests.witness import CHANGES as CHANGES_OF_THE_JOB

F = Fraction
KERF = F(318, 100)
TO_CUT, BEGUN, CUT, REDO, SPOILT = SetupStatus
Span = tuple[Fraction, Fraction]


def four_ends(kerf: Fraction = KERF) -> Driver:
    """Two boards of part A, both ends, two sockets of 6.05 mm in two passes each."""
    return Driver(job(plan(30, 6, count=2, parts="A"), few_checks(), kerf=kerf))


def take_in(driver: Driver, made: KerfChange) -> None:
    """What the session does with a change of the kerf: the facts, and whatever is asked next."""
    turn = Turn(driver.state, Event(driver.at, UTC))
    turn.fact(made.fact)
    if made.follows:
        turn.fact(f.BoardChosen(made.follows))
    follow_change(turn)
    decision = turn.decision(None)
    driver.state, driver.effects = decision.state, decision.effects
    facts = [record.fact for record in decision.records if not record.fact.passing]
    driver.records += [record for record in decision.records if not record.fact.passing]
    driver.witness.job = decision.state.job
    driver.witness.turn(
        Event(driver.at, UTC), [one for one in facts if not isinstance(one, CHANGES_OF_THE_JOB)], driver.effects
    )
    if isinstance(driver, Watched) and driver.watcher is not None:
        for fact in facts:
            driver.watcher.read(fact)
        driver.watcher.hear(decision.effects)
    driver.send(WentOut(driver.at, UTC, driver.state.generation))


def change_kerf(driver: Driver, kerf: Fraction, other_blade: bool) -> KerfChange:
    made = kerf_changed(driver.state, kerf, other_blade)
    take_in(driver, made)
    return made


def rests_of(job: Job) -> list[int]:
    """The setups in which one blade goes on with what another has begun."""
    return [number for number in job.order if job.pattern_of(number).is_rest]


def kerfs(job: Job, setup: int) -> list[Span]:
    return [(one.kerf_from, one.kerf_to) for one in job.pattern_of(setup).passes]


class TestKerfMeasuredAgain:
    def test_what_nothing_is_cut_into_is_laid_out_again_and_the_rest_is_finished_as_it_was(self) -> None:
        driver = four_ends()
        driver.cut(1)
        old = driver.state.the_job
        made = change_kerf(driver, F(322, 100), False)
        job = driver.state.the_job
        assert made.replaced == ((2, 5), (3, 6), (4, 7)) and not made.follows
        assert job.order == (1, 5, 6, 7) and rests_of(job) == []
        assert job.kerf == F(322, 100) and job.assumed_kerf == F(317, 100)
        assert len(made.fact.patterns) == 1, "equal ends share their pattern"
        assert job.pattern_of(1) == old.pattern_of(1) and kerf_of(job.pattern_of(5)) == F(322, 100)
        assert [one.setting for one in job.pattern_of(5).passes] != [one.setting for one in job.pattern_of(1).passes]
        assert driver.state.setup == 1 and driver.state.effective_mode == "cutting", "nothing comes out of the clamps"
        while driver.state.mode != "finished":
            whole_setup(driver)
        assert driver.state.status == (CUT, TO_CUT, TO_CUT, TO_CUT, CUT, CUT, CUT)

    def test_a_board_that_only_lies_in_the_clamps_is_laid_out_again_and_comes_next(self) -> None:
        driver = four_ends()
        driver.confirm_all()
        made = change_kerf(driver, F(322, 100), False)
        assert made.follows == 5 and len(made.replaced) == 4 and rests_of(driver.state.the_job) == []
        board_out(driver)
        assert (driver.state.setup, driver.state.to_register, driver.state.status[0]) == (5, False, TO_CUT)
        assert driver.state.place == 1 and len(driver.state.counted) == 4

    def test_the_same_figure_changes_nothing(self) -> None:
        driver = four_ends()
        driver.cut(1)
        before = driver.state.the_job
        for other_blade in (False, True):
            made = kerf_changed(driver.state, KERF, other_blade)
            assert (made.replaced, made.fact.setups, made.fact.order) == ((), (), before.order)
            assert replace(made.fact.extend(before), blade_since=0, kerf_since=0) == before

    def test_what_is_all_cut_or_spoilt_stays_as_it_is(self) -> None:
        driver = four_ends()
        whole_setup(driver)
        driver.cut(1)
        asked_and_yes(driver, Intent.SPOILT)
        board_out(driver)
        made = kerf_changed(driver.state, F(3), True)
        old = [n for n, _ in made.replaced]
        assert 1 not in old and 2 not in old and 4 not in old, (
            "one is cut, two and four are both ends of a spoilt board"
        )
        assert set(made.fact.order) >= {1, 2, 4}

    def test_an_end_that_was_cut_off_is_not_begun(self) -> None:
        driver = four_ends()
        whole_setup(driver)
        asked_and_yes(driver, Intent.BOARD, 3)
        asked_and_yes(driver, Intent.REDO, 1)
        assert driver.state.status[0] == REDO
        made = kerf_changed(driver.state, F(322, 100), False)
        assert [old for old, _ in made.replaced] == [1, 2, 3, 4]

    def test_going_back_to_the_old_figure_takes_the_old_pattern(self) -> None:
        driver = four_ends()
        driver.cut(1)
        change_kerf(driver, F(322, 100), False)
        made = change_kerf(driver, KERF, False)
        assert made.fact.patterns == () and {one.pattern for one in made.fact.setups} == {0}


class TestAnotherBlade:
    def test_a_begun_end_is_gone_on_with_round_the_kerfs_that_are_there(self) -> None:
        driver = four_ends()
        driver.cut(3)
        there = kerfs(driver.state.the_job, 1)[:3]
        made = change_kerf(driver, F(4), True)
        job = driver.state.the_job
        assert made.replaced == ((1, 5), (2, 6), (3, 7), (4, 8)) and made.follows == 5 and rests_of(job) == [5]
        left = job.pattern_of(5)
        assert [(one.kerf_from, one.kerf_to) for one in left.before] == there
        # The second socket, of 6.05 mm from 17.975 on, has its first wall; this kerf ends at the other.
        assert kerfs(job, 5) == [(F(24025, 1000) - 4, F(24025, 1000))]
        board_out(driver)
        assert driver.state.setup == 5 and driver.state.to_register
        assert driver.state.question is not None and driver.state.question.name == "registered"
        assert "Carriage to an earlier cut" in driver.said
        driver.gesture("hold")
        whole_setup(driver)
        assert driver.state.status[4] == CUT and driver.state.setup == 6

    def test_what_is_counted_and_kept_clear_of_is_of_the_whole_end(self) -> None:
        driver = four_ends()
        driver.cut(3)
        change_kerf(driver, F(4), True)
        job = driver.state.the_job
        figures = figures_of(job, job.pattern_of(5))
        assert (figures["sockets"], figures["begun"]) == (2, 0)
        assert (figures["lowest"], figures["highest"]) == (F(5975, 1000), F(24025, 1000))
        holding = holding_of(job, job.setups[4])
        assert (holding.lowest, holding.highest) == (F(5975, 1000), F(24025, 1000))
        drawn = pattern_of(job.pattern_of(5), job)
        assert len(drawn["gone"]) == 3 and len(drawn["passes"]) == 1 and len(drawn["sockets"]) == 2
        row = BoardPicture(job.pattern_of(5), "left").row(300, Window(0.0, 30.0), 0, 0)
        assert (row.count("░"), row.count(" ")) == (28, 92), "21.155 to 24.025 mm is to come"

    def test_a_begun_board_that_was_left_is_gone_on_with_as_well(self) -> None:
        driver = four_ends()
        driver.cut(1)
        asked_and_yes(driver, Intent.BOARD)
        board_out(driver)
        driver.confirm_all()
        made = change_kerf(driver, F(4), True)
        new = dict(made.replaced)
        assert made.follows == new[2] and rests_of(driver.state.the_job) == [new[1]]

    def test_the_board_chosen_to_follow_is_the_one_in_its_place(self) -> None:
        driver = four_ends()
        driver.cut(1)
        asked_and_yes(driver, Intent.BOARD, 3)
        assert driver.state.chosen == 3
        made = change_kerf(driver, F(4), True)
        assert made.follows == dict(made.replaced)[3] == driver.state.chosen

    def test_a_third_blade_and_a_measurement_between(self) -> None:
        driver = four_ends()
        driver.cut(1)
        first = change_kerf(driver, F(4), True)
        measured = change_kerf(driver, F(41, 10), False)
        left = driver.state.the_job.pattern_of(dict(measured.replaced)[first.follows])
        assert kerf_of(left) == F(41, 10) and len(left.before) == 1, "nothing is cut yet since the blade was changed"
        third = change_kerf(driver, F(2), True)
        left = driver.state.the_job.pattern_of(third.follows)
        assert kerf_of(left) == 2 and len(left.before) == 1
        assert driver.state.the_job.kerf == 2 and third.fact.why == Mishap.BLADE

    def test_what_it_cannot_cut_is_refused_at_once_with_every_board(self) -> None:
        driver = four_ends()
        driver.cut(1)
        state = driver.state
        with pytest.raises(BadInput) as refused:
            kerf_changed(state, F(65, 10), True)
        begun, parts = refused.value.faults
        assert (
            begun.what == ("long side, 1 of 2, end 1 (setup 1): sockets 1, 2 are narrower than a kerf of 6.5 mm")
            and begun.mend == "put the old blade back, or count the board as spoilt"
        )
        assert parts.what == "part A: sockets 1, 2 are narrower than a kerf of 6.5 mm"
        assert parts.mend == "use a blade with a kerf of 6.05 mm or less"
        assert driver.state is state
        for nonsense in (F(1, 5), F(0), F(-3)):
            with pytest.raises(BadInput, match="must be wider than the passes overlap, 0.2 mm"):
                kerf_changed(state, nonsense, True)

    def test_so_many_passes_that_no_session_has_are_refused(self) -> None:
        driver = Driver(job(plan(84, 6, count=40, parts="A"), few_checks()))
        with pytest.raises(BadInput, match="more than 20,000 passes in one job"):
            kerf_changed(driver.state, F(21, 100), True)

    def test_a_cut_by_another_blade_is_not_taken_back_but_its_socket_is_cut_again(self) -> None:
        driver = four_ends()
        driver.cut(4)
        assert driver.state.setup_complete
        change_kerf(driver, F(4), True)
        assert driver.state.setup == 1 and is_of_another_blade(driver.state.the_job, 1)
        driver.heard(Intent.BACK)
        assert driver.state.question is None and "Another blade has cut that" in driver.said
        driver.heard(Intent.GO_TO, 2)
        assert driver.state.question is None
        asked_and_yes(driver, Intent.SOCKET, "1.2")
        job = driver.state.the_job
        again = driver.state.chosen
        assert [p.socket for p in job.pattern_of(again).before] == [1, 1]
        assert {p.socket for p in job.pattern_of(again).passes} == {2} and kerf_of(job.pattern_of(again)) == 4
        board_out(driver)
        assert driver.state.setup == again
        why = refusal(driver.state, JobChange.SOCKET, again, 1)
        assert why is not None and why.key == "socket cut before"

    def test_the_table_tells_what_was_replaced(self) -> None:
        driver = four_ends()
        driver.cut(3)
        change_kerf(driver, F(4), True)
        job = driver.state.the_job
        rows = rows_of(job, standing_of(driver.state))
        assert [row.number for row in rows] == [5, 6, 7, 8, 1, 2, 3, 4]
        assert [row.status for row in rows] == ["to cut"] * 4 + [REPLACED] * 4
        assert [(row.cut, row.passes, row.sockets) for row in rows[:2]] == [(0, 1, 2), (0, 4, 2)]
        assert rows[4].clamped and rows[0].next
        assert len(in_lines(job, rows)[1]) == 8


class TestWhereTheBladeIsTried:
    def begun(self, kerf: Fraction, cut: int, zero: str = "outside") -> Driver:
        driver = Driver(job(plan(30, 6, parts="A"), few_checks(), Carriage(zero=zero)))
        driver.cut(cut)
        change_kerf(driver, kerf, True)
        board_out(driver)
        return driver

    @pytest.mark.parametrize("zero", ["outside", "inside"])
    def test_a_narrower_blade_meets_one_side_of_an_old_kerf(self, zero: str) -> None:
        found = trial(self.begun(F(3), 1, zero).state)
        assert found is not None and (found.pass_, found.where) == (0, Meets.NEAR_WALL)
        # The old kerf lies from 5.975 to 9.155, rounded to its setting of 9.16, or 5.98 with zero inside.
        at = {"outside": F(916 - 318 + 300, 100), "inside": F(598, 100)}
        assert abs(found.setting - at[zero]) <= F(1, 100)

    def test_it_is_tried_where_the_old_kerf_was_really_cut(self) -> None:
        """Laid out from 5.975 to 9.155, it was cut up to the nearest tenth, 9.2. So it begins at 6.02."""
        driver = Driver(job(plan(30, 6, parts="A"), few_checks(), Carriage(resolution=F(1, 10))))
        driver.cut(1)
        change_kerf(driver, F(3), True)
        board_out(driver)
        found = trial(driver.state)
        assert found is not None and found.where == Meets.NEAR_WALL and found.setting == F(9), "where 3 mm end at 9.02"

    def test_where_two_kerfs_make_room_a_wider_blade_is_tried_too(self) -> None:
        found = trial(self.begun(F(5), 2).state)
        assert found is not None and found.pass_ == 0 and found.where in (Meets.FAR_WALL, Meets.NEAR_WALL)

    def test_a_blade_that_goes_in_nowhere_is_not_tried(self) -> None:
        driver = self.begun(F(5), 1)
        assert trial(driver.state) is None
        assert "The blade can be tried in none of the cuts, so you have only the edge to go by." in driver.said

    def test_gone_back_to_its_only_pass_a_rest_still_has_the_other_blades_cuts_to_lie_by(self) -> None:
        driver = four_ends()
        driver.cut(3)
        change_kerf(driver, F(4), True)
        board_out(driver)
        assert driver.state.passes == 1
        whole_setup(driver)
        asked_and_yes(driver, Intent.BACK)
        assert driver.kinds[0] == "stepped_back" and not driver.state.cut
        assert driver.state.question and driver.state.question.name == "clamped"
        driver.gesture("double")
        assert driver.state.question and driver.state.question.name == "registered"

    def test_a_kerf_of_its_own_comes_first(self) -> None:
        driver = self.begun(F(3), 1)
        driver.gesture("hold")
        driver.cut(2)
        driver.resume()
        found = trial(driver.state)
        assert found is not None and found.pass_ > 0


SHORT = Carriage(travel=(F(0), F(60)))
FROM_BOTH_EDGES = replace(
    plan(105, 5, ends=1),
    joint=JointPlan("even", finger=F(5), far_half="other edge"),
    measured_widths=(F(105), F(105)),
)


class TestHalves:
    def in_two(self) -> Driver:
        return Driver(job(plan(84, 6, ends=2, parts="A"), few_checks(), IN_TWO))

    def test_both_halves_are_laid_out_again_together(self) -> None:
        driver = self.in_two()
        made = change_kerf(driver, F(3), True)
        job = driver.state.the_job
        assert job.order == (5, 6, 7, 8) and made.replaced == ((1, 5), (2, 5), (3, 7), (4, 7))
        assert [job.setups[n - 1].half for n in job.order] == [Half.PIECE_IN, Half.PIECE_OUT] * 2
        planned = build_job(plan(84, 6, ends=2, parts="A"), Shop("mm", Blade(F(3)), IN_TWO, checks=few_checks()))
        assert [job.pattern_of(n) for n in (5, 6)] == list(planned.patterns)
        assert job.ends == planned.ends, "and the replaced ones are no ends any more"

    def test_one_half_begun_is_finished_as_it_was_but_not_with_another_blade(self) -> None:
        driver = self.in_two()
        whole_setup(driver)
        made = kerf_changed(driver.state, F(3), False)
        assert [old for old, _ in made.replaced] == [3, 4] and 2 in made.fact.order
        with pytest.raises(BadInput) as refused:
            kerf_changed(driver.state, F(3), True)
        (fault,) = refused.value.faults
        assert fault.what.startswith("long side, end 1 (setup 1): another blade has cut one half of this end")
        assert fault.mend == "put the old blade back, or count the board as spoilt"
        whole_setup(driver)
        assert [old for old, _ in kerf_changed(driver.state, F(3), True).replaced] == [3, 4], "both are all cut"

    def test_kerfs_that_one_half_has_are_never_tried_in_the_other(self) -> None:
        """Each half has a stop of its own, so a setting of one puts the blade elsewhere in the other."""
        driver = self.in_two()
        driver.cut(2)
        turn = Turn(driver.state, Event(driver.at, UTC))
        turn.fact(f.SetupReopened(1, (1, 2), 0, "", deeper=True))
        driver.state = turn.state
        change_kerf(driver, F(3), True)
        assert driver.state.the_job.order[:2] == (5, 6)
        assert len(left_shallow(driver.state, 5)) == 2 and left_shallow(driver.state, 6) == ()

    def test_a_half_that_is_left_of_an_end_is_not_tried_as_a_second_half(self) -> None:
        """Part A of this width fits into the travel with the piece in, and its mate doesn't."""
        driver = Driver(job(plan(66, 6, ends=1), few_checks(), replace(IN_TWO, travel=(F(0), F(62)))))
        before = driver.state.the_job
        (alone,) = (one for one in before.setups if len(setups_of_end(before, one.number)) == 1)
        assert alone.half is Half.PIECE_IN
        if alone.number != driver.state.setup:
            asked_and_yes(driver, Intent.BOARD, alone.number)
        driver.cut(driver.state.passes - 1)
        made = change_kerf(driver, F(4), True)
        after = driver.state.the_job
        rest = after.setups[made.follows - 1]
        assert rest.half is Half.PIECE_IN and after.pattern_of(rest.number).is_rest
        assert first_half_again(after, rest) is None
        board_out(driver)
        while driver.state.mode != "finished":
            _go_on(driver)
        bench_of(driver, False).check()

    def test_from_both_edges(self) -> None:
        driver = Driver(job(FROM_BOTH_EDGES, few_checks(), SHORT))
        made = kerf_changed(driver.state, F(3), False)
        job_ = made.fact.extend(driver.state.the_job)
        planned = build_job(FROM_BOTH_EDGES, Shop("mm", Blade(F(3)), SHORT, checks=few_checks()))
        assert [job_.pattern_of(n) for n in job_.order] == [planned.pattern_of(n) for n in planned.order]
        assert [job_.setups[n - 1].half for n in job_.order] == [planned.setups[n - 1].half for n in planned.order]


LINED = replace(
    plan(84, 12, ends=1),
    joint=JointPlan("lined", finger=F(12)),
    lining=Lining(F(3), ("A", "B")),
)
SLOTTED = Plan(
    title="Divider rail",
    unit="mm",
    width=F(100),
    thickness={"A": F(12)},
    joint=JointPlan("slots"),
    boards=(BoardPlan("rail", "A", 2, 1),),
    slots=(Slot(F(10), F(6), F(4)), Slot(F(40), F(8), F(6)), Slot(F(70), F(6), F(4))),
)


@pytest.mark.parametrize("of", [LINED, SLOTTED, plan(60, 6, count=2)], ids=["lined", "slots", "even"])
@pytest.mark.parametrize("other_blade", [False, True])
def test_what_is_laid_out_again_is_what_a_plan_for_that_blade_has(of: Plan, other_blade: bool) -> None:
    driver = Driver(job(of, few_checks()))
    driver.confirm_all()
    job_ = kerf_changed(driver.state, F(29, 10), other_blade).fact.extend(driver.state.the_job)
    planned = build_job(of, Shop("mm", Blade(F(29, 10)), Carriage(), checks=few_checks()))
    assert [job_.pattern_of(n) for n in job_.order] == [planned.pattern_of(n) for n in planned.order]
    places = [replace(job_.setups[n - 1], number=0, pattern=0) for n in job_.order]
    assert places == [replace(one, number=0, pattern=0) for one in planned.setups]
    assert (job_.kerf, job_.assumed_kerf) == (planned.kerf, planned.assumed_kerf)


@pytest.mark.parametrize("finger", [6, 7, 9])
def test_a_test_joint_keeps_every_setting_of_the_job_that_it_is_for(finger: int) -> None:
    """Its last socket is ripped open, and is still cut as far as the job cuts it."""
    of = plan(20 * finger, finger)
    for kerf in (F(2), F(29, 10)):
        shop = Shop("mm", Blade(KERF), Carriage(), checks=few_checks())
        began, _ = build_test_joint(of, shop)
        planned, _ = build_test_joint(of, replace(shop, blade=Blade(kerf)))
        job_ = kerf_changed(Driver(began).state, kerf, True).fact.extend(began)
        assert [job_.pattern_of(n) for n in job_.order] == [planned.pattern_of(n) for n in planned.order]
        assert any(one.kerf_to > one_of.width for one_of in planned.patterns for one in one_of.passes)


def test_stacks_stay_together() -> None:
    of = plan(30, 6, parts="A")
    of = replace(of, boards=(replace(of.boards[0], count=5, stack=2),))
    driver = Driver(job(of, few_checks()))
    driver.cut(1)
    made = kerf_changed(driver.state, F(3), False)
    old = driver.state.the_job.setups
    copies = [(one.first_copy, one.copies, one.end) for one in made.fact.setups]
    assert copies == [(one.first_copy, one.copies, one.end) for one in old[1:]] and 1 in made.fact.order


def test_a_slot_too_narrow_is_called_a_slot() -> None:
    driver = Driver(job(SLOTTED, few_checks()))
    with pytest.raises(BadInput) as refused:
        kerf_changed(driver.state, F(7), True)
    (fault,) = refused.value.faults
    assert fault.what == "slots 4 mm deep: slots 1, 2 are narrower than a kerf of 7 mm"


@pytest.mark.parametrize("other_blade", [False, True])
def test_a_kerf_that_no_blade_can_have_is_refused_even_where_nothing_is_left_to_lay_out(other_blade: bool) -> None:
    """A journal with such a kerf in it could not be resumed."""
    driver = Driver(job(plan(30, 6, ends=1, parts="A"), few_checks()))
    driver.cut(driver.state.passes)
    assert driver.state.left_in_all == 0
    overlap = driver.state.the_job.overlap
    with pytest.raises(BadInput) as refused:
        kerf_changed(driver.state, overlap, other_blade)
    (fault,) = refused.value.faults
    assert fault.what == "must be wider than the passes overlap, 0.2 mm"
    made = kerf_changed(driver.state, overlap + F(1, 100), other_blade)
    assert misfit(driver.state, made.fact) == ""


@pytest.mark.parametrize("other_blade", [False, True])
def test_slots_cut_as_deep_as_others_by_mistake_stay_apart_from_them(other_blade: bool) -> None:
    """The slots at the edges were to be 4 mm deep, the one between them 6 mm; all are 6 mm deep now."""
    slots = tuple(Slot(F(at), F(6), F(deep)) for at, deep in ((10, 4), (40, 6), (70, 4)))
    of = replace(SLOTTED, width=F(84), slots=slots, boards=(BoardPlan("shelf", "A", 2, 1),))
    driver = Driver(job(of))
    planned = {one.start for pattern in driver.state.the_job.patterns for one in pattern.sockets}
    driver.cut(1)
    driver.gesture("hold")
    driver.heard(Intent.MISHAP, str(Mishap.DEEP))
    driver.gesture("hold")
    driver.heard(Intent.FIGURE, 20)
    driver.gesture("hold")
    driver.gesture("hold")
    assert {one.depth for one in driver.state.the_job.patterns} == {F(6)}
    change_kerf(driver, F(3), other_blade)
    driver.gesture("hold")
    for _ in range(200):
        if driver.state.mode == "finished":
            break
        driver.gesture("tap" if driver.state.effective_mode == "cutting" else "hold", after=12)
    made: dict[int, set[F]] = {1: set(), 2: set()}
    job_ = driver.state.the_job
    for number in job_.order:
        made[job_.setups[number - 1].first_copy] |= {one.start for one in job_.pattern_of(number).sockets}
    assert driver.state.mode == "finished" and driver.state.left_in_all == 0
    assert made == {1: planned, 2: planned}


class TestChangesOfTheJobAfterIt:
    def test_a_new_board_is_cut_for_the_blade_on_the_saw(self) -> None:
        driver = four_ends()
        whole_setup(driver)
        driver.cut(1)
        change_kerf(driver, F(4), True)
        board_out(driver)
        driver.gesture("hold")
        asked_and_yes(driver, Intent.SPOILT, 1)
        job_ = driver.state.the_job
        new = [one for one in job_.setups if one.first_copy == 3]
        assert [one.end for one in new] == [1, 2]
        assert all(is_laid_out_for(job_, one.number) and not job_.pattern_of(one.number).before for one in new)
        alike = [n for n in job_.order if job_.setups[n - 1].end == 1]
        assert alike[-1] == new[0].number, "after the last of its kind, whichever blade that is for"
        asked_and_yes(driver, Intent.COPY)
        more = [one for one in driver.state.the_job.setups if one.first_copy == 4]
        assert len(more) == 2 and {one.pattern for one in more} == {one.pattern for one in new}

    @pytest.mark.parametrize("rest", [False, True])
    def test_an_end_cut_off_is_cut_again_for_the_blade_on_the_saw(self, rest: bool) -> None:
        driver = Driver(job(plan(30, 6, parts="A"), few_checks()))
        driver.cut(1 if rest else 4)
        made = change_kerf(driver, F(4), True)
        number = made.follows or 1
        if rest:
            board_out(driver)
            driver.gesture("hold")
        asked_and_yes(driver, Intent.REDO, number)
        state = driver.state
        new = state.chosen or state.setup
        assert new == len(state.the_job.setups) and number not in state.the_job.order
        fresh = state.the_job.pattern_of(new)
        assert kerf_of(fresh) == 4 and not fresh.before and state.the_job.kerf == 4
        if state.chosen:
            board_out(driver)
        assert (driver.state.setup, driver.state.to_register) == (new, False)
        while driver.state.mode != "finished":
            whole_setup(driver)

    def test_a_rest_into_which_nothing_is_cut_yet_still_has_an_end_to_cut_off(self) -> None:
        driver = four_ends()
        driver.cut(1)
        made = change_kerf(driver, F(4), True)
        assert refusal(driver.state, JobChange.END, made.follows) is None
        other = dict(made.replaced)[3]
        why = refusal(driver.state, JobChange.END, other)
        assert why is not None and why.key == "nothing cut yet"

    def test_what_the_blade_on_the_saw_cannot_cut_is_not_asked_for(self) -> None:
        """All of part A is cut by the first blade; the second is too wide for it."""
        listed = replace(plan(30, 6, ends=1), joint=JointPlan("listed", widths=tuple(map(F, (9, 5, 9, 7)))))
        driver = Driver(job(listed, few_checks()))
        narrow = next(s for s in driver.state.the_job.setups if s.part == "A")
        assert narrow.number == driver.state.setup or driver.state.the_job.setups[0].part == "B"
        if narrow.number != driver.state.setup:
            asked_and_yes(driver, Intent.BOARD, narrow.number)
        whole_setup(driver)
        kerf_changed(driver.state, F(8), True)
        change_kerf(driver, F(8), True)
        for what in (JobChange.END, JobChange.SPOILT, JobChange.COPY):
            why = refusal(driver.state, what, narrow.number)
            assert why is not None and why.key == "kerf does not fit"
        why = refusal(driver.state, JobChange.SOCKET, narrow.number, 1)
        assert why is not None and why.key == "kerf does not fit"


class TestTheJournal:
    def facts(self) -> list[f.Fact]:
        driver = four_ends()
        driver.cut(1)
        change_kerf(driver, F(4), True)
        return [record.fact for record in driver.records]

    def test_it_reads_back_and_replays_to_the_same_job(self) -> None:
        state, driver = State(), four_ends()
        driver.cut(3)
        change_kerf(driver, F(4), True)
        board_out(driver)
        driver.gesture("hold")
        for record in driver.records:
            text = codec.encode(record.fact)
            fact = codec.decode(record.fact.kind, record.fact.version, text)
            assert fact == record.fact and misfit(state, fact) == ""
            state = apply(state, replace(record, fact=fact))
        assert (state.job, state.cuts, state.status) == (driver.state.job, driver.state.cuts, driver.state.status)
        assert job_from_json(job_to_json(driver.state.the_job)) == driver.state.the_job

    def test_before_a_kerf_could_change_it_stayed(self) -> None:
        body = '{"patterns":[],"setups":[],"order":[1,2,3,4],"why":"copy"}'
        fact = codec.decode("job_extended", 1, body)
        assert fact == f.JobExtended((), (), (1, 2, 3, 4), "copy")
        job_ = four_ends().state.the_job
        assert isinstance(fact, f.JobExtended) and fact.extend(job_) == job_
        assert "kerf" not in repr(fact)

    def test_jobs_stored_before_say_nothing_of_overlap_and_overrun(self) -> None:
        stored = job_to_json(replace(four_ends().state.the_job, overlap=F(1, 3), overrun=F(1)))
        assert (job_from_json(stored).overlap, job_from_json(stored).overrun) == (F(1, 3), 1)
        del stored["overlap"], stored["overrun"]
        assert (job_from_json(stored).overlap, job_from_json(stored).overrun) == (F(1, 5), 0)

    def begun(self) -> tuple[State, f.JobExtended]:
        """A session with one pass cut, and the change of its kerf that follows."""
        before = [fact for fact in self.facts() if not isinstance(fact, f.JobExtended)]
        (change,) = [fact for fact in self.facts() if isinstance(fact, f.JobExtended)]
        state = State()
        for n, fact in enumerate(before[: [type(x) for x in before].index(f.BoardChosen)], 1):
            state = apply(state, f.Record(n, 0.0, "", fact))
        return state, change

    def test_a_change_that_forgets_what_is_cut_is_refused(self) -> None:
        state, change = self.begun()
        assert misfit(state, change) == ""
        forgetful = [replace(pattern, before=()) for pattern in change.patterns]
        assert "leaves out setup 1, of which something is cut" in misfit(
            state, replace(change, patterns=tuple(forgetful))
        )
        assert "its kerf is 1/5 mm" in misfit(state, replace(change, kerf="1/5"))

    def test_what_is_cut_into_one_end_does_not_go_on_in_the_other(self) -> None:
        state, change = self.begun()
        turned = tuple(replace(setup, end=3 - setup.end) for setup in change.setups)
        assert "leaves out setup 1, of which something is cut" in misfit(state, replace(change, setups=turned))


@dataclass
class Bench:
    """The boards as they lie on the bench. Each pass takes as much wood as the blade is wide that is on the saw then.

    old_figures: kerfs are as wide as they were laid out, since it was the figure that was wrong, not the blade.
    """

    job: Job
    old_figures: bool
    gone: dict[tuple[str, int, int, Fraction], list[Span]] = field(default_factory=dict)
    thrown_away: set[tuple[str, int]] = field(default_factory=set)

    def read(self, fact: f.Fact) -> None:
        match fact:
            case f.JobExtended():
                self.job = fact.extend(self.job)
            case f.PassCut(setup, pass_):
                pattern = self.job.pattern_of(setup)
                self.gone.setdefault(self.end(setup), []).append(self._cut(pattern, pass_))
            case f.SetupReopened(setup, _, 0, _):
                self.gone[self.end(setup)] = []
            case f.BoardSpoilt(setups):
                self.thrown_away |= {self.end(setup)[:2] for setup in setups}

    def _cut(self, pattern: Pattern, pass_: int) -> Span:
        one, inside = pattern.passes[pass_ - 1], self.job.carriage.zero == "inside"
        kerf = one.kerf_to - one.kerf_from if self.old_figures else self.job.kerf
        at = one.setting + one.shift - (0 if inside else kerf)
        span = at, at + kerf
        return (pattern.width - span[1], pattern.width - span[0]) if pattern.mirrored else span

    def end(self, setup: int) -> tuple[str, int, int, Fraction]:
        one = self.job.setups[setup - 1]
        return one.board, one.first_copy, one.end, self.job.pattern_of(setup).depth

    def kept(self) -> Iterator[tuple[Setup, list[Span]]]:
        """Each end that is kept: a setup of it, and the stretches that are gone."""
        for end in {self.end(n): n for n in self.job.order if self.end(n)[:2] not in self.thrown_away}:
            found: list[Span] = []
            for low, high in sorted(self.gone.get(end, [])):
                if found and low <= found[-1][1]:
                    found[-1] = found[-1][0], max(high, found[-1][1])
                else:
                    found.append((low, high))
            number = next(n for n in self.job.order if self.end(n) == end)
            yield self.job.setups[number - 1], found

    def check(self) -> None:
        # Rounding moves a wall by half a step of the carriage at the most, and kerfs overlap by more.
        step = self.job.carriage.resolution / 2
        for setup, gone in self.kept():
            pattern = self.job.patterns[setup.pattern]
            assert len(gone) == len(pattern.sockets), f"setup {setup.number} of {self.job.order}"
            for (low, high), socket in zip(gone, pattern.sockets, strict=True):
                assert low <= socket.start + step and high >= socket.end - step, "no wood is left in a socket"
                assert socket.start <= 0 or low >= socket.start - step, "and none is gone from a finger"
                assert socket.end >= pattern.width or high <= socket.end + step


def bench_of(driver: Driver, old_figures: bool) -> Bench:
    (first, *facts) = [record.fact for record in driver.records]
    assert isinstance(first, f.Started)
    bench = Bench(first.job, old_figures)
    for fact in facts:
        bench.read(fact)
    return bench


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.integers(15, 60),
    st.integers(4, 9),
    st.lists(st.tuples(st.integers(0, 7), st.integers(150, 600)), min_size=1, max_size=4),
    st.booleans(),
    st.sampled_from(["outside", "inside"]),
)
def test_after_any_kerfs_the_joints_are_as_they_were_laid_out(
    width: int, finger: int, changes: list[tuple[int, int]], other_blade: bool, zero: str
) -> None:
    """So many passes with one kerf, so many with the next, in whichever setup they fall."""
    assume(width > 2 * finger and width % finger != 1)
    driver = Driver(job(plan(width, finger, ends=1), few_checks(), Carriage(zero=zero)))
    for passes, hundredths in changes:
        for _ in range(passes):
            if driver.state.mode != "finished":
                _to_a_call(driver)
                driver.gesture("tap")
        if driver.state.question is not None or driver.state.mode == "finished":
            continue
        kerf = F(hundredths, 100)
        if not other_blade:  # measured again, it is near what it was
            kerf = driver.state.the_job.kerf + (kerf - 3) / 30
        try:
            change_kerf(driver, kerf, other_blade)
        except BadInput as error:
            assert all("narrower than a kerf of" in fault.what for fault in error.faults)
    for _ in range(2_000):
        if driver.state.mode == "finished":
            break
        _go_on(driver)
    assert driver.state.mode == "finished" and driver.state.left_in_all == 0
    bench_of(driver, not other_blade).check()


def _to_a_call(driver: Driver) -> None:
    for _ in range(60):
        if driver.state.effective_mode == "cutting" or driver.state.mode == "finished":
            return
        driver.gesture("hold", after=15)


def _go_on(driver: Driver) -> None:
    if driver.state.effective_mode != "cutting":
        driver.gesture("hold", after=15)
    elif isinstance(driver, Watched) and driver.state.the_job.carriage.drive:
        driver.cut_one()
    else:
        driver.gesture("tap")


OTHERS = (Intent.BACK, Intent.YES, Intent.YES, Intent.STAND_BY, Intent.CARRY_ON, Intent.MARK, Intent.GO_TO)


def jobs(chance: random.Random) -> Job:
    boards = plan(30, 6, count=chance.choice((1, 2)))
    kind = chance.randrange(7)
    if kind == 0:
        return job(boards, few_checks(EVERY_TWO))
    if kind == 5:
        return job(LINED, few_checks())
    if kind == 6:
        return job(FROM_BOTH_EDGES, few_checks(), SHORT)
    if kind == 1:
        return job(plan(84, 6, ends=2, parts="A"), None, IN_TWO)
    if kind == 2:
        return driven_job(boards, None, home=chance.choice(("switch", "by hand")))
    if kind == 3:
        return job(SLOTTED, few_checks())
    return job(boards, tuple(c for c in DEFAULT_CHECKS if c.name != "setting bar out"), Carriage(zero="inside"))


@pytest.mark.parametrize("other_blade", [False, True], ids=["measured", "other blade"])
@pytest.mark.parametrize("seed", every(4, range(60)))
def test_whatever_becomes_of_it_every_board_that_is_kept_has_its_joint(seed: int, other_blade: bool) -> None:
    chance = random.Random(7000 + seed)
    driver = Watched(jobs(chance))
    replay, read = State(), 0
    while driver.state.effective_mode != "checks":  # a driven carriage is homed before the first board is named
        _go_on(driver)
    change_kerf(driver, F(3) if other_blade else KERF + F(4, 100), other_blade)
    for _ in range(140):
        _do_something(driver, chance, other_blade)
        for record in driver.records[read:]:
            assert misfit(replay, record.fact) == "", f"seed {seed}"
            replay = apply(replay, record)
        read = len(driver.records)
        names = ("setup", "cuts", "status", "chosen", "job", "confirmed", "marked", "saw_runs")
        assert all(getattr(replay, name) == getattr(driver.state, name) for name in names), f"seed {seed}"
        assert driver.watcher is not None and driver.state.cut_in_all == driver.watcher.cut_in_all()
        assert not driver.state.chosen or driver.state.chosen in driver.state.the_job.order
    for _ in range(4_000):
        if driver.state.mode == "finished":
            break
        _go_on(driver)
    assert driver.state.mode == "finished"
    bench_of(driver, not other_blade).check()
    assert coming(driver.state) == 0


def _do_something(driver: Watched, chance: random.Random, other_blade: bool) -> None:
    kind, state = chance.random(), driver.state
    setups = len(state.the_job.setups)
    if kind < 0.62:
        _go_on(driver)
    elif kind < 0.72:
        _change(driver, chance, other_blade)
    elif kind < 0.84:
        intent = chance.choice(CHANGES if setups < 40 else (Intent.BOARD, Intent.REDO, Intent.SOCKET))
        argument: str | int | None = chance.choice((None, chance.randint(0, setups + 1)))
        if intent is Intent.SOCKET:
            argument = f"{chance.randint(1, setups)}.{chance.randint(0, 4)}"
        driver.heard(intent, argument, after=14)
    elif kind < 0.95:
        intent = chance.choice(OTHERS)
        driver.heard(intent, chance.randint(1, 6) if intent is Intent.GO_TO else None, after=14)
    elif state.mode == "finished":
        return
    elif kind < 0.98:
        driver.resume()
    elif state.the_job.carriage.drive:
        driver.loses()


def _change(driver: Watched, chance: random.Random, other_blade: bool) -> None:
    state = driver.state
    if state.effective_mode not in ("checks", "cutting", "standing by") or len(state.the_job.setups) > 200:
        return
    kerf = F(chance.randint(150, 600), 100) if other_blade else state.the_job.kerf + F(chance.randint(-5, 5), 100)
    try:
        made = kerf_changed(state, kerf, other_blade)
    except BadInput as error:
        assert error.faults and all(fault.mend for fault in error.faults)
    else:
        take_in(driver, made)


def test_of_a_rest_the_kerfs_before_lie_where_their_settings_put_them() -> None:
    driver = four_ends(F(313, 100))
    driver.cut(1)
    change_kerf(driver, F(4), True)
    left = driver.state.the_job.pattern_of(5)
    carriage = driver.state.the_job.carriage
    assert all(abs(rounding_error(one, carriage)) <= carriage.resolution / 2 for one in (*left.before, *left.passes))


def asked_for_the_kerf() -> Driver:
    driver = four_ends()
    driver.cut(1)
    driver.confirm_all()
    driver.gesture("hold")
    driver.heard(Intent.MISHAP, str(Mishap.KERF))
    driver.gesture("hold")
    assert driver.state.question and driver.state.question.name == "figure"
    return driver


def test_by_taps_the_kerf_goes_twenty_steps_up_then_on_from_twenty_below() -> None:
    driver = asked_for_the_kerf()
    seen = []
    for _ in range(21):
        driver.gesture("tap")
        assert driver.state.question
        seen.append(driver.state.question.figure)
    assert seen == [*range(319, 339), 298]


def test_the_greatest_figure_can_be_given_and_none_beyond_it() -> None:
    driver = asked_for_the_kerf()
    driver.heard(Intent.FIGURE, 999)
    assert driver.state.question and driver.state.question.figure == 999
    driver.heard(Intent.FIGURE, 1000)
    assert driver.state.question and driver.state.question.figure == 0 and "can't be right for a kerf" in driver.said
