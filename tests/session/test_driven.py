"""A driven carriage: what lets it move, what is recorded of it, and what becomes of a fault."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.session import effects as e
from assistant.session.events import Arrived, Event, Gesture, Heard, Looked, NotClear, TooOld
from assistant.session.kinds import By, Doubt, JobChange
from assistant.session.rework import change_job
from assistant.session.turn import Turn
from tests.session.driver import UTC
from tests.session.drives import Rig, driven_job
from tests.session.jobs import few_checks, plan


def cutting(**changes: object) -> Rig:
    rig = Rig(driven_job(**changes))  # type: ignore[arg-type]
    rig.to_first_call()
    return rig


def settings(rig: Rig) -> list[F]:
    return [one.setting for one in rig.state.pattern.passes]


def test_a_session_begins_with_homing_and_names_the_board_only_once_the_carriage_stands() -> None:
    rig = Rig()
    assert rig.state.mode == "move asked" and "down to the home switch, then up to nine point one six" in rig.said
    assert "Setup one" not in rig.said, "nobody clamps a board before it stands"
    rig.hold()
    assert rig.all_kinds == ["started", "setup_started", "move_asked", "homed", "move_asked", "moved", "check_opened"]
    assert rig.said.startswith("Setup one of two")
    home, move = rig.all_sent
    assert isinstance(home, e.Home) and not home.visit and home.held
    assert isinstance(move, e.MoveTo) and move.setting == settings(rig)[0] and move.held


def test_nothing_moves_before_the_blade_has_had_time_to_stop() -> None:
    rig = Rig()
    rig.hold(after=rig.state.the_job.run_down_s - 0.1)
    assert rig.all_sent == [] and "the blade takes 10 seconds to stop" in rig.said
    rig.hold(after=1)
    assert rig.all_sent != []


def test_a_tap_records_the_pass_and_moves_up_to_the_next_and_the_voice_says_where_it_stands() -> None:
    rig = cutting()
    rig.cut_one()
    assert rig.all_kinds[-4:] == ["pass_cut", "move_asked", "moved", "setting_called"]
    assert rig.said == "Standing at one two point zero two. Cut."
    look, move = rig.all_sent[-2:]
    assert isinstance(look, e.Look) and isinstance(move, e.MoveTo)
    assert move.setting == settings(rig)[1] and not move.held and move.approach < move.setting


def test_the_pass_is_committed_before_the_move_is_asked_for() -> None:
    rig = cutting()
    rig.obeys = False
    rig.out_and_back()
    rig.gesture("tap")
    rig.answer()  # the look
    assert [type(effect) for effect in rig.effects if isinstance(effect, e.MoveTo)] == [e.MoveTo]
    assert rig.kinds == ["pass_cut", "move_asked"]
    rig.loses()
    assert rig.state.is_cut(1), "the pass that was tapped stays cut"
    assert rig.state.cursor == 1 and rig.state.mode == "move asked", "the next is not begun"


def test_a_tap_that_the_sled_does_not_bear_out_counts_for_nothing() -> None:
    rig = cutting()
    before = len(rig.all_sent)
    rig.gesture("tap")
    assert "was not seen to go out" in rig.said
    rig.sled(False)
    rig.gesture("tap")
    assert rig.said == "Draw right back, then tap."
    assert "pass_cut" not in rig.all_kinds and len(rig.all_sent) == before
    rig.sled(True)
    rig.gesture("tap")
    assert rig.state.is_cut(1)


def test_a_sled_that_is_out_when_its_pass_is_called_need_only_come_back() -> None:
    rig = cutting()
    rig.sled(False)
    rig.heard("stand by")
    rig.to_first_call()
    assert rig.state.cursor == 1
    rig.sled(True)
    rig.gesture("tap")
    assert rig.state.is_cut(1)


def test_a_sled_that_is_not_back_on_a_fresh_look_is_believed() -> None:
    rig = cutting()
    rig.obeys = False
    rig.out_and_back()
    rig.gesture("tap")
    rig.send(Looked(rig.at, UTC, rig.sent.pop().id, False))
    assert rig.kinds == [] and rig.said == "Draw right back, then tap."
    rig.out_and_back()
    rig.gesture("tap")
    rig.sled(False)  # before the look has come
    assert rig.said == "Draw right back, then tap."
    rig.sled(True)
    rig.send(Looked(rig.at, UTC, rig.sent.pop().id, True))
    assert "pass_cut" not in rig.all_kinds, "an answer that was refused is not kept for later"


def test_the_last_tap_of_a_setup_moves_nothing() -> None:
    rig = cutting()
    for _ in range(rig.state.passes):
        rig.cut_one()
    assert rig.asked == "saw off" and not isinstance(rig.all_sent[-1], e.MoveTo)


def test_a_tap_moves_no_farther_than_a_hand_could_follow() -> None:
    rig = cutting(a_plan=plan(100, 28, ends=1, parts="A"), kerf=F(2805, 100))
    far = [b - a for a, b in zip(settings(rig), settings(rig)[1:], strict=False)]
    assert far and min(far) > 25
    rig.cut_one()
    assert rig.state.mode == "move asked" and "Hold the pedal down until it stands" in rig.said
    assert rig.state.is_cut(1), "the pass counts"


def test_a_tap_never_moves_the_carriage_down() -> None:
    """A pass that was left out lies below: the tap that records the last one only asks for the way back to it."""
    rig = cutting()
    last = rig.state.passes
    rig.heard("go to", last)
    while rig.state.effective_mode != "cutting":
        rig.hold()
    assert rig.state.driving.at == settings(rig)[last - 1]
    rig.all_sent.clear()
    rig.cut_one()
    assert rig.state.mode == "move asked" and rig.state.next_pass() == 1
    assert not any(isinstance(sent, e.MoveTo) for sent in rig.all_sent)
    rig.hold()
    assert [sent.held for sent in rig.all_sent if isinstance(sent, e.MoveTo)] == [True]


def test_without_a_clear_input_a_tap_only_records() -> None:
    rig = cutting(clear_input=False)
    rig.gesture("tap")
    assert rig.kinds == ["pass_cut"] and rig.state.mode == "move asked"
    assert rig.said == (
        "Draw right back, hands off. Hold the pedal down until it stands: up to one two point zero two."
    )
    rig.gesture("tap")
    assert rig.said.startswith("Nothing moves by that.")
    rig.hold(after=1)
    assert rig.state.mode == "cutting" and isinstance(rig.all_sent[-1], e.MoveTo) and rig.all_sent[-1].held


def test_nothing_moves_for_a_press_that_began_before_it_was_asked_or_heard() -> None:
    rig = Rig(driven_job(), hear_out=True)
    rig.hold()
    assert rig.all_sent == [], "its direction has not been said"
    rig.speech("begun")
    rig.hold()
    assert rig.all_sent == [], "its direction comes last"
    rig.speech("whole")
    rig.gesture("hold", held=6.0)
    assert rig.all_sent == []
    rig.hold(after=1)
    assert rig.all_sent != []


@pytest.mark.parametrize("event", [NotClear, TooOld])
def test_what_was_not_sent_is_asked_again(event: type) -> None:
    rig = cutting()
    rig.obeys = False
    rig.out_and_back()
    rig.gesture("tap")
    rig.answer()
    order = rig.sent.pop()
    rig.send(event(rig.at, UTC, order.id))
    assert rig.state.mode == "move asked" and rig.state.is_cut(1)
    assert rig.said.count("Draw right back") == 1 and rig.said.endswith("then tap: up to one two point zero two.")
    rig.gesture("tap", after=1)
    assert isinstance(rig.sent[-1], e.MoveTo) and rig.sent[-1].id != order.id


def test_a_halted_move_keeps_its_place_and_goes_on_with_the_pedal_held_down() -> None:
    rig = cutting()
    rig.obeys = False
    rig.out_and_back()
    rig.gesture("tap")
    rig.answer()
    rig.gesture("tap", after=0.1)  # the press that halted it
    assert rig.kinds == [] and rig.says == []
    rig.halts(F(1042, 100))
    assert rig.state.mode == "halted"
    assert rig.said == (
        "Halted at one zero point four two. Draw right back, hands off. "
        "Hold the pedal down to go on: up to one two point zero two."
    )
    rig.gesture("tap", after=0.1, held=0.3)
    assert rig.sent == [], "the press that halted answers nothing else"
    rig.gesture("tap", after=1)
    assert rig.sent == [], "a tap does not set it going again"
    rig.hold(after=1)
    assert isinstance(rig.sent[0], e.MoveTo), "its place is known: no homing"
    rig.obeys = True
    rig.answer()
    assert rig.state.mode == "cutting"


def test_a_lost_place_at_rest_is_shown_at_once_and_spoken_at_the_next_gesture() -> None:
    rig = cutting()
    rig.loses(text="The line to the controller is gone. Plug it in again.")
    assert rig.says == [] and "line to the controller is gone" in rig.shown
    assert rig.state.mode == "cutting"
    rig.gesture("double")
    assert rig.said.startswith("The line to the controller is gone.") and "home switch" in rig.said
    assert "Standing at" not in rig.said and "Cut." not in rig.said
    assert not rig.state.is_cut(1)


def test_a_pass_that_was_seen_to_be_cut_before_the_place_was_lost_counts() -> None:
    rig = cutting()
    rig.out_and_back()
    rig.loses()
    rig.gesture("tap")
    assert rig.kinds == ["pass_cut"] and rig.state.mode == "move asked"
    assert not isinstance(rig.all_sent[-1], e.Look), "nobody can look through a lost line"
    rig.hold()
    assert rig.state.mode == "cutting" and rig.state.cursor == 2


def test_what_was_cut_before_a_loss_is_named_before_it_is_homed_again() -> None:
    rig = cutting()
    rig.cut_one()
    rig.loses()
    rig.gesture("double")
    assert "Pass one of this end was made before its place was lost." in rig.said, "before anything moves"
    rig.obeys = False
    rig.hold()
    rig.answer()
    assert rig.says == [], "nothing is said while it moves"


def test_the_switch_is_visited_while_the_board_is_still_clamped_and_the_zero_kept() -> None:
    rig = cutting()
    while rig.state.effective_mode == "cutting":
        rig.cut_one()
    rig.count()
    assert "Leave the board clamped" in rig.said and "setup_done" not in rig.all_kinds
    rig.off_by = F(1, 100)
    rig.hold(after=1)
    assert rig.state.setup == 2 and rig.asked, "the next board is named only now"
    home, move = rig.all_sent[-2:]
    assert isinstance(home, e.Home) and home.visit and isinstance(move, e.MoveTo)
    kinds = rig.all_kinds
    assert kinds.index("homed", kinds.index("pass_cut")) < kinds.index("setup_done")


def test_no_board_is_to_be_left_clamped_once_it_is_out() -> None:
    rig = cutting(a_plan=plan(30, 6, count=2, parts="A"))
    rig.cut_one()
    rig.heard(Intent.STAND_BY)
    rig.heard(Intent.MISHAP, str(Mishap.BUMPED))
    rig.gesture("hold", after=12)
    rig.gesture("hold", after=12)
    rig.heard(Intent.BOARD)
    rig.gesture("hold", after=12)
    assert rig.asked == "board out"
    rig.gesture("hold", after=12)
    assert rig.state.mode == "move asked" and "home switch" in rig.said
    assert (
        "Hands off carriage and work" in rig.said.replace("hands", "Hands")
        and "Leave the board clamped" not in rig.said
    )


def test_on_the_visit_after_it_is_out_none_is_to_be_left_clamped_either() -> None:
    rig = cutting(a_plan=plan(30, 6, count=2, parts="A"))
    rig.cut_one()
    rig.heard(Intent.BOARD)
    rig.gesture("hold", after=12)
    assert rig.asked == "board out"
    rig.gesture("hold", after=12)
    assert rig.state.mode == "move asked" and rig.state.driving.move.what == "visit"
    assert "Leave the board clamped" not in rig.said


def test_a_counted_board_need_not_stay_clamped_where_nothing_can_prove_its_cuts() -> None:
    rig = cutting(a_plan=plan(30, 6, count=2, parts="A"))
    while rig.state.effective_mode == "cutting":
        rig.cut_one()
    rig.heard(Intent.STAND_BY)
    rig.heard(Intent.MISHAP, str(Mishap.BUMPED))
    for _ in range(3):
        rig.gesture("hold", after=12)
    rig.count()
    assert (rig.state.setup, rig.state.mode) == (2, "move asked") and "home switch" in rig.said
    assert "Leave the board clamped" not in rig.said


def test_what_to_keep_clear_is_said_once_in_an_announcement() -> None:
    rig = cutting(a_plan=plan(30, 6, count=2, parts="A"))
    rig.cut_one()
    rig.heard(Intent.STAND_BY)
    rig.heard(Intent.MISHAP, str(Mishap.BREAK))
    rig.gesture("hold", after=12)
    rig.gesture("hold")
    rig.gesture("double")
    for _ in range(4):
        if rig.asked != "clamps":
            rig.hold()
    assert "Setup one of four" in rig.said and rig.said.count("Keep clear") == 1


def test_said_again_with_the_board_it_is_said_once_as_well() -> None:
    rig = Rig(driven_job())
    while rig.asked != "clamps":
        rig.hold()
    assert rig.said.count("Keep clear") == 1
    rig.heard(Intent.AGAIN)
    assert "Setup one of two" in rig.said and rig.said.count("Keep clear") == 1


def test_a_switch_found_elsewhere_names_what_is_in_doubt_before_anybody_unclamps() -> None:
    rig = cutting()
    while rig.state.effective_mode == "cutting":
        rig.cut_one()
    rig.count()
    rig.off_by = F(1, 10)
    rig.hold(after=1)
    assert rig.state.question and rig.state.question.name == "off"
    assert rig.said.startswith("The carriage stood zero point one millimetres lower than it read. Passes one to four")
    assert "setup_done" not in rig.all_kinds
    rig.gesture("hold", after=5)
    assert rig.state.mode == "move asked" and "home switch" in rig.said, "a place that was wrong is found anew"


def test_a_switch_that_never_closed_is_not_taken_for_a_carriage_that_slipped() -> None:
    rig = cutting()
    while rig.state.effective_mode == "cutting":
        rig.cut_one()
    rig.count()
    rig.off_by, rig.beyond = F(-1, 2), True
    rig.hold(after=1)
    assert rig.said.startswith("The home switch had not closed zero point five millimetres below its place.")
    assert "or the switch fails. Passes one to four of this end may be off by that or more." in rig.said


def test_a_switch_that_had_not_closed_at_its_place_proves_nothing_however_near_that_was() -> None:
    rig = cutting()
    while rig.state.effective_mode == "cutting":
        rig.cut_one()
    rig.count()
    rig.off_by, rig.beyond = F(-1, 100), True
    rig.hold(after=1)
    assert rig.state.question and rig.state.question.name == "off"
    assert not rig.state.driving.known and rig.state.driving.unproved == 0b1111


def test_a_page_records_where_it_may_and_never_moves_but_it_halts() -> None:
    a_job = driven_job()
    rig = Rig(replace(a_job, page=replace(a_job.page, may_record_cuts=True)))
    rig.to_first_call()
    rig.out_and_back()
    sent = len(rig.all_sent)
    rig.send(Heard(rig.at, UTC, "cut", None, "", rig.at, rig.state.generation, By.PAGE))
    assert rig.state.is_cut(1) and rig.state.mode == "move asked"
    assert not any(isinstance(x, e.MoveTo) for x in rig.all_sent[sent:])
    rig.obeys = False
    rig.gesture("tap", after=5)
    assert rig.state.mode == "moving"
    rig.send(Heard(rig.at, UTC, "halt", None, "", rig.at, -1, By.PAGE))
    assert e.Halt() in rig.effects


def test_a_voice_halts_and_lets_go_only_what_the_switch_bears_out() -> None:
    rig = cutting()
    rig.heard("cut")
    assert "was not seen to go out" in rig.said
    rig.out_and_back()
    rig.obeys = False
    rig.heard("cut")
    rig.answer()
    assert rig.state.mode == "moving"
    rig.heard("halt", after=0.5)
    assert e.Halt() in rig.effects


def test_a_key_that_cannot_be_held_down_asks_first() -> None:
    rig = Rig()
    rig.at += 15
    rig.send(Gesture(rig.at, UTC, "hold", rig.at, By.KEYS))
    assert rig.all_sent == [] and rig.state.question and rig.state.question.name == "move"
    rig.heard("yes")
    assert rig.all_sent == [], "a voice can't be held down"
    rig.at += 1
    rig.send(Heard(rig.at, UTC, "yes", None, "", rig.at, -1, By.KEYS))
    assert isinstance(rig.all_sent[0], e.Home) and not rig.all_sent[0].held


def test_resumed_with_another_board_chosen_before_any_was_clamped_only_that_one_is_named() -> None:
    rig = Rig()
    change = Turn(rig.state, Event(rig.at, UTC))
    change_job(change, JobChange.BOARD, 2)  # as a command does in a session that was left
    rig.records += change.decision(None).records
    rig.resume()
    assert "down to the home switch" in rig.said
    rig.hold()
    assert rig.state.setup == 2 and rig.state.mode == "move asked"
    assert "This board comes out" in rig.said and "Setup" not in rig.said, "nobody clamps a board before it stands"
    rig.hold()
    assert rig.said.startswith("Setup two of two")


def test_every_resume_begins_by_homing_and_then_asks_about_the_clamps() -> None:
    rig = cutting()
    rig.cut_one()
    rig.resume()
    assert rig.state.mode == "move asked" and "down to the home switch, then up to one two point zero two" in rig.said
    assert not rig.state.driving.known
    rig.hold()
    assert rig.state.question and rig.state.question.name == "clamped"
    rig.gesture("double")  # no: it is put to the stop again, and tried where the carriage goes first
    assert rig.state.mode == "move asked" and "down, then up to nine point one six" in rig.said
    rig.hold()
    assert rig.state.question.name == "registered" and "The carriage stands at pass one" in rig.said
    rig.hold()
    rig.confirm_all()
    assert rig.state.mode == "move asked"
    rig.hold()
    assert rig.state.mode == "cutting" and rig.state.cursor == 2


def test_work_is_not_tried_where_the_carriage_is_lost_but_where_it_stands_again() -> None:
    rig = cutting()
    rig.cut_one()
    rig.resume()
    rig.hold()
    rig.gesture("double")
    rig.hold()
    assert rig.state.question and rig.state.question.name == "registered"
    rig.loses()
    assert rig.state.mode == "move asked" and rig.state.question is None
    assert "The controller started again" in rig.said and "down to the home switch" in rig.said
    rig.hold()
    assert rig.state.question and rig.state.question.name == "clamped"
    rig.gesture("double")
    rig.hold()
    assert rig.state.question.name == "registered" and "The carriage stands at pass one" in rig.said
    rig.hold()
    assert rig.kinds[0] == "reregistered"


def test_with_a_setting_bar_the_board_is_clamped_at_zero() -> None:
    checks = few_checks()
    rig = Rig(driven_job(checks=checks, register="setting bar"))
    rig.hold()
    move = rig.all_sent[-1]
    assert isinstance(move, e.MoveTo) and move.setting == 0
    rig.confirm_all()
    assert rig.state.mode == "move asked", "from zero it is driven once the bar is out and the clamps are tight"
    rig.hold()
    assert rig.state.mode == "cutting"


def test_zeroed_by_hand_nothing_moves_until_the_pedal_is_held_down_again() -> None:
    rig = Rig(driven_job(home="by hand"))
    assert "the motor may jump a step" in rig.said
    rig.hold()
    assert [type(sent) for sent in rig.all_sent] == [e.Home]
    assert rig.state.mode == "move asked" and "up to nine point one six" in rig.said
    rig.hold()
    while rig.state.mode != "cutting":
        rig.hold()
    while rig.state.effective_mode == "cutting":
        rig.cut_one()
    rig.count()
    assert rig.state.setup == 2, "there is no switch to visit"


def test_answers_to_orders_that_are_over_mean_nothing() -> None:
    rig = cutting()
    before = rig.state.n
    rig.send(Arrived(rig.at, UTC, "m4", F(5)))
    assert rig.state.n == before and rig.kinds == []


@pytest.mark.parametrize("why", Doubt)
def test_no_fault_of_the_carriage_sounds_like_leave_to_cut(why: Doubt) -> None:
    rig = cutting()
    rig.obeys = False
    rig.out_and_back()
    rig.gesture("tap")
    rig.answer()
    rig.loses(why, "Something is wrong with it.")
    assert not {"cut", "ready"} & set(rig.said.lower().replace(".", "").replace(",", "").split())


def test_a_look_that_was_made_for_an_earlier_pass_records_nothing() -> None:
    rig = cutting()
    rig.cut_one()
    earlier = rig.all_sent[-2]
    assert isinstance(earlier, e.Look)
    rig.obeys = False
    rig.out_and_back()
    rig.gesture("tap")
    rig.send(Looked(rig.at, UTC, earlier.id, True))
    assert rig.kinds == [] and not rig.state.is_cut(2)
    rig.answer()
    assert rig.state.is_cut(2), "its own look does"


def test_a_look_that_comes_once_its_pass_was_called_again_records_nothing() -> None:
    rig = cutting()
    rig.cut_one()
    rig.obeys = False
    rig.out_and_back()
    rig.gesture("tap")
    rig.heard("back")
    rig.gesture("double")
    assert rig.state.effective_mode == "cutting" and "Nothing changed." in rig.said
    rig.answer()
    assert rig.kinds == [] and not rig.state.is_cut(2)


def test_a_blade_that_has_had_its_time_to_stop_is_not_waited_for_again_after_a_halt() -> None:
    rig = Rig()
    rig.obeys = False
    rig.hold()
    rig.answer()
    rig.halts(F(5))
    assert rig.state.mode == "halted"
    rig.hold(after=1)
    assert isinstance(rig.sent[-1], e.MoveTo) and "takes 10 seconds to stop" not in rig.said


@pytest.mark.parametrize(
    ("clearance", "off_by", "is_well"),
    [
        (F(2, 100), F(1, 100), True),  # a quarter of it can't be seen, a step can
        (F(2, 100), F(2, 100), False),
        (F(20, 100), F(5, 100), True),
        (F(20, 100), F(6, 100), False),
    ],
)
def test_the_switch_may_be_found_off_by_a_quarter_of_the_clearance_and_by_a_step(
    clearance: F, off_by: F, is_well: bool
) -> None:
    rig = cutting(a_plan=plan(30, 6, ends=2, parts="A", clearance=clearance))
    while rig.state.effective_mode == "cutting":
        rig.cut_one()
    rig.count()
    rig.off_by = off_by
    rig.hold(after=1)
    assert (rig.state.setup == 2) is is_well, rig.said
