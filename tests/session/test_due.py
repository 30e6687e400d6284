"""The paper's order is the session's: checks and passes as a session without detours asks and calls them."""

from __future__ import annotations

import pytest

from assistant.joinery.settings import approach
from assistant.plans.model import BoardPlan, Check, Job
from assistant.session import facts as f
from assistant.session.due import CheckStep, PassStep, steps
from assistant.session.kinds import JobChange
from assistant.session.rework import one_more, setups_of_board
from tests.drawings.drawn import BOTH, CHECKS, STEPS, job_of, lined_plan, plan_of
from tests.session.driver import Driver
from tests.session.jobs import EVERY_TWO, HANDWHEEL


def _of_a_session(job: Job) -> list[tuple[object, ...]]:
    """What a real session asks and calls, every check confirmed and every pass cut at once."""
    driver = Driver(job)
    while driver.state.effective_mode != "finished":
        driver.gesture("hold" if driver.state.effective_mode == "checks" else "tap")
    found: list[tuple[object, ...]] = []
    for record in driver.records:
        if isinstance(record.fact, f.CheckOpened):
            found.append((record.fact.setup, record.fact.check))
        elif isinstance(record.fact, f.SettingCalled):
            found.append((record.fact.setup, record.fact.pass_))
    return found


def _on_paper(job: Job) -> list[tuple[object, ...]]:
    return [
        (step.setup.number, step.check.name) if isinstance(step, CheckStep) else (step.setup.number, step.pass_.number)
        for step in steps(job)
    ]


def _with_a_copy(job: Job) -> Job:
    """With one more of its first board, which is cut among those of its kind."""
    more = one_more(job, setups_of_board(job, 1), JobChange.COPY, copies=1).extend(job)
    assert more.order != tuple(sorted(more.order))
    return more


JOBS = {
    "one more copy": _with_a_copy(job_of(plan_of())),
    "one more copy, lined": _with_a_copy(job_of(lined_plan())),
    "default checks": job_of(plan_of()),
    "lined": job_of(lined_plan()),
    "both lined": job_of(lined_plan(("A", "B"))),
    "every two passes": job_of(plan_of(), checks=(*CHECKS, EVERY_TWO)),
    "every five over setups": job_of(plan_of(), checks=(Check("bag", "bag?", "bag is empty", "every", 5), *CHECKS)),
    "stacks": job_of(plan_of(boards=(BoardPlan("side", "A", 5, 2, 2), *BOTH[1:]))),
}


@pytest.mark.parametrize("name", JOBS)
def test_the_order_is_that_of_a_session(name: str) -> None:
    assert _on_paper(JOBS[name]) == _of_a_session(JOBS[name])


@pytest.mark.parametrize("carriage", [None, HANDWHEEL, STEPS])
def test_where_the_carriage_comes_from_runs_on_over_setups(carriage: object) -> None:
    job = job_of(plan_of(), carriage)  # type: ignore[arg-type]
    called = [step for step in steps(job) if isinstance(step, PassStep)]
    assert called[0].previous is None and called[0].approach is None
    for before, step in zip(called, called[1:], strict=False):
        assert step.previous == before.pass_.setting
        assert step.approach == approach(job.carriage, before.pass_.setting, step.pass_.setting)
    assert any(step.approach is not None for step in called)
