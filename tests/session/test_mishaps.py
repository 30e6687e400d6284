"""What went wrong, by example: what is asked, what is recorded, and what is due before the next pass."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.joinery.model import Carriage
from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.screens.view_heading import heading_of
from assistant.session import facts as f
from assistant.session.aftermath import OF
from assistant.session.apply import apply
from assistant.session.events import Resume
from assistant.session.kinds import JobChange, SetupStatus
from assistant.session.rework import change_job
from assistant.session.slip import trial
from assistant.session.state import State, WrongCut
from assistant.session.turn import Turn, view
from assistant.wording.prompts import Words
from tests.session.driver import UTC, Driver
from tests.session.drives import Rig, driven_job
from tests.session.jobs import HANDWHEEL, few_checks, job, plan
from tests.session.test_halves import both_edges


def standing_by(cut: int = 3, carriage: Carriage | None = None, parts: str = "A", **kinds: object) -> Driver:
    """Two boards of part A on a board of five 6 mm segments (the kerf 3.18), so many passes cut, and standing by."""
    driver = Driver(job(plan(30, 6, count=2, parts=parts, **kinds), carriage=carriage))  # type: ignore[arg-type]
    driver.cut(cut)
    driver.confirm_all()
    driver.gesture("hold")
    return driver


def tell(driver: Driver, mishap: Mishap) -> None:
    driver.heard(Intent.MISHAP, str(mishap))
    assert driver.state.question and driver.state.question.name == "safe"
    assert "Long press for yes" in driver.said


def answers(driver: Driver, *given: str | int) -> None:
    for one in given:
        if isinstance(one, int):
            driver.heard(Intent.FIGURE, one)
        else:
            driver.gesture({"yes": "hold", "no": "double", "tap": "tap"}[one])


def carried_on(driver: Driver) -> list[str]:
    """Carry on, answer everything with yes, and return what was asked until the next setting."""
    driver.gesture("hold")
    asked = []
    while driver.state.effective_mode in ("question", "checks"):
        question = driver.state.question
        asked.append(str(question.name) if question else driver.asked)
        driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
    return asked


def of(driver: Driver, kind: type[f.Fact]) -> list[f.Fact]:
    return [record.fact for record in driver.records if isinstance(record.fact, kind)]


def test_work_that_has_slipped_is_tried_in_the_last_cut_that_is_sure() -> None:
    driver = standing_by()
    tell(driver, Mishap.SLIPPED)
    answers(driver, "yes")
    assert driver.kinds == ["went_wrong"] and "Was pass three cut before that" in driver.said
    answers(driver, "no")
    assert driver.kinds == ["stepped_back"] and not driver.state.is_cut(3)
    answers(driver, "yes")
    assert driver.state.mode == "standing by" and "tried against the still blade" in driver.said
    assert view(driver.state).asked_again == ("where the work lies", "clamps", "guard")
    driver.gesture("hold")
    # Pass 2 of part A ends at its socket's far wall: 12 mm, and half the clearance of 0.1 mm less for each finger.
    assert driver.state.question and driver.state.question.name == "registered"
    assert "Carriage to pass two" in driver.said and "move the work, not the carriage" in driver.said
    driver.gesture("hold")
    assert driver.kinds[0] == "reregistered" and driver.asked == "edge and face"
    assert carried_on_from_checks(driver) == ["edge and face", "clamps", "guard"]
    assert driver.state.cursor == 3


def carried_on_from_checks(driver: Driver) -> list[str]:
    asked = []
    while driver.state.mode == "checks":
        asked.append(driver.asked)
        driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
    return asked


def test_nothing_said_of_the_clamps_makes_up_for_trying_work_that_has_slipped() -> None:
    driver = standing_by()
    tell(driver, Mishap.SLIPPED)
    answers(driver, "yes")
    driver.resume()
    answers(driver, "yes")  # the carriage stands where it stood; of the clamps nothing is asked
    assert "The board has slipped. Was pass three cut before that" in driver.said, "nobody has answered that yet"
    answers(driver, "yes")
    assert driver.state.question and driver.state.question.name == "registered"


def test_where_nothing_is_cut_there_is_only_the_edge_to_go_by() -> None:
    driver = standing_by(0)
    tell(driver, Mishap.SLIPPED)
    answers(driver, "yes")
    assert driver.state.mode == "standing by", "no cut can be sure"
    assert "the board is put to the stop and clamped" in driver.said and "still blade" not in driver.said
    driver.gesture("hold")
    assert "you have only the edge to go by" in driver.said and "to the left stop, and clamp" in driver.said


@pytest.mark.parametrize("carriage", [None, HANDWHEEL], ids=["readout", "handwheel"])
def test_a_bumped_carriage_is_set_right_by_a_cut_and_the_work_left_alone(carriage: Carriage | None) -> None:
    driver = standing_by(carriage=carriage)
    tell(driver, Mishap.BUMPED)
    assert "Leave the carriage as it stands." in driver.said
    answers(driver, "yes", "yes")
    driver.gesture("hold")
    assert (
        "Leave the work clamped." in driver.said
        and "move the carriage, coming up, until it fits, and set the reading there to" in driver.said
    )


def test_a_bumped_carriage_is_zeroed_where_nothing_is_cut() -> None:
    driver = standing_by(0)
    tell(driver, Mishap.BUMPED)
    answers(driver, "yes")
    assert "When you carry on, the carriage is zeroed." in driver.said
    assert carried_on(driver) == ["zero", "clamps", "guard"]


@pytest.mark.parametrize("leaves", [False, True], ids=["all cut", "for another board"])
def test_a_bumped_carriage_is_not_forgotten_with_its_board(leaves: bool) -> None:
    """Nothing shows where it stands once the board is out, and the next one would be cut off by as much."""
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    driver.cut(3 if leaves else 4)
    driver.heard(Intent.STAND_BY)
    tell(driver, Mishap.BUMPED)
    answers(driver, "yes", "yes")
    if leaves:
        driver.heard(Intent.BOARD)
        answers(driver, "yes")
    else:
        assert "Before the next board, the carriage is zeroed." in driver.said and "tried" not in driver.said
    asked = []
    while driver.state.mode != "cutting":
        asked.append(driver.asked)
        driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
    assert driver.state.setup == 2 and "zero" in asked and driver.state.cursor == 1


def test_a_carriage_that_was_zeroed_sets_out_from_there() -> None:
    driver = standing_by(4, carriage=HANDWHEEL)
    tell(driver, Mishap.BUMPED)
    answers(driver, "yes")
    while driver.state.mode != "cutting":
        driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
    assert driver.state.came_from == 0 and "From zero: up " in driver.said


def test_with_carriage_and_work_in_doubt_the_carriage_is_zeroed_and_then_the_work_is_tried() -> None:
    """A cut shows only how they lie to each other."""
    driver = standing_by()
    tell(driver, Mishap.JAMMED)
    answers(driver, "yes")
    tell(driver, Mishap.BUMPED)
    answers(driver, "yes", "yes")
    driver.gesture("hold")
    assert driver.asked == "zero"
    driver.gesture("hold")
    assert driver.state.question and driver.state.question.name == "registered"
    assert "move the work, not the carriage" in driver.said


def test_a_bump_that_ended_in_zeroing_leaves_the_work_to_be_put_right() -> None:
    driver = standing_by()
    tell(driver, Mishap.BUMPED)
    answers(driver, "yes", "yes")
    driver.resume()
    answers(driver, "no", "yes")  # which cuts are good has been said, and isn't asked again
    assert driver.state.question and driver.state.question.name == "registered"
    assert "move the work, not the carriage" in driver.said


@pytest.mark.parametrize("kerf", [318, 300], ids=["the same kerf", "another kerf"])
def test_work_that_another_blade_goes_on_with_is_tried_once_the_carriage_is_zeroed_for_it(kerf: int) -> None:
    driver = standing_by()
    tell(driver, Mishap.BLADE)
    answers(driver, "yes", kerf, "yes", "yes")
    asked = []
    while driver.state.mode != "cutting":
        question = driver.state.question
        asked.append(str(question.name) if question else driver.asked)
        driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
    before = [name for name in asked[: asked.index("registered")] if name]
    assert [name for name in before if name != "board out"] == ["zero", "backing"]
    assert asked[asked.index("registered") :] == ["registered", "edge and face", "clamps", "guard", "blade height"]


def test_a_bumped_motor_is_homed_before_anything_is_tried() -> None:
    rig = Rig(driven_job())
    rig.to_first_call()
    rig.cut_one()
    rig.hold()
    tell(rig, Mishap.BUMPED)
    answers(rig, "yes", "yes")
    assert not rig.state.driving.known
    rig.all_sent.clear()
    rig.hold()
    assert rig.state.mode == "move asked" and "down to the home switch" in rig.said
    rig.hold()
    kinds = [type(order).__name__ for order in rig.all_sent]
    assert kinds == ["Home", "MoveTo"] and rig.state.driving.at == rig.state.pattern.passes[0].setting
    assert "The carriage stands at pass one: leave it there." in rig.said
    assert "move the work, not the carriage" in rig.said, "once it was homed, its reading is right"


def test_a_motor_is_homed_for_another_blade() -> None:
    """Where it is zeroed by hand, that is the zero of the new blade."""
    rig = Rig(driven_job(home="by hand"))
    rig.to_first_call()
    rig.cut_one()
    rig.hold()
    tell(rig, Mishap.BLADE)
    answers(rig, "yes", "yes", "yes")
    assert not rig.state.driving.known
    rig.hold()
    while rig.state.mode == "checks":
        rig.hold()
    assert rig.state.mode == "move asked" and "the motor may jump a step" in rig.said


@pytest.mark.parametrize("home", ["switch", "by hand", "no drive"])
@pytest.mark.parametrize("kerf", [318, 300], ids=["the same kerf", "another kerf"])
def test_only_where_a_switch_gives_zero_it_is_said_once_that_it_must_be_calibrated(home: str, kerf: int) -> None:
    """By hand, zeroing the motor is setting it to the new blade."""
    if home == "no drive":
        driver: Driver = standing_by(1)
    else:
        driver = Rig(driven_job(home=home))
        driver.to_first_call()
        driver.cut_one()
        driver.hold()
    told = "run kerfcall calibrate zero, and resume."
    tell(driver, Mishap.BLADE)
    heard = [driver.said]
    for answer in ("yes", kerf, "yes", "yes"):
        answers(driver, answer)
        heard.append(driver.said)
    driver.gesture("hold")
    heard.append(driver.said)
    assert " ".join(heard).count(told) == (home == "switch")


def test_a_cut_in_the_wrong_place_is_judged_by_what_its_finger_keeps() -> None:
    """Of 0.1 mm clearance each wall gives a quarter, so finger 1 is 5.975 mm wide, and pass 1 begins where it ends.

    Half a millimetre nearer to the edge, the kerf takes 0.5 mm of it and leaves 5.475 mm.
    """
    driver = standing_by(1, clearance=Fraction(1, 10))
    tell(driver, Mishap.MISPLACED)
    answers(driver, "yes")
    assert "Was it pass two, the one called now?" in driver.said
    answers(driver, "no")
    assert "Was it pass one?" in driver.said
    answers(driver, "yes", 5)
    assert "Zero point five millimetres." in driver.said
    answers(driver, "yes", "yes")
    keeps = "finger one loses zero point five millimetres and keeps five point four eight millimetres"
    assert keeps in driver.said and "nearer to the reference edge" in driver.said
    assert "A strip glued in can save it, and its mate is as planned." in driver.said
    answers(driver, "yes")
    assert driver.kinds == ["kerf_misplaced", "stepped_back"]
    assert of(driver, f.KerfMisplaced) == [f.KerfMisplaced(1, 1, "-1/2")] and driver.state.marked == ((1, 1),)
    assert carried_on(driver) == ["clamps", "guard"] and driver.state.cursor == 1


def test_a_finger_that_a_strip_cannot_save_is_spoilt_with_its_board() -> None:
    driver = standing_by(1)
    tell(driver, Mishap.MISPLACED)
    answers(driver, "yes", "no", "yes", *["tap"] * 41, "yes", "yes")
    assert "loses three point one eight millimetres and keeps" in driver.said
    assert "A strip can't save that; its mate is good." in driver.said
    answers(driver, "no")
    assert driver.state.question and driver.state.question.name == "spoilt"
    answers(driver, "yes")
    assert driver.kinds[:3] == ["board_spoilt", "job_extended", "board_chosen"]


def test_a_cut_in_the_wrong_place_that_lies_in_a_socket_costs_nothing() -> None:
    driver = standing_by(1)
    tell(driver, Mishap.MISPLACED)
    answers(driver, "yes", "no", "yes", 10, "yes", "no")
    assert "farther from the reference edge: no finger has lost anything" in driver.said
    answers(driver, "yes")
    assert driver.said.startswith("The right cut is still to be made. Standing by.")


def test_a_strip_is_asked_for_only_where_wood_was_lost() -> None:
    driver = standing_by(1)
    tell(driver, Mishap.MISPLACED)
    answers(driver, "yes", "no", "no")
    assert driver.said.startswith("Nothing changed.") and view(driver.state).card is None
    assert "strip" not in driver.said and "right cut" not in driver.said
    tell(driver, Mishap.MISPLACED)
    answers(driver, "yes", "no", "yes", 5, "yes", "yes", "yes")
    assert "The right cut is still to be made. Once the board is cut, make good what was lost" in driver.said
    carried_on(driver)
    driver.gesture("tap")
    driver.gesture("hold")
    tell(driver, Mishap.MISPLACED)
    answers(driver, "yes", "no", "no")
    assert "Once the board is cut, make good what was lost" in driver.said, "there is still that strip to be glued in"
    assert "right cut" not in driver.said


def clamped_again(driver: Driver) -> None:
    """After an interruption, with the work out of its clamps meanwhile."""
    driver.resume()
    answers(driver, "yes", "no")
    assert driver.state.question and driver.state.question.name == "registered"


def test_work_is_not_put_to_a_wall_that_a_cut_in_the_wrong_place_has_moved() -> None:
    """Pass 2 half a millimetre too far has cut away the wall that it ends at, so the one that pass 1 begins at is."""
    driver = standing_by(2)
    tell(driver, Mishap.MISPLACED)
    answers(driver, "yes", "no", "yes", 5, "yes", "no", "yes")
    carried_on(driver)
    driver.gesture("tap")
    clamped_again(driver)
    assert "Carriage to pass one: " in driver.said and "wall towards the reference edge" in driver.said


def left_before_it_was_said_which_cuts_are_good(mishap: Mishap = Mishap.SLIPPED, cut: int = 3) -> Driver:
    """The program is killed while that is asked of the first board; back again, another one is gone on with."""
    driver = standing_by(cut)
    tell(driver, mishap)
    answers(driver, "yes")
    assert driver.state.question and driver.state.question.name == "sure"
    turn = Turn(replayed(driver), Resume(driver.at, UTC))
    change_job(turn, JobChange.BOARD, 2)
    driver.records += [record for record in turn.decision(None).records if not record.fact.passing]
    driver.resume()
    return driver


def replayed(driver: Driver) -> State:
    state = State()
    for record in driver.records:
        state = apply(state, record)
    return state


def hold_until(driver: Driver, setup: int, mode: str = "") -> None:
    """Yes to all, as often as a setup can need."""
    for _ in range(40):
        if driver.state.setup == setup and mode in ("", driver.state.effective_mode):
            return
        driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
    raise AssertionError(driver.said)


def back_to_the_first_board(driver: Driver) -> None:
    hold_until(driver, 2, "cutting")
    driver.heard(Intent.BOARD, 1)
    hold_until(driver, 1)


@pytest.mark.parametrize("mishap", [Mishap.SLIPPED, Mishap.BUMPED, Mishap.DUST])
def test_what_was_left_in_doubt_is_asked_when_the_board_comes_back(mishap: Mishap) -> None:
    """Nobody has said yet which cuts were made after it, and another board has been in the clamps since."""
    driver = left_before_it_was_said_which_cuts_are_good(mishap)
    back_to_the_first_board(driver)
    while driver.asked in ("zero", "backing"):
        driver.gesture("hold")
    question = driver.state.question
    assert question and (question.name, question.pass_, question.mishap) == ("sure", 3, mishap), driver.said
    answers(driver, "no")
    assert driver.kinds == ["stepped_back"] and driver.state.wrong == (WrongCut(1, 3, None),)
    answers(driver, "yes")
    assert driver.state.question and driver.state.question.name == "registered"
    assert "Carriage to pass two" in driver.said


def test_so_it_is_after_one_more_interruption() -> None:
    driver = left_before_it_was_said_which_cuts_are_good()
    back_to_the_first_board(driver)
    driver.resume()
    answers(driver, "yes")
    while driver.asked in ("zero", "backing"):
        driver.gesture("hold")
    assert driver.state.question and driver.state.question.name == "sure"


def test_a_board_that_is_all_cut_is_not_done_with_before_that_was_said() -> None:
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    driver.cut(4)
    driver.heard("stand by")
    tell(driver, Mishap.SLIPPED)
    answers(driver, "yes")
    driver.resume()
    assert driver.state.setup_complete
    answers(driver, "yes")
    assert driver.state.question and driver.state.question.name == "sure"
    answers(driver, "no", "yes")
    assert not driver.state.is_cut(4) and driver.state.question and driver.state.question.name == "registered"


def test_cuts_in_doubt_are_not_relied_on_once_another_blade_goes_on_with_their_end() -> None:
    """They can't be taken back any more; what they may have spoilt is named when all is cut."""
    driver = left_before_it_was_said_which_cuts_are_good()
    hold_until(driver, 2, "cutting")
    driver.heard("stand by")
    tell(driver, Mishap.BLADE)
    answers(driver, "yes", 280, "yes", "yes")
    state, doubtful = driver.state, {(1, 1), (1, 2), (1, 3)}
    assert {(cut.setup, cut.pass_) for cut in state.wrong} == doubtful == set(state.marked) and not state.doubted
    (rest,) = [n for n in state.the_job.order if state.the_job.pattern_of(n).is_rest]
    hold_until(driver, driver.state.chosen or driver.state.setup, "cutting")
    driver.heard(Intent.BOARD, rest)
    hold_until(driver, rest)
    assert trial(driver.state) is None and "you have only the edge to go by" in driver.said


def all_cut_and_another_blade_on() -> Driver:
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    driver.cut(driver.state.passes)
    driver.heard("stand by")
    tell(driver, Mishap.BLADE)
    answers(driver, "yes", 280, "yes", "yes")
    assert driver.state.setup == 1 and driver.state.setup_complete
    return driver


def test_cuts_of_another_blade_are_never_asked_to_be_taken_back() -> None:
    """At their settings this blade would move the walls, so they are left as they are, and named when all is cut."""
    driver = all_cut_and_another_blade_on()
    tell(driver, Mishap.SLIPPED)
    answers(driver, "yes")
    every = {(1, n) for n in range(1, 5)}
    assert "Another blade has cut that" in driver.said and set(driver.state.marked) == every
    driver.resume()
    assert not driver.state.doubted and {(cut.setup, cut.pass_) for cut in driver.state.wrong} == every
    answers(driver, "yes")
    assert driver.state.question is None and driver.asked == "saw off"


def test_nothing_is_left_in_doubt_of_an_end_that_is_cut_off_or_a_board_that_is_spoilt() -> None:
    for change in (Intent.REDO, Intent.SPOILT):
        driver = left_before_it_was_said_which_cuts_are_good()
        assert driver.state.doubted == ((1, Mishap.SLIPPED),)
        hold_until(driver, 2, "cutting")
        driver.heard(change, 1)
        answers(driver, "yes")
        assert driver.state.doubted == ()


@pytest.mark.parametrize("mishap", [Mishap.SLIPPED, Mishap.BUMPED, Mishap.DUST])
def test_nor_into_a_socket_with_a_cut_that_was_made_after_it_had_moved(mishap: Mishap) -> None:
    driver = standing_by()
    tell(driver, mishap)
    answers(driver, "yes", "no", "yes")
    carried_on(driver)
    driver.gesture("tap")
    assert driver.state.is_cut(3)
    clamped_again(driver)
    assert "Carriage to pass two" in driver.said and "wall away from the reference edge" in driver.said


@pytest.mark.parametrize(
    ("mishap", "answered"), [(Mishap.TRIPPED, ["yes"]), (Mishap.LOOSE, ["yes"]), (Mishap.SLIPPED, ["yes", "yes"])]
)
def test_a_cut_that_was_missed_lies_nobody_knows_where_only_if_something_had_moved(
    mishap: Mishap, answered: list[str]
) -> None:
    driver = standing_by()
    tell(driver, mishap)
    answers(driver, *answered)
    tell(driver, Mishap.MISSED)
    answers(driver, "yes", 3, "yes", "yes")
    assert driver.kinds == ["jumped"]
    assert driver.state.wrong == (() if mishap == Mishap.LOOSE else (WrongCut(1, 3, None),))


def test_work_that_slipped_before_anything_was_cut_leaves_no_cut_in_doubt() -> None:
    driver = standing_by(0)
    tell(driver, Mishap.SLIPPED)
    answers(driver, "yes")
    assert not driver.state.doubted
    carried_on(driver)
    driver.gesture("tap")
    driver.gesture("tap")
    driver.heard(Intent.BACK)
    answers(driver, "yes")
    assert driver.kinds[0] == "stepped_back" and driver.state.wrong == ()


def test_so_does_one_that_is_gone_back_to_before_the_work_is_tried() -> None:
    driver = standing_by()
    tell(driver, Mishap.CHIPPED)
    answers(driver, "yes", "yes", "yes")
    assert driver.asked == "backing" and driver.state.moved
    driver.heard(Intent.BACK)
    answers(driver, "yes")
    assert driver.kinds[0] == "stepped_back" and driver.state.wrong == (WrongCut(1, 3, None),)


def test_nothing_of_a_cut_in_the_wrong_place_is_left_once_its_end_is_cut_off_or_its_board_spoilt() -> None:
    for change in (Intent.REDO, Intent.SPOILT):
        driver = standing_by(2)
        tell(driver, Mishap.MISPLACED)
        answers(driver, "yes", "no", "yes", 5, "yes", "no", "yes")
        assert driver.state.wrong == (WrongCut(1, 2, Fraction(1, 2)),)
        driver.heard(change, 1 if change == Intent.REDO else None)
        answers(driver, "yes")
        assert driver.state.wrong == (), change


def second_half_from_the_other_edge() -> Driver:
    """Two passes of it are cut, of a socket that is 5.975 to 12.025 off the edge at the stop; standing by."""
    driver = Driver(both_edges())
    whole_setup(driver)
    driver.cut(2)
    driver.confirm_all()
    driver.gesture("hold")
    return driver


def test_with_the_other_edge_at_the_stop_a_cut_is_judged_from_there() -> None:
    """What lies nearer to the reference edge then lies farther from the edge at the stop, and so in its finger 2."""
    driver = second_half_from_the_other_edge()
    tell(driver, Mishap.MISPLACED)
    answers(driver, "yes", "no", "yes", 5, "yes")
    assert "nearer to the edge at the stop than it should" in driver.said
    answers(driver, "no")
    assert "farther from the edge at the stop; counted from there: finger two loses zero point five" in driver.said
    assert "reference edge" not in driver.said


def test_with_the_other_edge_at_the_stop_a_wall_is_named_by_it() -> None:
    driver = second_half_from_the_other_edge()
    tell(driver, Mishap.SLIPPED)
    answers(driver, "yes", "yes")
    driver.gesture("hold")
    assert "just meets that cut's wall away from the edge at the stop" in driver.said


def test_cuts_that_are_not_deep_enough_are_made_again_on_every_end_since_the_height_was_checked() -> None:
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    whole_setup(driver)
    driver.cut(2)
    driver.gesture("hold")
    assert driver.state.setup == 2
    tell(driver, Mishap.SHALLOW)
    answers(driver, "yes")
    assert (
        "every pass" in driver.said
        and "long side, one of two, end one and long side, two of two, end one" in driver.said
    )
    answers(driver, "yes")
    assert driver.kinds == ["setup_reopened", "setup_reopened"] and driver.state.cuts[:2] == (0, 0)
    assert driver.state.status[:2] == (SetupStatus.REDO, SetupStatus.REDO)
    asked = carried_on(driver)
    assert asked == ["clamped", "clamps", "guard", "blade height"] and driver.state.cursor == 1
    whole_setup(driver)
    while driver.state.setup != 1:
        whole_setup(driver)
    assert driver.state.question and driver.state.question.name == "registered", "put to the kerfs that are there"
    assert "Carriage to pass" in driver.said
    whole_setup(driver)
    assert driver.state.mode == "finished" and driver.state.left_in_all == 0


def whole_setup(driver: Driver) -> None:
    while driver.state.effective_mode == "question":
        driver.gesture("hold")
    driver.cut(driver.state.passes - driver.state.cut_here)
    driver.count()


def with_another_blade_on_what_is_not_deep_enough(cut: int, kerf: int) -> Driver:
    """So many passes of an end, not deep enough; before they are gone over a blade with another kerf is put on."""
    driver = standing_by(cut)
    tell(driver, Mishap.SHALLOW)
    answers(driver, "yes", "yes")
    tell(driver, Mishap.BLADE)
    answers(driver, "yes", kerf, "yes", "yes")
    if driver.state.mode == "standing by":
        driver.gesture("hold")
    while driver.state.effective_mode == "checks":
        driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
    return driver


@pytest.mark.parametrize(
    ("cut", "kerf", "place", "wall"),
    [
        (3, 318, "pass three", "Try the still blade in that kerf"),
        (3, 280, "an earlier cut", "The still blade just meets that cut's wall towards the reference edge"),
        (1, 280, "an earlier cut", "The still blade just meets that cut's wall towards the reference edge"),
        (2, 350, "an earlier cut", "The still blade just meets that cut's wall away from the reference edge"),
    ],
    ids=["the same kerf", "a narrower one", "a narrower one, one pass cut", "a wider one that goes into two kerfs"],
)
def test_a_kerf_that_is_not_deep_enough_shows_how_the_work_lies_to_a_blade_that_goes_into_it(
    cut: int, kerf: int, place: str, wall: str
) -> None:
    driver = with_another_blade_on_what_is_not_deep_enough(cut, kerf)
    assert driver.state.question and driver.state.question.name == "registered"
    assert f"Carriage to {place}: " in driver.said and wall in driver.said
    old = driver.state.the_job.patterns[0].passes
    tried = trial(driver.state)
    assert tried is not None
    if kerf != 318:
        away = "away" in wall
        at = [one.kerf_to if away else one.kerf_from + kerf * Fraction(1, 100) for one in old[:cut]]
        assert min(abs(tried.setting - each) for each in at) <= driver.state.the_job.carriage.resolution
    driver.gesture("hold")
    whole_setup(driver)
    assert driver.state.setup != 1, "all its passes are cut once more, to their depth"


def test_a_wider_blade_meets_wood_in_such_a_kerf_wherever_the_work_lies() -> None:
    driver = with_another_blade_on_what_is_not_deep_enough(1, 350)
    assert "The blade can be tried in none of the cuts, so you have only the edge to go by." in driver.said


def test_a_fresh_backing_comes_before_work_that_another_blade_goes_into_nowhere_is_put_to_its_edge() -> None:
    """Else it would be put there and clamped, and come out again for the backing."""
    driver = standing_by(1)
    tell(driver, Mishap.BLADE)
    answers(driver, "yes", 500, "yes", "yes")
    asked = []
    while not (driver.state.question and driver.state.question.name == "registered"):
        driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
        asked.append(driver.asked)
    assert "The blade can be tried in none of the cuts, so you have only the edge to go by." in driver.said
    assert "backing" in asked and not {"edge and face", "clamps", "guard"} & set(asked)


def test_nothing_is_left_of_such_kerfs_once_their_end_is_cut_off() -> None:
    driver = with_another_blade_on_what_is_not_deep_enough(3, 280)
    driver.heard("no")
    driver.gesture("hold")
    driver.confirm_all()
    driver.heard(Intent.REDO)
    answers(driver, "yes")
    while driver.state.setup == 1 or driver.asked == "board out":
        driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
    assert "First cut its old joint off" in driver.said and not driver.state.to_register
    assert trial(driver.state) is None and not any(driver.state.shallow)


def test_a_board_that_is_not_cut_deeper_can_be_spoilt() -> None:
    driver = standing_by()
    tell(driver, Mishap.SHALLOW)
    answers(driver, "yes", "no")
    assert driver.state.question and driver.state.question.name == "spoilt"
    answers(driver, "yes")
    assert driver.kinds[:3] == ["board_spoilt", "job_extended", "board_chosen"]


def test_an_end_cut_before_the_height_was_checked_again_is_left_alone() -> None:
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    whole_setup(driver)
    driver.cut(1)
    driver.resume()  # after which the blade's height is asked again
    answers(driver, "yes", "yes")
    driver.confirm_all()
    driver.gesture("hold")
    tell(driver, Mishap.SHALLOW)
    answers(driver, "yes", "yes")
    assert [fact.setup for fact in of(driver, f.SetupReopened) if isinstance(fact, f.SetupReopened)] == [2]


def test_where_nothing_was_cut_only_the_height_is_asked_again() -> None:
    driver = standing_by(0)
    tell(driver, Mishap.SHALLOW)
    answers(driver, "yes")
    assert driver.state.mode == "standing by" and "raise the blade to" in driver.said
    assert carried_on(driver) == ["clamps", "guard", "blade height"]


def test_cuts_that_are_too_deep_are_matched_on_every_end() -> None:
    """By 0.4 mm: from now on all ends are cut so deep, and what had its true depth is gone over again."""
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    whole_setup(driver)
    driver.cut(1)
    driver.resume()
    answers(driver, "yes", "yes")
    driver.confirm_all()
    driver.gesture("tap")
    driver.gesture("hold")
    depth = driver.state.pattern.depth
    tell(driver, Mishap.DEEP)
    answers(driver, "yes", 4, "yes")
    assert "The fingers will stand zero point four millimetres proud" in driver.said
    assert "the inside will be zero point four millimetres shorter at each end" in driver.said
    ends = "Long side, one of two, end one and long side, two of two, end one must be cut again, deeper."
    assert ends in driver.said
    answers(driver, "yes")
    assert of(driver, f.SetupReopened)[1:] == [f.SetupReopened(2, (1,), 0, "", deeper=True)], "cut before the check"
    assert {pattern.depth for pattern in driver.state.the_job.patterns} == {depth + Fraction(4, 10)}
    assert driver.state.cuts[:2] == (0, 0b10), "what was cut after it is as deep as that already"
    assert "blade height" in carried_on(driver) and driver.state.cursor == 1


def nothing_cut_by_this_height(cut: int) -> Driver:
    """So many passes are cut, and the blade's height has been confirmed since."""
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    driver.cut(cut)
    if cut:
        driver.resume()
        answers(driver, "yes", "yes")
    driver.confirm_all()
    driver.heard("stand by")
    return driver


@pytest.mark.parametrize("cut", [0, 1])
def test_too_deep_where_nothing_is_cut_by_this_height_has_only_the_height_asked_again(cut: int) -> None:
    """Nothing is spoilt, and no end has to be cut as deep."""
    driver = nothing_cut_by_this_height(cut)
    depth = driver.state.pattern.depth
    tell(driver, Mishap.DEEP)
    answers(driver, "yes")
    assert driver.state.mode == "standing by" and driver.state.question is None
    told = "With the plug still out, lower the blade to twelve point three millimetres above the bed, measured at the"
    assert told in driver.said
    assert driver.kinds == ["went_wrong", "cuts_sure"] and not of(driver, f.DepthSet)
    assert carried_on(driver) == ["clamps", "guard", "blade height"] and driver.state.cursor == cut + 1
    assert {pattern.depth for pattern in driver.state.the_job.patterns} == {depth} and not driver.state.marked


def test_so_it_is_after_an_interruption() -> None:
    driver = nothing_cut_by_this_height(0)
    tell(driver, Mishap.DEEP)
    answers(driver, "yes")
    driver.resume()
    hold_until(driver, 1, "cutting")
    assert not driver.state.unsettled and not of(driver, f.DepthSet)


def test_cuts_too_deep_by_less_than_any_figure_stay_so_marked_or_spoilt() -> None:
    """In inches a figure has steps of 0.01 in, and the blade can be raised by 0.005 in at the most."""
    inch, carriage = Fraction(254, 10), Carriage(resolution=Fraction(254, 10000), unit="in")
    a_job = job(plan(30, 6, count=2, parts="A"), carriage=carriage)
    highest = a_job.patterns[0].depth + inch * Fraction(5, 1000)
    driver = Driver(replace(a_job, highest=highest))
    whole_setup(driver)
    driver.cut(1)
    driver.heard("stand by")
    tell(driver, Mishap.DEEP)
    answers(driver, "yes")
    told = "Nothing else can be cut as deep: the blade reaches no higher than zero point four eight nine three inches."
    assert told in driver.said
    question = driver.state.question
    assert question and (question.name, question.setup) == ("spoilt", 2), "there is no figure to ask for"
    assert driver.state.marked == ((1, 4), (2, 1)) and "Just as deep, and marked now" in driver.said
    driver.resume()
    while not (driver.state.question and driver.state.question.mishap):
        driver.gesture("hold")
    answers(driver, "yes")
    assert driver.state.question and driver.state.question.name == "spoilt", "it is asked after an interruption"
    answers(driver, "yes")
    assert driver.state.marked == ((1, 4),) and driver.state.status[1] == SetupStatus.SPOILT


def test_with_one_step_left_there_is_a_figure() -> None:
    a_job = job(plan(30, 6, count=2, parts="A"))
    driver = Driver(replace(a_job, highest=a_job.patterns[0].depth + Fraction(1, 10)))
    driver.cut(1)
    driver.heard("stand by")
    tell(driver, Mishap.DEEP)
    answers(driver, "yes", "tap", "yes")
    assert driver.state.question and driver.state.question.name == "verdict"


NOT_GOOD = {
    Mishap.MISPLACED: ["yes", "no", "yes", 5, "yes", "yes", "no"],
    Mishap.SHALLOW: ["yes", "no"],
    Mishap.DEEP: ["yes", 4, "yes", "no"],
    Mishap.CUPPED: ["yes", "no"],
    Mishap.CHIPPED: ["yes", "no"],
}


@pytest.mark.parametrize("mishap", NOT_GOOD)
def test_a_silence_says_of_no_board_that_it_is_kept(mishap: Mishap) -> None:
    """Whoever has gone to look at it answers when they are back."""
    driver = standing_by()
    tell(driver, mishap)
    answers(driver, *NOT_GOOD[mishap])
    asked, question = driver.said, driver.state.question
    assert question and question.name == "spoilt"
    driver.wait(15.1)
    driver.wait(600)
    assert driver.state.question == question and not driver.facts and not driver.said
    driver.heard(Intent.AGAIN)
    assert "count it as spoilt, and cut another in its place?" in asked and driver.said in asked
    answers(driver, "yes")
    assert driver.kinds[:3] == ["board_spoilt", "job_extended", "board_chosen"]


def test_a_no_to_that_counts_only_once_it_has_been_asked_aloud() -> None:
    """The second of two double taps is no answer to what nobody has heard."""
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    driver.cut(1)
    driver.heard("stand by")
    driver = Driver(state=replace(driver.state, hear_out=True))
    driver.heard(Intent.MISHAP, str(Mishap.CUPPED))
    for gesture in ("hold", "double"):
        driver.speech("begun")
        driver.gesture(gesture)
    assert driver.state.question and driver.state.question.name == "spoilt"
    driver.gesture("double", after=0.1)
    assert driver.state.question.name == "spoilt" and not driver.kinds
    driver.speech("begun")
    driver.gesture("double")
    assert driver.state.question is None


def test_a_silence_after_a_board_is_called_spoilt_is_still_a_no() -> None:
    """Nothing has gone wrong with it that is known: it is read back, as anything else that was said."""
    driver = standing_by()
    driver.heard(Intent.SPOILT)
    driver.wait(15.1)
    assert driver.state.question is None and "Nothing changed." in driver.said


def three_ends_too_deep() -> Driver:
    """Both ends of the first kind and one pass of the third, all cut at one height; told, and the depth given."""
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    for _ in range(2):
        whole_setup(driver)
    driver.cut(1)
    driver.heard("stand by")
    tell(driver, Mishap.DEEP)
    answers(driver, "yes", 4, "yes")
    assert "As deep already: long side, one of two, end one and long side, two of two, end one." in driver.said
    return driver


def test_where_cuts_too_deep_are_not_matched_every_other_end_that_is_as_deep_stays_marked() -> None:
    driver = three_ends_too_deep()
    job_ = driver.state.the_job
    assert [(one.first_copy, one.end) for one in job_.setups] == [(1, 1), (2, 1), (1, 2), (2, 2)]
    answers(driver, "no")
    assert driver.said.startswith("Just as deep, and marked now: long side, two of two, end one. Count that board")
    assert "Long side, one of two: count it as spoilt" in driver.said
    whole = len(driver.state.the_job.pattern_of(1).passes)
    assert driver.state.marked == ((1, whole), (2, whole), (3, 1))
    answers(driver, "yes")
    assert driver.state.marked == ((2, whole),), "the others are spoilt with their board"
    driver.resume()
    assert driver.state.marked == ((2, whole),)
    while driver.state.mode != "finished":
        driver.gesture("tap" if driver.state.effective_mode == "cutting" else "hold", after=12)
    assert "A problem is marked in setup two at pass" in driver.said


def test_a_board_that_is_neither_matched_nor_spoilt_stays_marked_itself() -> None:
    driver = three_ends_too_deep()
    answers(driver, "no", "no")
    assert [setup for setup, _ in driver.state.marked] == [1, 2, 3] and not of(driver, f.BoardSpoilt)


def too_deep_in_the_first_end() -> Driver:
    """Three of its passes are cut, all of them too deep, and all of them to stay so; carried on."""
    driver = standing_by()
    tell(driver, Mishap.DEEP)
    answers(driver, "yes", 4, "yes", "yes")
    assert not of(driver, f.SetupReopened), "nothing is cut again, only the rest is cut as deep"
    driver.gesture("hold")
    return driver


def test_work_that_comes_out_for_a_fresh_backing_is_tried_again() -> None:
    """The backing is asked about first: another depth wants a fresh face of it."""
    driver = too_deep_in_the_first_end()
    assert driver.asked == "backing"
    driver.gesture("hold")
    assert driver.state.question and driver.state.question.name == "clamped"
    driver.gesture("double")
    assert driver.state.question.name == "registered" and "Carriage to pass three" in driver.said
    driver.gesture("hold")
    assert driver.kinds[0] == "reregistered"
    assert carried_on_from_checks(driver) == ["edge and face", "clamps", "guard", "blade height"]
    assert driver.state.cursor == 4


def test_work_that_stayed_clamped_through_that_is_not_tried() -> None:
    driver = too_deep_in_the_first_end()
    driver.gesture("hold")
    answers(driver, "yes")
    assert carried_on_from_checks(driver) == ["clamps", "guard", "blade height"] and driver.state.cursor == 4
    assert not of(driver, f.Reregistered)


def test_a_missed_pass_is_gone_back_to_with_its_approach() -> None:
    driver = standing_by()
    tell(driver, Mishap.MISSED)
    answers(driver, "yes", 1, "yes", "yes")
    assert driver.kinds == ["jumped"] and carried_on(driver) == ["clamps", "guard"]
    assert driver.state.cursor == 1 and "below, then up to" in driver.said


def test_a_setting_that_was_overshot_is_come_up_to_from_below() -> None:
    driver = standing_by()
    tell(driver, Mishap.OVERSHOT)
    answers(driver, "yes")
    assert driver.state.mode == "standing by" and carried_on(driver) == ["carrying on"]
    assert "Half a millimetre below, then up to" in driver.said


def test_a_setting_that_was_cut_past_is_a_cut_in_the_wrong_place() -> None:
    driver = standing_by()
    tell(driver, Mishap.OVERSHOT)
    answers(driver, "no")
    assert not driver.kinds and "A cut is in the wrong place." in driver.said


@pytest.mark.parametrize(
    ("mishap", "asked"),
    [
        (Mishap.JAMMED, ["registered", "edge and face", "clamps", "guard", "blade height"]),
        (Mishap.TRIPPED, ["registered", "edge and face", "clamps", "guard"]),
        (Mishap.LOOSE, ["clamps", "guard"]),
    ],
)
def test_what_is_freed_or_fetched_by_the_blade_is_checked_before_it_goes_on(mishap: Mishap, asked: list[str]) -> None:
    driver = standing_by()
    tell(driver, mishap)
    assert "isolated, plug out?" in driver.said
    answers(driver, "yes")
    assert driver.state.mode == "standing by" and driver.state.trouble == mishap
    assert carried_on(driver) == asked


def test_swept_work_is_put_to_the_stop_again() -> None:
    driver = standing_by()
    tell(driver, Mishap.DUST)
    answers(driver, "yes", "yes")
    assert "Brush it away" in driver.said
    driver.gesture("hold")
    assert "Reference edge to the left stop, and clamp." in driver.said and "Carriage to pass three" in driver.said


@pytest.mark.parametrize("mishap", [Mishap.CUPPED, Mishap.CHIPPED])
def test_a_board_is_mended_or_spoilt(mishap: Mishap) -> None:
    driver = standing_by()
    tell(driver, mishap)
    answers(driver, "yes", "no")
    assert driver.state.question and driver.state.question.name == "spoilt"
    answers(driver, "no")
    assert driver.state.mode == "standing by" and not of(driver, f.BoardSpoilt)
    driver.gesture("hold")
    if mishap == Mishap.CHIPPED:  # the work comes out of its clamps for that, so it is tried only then
        assert driver.asked == "backing"
        driver.gesture("hold")
    assert "Reference edge to the left stop, and clamp." in driver.said and "Carriage to pass three" in driver.said
    answers(driver, "yes")
    assert carried_on_from_checks(driver) == ["edge and face", "clamps", "guard"]
    assert ((1, 4) in driver.state.marked) == (mishap == Mishap.CHIPPED)


def test_a_board_of_the_other_part_takes_its_place_or_the_right_one_is_cut_from_the_start() -> None:
    driver = standing_by()
    tell(driver, Mishap.SWAPPED)
    answers(driver, "yes", "yes")
    assert driver.state.cut_here == 3 and "Mark this board as long side, one of two" in driver.said
    tell(driver, Mishap.SWAPPED)
    answers(driver, "yes", "no")
    assert driver.state.cut_here == 0 and driver.asked == "board out"
    driver.gesture("hold", after=driver.state.the_job.run_down_s + 1)
    assert (driver.state.setup, driver.state.mode) == (1, "checks") and not driver.state.to_register


def with_the_other_parts_pattern() -> Driver:
    """Both ends of two short sides are cut; one of them is clamped as the first long side."""
    driver = Driver(job(plan(30, 6, count=2), few_checks()))
    while driver.state.setup < 5:
        whole_setup(driver)
    driver.cut(1)
    driver.heard("stand by")
    tell(driver, Mishap.SWAPPED)
    answers(driver, "yes", "no")
    return driver


def test_a_board_put_aside_that_has_good_cuts_is_spoilt_and_another_cut_in_its_place() -> None:
    driver = with_the_other_parts_pattern()
    assert "Is it short side, one of two, into which something is cut already, so that it is spoilt?" in driver.said
    assert heading_of(view(driver.state), Words(driver.state.the_job, figures=True)).left[0] == "THAT BOARD?"
    answers(driver, "no")
    assert "Is it short side, two of two, into which" in driver.said and not driver.kinds
    answers(driver, "yes")
    assert driver.kinds[:4] == ["board_spoilt", "job_extended", "setup_reopened", "board_chosen"]
    assert "Put that board aside, and have another ready in its own place. The right one is cut next" in driver.said
    state = driver.state
    spoilt = {n for n, status in enumerate(state.status, start=1) if status == SetupStatus.SPOILT}
    boards = {(one.board, one.first_copy) for one in state.the_job.setups if one.number in spoilt}
    assert boards == {("short side", 2)}
    new = [one for one in state.the_job.setups if (one.board, one.first_copy) == ("short side", 3)]
    assert [one.end for one in new] == [1, 2] and all(state.is_open(one.number) for one in new)
    assert state.cuts[4] == 0 and state.chosen == 5, "and the board that was called is cut from its first pass"


def test_a_board_put_aside_that_is_none_of_those_begun_is_still_to_be_cut_in_any_case() -> None:
    driver = with_the_other_parts_pattern()
    answers(driver, "no", "no")
    assert driver.kinds[:2] == ["setup_reopened", "board_chosen"] and "have another ready" in driver.said
    assert SetupStatus.SPOILT not in driver.state.status


def test_which_board_was_put_aside_is_not_lost_by_an_interruption() -> None:
    driver = with_the_other_parts_pattern()
    driver.resume()
    while driver.state.question is None or driver.state.question.name != "safe":
        driver.gesture("hold")
    answers(driver, "yes", "no", "yes")
    assert driver.kinds[0] == "board_spoilt"


def test_after_a_break_it_is_asked_what_was_touched() -> None:
    driver = standing_by()
    tell(driver, Mishap.BREAK)
    answers(driver, "yes")
    assert "Leave zero and clamps alone" in driver.said
    driver.gesture("hold")
    answers(driver, "no", "no")
    assert of(driver, f.CameBack) == [f.CameBack(1, lowered=False, touched=False)] and driver.asked == "carrying on"


def test_a_blade_lowered_in_a_break_is_measured_and_what_was_touched_is_tried() -> None:
    driver = standing_by()
    tell(driver, Mishap.BREAK)
    answers(driver, "yes")
    tell(driver, Mishap.LOOSE)
    answers(driver, "yes")
    driver.gesture("hold")
    assert "Was the blade's height changed meanwhile?" in driver.said, "whatever was told after it"
    answers(driver, "yes", "yes")
    assert driver.state.question and driver.state.question.name == "carriage"
    driver.heard("stand by")
    driver.gesture("hold")
    assert driver.state.question and driver.state.question.name == "carriage", "until it is answered"
    answers(driver, "no", "yes")
    assert driver.state.question and driver.state.question.name == "registered", "once it is zeroed"
    assert "move the work, not the carriage" in driver.said
    driver.gesture("hold")
    assert carried_on_from_checks(driver) == ["edge and face", "clamps", "guard", "blade height"]


@pytest.mark.parametrize(
    ("lowered", "touched", "asked"),
    [("yes", "no", ["carrying on", "blade height"]), ("no", "yes", ["carriage", "registered"])],
)
def test_after_a_break_only_what_was_touched_is_looked_at_again(lowered: str, touched: str, asked: list[str]) -> None:
    driver = standing_by()
    tell(driver, Mishap.BREAK)
    answers(driver, "yes")
    driver.gesture("hold")
    answers(driver, lowered, touched)
    found = []
    while driver.state.effective_mode in ("question", "checks"):
        question = driver.state.question
        found.append(str(question.name) if question else driver.asked)
        driver.gesture("hold")
    assert found[: len(asked)] == asked and ("blade height" in found) == (lowered == "yes")


def test_what_was_touched_in_a_break_may_be_the_carriage_so_the_next_board_wants_zero() -> None:
    driver = standing_by()
    tell(driver, Mishap.BREAK)
    answers(driver, "yes")
    driver.gesture("hold")
    answers(driver, "no", "yes", "yes")
    assert driver.state.question and driver.state.question.name == "registered"
    driver.heard("stand by")
    driver.heard(Intent.BOARD)
    driver.gesture("hold")
    assert driver.asked == "board out"
    asked = carried_on(driver)
    assert driver.state.setup == 2 and "zero" in asked and driver.state.cursor == 1


def test_a_kerf_is_said_to_change_only_what_it_changes() -> None:
    driver = standing_by()
    tell(driver, Mishap.BLADE)
    assert "as the saw's manual says" in driver.said
    answers(driver, "yes")
    assert "give the width printed on the blade" in driver.said
    answers(driver, "yes")
    assert "as before: nothing has to be laid out again." in driver.said
    answers(driver, "no", "no", "yes")  # the old blade is back
    tell(driver, Mishap.KERF)
    answers(driver, "yes", 330, "yes")
    assert "what is begun is finished by the old figures." in driver.said
    assert "This board comes out first" not in driver.said, "it is begun"
    answers(driver, "yes")
    assert driver.state.mode == "standing by" and "report that it has slipped" in driver.said


@pytest.mark.parametrize("mishap", [Mishap.KERF, Mishap.BLADE])
def test_a_kerf_is_said_to_count_for_this_session_only_and_what_to_do_for_the_next(mishap: Mishap) -> None:
    driver = standing_by()
    tell(driver, mishap)
    answers(driver, "yes", 330, "yes", "yes")
    assert "counts for this session only: for the next, write it into the shop file or calibrate" in driver.said


@pytest.mark.parametrize("mishap", [Mishap.KERF, Mishap.BLADE])
def test_a_board_that_another_kerf_lays_out_again_comes_out_and_that_is_said_first(mishap: Mishap) -> None:
    driver = standing_by(0)
    tell(driver, mishap)
    answers(driver, "yes", 330, "yes")
    assert "This board comes out first. Is that right?" in driver.said
    answers(driver, "yes")
    assert driver.asked == "board out"


def test_taps_go_through_all_that_can_go_wrong_and_round() -> None:
    driver = standing_by()
    driver.gesture("tap")
    assert "What went wrong?" in driver.said
    driver.gesture("hold")
    assert not driver.kinds and "Tap to go through what can go wrong." in driver.said
    found = []
    for _ in range(len(Mishap) + 1):
        driver.gesture("tap")
        question = driver.state.question
        assert question is not None and question.mishap is not None
        found.append(question.mishap)
    assert found == [*Mishap, Mishap.JAMMED]
    driver.gesture("double")
    assert not driver.kinds and driver.state.mode == "standing by" and "Nothing changed." in driver.said


def test_a_figure_is_tapped_up_said_and_never_taken_at_nought() -> None:
    driver = standing_by()
    tell(driver, Mishap.DEEP)
    answers(driver, "yes", "yes")
    assert "No figure yet." in driver.said
    answers(driver, "tap", "tap", 7, "tap")
    assert driver.state.question and driver.state.question.figure == 8
    answers(driver, "no")
    assert driver.kinds == [] and {p.depth for p in driver.state.the_job.patterns} == {driver.state.pattern.depth}


@pytest.mark.parametrize("mishap", [mishap for mishap in Mishap if OF[mishap].asks_on])
@pytest.mark.parametrize("stands_by", [False, True], ids=["goes on", "stands by first"])
def test_a_mishap_not_yet_settled_is_asked_about_again_after_an_interruption(mishap: Mishap, stands_by: bool) -> None:
    """Else the session would go on with the old kerf, or count a cut that isn't there."""
    driver = standing_by(2)
    tell(driver, mishap)
    answers(driver, "yes")
    assert driver.kinds == ["went_wrong"] and driver.state.question
    following = driver.state.question.name
    driver.resume()
    if stands_by:
        driver.heard(Intent.STAND_BY)
        driver.gesture("hold")
    while driver.state.question is None or driver.state.question.name in ("carriage", "clamped"):
        driver.gesture("hold")
    assert driver.state.question.name == "safe" and driver.state.question.mishap == mishap
    answers(driver, "yes")
    assert driver.state.mode == "standing by" and driver.state.question.name == following


def test_a_mishap_asked_about_again_that_was_none_leaves_the_session_standing_by() -> None:
    driver = standing_by(2)
    tell(driver, Mishap.KERF)
    answers(driver, "yes")
    driver.resume()
    answers(driver, "yes", "yes")
    assert "You reported this before the interruption. The kerf was measured again" in driver.said
    answers(driver, "no")
    assert driver.state.mode == "standing by" and driver.state.question is None
    driver.gesture("hold")
    assert driver.kinds[0] == "carried_on"


def test_a_missed_pass_is_one_of_this_end() -> None:
    driver = standing_by()
    tell(driver, Mishap.MISSED)
    answers(driver, "yes", *["tap"] * driver.state.passes)
    assert driver.state.question and driver.state.question.figure == driver.state.passes
    answers(driver, "tap")
    assert driver.state.question.figure == 1


def test_a_mishap_means_nothing_but_while_standing_by() -> None:
    driver = Driver(job(plan(30, 6), few_checks()))
    driver.heard(Intent.MISHAP, str(Mishap.SLIPPED))
    assert "means nothing now" in driver.shown and not driver.state.question
    driver.confirm_all()
    driver.heard(Intent.MISHAP, str(Mishap.SLIPPED))
    assert not driver.state.question


def test_no_to_what_is_made_safe_changes_nothing() -> None:
    for mishap in Mishap:
        driver = standing_by()
        before = driver.state
        tell(driver, mishap)
        answers(driver, "no")
        if mishap == Mishap.OVERSHOT:
            answers(driver, "no")
        assert driver.state.mode == "standing by" and not driver.kinds
        assert (driver.state.redo, driver.state.cuts, driver.state.moved) == (before.redo, before.cuts, None)


def test_what_another_blade_has_cut_is_not_cut_again_by_this_one() -> None:
    """With the first end all cut, another blade is put on; then the operator finds that the work had slipped."""
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    driver.cut(driver.state.passes)
    driver.heard("stand by")
    tell(driver, Mishap.BLADE)
    answers(driver, "yes", 280, "yes", "yes")
    assert of(driver, f.JobExtended) and driver.state.setup == 1 and driver.state.setup_complete
    tell(driver, Mishap.SLIPPED)
    answers(driver, "yes")
    assert "Another blade has cut that" in driver.said and driver.state.mode == "standing by"
    assert not of(driver, f.SteppedBack) and not driver.state.doubted


def with_another_blade(whole: int, more: int) -> Driver:
    """So many setups cut to their end, so many passes of the next, then a kerf of 2.8 mm; and one pass with that."""
    driver = Driver(job(plan(30, 6, count=2, parts="A")))
    for _ in range(whole):
        whole_setup(driver)
    driver.cut(more)
    driver.heard("stand by")
    tell(driver, Mishap.BLADE)
    answers(driver, "yes", 280, "yes", "yes")
    driver.gesture("hold")
    for _ in range(30):
        if driver.state.effective_mode == "cutting":
            break
        driver.gesture("hold", after=driver.state.the_job.run_down_s)
    driver.gesture("tap")
    assert driver.kinds[0] == "pass_cut"
    driver.heard("stand by")
    return driver


def test_cuts_too_deep_are_matched_by_this_blade_and_not_where_another_one_has_cut() -> None:
    """One end is all cut by the other blade; another was begun by it, and is gone on with."""
    driver = with_another_blade(whole=1, more=2)
    rest, depth = driver.state.setup, driver.state.pattern.depth
    assert driver.state.pattern.is_rest
    tell(driver, Mishap.DEEP)
    answers(driver, "yes", 4, "yes")
    stay = "Another blade has cut in long side, one of two, end one and long side, two of two, end one, and what it cut"
    assert f"{stay} stays less deep. Cut all the rest to" in driver.said and "must be cut again" not in driver.said
    answers(driver, "yes")
    assert not of(driver, f.SetupReopened) and driver.state.status[0] == SetupStatus.CUT
    coming = [n for n in driver.state.the_job.order if driver.state.is_open(n)]
    assert rest in coming and {driver.state.the_job.pattern_of(n).depth for n in coming} == {depth + Fraction(4, 10)}


def test_a_board_cut_too_deep_after_another_blade_can_be_spoilt() -> None:
    driver = with_another_blade(whole=1, more=0)
    here = driver.state.setup
    tell(driver, Mishap.DEEP)
    answers(driver, "yes", 4, "yes", "no", "yes")
    assert driver.state.status[here - 1] == SetupStatus.SPOILT and driver.state.status[0] == SetupStatus.CUT


def test_what_this_blade_cut_less_deep_is_gone_over_and_what_another_one_cut_is_not() -> None:
    driver = with_another_blade(whole=1, more=0)
    here = driver.state.setup
    driver.resume()  # after which the blade's height is asked again
    answers(driver, "yes", "yes")
    driver.confirm_all()
    driver.gesture("tap")
    driver.heard("stand by")
    tell(driver, Mishap.DEEP)
    answers(driver, "yes", 4, "yes")
    assert "Long side, two of two, end one must be cut again, deeper." in driver.said
    assert "Another blade has cut in long side, one of two, end one, and what it cut stays less deep." in driver.said
    answers(driver, "yes")
    assert of(driver, f.SetupReopened) == [f.SetupReopened(here, (1,), 0, "", deeper=True)]
