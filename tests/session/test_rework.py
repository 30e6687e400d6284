"""Changes of a job that concern more boards than the one that was named."""

from __future__ import annotations

from assistant.session.events import Event
from assistant.session.kinds import Change, SetupStatus
from assistant.session.order import coming, opposite
from assistant.session.rework import change_job
from assistant.session.turn import Turn
from tests.session.driver import Driver
from tests.session.jobs import few_checks, job, plan, with_pass_time


def agreed(driver: Driver, intent: str, argument: str | int | None = None) -> None:
    driver.heard(intent, argument)
    assert driver.state.question is not None, driver.said
    driver.heard("yes")


def test_where_the_board_opposite_must_be_cut_off_too_it_does_not_stay_in_the_clamps() -> None:
    driver = Driver(with_pass_time(job(plan(count=2), few_checks()), 0.0))
    driver.confirm_all()
    driver.cut(1)
    here = driver.state.setup
    facing = opposite(driver.state, here)
    assert facing is not None and facing.setup
    agreed(driver, "board", facing.setup)
    driver.confirm_all()
    driver.cut(1)
    assert driver.state.setup == facing.setup
    agreed(driver, "redo", here)
    state = driver.state
    assert {state.status[n - 1] for n in (here, facing.setup)} == {SetupStatus.REDO}
    assert state.leaves and state.chosen == here, "its end is to be cut off before anything else is cut into it"


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
    change_job(turn, Change.SPOILT, setup)
    driver.state = turn.state
