"""An answer counts only if its question was announced first: spoken or, if the voice failed, shown."""

from __future__ import annotations

import pytest

from assistant.session.announced import FIRST_WORDS_S, READ_BACK_S, READING_S
from assistant.session.events import Displayed
from tests.session.driver import UTC, Driver
from tests.session.jobs import few_checks, job


def asked() -> Driver:
    """The clamps check is open, and not a word of it has sounded yet."""
    return Driver(job(checks=few_checks()), hear_out=True)


def called() -> Driver:
    """The first setting is called, and not a word of it has sounded yet."""
    driver = asked()
    while driver.asked:
        driver.speech("whole", after=2.0)
        driver.gesture("hold")
    assert driver.state.mode == "cutting"
    return driver


def displayed(driver: Driver, after: float = 0.0, old: int = 0) -> None:
    driver.at += after
    driver.send(Displayed(driver.at, UTC, driver.state.generation - old))


def confirmed(driver: Driver) -> bool:
    return "check_confirmed" in driver.kinds


class TestChecksAndQuestions:
    def test_long_presses_every_second_confirm_nothing_while_the_cautions_sound(self) -> None:
        driver = asked()
        for _ in range(10):
            driver.gesture("hold", after=1.0, held=0.8)
            assert not confirmed(driver)
            assert "wait for the announcement, then answer" in driver.shown + driver.said

    def test_if_nothing_can_be_spoken_nobody_has_to_wait_for_a_voice(self) -> None:
        driver = asked()
        driver.speech("failed")
        for _ in range(2):
            driver.gesture("hold", after=0.1)
            assert not confirmed(driver)
            assert driver.shown + driver.said == "Not counted: read the screen first, then answer."

    def test_an_early_answer_is_refused_aloud_once_and_cuts_nothing_off(self) -> None:
        driver = asked()
        driver.gesture("hold", after=1.0)
        (said,) = driver.says
        assert not said.replaces and "Not counted" in driver.said
        driver.gesture("hold", after=1.0)
        assert not driver.says and driver.shown

    def test_a_long_press_begun_after_the_first_words_counts(self) -> None:
        driver = asked()
        driver.speech("begun", after=8.0)
        driver.gesture("hold", after=FIRST_WORDS_S + 0.7, held=0.8)
        assert not confirmed(driver), "it was begun before they were over"
        driver.gesture("hold", after=0.9, held=0.8)
        assert confirmed(driver)

    def test_a_short_question_is_announced_when_it_is_over(self) -> None:
        driver = asked()
        driver.speech("begun")
        driver.speech("whole", after=FIRST_WORDS_S / 2)
        driver.gesture("hold", after=0.1)
        assert confirmed(driver)

    def test_each_check_needs_an_announcement_of_its_own(self) -> None:
        driver = asked()
        driver.speech("whole", after=5.0)
        driver.gesture("hold", after=0.1)
        assert confirmed(driver)
        driver.gesture("hold", after=1.0)
        assert not confirmed(driver), "the guard has not been asked for yet"

    def test_a_check_repeated_after_a_tap_counts_as_announced_too(self) -> None:
        driver = asked()
        first = driver.state.opening.announcement
        driver.gesture("tap", after=1.0)
        assert driver.state.opening.announcement != first
        driver.speech("begun", after=1.0)
        driver.gesture("hold", after=FIRST_WORDS_S)
        assert confirmed(driver)

    def test_a_read_back_is_confirmed_only_once_it_was_spoken(self) -> None:
        driver = called()
        driver.speech("whole", after=3.0)
        driver.gesture("tap")
        driver.speech("whole", after=3.0)
        driver.heard("back")
        driver.gesture("hold", after=0.5)
        assert driver.state.question is not None
        driver.speech("whole", after=3.0)
        driver.gesture("hold", after=0.1)
        assert driver.kinds[0] == "stepped_back"

    def test_a_no_counts_before_the_question_was_announced(self) -> None:
        driver = asked()
        driver.heard("end")
        driver.gesture("double", after=0.5)
        assert driver.state.question is None

    def test_first_words_that_were_cut_off_announce_nothing_and_are_said_again_after_the_answer(self) -> None:
        driver = asked()
        driver.speech("begun", after=8.0)
        driver.heard("how many", after=FIRST_WORDS_S / 2)
        driver.speech("cut off")
        (again,) = driver.says
        assert not again.replaces and "clamp" in driver.said.lower()
        driver.gesture("hold", after=FIRST_WORDS_S)
        assert not confirmed(driver)
        driver.speech("begun", after=2.0)
        driver.gesture("hold", after=FIRST_WORDS_S)
        assert confirmed(driver)


class TestSettings:
    def test_a_setting_counts_as_announced_when_it_was_spoken_whole(self) -> None:
        driver = called()
        driver.speech("begun")
        driver.gesture("tap", after=4.5)
        assert driver.kinds == [], "its number comes last"
        driver.speech("whole")
        driver.gesture("tap", after=0.1)
        assert driver.kinds[0] == "pass_cut"

    def test_the_time_a_pass_takes_counts_from_when_the_setting_went_out(self) -> None:
        driver = called()
        driver.speech("whole", after=1.0)
        driver.gesture("tap", after=2.9)
        assert driver.kinds == [] and "Too soon" in driver.said
        driver.gesture("tap", after=0.1)
        assert driver.kinds[0] == "pass_cut"

    def test_a_setting_that_an_answer_cut_off_is_said_again_afterwards(self) -> None:
        driver = called()
        driver.speech("begun")
        driver.heard("where", after=1.0)
        driver.speech("cut off")
        (again,) = driver.says
        assert not again.replaces and again.klass == "setting" and "Three point one eight" in driver.said
        driver.gesture("tap", after=5.0)
        assert driver.kinds == []
        driver.speech("whole", after=2.0)
        driver.gesture("tap", after=0.1)
        assert driver.kinds[0] == "pass_cut"

    def test_a_setting_already_announced_may_be_cut_off(self) -> None:
        driver = called()
        driver.speech("whole", after=3.0)
        driver.gesture("double")
        driver.heard("where", after=1.0)
        driver.speech("cut off")
        assert driver.says == []
        driver.gesture("tap", after=0.1)
        assert driver.kinds[0] == "pass_cut"


class TestWithoutAVoice:
    def test_what_was_not_spoken_counts_when_it_was_shown_and_could_be_read(self) -> None:
        driver = asked()
        driver.speech("failed")
        driver.gesture("hold", after=30.0)
        assert not confirmed(driver), "no screen has shown it"
        displayed(driver)
        driver.gesture("hold", after=READING_S - 0.1)
        assert not confirmed(driver)
        driver.gesture("hold", after=0.1)
        assert confirmed(driver)

    def test_what_was_shown_before_the_voice_failed_counts_too(self) -> None:
        driver = asked()
        displayed(driver)
        driver.gesture("hold", after=READING_S)
        assert not confirmed(driver), "the voice may say it yet"
        driver.speech("failed", after=3.0)
        driver.gesture("hold", after=0.1)
        assert confirmed(driver)

    def test_a_screen_that_shows_what_was_open_before_announces_nothing(self) -> None:
        driver = asked()
        driver.speech("failed")
        displayed(driver, old=1)
        driver.gesture("hold", after=30.0)
        assert not confirmed(driver)

    def test_a_voice_that_never_reports_announces_nothing_however_long_it_takes(self) -> None:
        driver = asked()
        for _ in range(6):
            driver.gesture("hold", after=22.0)
            assert not confirmed(driver)

    def test_a_setting_without_a_report_records_no_cut_either(self) -> None:
        driver = called()
        driver.speech("failed")
        driver.gesture("tap")
        assert driver.kinds == []
        displayed(driver)
        driver.gesture("tap", after=READING_S)
        assert driver.kinds[0] == "pass_cut"


class TestHeldUp:
    """The session's thread stood still. Presses made meanwhile are handled afterwards, with their own times."""

    def test_taps_in_a_stall_record_no_pass_that_was_not_announced(self) -> None:
        driver = called()
        driver.speech("whole", after=3.0)
        driver.stalls_s = 30.0
        driver.gesture("tap")
        assert driver.kinds == ["pass_cut", "setting_called"]
        for into_it in (5.0, 10.0, 15.0):
            driver.gesture("tap", after=0.0, held=30.0 - into_it)
            assert driver.kinds == [] and "began before" in driver.shown

    def test_long_presses_in_a_stall_confirm_no_check_that_was_not_announced(self) -> None:
        driver = asked()
        driver.speech("whole", after=5.0)
        driver.stalls_s = 50.0
        driver.gesture("hold")
        assert driver.kinds == ["check_confirmed", "check_opened"]
        for into_it in (0.1, 22.0, 44.0):
            driver.gesture("hold", after=0.0, held=50.0 - into_it)
            assert driver.kinds == [] and "began before" in driver.shown

    def test_a_read_back_waits_its_time_from_when_it_went_out(self) -> None:
        driver = called()
        driver.speech("whole", after=3.0)
        driver.stalls_s = 60.0
        driver.heard("end")
        driver.wait(READ_BACK_S - 0.1)
        assert driver.state.question is not None
        driver.wait(0.1)
        assert driver.state.question is None


@pytest.mark.parametrize("spoken", [True, False])
def test_in_a_rehearsal_everything_counts_as_announced_once_it_went_out(spoken: bool) -> None:
    driver = Driver(job(checks=few_checks()))
    if spoken:
        driver.speech("begun")
    driver.gesture("hold", after=0.1)
    assert confirmed(driver)
