"""A check that is confirmed before it has been heard is no check: its answer counts only once it was asked aloud."""

from __future__ import annotations

from assistant.session.checks import FIRST_WORDS_S, UNANSWERED_S
from tests.session.driver import Driver
from tests.session.jobs import few_checks, job


def asked() -> Driver:
    """The clamps are asked for, and not a word of it has sounded yet."""
    return Driver(job(checks=few_checks()), hear_out=True)


def confirmed(driver: Driver) -> bool:
    return "check_confirmed" in driver.kinds


def test_holding_every_second_confirms_nothing_while_the_cautions_sound() -> None:
    driver = asked()
    for _ in range(10):
        driver.gesture("hold", after=1.0, held=0.8)
        assert not confirmed(driver)
        assert "hear the question first" in driver.shown + driver.said


def test_that_it_did_not_count_is_said_once_and_cuts_nothing_off() -> None:
    driver = asked()
    driver.gesture("hold", after=1.0)
    (said,) = driver.says
    assert not said.replaces and "Not counted" in driver.said
    driver.gesture("hold", after=1.0)
    assert not driver.says and driver.shown


def test_a_hold_begun_after_the_first_words_counts() -> None:
    driver = asked()
    driver.speech("begun", after=8.0)
    driver.gesture("hold", after=FIRST_WORDS_S + 0.7, held=0.8)
    assert not confirmed(driver), "it was begun before they were over"
    driver.gesture("hold", after=0.9, held=0.8)
    assert confirmed(driver)


def test_a_short_question_is_told_when_it_is_over() -> None:
    driver = asked()
    driver.speech("begun")
    driver.speech("whole", after=FIRST_WORDS_S / 2)
    driver.gesture("hold", after=0.1)
    assert confirmed(driver)


def test_each_check_is_told_for_itself() -> None:
    driver = asked()
    driver.speech("whole", after=5.0)
    driver.gesture("hold", after=0.1)
    assert confirmed(driver)
    driver.gesture("hold", after=1.0)
    assert not confirmed(driver), "the guard has not been asked for yet"


def test_a_tap_has_it_said_again_and_that_counts_too() -> None:
    driver = asked()
    first = driver.state.asking
    driver.gesture("tap", after=1.0)
    assert driver.state.asking != first
    driver.speech("begun", after=1.0)
    driver.gesture("hold", after=FIRST_WORDS_S)
    assert confirmed(driver)


def test_without_a_voice_reading_takes_as_long_as_the_first_words() -> None:
    driver = asked()
    driver.speech("failed")
    driver.gesture("hold", after=FIRST_WORDS_S / 2)
    assert not confirmed(driver)
    driver.gesture("hold", after=FIRST_WORDS_S / 2)
    assert confirmed(driver)


def test_a_voice_that_never_reports_back_stops_nobody_for_ever() -> None:
    driver = asked()
    driver.gesture("hold", after=UNANSWERED_S + 0.1)
    assert confirmed(driver)


def test_a_read_back_too_is_only_confirmed_once_it_was_spoken() -> None:
    driver = asked()
    for _ in range(2):
        driver.speech("whole", after=5.0)
        driver.gesture("hold")
    driver.gesture("tap")
    assert driver.kinds[0] == "pass_cut"
    driver.heard("back")
    driver.gesture("hold", after=0.5)
    assert driver.state.question is not None
    driver.speech("whole", after=3.0)
    driver.gesture("hold", after=0.1)
    assert driver.kinds[0] == "stepped_back"


def test_no_needs_no_hearing_out() -> None:
    driver = asked()
    driver.heard("end")
    driver.gesture("double", after=0.5)
    assert driver.state.question is None


def test_a_rehearsal_takes_every_check_as_heard_out() -> None:
    driver = Driver(job(checks=few_checks()))
    driver.gesture("hold", after=0.1)
    assert confirmed(driver)
