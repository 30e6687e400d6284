"""The cutting session as the operator meets it, rule by rule."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.joinery.model import Carriage
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.model import Check
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.events import Leave, OpenSession, Start
from assistant.wording.prompts import Words
from tests.session.driver import UTC, Driver
from tests.session.jobs import EVERY_TWO, HANDWHEEL, OFFCUTS, few_checks, job, plan

CHECKS_OF_SETUP_ONE = ["zero", "edge and face", "clamps", "guard", "blade height", "backing"]


def cutting(passes_cut: int = 0, **kinds: object) -> Driver:
    """A session with its first setting called, or some passes further."""
    driver = Driver(job(**kinds))  # type: ignore[arg-type]
    driver.confirm_all()
    driver.cut(passes_cut)
    driver.confirm_all()
    return driver


def come_up_from(driver: Driver) -> Fraction | None:
    """The lower point that the setting just said names."""
    (said,) = (say for say in driver.says if say.klass == "setting")
    return dict(said.prompts[-1].figures)["approach"]  # type: ignore[no-any-return]


class TestThePlainPath:
    def test_begins_with_cautions_summary_and_the_first_clamping(self) -> None:
        driver = Driver(job())
        assert "never stops the saw" in driver.said
        assert "manual" in driver.said
        kerf = "Kerf three point one eight millimetres, never measured; clearance zero point one millimetres."
        zero = "At zero the teeth just brush the reference edge."
        assert f"Small tray: twelve passes. {kerf} {zero} Setup one of four: " in driver.said
        assert "Setup one of four: short side, part B, end one down. Keep clear: zero to eighteen" in driver.said

    def test_a_test_joint_skipped_is_journalled_right_after_the_start_and_changes_nothing(self) -> None:
        driver, plain = Driver(), Driver(job())
        driver.send(Start(0.0, UTC, job(), test_joint_skipped=True))
        assert driver.all_kinds[:3] == ["started", "test_joint_skipped", "setup_started"]
        assert [kind for kind in driver.all_kinds if kind != "test_joint_skipped"] == plain.all_kinds
        assert driver.said == plain.said
        driver.resume()
        plain.resume()
        assert driver.said == plain.said, "the way back of any session"

    @pytest.mark.parametrize(
        ("days", "measured"),
        [
            (0, "measured today"),
            (1, "measured one day ago"),
            (12, "measured twelve days ago"),
            (None, "never measured"),
        ],
    )
    def test_the_age_of_the_kerf_is_said_at_the_start_once(self, days: int | None, measured: str) -> None:
        driver = Driver()
        driver.send(Start(0.0, UTC, job(), kerf_days=days))
        assert f"Kerf three point one eight millimetres, {measured}; clearance" in driver.said
        assert "Kerf 3.18 mm," in Words(job()).shown(driver.says[0].prompts)
        said = []
        for _ in range(6):
            driver.gesture("hold")
            said.append(driver.said)
        driver.gesture("double")
        assert not any("Kerf" in text or "At zero" in text for text in (*said, driver.said))

    def test_other_sessions_left_open_are_named_before_anything_is_clamped(self) -> None:
        driver = Driver()
        others = (OpenSession("Tea tray", 5, "kerfcall resume 1"), OpenSession("Spice drawer", 1, "kerfcall resume 2"))
        driver.send(Start(0.0, UTC, job(), beside=others))
        assert [say.klass for say in driver.says] == ["caution", "caution", "clamp", "check"]
        assert (
            "These sessions are still open: Tea tray, five passes cut; Spice drawer, one pass cut. "
            "To go on with one of them, leave this new session and resume the old one. Setup one of four: "
        ) in driver.said
        shown = Words(job()).shown(driver.says[1].prompts)
        assert "Tea tray, 5 passes cut (kerfcall resume 1); Spice drawer, 1 pass cut (kerfcall resume 2)." in shown

    def test_of_many_open_sessions_the_newest_are_named(self) -> None:
        driver = Driver()
        others = tuple(OpenSession(f"Tray {n}", n, f"kerfcall resume {n}") for n in range(5, 0, -1))
        driver.send(Start(0.0, UTC, job(), beside=others))
        assert "Tray 5, five passes cut; Tray 4, four passes cut; Tray 3, three passes cut; two older" in driver.said

    def test_only_the_first_of_several_announcements_cuts_off_what_sounds(self) -> None:
        assert [(say.klass, say.replaces) for say in Driver(job()).says] == [
            ("caution", True),
            ("clamp", False),
            ("check", False),
        ]

    def test_one_answer_for_each_due_check_and_one_tap_for_each_pass(self) -> None:
        driver = Driver(job())
        long_presses = taps = 0
        while driver.state.mode != "finished":
            gesture = "hold" if driver.state.mode == "checks" else "tap"
            long_presses, taps = long_presses + (gesture == "hold"), taps + (gesture == "tap")
            driver.gesture(gesture, after=10.0)
        assert taps == driver.all_kinds.count("pass_cut") == 12
        # setup 1: six and the count; 2 and 4: the edge, clamps with guard, the count; 3: the other part is as thick as
        # another depth wants, so guard, height and backing are asked by themselves
        assert long_presses == driver.all_kinds.count("check_opened") == 7 + 3 + 6 + 3

    def test_checks_come_in_their_order(self) -> None:
        driver = Driver(job())
        driver.confirm_all()
        opened = [r.fact.check for r in driver.records if isinstance(r.fact, f.CheckOpened)]
        assert opened == CHECKS_OF_SETUP_ONE

    def test_the_first_setting_is_called_in_full_and_the_next_ones_short(self) -> None:
        driver = cutting()
        assert driver.said == "Set the carriage, start the saw, cut, draw back clear and tap. Three point one eight."
        driver.gesture("tap")
        assert driver.said == "Six point zero two."

    def test_after_the_last_pass_the_saw_is_off_and_the_sockets_are_counted(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        assert driver.kinds == ["pass_cut", "check_opened"] and driver.asked == "saw off"
        assert driver.said == "Saw off and stopped? Count two."

    def test_only_when_they_are_counted_the_next_board_is_named(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.count()
        assert driver.asked == "edge and face" and driver.state.setup == 2
        counted = next(n for n, record in enumerate(driver.records) if record.fact.kind == "setup_done")
        kinds = [record.fact.kind for record in driver.records[counted - 1 :]]
        assert kinds == ["check_confirmed", "setup_done", "setup_started", "check_opened"]
        driver.gesture("tap")
        assert "Turn it end over end. Never spin it on its face." in driver.said
        assert "Reference edge against the left stop, other face against the backing?" in driver.said

    def test_the_last_count_finishes_and_reminds_of_riving_knife_and_guard(self) -> None:
        driver = Driver(job(plan(ends=1, parts="A"), few_checks()))
        driver.cut(2)
        driver.count()
        assert driver.kinds == ["check_confirmed", "setup_done", "finished"]
        assert "riving knife and guard" in driver.said

    def test_what_to_keep_clear_is_said_with_the_board_and_again_with_the_clamps_when_asked_for(self) -> None:
        driver = Driver(job())
        zone = "Keep clear: zero to eighteen millimetres, up to twenty-six above the bed."
        (board,) = (say for say in driver.says if say.klass == "clamp")
        assert Words(driver.state.the_job).say(board.prompts).endswith(zone)
        driver.gesture("hold")
        driver.gesture("hold")
        assert driver.said == "Clamped tight and clear and held down?"
        driver.gesture("double")
        assert driver.said.startswith(f"{zone} Clamps, screws and stop all outside and tight")

    def test_after_an_interruption_the_clamps_are_asked_about_with_what_to_keep_clear(self) -> None:
        driver = cutting()
        driver.resume()
        driver.gesture("hold")
        driver.gesture("hold")
        assert driver.asked == "clamps" and driver.said.startswith("Keep clear: zero to eighteen")

    def boards_named(self, driver: Driver, setups: int) -> list[str]:
        """How each of the next boards is named, as they come."""
        named: list[str] = []
        while True:
            says = [say for say in driver.says if say.klass == "clamp"]
            named += [Words(driver.state.the_job).say(say.prompts[-1:]) for say in says]
            if len(named) == setups:
                return named
            checks = driver.state.effective_mode == "checks"
            driver.gesture("hold" if checks else "tap", after=driver.state.the_job.run_down_s)

    def test_boards_are_named_in_short_from_the_third_on_and_say_what_has_changed(self) -> None:
        driver = Driver(job(plan(count=2, parts="A")))
        first, second, third, fourth = self.boards_named(driver, 4)
        assert first.startswith("Setup one of four: long side, one of two, part A, end one down. Keep clear: ")
        assert second == "Setup two of four: long side, two of two, part A, end one down."
        assert third == "Long side, one of two, end two. Turn it end over end. Never spin it on its face."
        assert fourth == "Long side, two of two, end two: turn it end over end."
        driver.gesture("double")
        assert "Setup four of four: " in driver.said and "Never spin it on its face. Keep clear: " in driver.said

    def test_another_part_is_named_with_what_to_keep_clear_of_it(self) -> None:
        *_, third, fourth = self.boards_named(Driver(job()), 4)
        assert third.startswith("Long side, part A, end one. Keep clear: ") and third.count(".") == 2
        assert fourth == "Long side, end two: turn it end over end."

    def test_after_an_interruption_two_boards_are_named_in_full_again(self) -> None:
        driver = Driver(job(plan(count=2, parts="A")))
        self.boards_named(driver, 3)
        driver.resume()
        driver.gesture("hold")
        driver.gesture("hold")
        driver.confirm_all()
        (fourth,) = self.boards_named(driver, 1)
        assert fourth.startswith("Setup four of four: ") and "Never spin it on its face." in fourth
        assert "start the saw" in self.settings_in_full(driver)

    def settings_in_full(self, driver: Driver) -> str:
        """The first setting of this setup, said again."""
        driver.confirm_all()
        driver.gesture("double")
        return driver.said

    def test_what_to_do_at_the_saw_is_said_in_the_first_setup_and_when_asked_for(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.count()
        driver.confirm_all()
        assert driver.said == "Half a millimetre below, then up to three point one eight."
        in_full = f"Set the carriage, start the saw, cut, draw back clear and tap. {driver.said}"
        driver.gesture("double")
        assert driver.said == f"Again: {in_full}"
        driver.gesture("tap")
        driver.gesture("double")
        assert driver.said == "Again: Six point zero two.", "the saw is running"

    def test_a_downward_move_goes_past_and_comes_up(self) -> None:
        driver = cutting(4)
        assert driver.said.startswith("Half a millimetre below, then up to three point one eight")

    def test_said_again_it_still_goes_past(self) -> None:
        """Nobody knows whether the carriage was moved when it was called first."""
        driver = cutting(4)
        past = come_up_from(driver)
        assert past is not None and past < driver.state.pattern.passes[0].setting
        driver.gesture("double")
        assert come_up_from(driver) == past
        driver.heard("go to", 3)
        driver.gesture("double")
        assert driver.said.startswith("Nothing changed") and come_up_from(driver) == past
        driver.gesture("hold")
        driver.gesture("hold")
        driver.confirm_all()
        assert driver.kinds[-1] == "setting_called" and come_up_from(driver) == past
        driver.resume()
        driver.gesture("hold")
        driver.gesture("hold")
        driver.confirm_all()
        assert driver.kinds[-1] == "setting_called" and come_up_from(driver) == past

    def test_a_handwheel_is_told_the_move_and_then_the_mark(self) -> None:
        driver = cutting(1, carriage=HANDWHEEL)
        assert driver.said == "Up one turn and ninety-nine marks, to mark nine nine."

    def test_a_repeated_handwheel_call_names_both_ends_lest_it_be_turned_twice(self) -> None:
        driver = cutting(1, carriage=HANDWHEEL)
        driver.gesture("double")
        both = "From turn two, mark zero: up one turn and ninety-nine, to turn three, mark nine nine."
        assert driver.said == f"Again: {both}"

    def test_after_a_setting_that_may_not_have_been_dialled_both_ends_are_named(self) -> None:
        driver = cutting(1, carriage=HANDWHEEL)
        driver.heard("back")
        driver.gesture("hold")
        assert driver.said == (
            "From turn three, mark nine nine: down two turns and thirty-seven, past it; "
            "then up sixty-three marks, to turn two, mark zero."
        )

    def test_the_first_setting_of_a_setup_names_both_ends(self) -> None:
        driver = cutting(4, carriage=HANDWHEEL)
        assert driver.said.startswith("From turn eleven, mark four two: down nine turns and")
        assert driver.said.endswith("past it; then up sixty-three marks, to turn two, mark zero.")

    def test_a_setup_that_begins_where_the_last_one_ended_stays_there(self) -> None:
        a_job = job(plan(12, ends=2, parts="A"), few_checks(), carriage=HANDWHEEL, kerf=Fraction(121, 20))
        assert len(a_job.patterns[0].passes) == 1
        driver = Driver(a_job)
        driver.cut(1)
        driver.confirm_all()
        for _ in range(2):
            assert "stay at turn" in driver.said
            driver.gesture("double")

    def test_what_comes_next_is_prepared(self) -> None:
        driver = cutting()
        prepared = [x for x in driver.effects if isinstance(x, e.Prepare)]
        driver.gesture("tap")
        assert driver.says[0].prompts in prepared[0].announcements

    def test_so_is_the_question_that_follows_the_last_pass_and_what_follows_that(self) -> None:
        driver = cutting(3)
        (prepared,) = [x for x in driver.effects if isinstance(x, e.Prepare)]
        driver.gesture("tap")
        assert driver.says[0].prompts in prepared.announcements
        (prepared,) = [x for x in driver.effects if isinstance(x, e.Prepare)]
        driver.count()
        assert driver.says[0].prompts in prepared.announcements

    @pytest.mark.parametrize("every", [1, 2, 3])
    def test_so_is_a_check_every_so_many_passes_and_the_setting_after_it(self, every: int) -> None:
        driver = Driver(job(plan(30, parts="A"), few_checks(replace(EVERY_TWO, every=every))))
        driver.confirm_all()
        asked = 0
        while driver.state.setup == 1:
            (prepared,) = [x for x in driver.effects if isinstance(x, e.Prepare)]
            driver.gesture("tap" if driver.state.mode == "cutting" else "hold", after=11)
            assert driver.says[0].prompts in prepared.announcements
            asked += driver.asked == "dust bag"
        assert asked == {1: 3, 2: 1, 3: 1}[every], "after the last pass the sockets are counted first"

    def test_a_check_every_two_passes_comes_between_passes(self) -> None:
        driver = Driver(job(plan(30, parts="A"), few_checks(EVERY_TWO)))
        driver.cut(2)
        assert driver.kinds == ["pass_cut", "check_opened"]
        driver.gesture("hold")
        assert driver.kinds == ["check_confirmed", "setting_called"]

    @pytest.mark.parametrize("detour", [("go to", 1), ("back", None)])
    def test_it_counts_passes_made_so_that_no_detour_puts_it_off(self, detour: tuple[str, int | None]) -> None:
        driver = Driver(job(plan(30, parts="A"), few_checks(EVERY_TWO)))
        driver.cut()
        driver.heard(*detour)
        driver.gesture("hold")
        driver.gesture("tap")
        assert driver.kinds == ["pass_cut", "check_opened"]
        assert driver.asked == "dust bag"

    def test_one_that_is_due_stays_so_when_the_last_pass_is_taken_back(self) -> None:
        driver = Driver(job(plan(18, parts="A"), few_checks(EVERY_TWO)))
        driver.cut(driver.state.passes)
        assert driver.state.passes == 2 and driver.asked == "saw off"
        driver.heard("back")
        driver.gesture("hold")
        asked = []
        while driver.asked:
            asked.append(driver.asked)
            driver.gesture("hold")
        assert asked == ["carrying on", "dust bag"]

    def test_a_journal_in_which_it_was_put_off_is_asked_when_it_goes_on(self) -> None:
        """The count goes no further than it asks for."""
        driver = Driver(job(plan(30, parts="A"), few_checks(EVERY_TWO)))
        driver.cut()
        cut = driver.records[-2].fact
        assert isinstance(cut, f.PassCut)
        driver.records += [f.Record(driver.state.n + extra, driver.at, UTC, cut) for extra in (1, 2, 3)]
        driver.resume()
        last = driver.state.confirmed[-1]
        assert last is not None and last.passes == EVERY_TWO.every
        asked = set()
        while driver.state.mode != "cutting":
            asked.add(driver.asked)
            driver.gesture("hold")
        assert "dust bag" in asked


class TestWhatIsAskedAgain:
    """Two ends of one board: what the second one is asked hangs on what differs from the first."""

    def asked_at_the_second(self, **differs: object) -> list[str]:
        a_job = job(plan(ends=2, parts="A"))
        depth = differs.pop("depth", a_job.patterns[0].depth)
        patterns = (a_job.patterns[0], replace(a_job.patterns[0], depth=depth))
        setups = (a_job.setups[0], replace(a_job.setups[1], pattern=1, **differs))  # type: ignore[arg-type]
        driver = Driver(replace(a_job, patterns=patterns, setups=setups))
        driver.confirm_all()
        driver.cut(2)
        driver.count()
        asked = []
        while driver.asked:
            asked.append(driver.asked)
            driver.gesture("hold")
        return asked

    def test_the_same_cut_is_asked_least(self) -> None:
        assert self.asked_at_the_second() == ["edge and face", "clamps and guard"]

    def test_another_depth_alone_wants_its_guard_its_height_and_a_fresh_backing(self) -> None:
        asked = self.asked_at_the_second(depth=Fraction(25, 2))
        assert asked == ["edge and face", "clamps", "guard", "blade height", "backing"]

    def test_another_part_alone_wants_a_fresh_backing(self) -> None:
        assert self.asked_at_the_second(part="B") == ["edge and face", "clamps and guard", "backing"]

    def test_another_stage_alone_wants_its_guard_and_a_fresh_backing(self) -> None:
        assert self.asked_at_the_second(stage=2) == ["edge and face", "clamps", "guard", "backing"]


class TestGestures:
    def test_a_tap_at_a_check_repeats_it(self) -> None:
        driver = Driver(job())
        driver.gesture("tap")
        assert driver.kinds == []
        assert "Carriage zeroed to the reference edge?" in driver.said

    @pytest.mark.parametrize("seconds", [0.0, 1.0, 3.99])
    def test_a_tap_sooner_than_a_pass_takes_is_reported_and_not_obeyed(self, seconds: float) -> None:
        driver = cutting()
        driver.gesture("tap", after=seconds)
        assert driver.kinds == []
        assert "Too soon, not counted" in driver.said

    def test_a_tap_just_when_a_pass_can_be_cut_counts(self) -> None:
        driver = cutting()
        driver.gesture("tap", after=4.0)
        assert driver.kinds[0] == "pass_cut"

    def test_what_counts_is_when_the_press_went_down(self) -> None:
        driver = cutting()
        driver.gesture("tap", after=4.3, held=0.4)
        assert driver.kinds == []

    def test_one_long_press_answers_one_check(self) -> None:
        driver = Driver(job())
        driver.gesture("hold")
        driver.gesture("hold", after=0.5, held=0.8)
        assert driver.kinds == []
        assert "began before this was asked" in driver.shown

    def test_long_press_stands_by_and_long_press_carries_on_with_one_question_for_saw_clamps_and_guard(self) -> None:
        driver = cutting()
        driver.gesture("hold")
        assert driver.kinds == ["stood_by"]
        assert driver.said.startswith("Standing by. Saw off.")
        driver.gesture("tap")
        assert driver.kinds == [] and "What went wrong?" in driver.said
        driver.gesture("double")
        assert driver.kinds == [] and driver.said.startswith("Nothing changed.")
        driver.gesture("double")
        assert "pass one of four is next" in driver.said
        driver.gesture("hold")
        assert driver.kinds == ["carried_on", "check_opened"]
        assert driver.said == "Saw off, clamps tight, guard on?"
        driver.gesture("hold")
        assert driver.facts[1] == f.SettingCalled(1, 1, "159/50")

    def test_stood_by_before_the_clamps_were_confirmed_they_are_asked_about_as_ever(self) -> None:
        driver = Driver(job())
        driver.gesture("hold")
        driver.gesture("hold")
        driver.heard("stand by")
        driver.gesture("hold")
        assert driver.asked == "clamps"
        driver.gesture("hold")
        assert driver.asked == "guard"
        driver.gesture("hold")
        assert driver.asked == "blade height", "and nobody is asked whether they are tight still"

    def test_stood_by_between_the_guard_and_the_clamps_of_a_shop_that_asks_so_both_are_asked_about(self) -> None:
        guard_first = sorted(job().checks, key=lambda check: check.name != "guard")
        driver = Driver(job(checks=tuple(guard_first)))
        assert driver.asked == "guard"
        driver.gesture("hold")
        driver.heard("stand by")
        driver.gesture("hold")
        assert driver.asked == "guard", "nobody knows what was done to it meanwhile"
        driver.confirm_all()
        confirmed = [
            fact.check for fact in (record.fact for record in driver.records) if isinstance(fact, f.CheckConfirmed)
        ]
        assert confirmed == ["guard", "guard", "zero", "edge and face", "clamps", "blade height", "backing"]

    def test_a_long_press_begun_while_a_pass_was_called_stands_by_whatever_was_opened_since(self) -> None:
        driver = cutting(3)
        driver.stalls_s = 30.0
        driver.gesture("tap")
        assert driver.asked == "saw off"
        driver.gesture("hold", after=0.5, held=1.0)
        assert driver.kinds == ["stood_by"]

    def test_a_long_press_begun_while_a_question_lay_over_the_pass_does_not_stand_by(self) -> None:
        """It meant yes, and that was taken from the phrase already."""
        driver = cutting(1)
        driver.heard("back")
        driver.stalls_s = 30.0
        driver.heard("yes")
        assert driver.kinds == ["stepped_back", "setting_called"]
        driver.gesture("hold", after=0.0, held=20.0)
        assert driver.kinds == [] and "began before this was asked" in driver.shown

    def test_a_tap_answers_no_read_back_a_double_says_no_a_long_press_yes(self) -> None:
        driver = cutting(1)
        driver.heard("back")
        driver.gesture("tap")
        assert driver.kinds == [] and "A tap is not an answer" in driver.said
        driver.gesture("double")
        assert driver.kinds == [] and "Nothing changed. Six point zero two." in driver.said
        driver.heard("back")
        driver.gesture("hold")
        assert driver.kinds == ["stepped_back", "setting_called"]


class TestPhrases:
    def test_only_the_open_checks_answer_confirms_it(self) -> None:
        driver = Driver(job())
        driver.heard("check", "guard")
        assert driver.kinds == []
        driver.heard("check", "zero")
        assert driver.kinds == ["check_confirmed", "check_opened"]

    def test_a_result_of_an_older_grammar_is_shown_and_not_obeyed(self) -> None:
        driver = cutting()
        driver.heard("cut", old=1)
        assert driver.kinds == [] and "Heard too late" in driver.shown

    def test_a_phrase_begun_before_the_call_does_not_count(self) -> None:
        driver = cutting()
        driver.heard("cut", after=5.0, began=5.1)
        assert driver.kinds == [] and driver.said == ""

    def test_the_phrase_too_is_held_to_the_time_a_pass_takes(self) -> None:
        driver = cutting()
        driver.heard("cut", after=5.0, began=1.5)
        assert driver.kinds == [] and "Too soon" in driver.said

    def test_standing_by_is_obeyed_from_any_grammar(self) -> None:
        driver = cutting()
        driver.heard("stand by", old=3)
        assert driver.kinds == ["stood_by"]

    def test_questions_change_nothing(self) -> None:
        driver = cutting(1)
        before = driver.state.cut
        driver.heard("how many")
        assert driver.said == "Three to go on this end, eleven in all."
        driver.heard("where")
        assert "pass two of four" in driver.said
        driver.heard("again")
        assert driver.said == "Again: Six point zero two."
        assert driver.state.cut == before and "pass_cut" not in driver.kinds

    def test_a_problem_is_marked_at_its_place(self) -> None:
        driver = cutting(1)
        driver.heard("mark")
        assert driver.facts[0] == f.Noted(1, 2, "")
        assert driver.said == "Problem marked at setup one, pass two."


class TestDetours:
    def test_back_names_the_pass_before_and_calls_it_again(self) -> None:
        driver = cutting(2)
        driver.heard("back")
        assert "Go back to pass two and count it as not cut?" in driver.said
        driver.heard("yes")
        assert driver.facts[1] == f.SteppedBack(1, 2)
        driver.gesture("tap")
        driver.gesture("tap")
        assert driver.state.cut == 0b111

    def test_go_to_ahead_goes_on_from_there_and_ends_with_what_was_left_out(self) -> None:
        driver = cutting()
        driver.heard("go to", 3)
        driver.gesture("hold")
        called = [driver.state.cursor]
        while driver.state.mode == "cutting":
            driver.gesture("tap")
            called.append(driver.state.cursor)
        assert called == [3, 4, 1, 2, 2]
        assert driver.asked == "saw off"

    def test_a_pass_gone_to_that_was_not_cut_leaves_no_more_to_cut_than_before(self) -> None:
        driver = cutting(1)
        driver.heard("go to", 3)
        driver.gesture("hold")
        driver.heard("how many")
        assert driver.said == "Three to go on this end, eleven in all."

    def test_go_to_behind_recalls_only_the_pass_it_named(self) -> None:
        driver = cutting(3)
        driver.heard("go to", 1)
        driver.heard("yes")
        driver.gesture("tap")
        assert driver.state.cursor == 4

    def test_there_is_no_pass_beyond_the_last(self) -> None:
        driver = cutting()
        driver.heard("go to", 9)
        assert driver.state.question is None and "There is no pass nine; this end has four." in driver.said
        driver.heard("go to", 0)
        assert driver.state.question is None and "There is no pass zero" in driver.said

    def test_from_the_first_pass_of_the_first_board_there_is_nothing_to_go_back_to(self) -> None:
        driver = cutting()
        driver.heard("back")
        assert driver.state.question is None and driver.kinds == []

    def test_the_only_pass_of_a_board_can_be_taken_back_too(self) -> None:
        driver = Driver(job(plan(12, ends=1, parts="A"), few_checks(), kerf=Fraction(121, 20)))
        driver.cut(1)
        assert driver.asked == "saw off" and driver.state.passes == 1
        driver.heard("back")
        driver.gesture("hold")
        assert driver.facts[1] == f.SteppedBack(1, 1)

    def test_a_read_back_becomes_a_no_after_fifteen_seconds(self) -> None:
        driver = cutting(1)
        driver.heard("back")
        assert [x.at for x in driver.effects if isinstance(x, e.WakeAt)] == [driver.at + 15]
        driver.wait(14.99)
        assert driver.state.question is not None
        driver.wait(0.01)
        assert driver.state.question is None and "Nothing changed" in driver.said
        assert driver.state.mode == "cutting"

    def test_back_reaches_into_the_setup_before_until_a_check_is_answered(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.count()
        driver.heard("back")
        assert "of setup one" in driver.said
        driver.gesture("hold")
        assert driver.kinds == ["stepped_back"] and "Is the work still clamped just as it was?" in driver.said
        driver.gesture("hold")
        assert driver.kinds == ["check_opened"]
        assert (driver.state.setup, driver.state.cut) == (1, 0b0111)

    def test_interrupted_before_anything_is_asked_in_a_reopened_setup_it_may_still_be_clamped(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.count()
        driver.heard("back")
        driver.gesture("hold")
        driver.resume()
        driver.gesture("hold")
        assert driver.state.question is not None and driver.state.question.name == "clamped"

    def test_back_does_not_reach_past_an_answered_check(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.count()
        driver.gesture("hold")
        driver.heard("back")
        assert driver.state.question is None and "The previous setup is closed" in driver.said

    def test_back_reaches_into_a_finished_session_and_it_can_be_finished_again(self) -> None:
        driver = Driver(job(plan(ends=1, parts="A"), few_checks()))
        driver.cut(2)
        driver.count()
        driver.heard("back")
        driver.gesture("hold")
        assert driver.kinds == ["stepped_back"] and "Is the work still clamped just as it was?" in driver.said
        driver.heard("no")
        assert driver.state.question is not None and driver.state.question.name == "registered"
        driver.gesture("hold")
        driver.cut(1)
        driver.count()
        assert driver.kinds == ["check_confirmed", "setup_done", "finished"]

    def test_back_from_the_count_calls_the_last_pass_again_and_counts_anew(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.heard("back")
        assert "Go back to pass four and count it as not cut?" in driver.said
        driver.gesture("hold")
        assert driver.kinds == ["stepped_back", "check_opened"] and driver.asked == "carrying on"
        driver.gesture("hold")
        assert driver.kinds == ["check_confirmed", "setting_called"]
        driver.gesture("tap")
        assert driver.asked == "saw off"

    def test_a_finished_session_closes_also_after_a_refused_back(self) -> None:
        driver = Driver(job(plan(ends=1, parts="A"), few_checks()))
        driver.cut(2)
        driver.count()
        driver.heard("back")
        driver.gesture("double")
        assert [x.at for x in driver.effects if isinstance(x, e.WakeAt)] == [driver.at + 20]
        driver.wait(20)
        assert e.Close(open_=False) in driver.effects

    def test_a_finished_session_closes_when_nothing_more_comes(self) -> None:
        driver = Driver(job(plan(ends=1, parts="A"), few_checks()))
        driver.cut(2)
        driver.count()
        driver.wait(19.9)
        assert e.Close(open_=False) not in driver.effects
        driver.wait(0.2)
        assert e.Close(open_=False) in driver.effects

    def test_end_is_read_back_and_ends_early(self) -> None:
        driver = cutting(1)
        driver.heard("end")
        assert "eleven passes not cut" in driver.said
        driver.heard("yes")
        assert driver.facts[1] == f.EndedEarly(1, 2)
        assert "Eleven passes were not cut" in driver.said, "passes that were cut are not among those left"
        assert e.Close(open_=False) in driver.effects


class TestQuiet:
    def test_a_fault_while_a_pass_may_be_under_way_is_shown_and_spoken_after(self) -> None:
        driver = cutting()
        driver.device("microphone")
        assert driver.said == "" and driver.shown == "Microphone lost"
        driver.gesture("tap")
        assert driver.said == "Microphone lost Six point zero two."
        driver.gesture("tap")
        assert "icrophone" not in driver.said

    def test_only_the_newest_notice_of_a_device_is_kept(self) -> None:
        driver = cutting()
        driver.device("microphone", "lost")
        driver.device("microphone", "works")
        driver.gesture("double")
        assert driver.said.startswith("Microphone works Again:")

    def test_at_a_check_it_is_spoken_at_once_without_cutting_anything_off(self) -> None:
        driver = Driver(job())
        driver.device()
        assert driver.said == "Microphone lost" and driver.says[0].replaces is False


class TestResuming:
    def test_untouched_and_clamped_asks_clamps_guard_and_blade_height_then_the_pass_in_flight(self) -> None:
        driver = cutting(1)
        driver.resume()
        assert driver.facts[0] == f.Resumed(1, 2)
        assert "still read six point zero two, untouched?" in driver.said
        driver.gesture("hold")
        assert "still clamped" in driver.said
        driver.gesture("hold")
        asked = []
        while driver.state.mode == "checks":
            asked.append(driver.state.the_job.checks[driver.state.open_check or 0].name)
            driver.gesture("hold")
        assert asked == ["clamps", "guard", "blade height"]
        assert driver.facts[1] == f.SettingCalled(1, 2, "301/50")
        assert "start the saw, cut, draw back clear" in driver.said

    @pytest.mark.parametrize("cut", [1, 2], ids=["between two passes", "at the end of a setup"])
    def test_a_pass_that_is_cut_is_not_resumed_as_one_to_be_cut_again(self, cut: int) -> None:
        after_each = Check("dust bag", "dust bag emptied?", "dust bag is empty once more", "every", 1)
        driver = Driver(job(plan(18, parts="A"), few_checks(after_each)))
        driver.cut(cut)
        assert driver.state.mode == "checks" and driver.state.is_cut(driver.state.cursor)
        driver.resume()
        assert driver.facts[0] == f.Resumed(1, 0)

    def test_a_moved_carriage_is_zeroed_and_unclamped_work_registered_again(self) -> None:
        driver = cutting(1)
        driver.resume()
        driver.gesture("double")
        assert "Zero the carriage again" in driver.said
        driver.gesture("double")
        assert "Zero the carriage again" in driver.said, "as long as it isn't, nothing goes on"
        driver.gesture("hold")
        driver.gesture("double")
        assert "Carriage to pass one: three point one eight. Only an edge is cut" in driver.said
        driver.gesture("hold")
        assert driver.kinds == ["reregistered", "check_opened"]

    def test_zeroed_again_the_next_setting_is_counted_from_there(self) -> None:
        driver = cutting(1, carriage=HANDWHEEL)
        driver.resume()
        assert "Does the dial read mark nine nine, three turns up?" in driver.said
        driver.gesture("double")
        driver.gesture("hold")
        assert driver.kinds == ["zeroed"] and driver.state.carriage_at == 0
        driver.gesture("hold")
        driver.confirm_all()
        assert driver.said.endswith("tap. From zero: up three turns and ninety-nine, to turn three, mark nine nine.")
        driver.resume()
        assert "three turns up?" in driver.said

    def test_clamped_anew_a_setting_bar_is_asked_about_again(self) -> None:
        """It stands in the blade's slot."""
        a_job = job(checks=DEFAULT_CHECKS, carriage=Carriage(register="setting bar"))
        for anew in (True, False):
            driver = Driver(a_job)
            driver.confirm_all()
            driver.gesture("tap")
            driver.resume()
            driver.gesture("hold")
            driver.gesture("double" if anew else "hold")
            if anew:
                assert "against the setting bar at the left stop, and clamp, then put the bar away" in driver.said
                driver.gesture("hold")
            asked = []
            while driver.state.mode == "checks":
                asked.append(a_job.checks[driver.state.open_check or 0].name)
                driver.gesture("hold")
            assert asked == ["edge and face", "setting bar out"] * anew + ["clamps", "guard", "blade height"]

    def test_with_no_pass_cut_only_the_edge_is_left_to_go_by(self) -> None:
        driver = cutting()
        driver.resume()
        driver.gesture("hold")
        driver.gesture("double")
        assert "No pass is cut yet" in driver.said and "still blade" not in driver.said

    def test_what_has_changed_since_is_said_before_anything_is_asked(self) -> None:
        driver = cutting(1)
        driver.resume("The plan file has changed.")
        assert driver.said.index("The plan file has changed.") < driver.said.index("untouched?")

    def test_left_it_stays_open_unless_it_is_finished(self) -> None:
        driver = Driver(job(plan(ends=1, parts="A"), few_checks()))
        driver.send(Leave(driver.at, UTC))
        assert e.Close(open_=True) in driver.effects
        driver.cut(2)
        driver.count()
        driver.send(Leave(driver.at, UTC))
        assert e.Close(open_=False) in driver.effects

    def test_before_any_check_the_clamping_is_told_from_the_start(self) -> None:
        driver = Driver(job())
        driver.resume()
        assert driver.kinds == ["resumed", "check_opened"]
        assert "Setup one of four: short side, part B, end one down. Keep clear: zero to eighteen" in driver.said

    def test_a_question_open_at_the_interruption_is_gone(self) -> None:
        driver = cutting(2)
        driver.heard("back")
        driver.resume()
        assert driver.state.question is not None and driver.state.question.name == "carriage"
        assert driver.state.cut == 0b11

    def test_questions_of_resuming_do_not_time_out(self) -> None:
        driver = cutting(1)
        driver.resume()
        driver.wait(3600)
        assert driver.state.question is not None

    def test_interrupted_again_while_resuming_asks_everything_again(self) -> None:
        driver = cutting(1)
        driver.resume()
        driver.gesture("hold")
        driver.gesture("hold")
        driver.gesture("hold")
        driver.resume()
        assert "still read six point zero two, untouched?" in driver.said
        driver.gesture("hold")
        driver.gesture("hold")
        assert driver.state.the_job.checks[driver.state.open_check or 0].name == "clamps"


class TestTheEndOfASetup:
    """The saw off, the blade still, and what was cut counted, before anything else is named."""

    def test_a_reflex_counts_nothing(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.gesture("hold", after=9.0, held=0.0)
        assert driver.kinds == []
        assert driver.said == "Not counted: the blade takes 10 seconds to stop. Wait, count, then confirm."
        driver.gesture("hold", after=1.7, held=0.8)
        assert driver.kinds == [], "what counts is when the press went down"
        driver.gesture("hold", after=0.1, held=0.8)
        assert driver.kinds[0] == "check_confirmed"

    def test_a_reflex_at_the_end_of_a_later_setup_counts_nothing_either(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.count()
        driver.cut(4)
        assert driver.asked == "saw off" and driver.state.setup == 2
        driver.gesture("hold", after=9.9)
        assert driver.kinds == []

    def test_with_more_to_ask_at_the_end_a_pass_taken_back_has_all_of_it_asked_again(self) -> None:
        driver = Driver(job(plan(ends=1, parts="A"), few_checks(OFFCUTS)))
        driver.cut(2)
        driver.count()
        assert driver.asked == "offcuts"
        driver.heard("back")
        driver.gesture("hold")
        assert driver.asked == "carrying on"
        driver.gesture("hold")
        driver.gesture("tap")
        assert driver.asked == "saw off", "the blade has turned again"

    def test_the_time_is_the_shops(self) -> None:
        driver = Driver(replace(job(), run_down_s=3.0))
        driver.confirm_all()
        driver.cut(4)
        driver.gesture("hold", after=2.9)
        assert driver.kinds == []
        driver.gesture("hold", after=0.1)
        assert driver.kinds[0] == "check_confirmed"

    def test_saying_it_again_or_standing_by_lets_no_time_begin_anew(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.gesture("double", after=4)
        assert driver.said == "Saw off. When the blade has stopped, count two sockets."
        driver.heard("stand by", after=2)
        driver.gesture("hold", after=2)
        assert driver.asked == "saw off", "where all is cut, clamps and guard are of no matter any more"
        driver.gesture("hold", after=2)
        assert driver.kinds[0] == "check_confirmed"

    def test_it_counts_from_when_it_was_asked_and_not_from_a_tap_that_had_to_wait(self) -> None:
        driver = cutting(3)
        driver.stalls_s = 20.0
        driver.gesture("tap")
        driver.gesture("hold", after=9.0)
        assert driver.kinds == []

    def test_the_screens_count_down(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        (shown,) = [x.view for x in driver.effects if isinstance(x, e.Show)]
        assert shown.wait_s == 10.0
        driver.gesture("hold", after=4)
        driver.heard("mark", after=0)
        driver.device("microphone", "lost")
        driver.heard("go to", 1, after=0)
        waits = [x.view.wait_s for x in driver.effects if isinstance(x, e.Show)]
        assert waits == [5.0]

    def test_saw_off_and_stood_by_the_next_board_is_clamped_as_ever(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.heard("stand by")
        driver.gesture("hold")
        driver.count()
        asked = []
        while driver.asked:
            asked.append(driver.asked)
            driver.gesture("hold")
        assert asked == ["edge and face", "clamps and guard"]

    def test_resumed_there_it_is_only_counted(self) -> None:
        driver = cutting(3)
        driver.gesture("tap")
        driver.resume()
        driver.gesture("hold")
        assert driver.asked == "saw off" and "all cut" in driver.said


class TestMarkedProblems:
    """Named again when there is something to look at: as the blade stops after the last pass, and at the very end."""

    def marked(self) -> Driver:
        """In the first of two setups, at the second pass of four."""
        driver = cutting(1)
        driver.heard("mark")
        driver.cut(3)
        return driver

    def test_they_are_named_where_the_blade_comes_to_a_stop(self) -> None:
        driver = self.marked()
        assert driver.said == ("A problem is marked at pass two. Saw off and stopped? Count two.")
        driver.gesture("tap")
        assert driver.said.startswith("A problem is marked at pass two. Saw off"), "also when it is said again"
        driver.resume()
        driver.gesture("hold")
        assert "A problem is marked at pass two. Saw off" in driver.said, "and after an interruption"

    def test_so_are_those_of_the_last_setup_and_not_those_of_another(self) -> None:
        driver = self.marked()
        driver.count()
        driver.cut(4)
        assert driver.state.setup == 2 and driver.said.startswith("Saw off and stopped?")
        driver.count()
        driver.cut(2)
        driver.count()
        driver.confirm_all()
        driver.heard("mark")
        driver.cut(2)
        assert driver.said.startswith("A problem is marked at pass one. Saw off")

    def test_one_marked_before_the_first_pass_is_named_too(self) -> None:
        driver = Driver(job())
        driver.heard("mark")
        driver.confirm_all()
        driver.heard("mark")
        driver.cut(4)
        assert driver.said.startswith("Problems are marked before the first pass and at pass one. Saw off and stopped?")

    def test_at_the_end_all_of_them_are_named_and_what_to_refit_last(self) -> None:
        driver = self.marked()
        while driver.state.mode != "finished":
            driver.gesture("hold" if driver.state.mode == "checks" else "tap", after=10.0)
        end = "A problem is marked in setup one at pass two. All cut. Isolate the saw and refit the riving knife"
        assert driver.said.startswith(end)
        driver.gesture("double")
        assert driver.said.startswith(end)

    def test_also_when_it_is_ended_early(self) -> None:
        driver = self.marked()
        driver.heard("end")
        driver.gesture("hold")
        assert driver.said.startswith("A problem is marked in setup one at pass two. Session ended. Eight passes")

    def test_taken_back_a_board_is_still_told_its_own(self) -> None:
        driver = self.marked()
        driver.count()
        driver.heard("mark")
        driver.heard("back")
        driver.gesture("hold")
        driver.gesture("hold")
        driver.cut()
        assert driver.said.startswith("A problem is marked at pass two. Saw off")
        assert driver.state.marked == ((1, 2), (2, 0))


class TestStages:
    """Two stages: what was glued must be dry before the next begins."""

    def two_stages(self, *more: Check) -> Driver:
        a_job = job(plan(ends=2, parts="A"), few_checks())
        glue = tuple(check for check in DEFAULT_CHECKS if check.when == "stage")
        setups = (a_job.setups[0], replace(a_job.setups[1], stage=2))
        stages = ("openings and blanks", "final sockets")
        return Driver(replace(a_job, stages=stages, setups=setups, checks=a_job.checks + glue + more))

    def test_the_end_of_a_stage_tells_what_is_done_before_the_next(self) -> None:
        driver = self.two_stages()
        driver.cut(2)
        driver.count()
        assert "Stage one is done. Glue each blank into its board" in driver.said

    def test_dry_and_trimmed_is_asked_from_stage_two_on_and_makes_the_stage_ready(self) -> None:
        driver = self.two_stages()
        driver.cut(2)
        driver.count()
        asked = []
        while driver.state.mode == "checks":
            asked.append(driver.state.the_job.checks[driver.state.open_check or 0].name)
            driver.gesture("hold")
        assert asked == ["clamps", "guard", "glue dry and trimmed"]
        assert driver.facts[1] == f.StageReady(2)

    def test_a_stage_is_ready_when_all_that_is_asked_for_it_is_confirmed(self) -> None:
        driver = self.two_stages(Check("blanks", "blanks marked?", "blanks are marked again", "stage"))
        driver.cut(2)
        driver.count()
        while driver.asked != "blanks":
            driver.gesture("hold")
            assert "stage_ready" not in driver.kinds
        driver.gesture("hold")
        assert driver.facts[1] == f.StageReady(2)

    def test_no_setting_of_the_next_stage_is_called_before(self) -> None:
        driver = self.two_stages()
        driver.cut(2)
        driver.count()
        driver.gesture("hold")
        driver.gesture("hold")
        driver.gesture("tap")
        assert driver.state.mode == "checks" and "glue dry" in driver.said.lower()


class TestAfterAReadBack:
    def test_a_late_answer_to_a_question_that_timed_out_records_no_cut(self) -> None:
        driver = cutting(1)
        driver.heard("back", after=20)
        driver.wait(15)
        driver.gesture("tap", after=2)
        assert driver.kinds == [] and "Too soon" in driver.said
        driver.gesture("tap", after=2)
        assert driver.kinds[0] == "pass_cut"
