"""Another blade on the saw: it stays open until its kerf is given or the old blade is back, whatever happens meanwhile.

And what two blades leave of an end: a board that can't be gone on with, and a step in a socket.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.plans.checks import After, again_after
from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job
from assistant.screens.view_heading import heading_of
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.effects import Prompt, prompt
from assistant.session.events import WentOut
from assistant.session.kinds import SetupStatus
from assistant.session.other_kerf import is_of_another_blade
from assistant.session.state import State
from assistant.session.turn import view
from assistant.wording.prompts import Words
from tests.session.driver import UTC, Driver
from tests.session.drives import Rig, driven_job
from tests.session.jobs import job, plan
from tests.session.test_halves import both_edges, two_ends
from tests.session.test_mishaps import answers, carried_on, hold_until, of, tell, whole_setup
from tests.session.test_rework import Watched

OLD_BLADE_BACK = "Is the old blade back on? Fitted as the saw's manual says, and turned once by hand, touching nothing?"


def reported(cut: int = 3, a_job: Job | None = None) -> Watched:
    """So many passes of the first of two boards of part A are cut; then another blade, and its kerf is asked for."""
    driver = Watched(a_job or job(plan(30, 6, count=2, parts="A")))
    driver.cut(cut)
    driver.confirm_all()
    driver.heard(Intent.STAND_BY)
    tell(driver, Mishap.BLADE)
    answers(driver, "yes")
    assert asked(driver) == "figure"
    return driver


def asked(driver: Driver) -> str:
    return str(driver.state.question.name) if driver.state.question else ""


def asked_about_the_blade_again(driver: Driver) -> None:
    for _ in range(9):
        if asked(driver) == "safe":
            break
        assert driver.state.effective_mode != "cutting", "nobody may cut with it open"
        driver.gesture("hold")
    assert "You reported this before the interruption. Another blade is on the saw." in driver.said


class TestItStaysOpen:
    def test_a_double_tap_at_the_kerf_asks_for_the_old_blade_and_no_for_the_kerf_again(self) -> None:
        driver = reported()
        assert "Tap to add one, long press if that is right, double tap if the old blade is back on." in driver.said
        answers(driver, "tap", "no")
        assert driver.said.startswith(OLD_BLADE_BACK) and "Saw still isolated, plug out?" in driver.said
        assert heading_of(view(driver.state), Words(driver.state.the_job, figures=True)).left == (
            "OLD BLADE",
            "BACK ON?",
        )
        driver.gesture("tap")
        assert asked(driver) == "old blade", "a tap is no answer to that"
        answers(driver, "no")
        assert asked(driver) == "figure" and "Kerf three point one eight millimetres?" in driver.said
        assert driver.all_kinds[-1] == "went_wrong"

    def test_by_voice_it_is_the_same(self) -> None:
        driver = reported()
        driver.heard(Intent.NO)
        assert asked(driver) == "old blade"
        driver.heard(Intent.NO)
        assert asked(driver) == "figure"
        driver.heard(Intent.NO)
        driver.heard(Intent.YES)
        assert driver.kinds == ["old_blade_back"]

    def test_a_no_to_what_is_read_back_asks_for_the_kerf_again(self) -> None:
        driver = reported()
        answers(driver, 300, "yes")
        assert "Kerf three millimetres instead of three point one eight" in driver.said
        answers(driver, "no")
        assert asked(driver) == "figure"
        answers(driver, 290, "yes", "yes")
        assert driver.state.the_job.kerf == Fraction(29, 10)

    @pytest.mark.parametrize("left_at", [(), ("no",), ("no", "no"), (300, "yes"), (300, "yes", "no")], ids=str)
    def test_a_kill_leaves_it_open(self, left_at: tuple[str | int, ...]) -> None:
        driver = reported()
        answers(driver, *left_at)
        driver.resume()
        asked_about_the_blade_again(driver)
        answers(driver, "no")
        assert asked(driver) == "old blade" and driver.state.mode == "standing by", "no is not that there was none"
        answers(driver, "no")
        assert asked(driver) == "figure"
        answers(driver, 300, "yes", "yes")
        assert driver.state.the_job.kerf == 3 and driver.state.unsettled is None

    def test_taps_go_to_no_other_mishap_while_it_is_asked_about_again(self) -> None:
        driver = reported()
        driver.resume()
        asked_about_the_blade_again(driver)
        driver.gesture("tap")
        assert driver.state.question and driver.state.question.mishap == Mishap.BLADE

    @pytest.mark.parametrize("mishap", [*Mishap, None])
    def test_nothing_that_is_told_or_done_while_standing_by_takes_its_place(self, mishap: Mishap | None) -> None:
        told = reported()
        state = State()
        for fact in (*(record.fact for record in told.records), f.StoodBy("pedal")):  # type: ignore[arg-type]
            state = apply(state, f.Record(state.n + 1, told.at, UTC, fact))
        driver = Driver(state=state)
        driver.send(WentOut(told.at, UTC, state.generation))
        if mishap:
            driver.heard(Intent.MISHAP, str(mishap))
        else:
            driver.gesture("hold")
        assert driver.state.question and driver.state.question.mishap == Mishap.BLADE, driver.said
        assert "You reported this before the interruption." in driver.said and not driver.kinds

    def test_it_is_open_on_a_driven_carriage_too(self) -> None:
        rig = Rig(driven_job())
        rig.to_first_call()
        rig.cut_one()
        rig.hold()
        tell(rig, Mishap.BLADE)
        answers(rig, "yes", "no")
        assert asked(rig) == "old blade"
        answers(rig, "yes")
        assert rig.kinds == ["old_blade_back"] and not rig.state.driving.known, "it is homed for the blade put back"


class TestTheOldBladeIsBack:
    def test_what_a_blade_put_back_calls_for_is_checked_and_the_rest_is_cut_by_its_kerf(self) -> None:
        """Zero and height are due for any blade that was fitted, a fresh face of the backing only for another one."""
        driver = reported()
        answers(driver, "no", "yes")
        assert driver.kinds == ["old_blade_back"]
        assert driver.said == "The kerf stays as it was. Standing by. Saw off. Long press to carry on."
        assert view(driver.state).card is None, "no test kerf has to be cut"
        names = {check.name: again_after(check) for check in driver.state.the_job.checks}
        fitted = {name for name, after in names.items() if After.BLADE_FITTED in after}
        assert fitted == {"zero", "blade height"}
        due = carried_on(driver)
        assert due == ["zero", "registered", "edge and face", "clamps", "guard", "blade height"]
        assert driver.state.cursor == 4 and not of(driver, f.JobExtended)
        assert (driver.state.the_job.kerf, driver.state.the_job.blade_since) == (Fraction("3.18"), 0)
        whole_setup(driver)

    def test_a_face_that_was_spoilt_before_is_still_asked_for(self) -> None:
        driver = Watched(job(plan(30, 6, count=2, parts="A")))
        driver.cut(3)
        driver.heard(Intent.STAND_BY)
        tell(driver, Mishap.CHIPPED)
        answers(driver, "yes", "yes")
        tell(driver, Mishap.BLADE)
        answers(driver, "yes", "no", "yes")
        assert "backing" in carried_on(driver)

    def test_another_blade_that_stays_wants_a_fresh_face(self) -> None:
        driver = reported()
        answers(driver, "yes", "yes")
        assert driver.state.unsettled is None and "backing" in carried_on(driver)

    def test_it_can_be_reported_again(self) -> None:
        driver = reported()
        answers(driver, "no", "yes")
        tell(driver, Mishap.BLADE)
        assert "before the interruption" not in driver.said
        answers(driver, "no")
        assert driver.state.question is None and "report it again" in driver.said, "nothing has been told yet"


class TestJournalsFromBefore:
    """They hold sessions that went on with the old kerf after another blade had been told and left."""

    def state(self, *facts: f.Fact) -> State:
        driver = reported()
        records = list(driver.records)
        records += [f.Record(len(records) + n, driver.at, UTC, fact) for n, fact in enumerate(facts, start=1)]
        state = State()
        for record in records:
            state = apply(state, record)
        return state

    @pytest.mark.parametrize("fact", [f.CarriedOn("pedal"), f.CutsSure(1), f.SetupStarted(2)], ids=lambda one: one.kind)  # type: ignore[arg-type]
    def test_what_settled_it_then_settles_it_and_a_fresh_face_is_due(self, fact: f.Fact) -> None:
        state = self.state(fact)
        checks = [check.name for check in state.the_job.checks]
        assert state.unsettled is None and state.redo >> checks.index("backing") & 1
        assert self.state().unsettled == Mishap.BLADE and not self.state().redo >> checks.index("backing") & 1


HALF_CUT = "another blade has cut one half of this end, and both must be cut with the same."


class TestOneHalfCutByTheOldBlade:
    @pytest.fixture(params=[both_edges, two_ends], ids=["both edges", "distance piece"])
    def driver(self, request: pytest.FixtureRequest) -> Watched:
        driver = Watched(request.param())
        driver.cut(driver.state.passes)
        driver.count()
        driver.confirm_all()
        driver.heard(Intent.STAND_BY)
        tell(driver, Mishap.BLADE)
        answers(driver, "yes", 300, "yes")
        return driver

    def test_the_refusal_is_followed_by_both_ways_out(self, driver: Watched) -> None:
        assert HALF_CUT in driver.said and "Put the old blade back, or count the board as spoilt." in driver.said
        assert asked(driver) == "old blade" and "Is the old blade back on?" in driver.said
        answers(driver, "no")
        assert asked(driver) == "spoilt" and "count it as spoilt, and cut another in its place?" in driver.said

    def test_the_old_blade_is_put_back(self, driver: Watched) -> None:
        answers(driver, "yes")
        assert driver.kinds == ["old_blade_back"]
        hold_until(driver, 2, "cutting")
        whole_setup(driver)
        assert driver.state.status[:2] == (SetupStatus.CUT, SetupStatus.CUT)

    def test_the_board_is_spoilt_and_then_the_kerf_will_do(self, driver: Watched) -> None:
        answers(driver, "no", "yes")
        assert driver.kinds[:2] == ["board_spoilt", "job_extended"] and asked(driver) == "figure"
        assert driver.state.mode == "standing by" and driver.state.unsettled == Mishap.BLADE
        answers(driver, 300, "yes", "yes")
        job_ = driver.state.the_job
        assert job_.kerf == 3 and driver.state.unsettled is None
        assert "cut a test kerf in an offcut" in driver.said, "what to do with another blade is said all the same"
        new = driver.state.counted[0]
        assert not is_of_another_blade(job_, new)
        hold_until(driver, new, "cutting")

    def test_a_kill_after_it_was_spoilt_leaves_the_blade_open(self, driver: Watched) -> None:
        answers(driver, "no", "yes")
        driver.resume()
        asked_about_the_blade_again(driver)
        answers(driver, "yes", 300, "yes", "yes")
        assert driver.state.the_job.kerf == 3
        hold_until(driver, driver.state.counted[0], "cutting")

    def test_whoever_keeps_the_board_is_asked_for_the_kerf_again(self, driver: Watched) -> None:
        answers(driver, "no", "no")
        assert asked(driver) == "figure" and not of(driver, f.BoardSpoilt)


def test_no_board_is_given_up_for_a_kerf_that_fits_nowhere() -> None:
    driver = reported(1)
    answers(driver, 650, "yes")
    assert asked(driver) == "figure" and "Use a blade with a kerf of 6.05 mm or less." in driver.said


class TestAStepInTheSocket:
    def begun(self) -> Watched:
        """One pass of the first board by the old blade, one by another; all is too deep since that was put on."""
        driver = reported(1)
        answers(driver, 280, "yes", "yes")
        hold_until(driver, driver.state.chosen, "cutting")
        driver.gesture("tap")
        driver.heard(Intent.STAND_BY)
        return driver

    def too_deep(self, driver: Driver, figure: int) -> None:
        tell(driver, Mishap.DEEP)
        answers(driver, "yes", figure, "yes", "yes")
        assert driver.kinds[0] == "depth_set"
        driver.gesture("hold")

    def ended(self, driver: Driver) -> str:
        while driver.state.mode != "finished":
            driver.gesture("tap" if driver.state.effective_mode == "cutting" else "hold", after=12)
        return driver.said

    def test_it_is_named_with_its_height_when_all_is_cut(self) -> None:
        driver = self.begun()
        rest = driver.state.setup
        self.too_deep(driver, 4)
        driver.resume()
        said = self.ended(driver)
        words = Words(driver.state.the_job)
        step = f"a step in the sockets: zero point four millimetres in setup {words.count(rest)}."
        assert f"The cuts of two blades leave {step} All cut." in said

    def test_and_when_the_session_is_ended_early(self) -> None:
        driver = self.begun()
        self.too_deep(driver, 4)
        hold_until(driver, driver.state.setup, "cutting")
        driver.heard(Intent.END)
        answers(driver, "yes")
        assert "leave a step in the sockets: zero point four millimetres in setup" in driver.said

    def test_deeper_twice_it_is_as_high_as_both(self) -> None:
        driver = self.begun()
        self.too_deep(driver, 4)
        hold_until(driver, driver.state.setup, "cutting")
        driver.gesture("tap")
        driver.heard(Intent.STAND_BY)
        self.too_deep(driver, 3)
        assert "leave a step in the sockets: zero point seven millimetres in setup" in self.ended(driver)

    def test_none_is_left_where_the_old_blade_cut_as_deep(self) -> None:
        """All was cut at one height, and told before any other was confirmed; a first board is all cut, too."""
        driver = Watched(job(plan(30, 6, count=3, parts="A")))
        whole_setup(driver)
        driver.cut(1)
        driver.confirm_all()
        driver.heard(Intent.STAND_BY)
        tell(driver, Mishap.BLADE)
        answers(driver, "yes", 280, "yes", "yes")
        rest = driver.state.chosen
        driver.heard(Intent.STAND_BY)
        driver.gesture("hold")
        hold_until(driver, rest)
        driver.heard(Intent.STAND_BY)
        tell(driver, Mishap.DEEP)
        answers(driver, "yes", 4, "yes")
        assert "stays less deep" not in driver.said
        answers(driver, "yes")
        assert driver.kinds[0] == "depth_set"
        driver.gesture("hold")
        assert "step" not in self.ended(driver)

    def test_nor_in_a_board_that_was_spoilt(self) -> None:
        driver = self.begun()
        self.too_deep(driver, 4)
        driver.heard(Intent.STAND_BY)
        driver.heard(Intent.SPOILT)
        answers(driver, "yes")
        assert "step" not in self.ended(driver)

    def test_it_is_in_the_unit_that_is_worked_in_and_of_many_the_highest_is_named(self) -> None:
        job_ = job(plan(30, 6, count=2, parts="A"))
        words = Words(replace(job_, carriage=replace(job_.carriage, unit="in")), figures=True)
        step = Fraction(254, 1000)
        assert "0.01 in in setup 3" in words.one(_steps((3, step)))
        many = words.one(_steps(*((n, n * step) for n in range(1, 9))))
        assert "up to 0.08 in in 8 setups" in many
        slotted = Words(replace(job_, layout="slots"))
        assert "a step in the slots" in slotted.one(_steps((3, step)))


def _steps(*steps: tuple[int, Fraction]) -> Prompt:
    return prompt("steps left", steps=steps)
