"""Lists what must be confirmed and cut, in exactly the order in which a session without detours would ask for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from assistant.joinery.model import Pass
from assistant.joinery.settings import approach
from assistant.plans.checks import PIECE_CHECK
from assistant.plans.model import Check, Job, Setup
from assistant.session.checks import confirmed_with, counted_on, first_due
from assistant.session.slip import Tried, first_half_again
from assistant.session.state import State, with_cuts


@dataclass(frozen=True, slots=True)
class CheckStep:
    """A check to confirm.

    setup: the setup in which it is asked, before, between or after the passes. tried: the cut that it asks to try.
    """

    setup: Setup
    check: Check
    tried: Tried | None = None


@dataclass(frozen=True, slots=True)
class PassStep:
    """A pass to cut.

    previous: the carriage's position before, None at the start. approach: the point to come up from, or None; mm.
    """

    setup: Setup
    pass_: Pass
    previous: Fraction | None
    approach: Fraction | None


Step = CheckStep | PassStep


def cuts(job: Job) -> Iterator[tuple[Setup, tuple[PassStep, ...]]]:
    """The setups in cutting order, each with its passes."""
    previous: Fraction | None = None
    for setup in (job.setups[number - 1] for number in job.order):
        if tried := first_half_again(job, setup):
            previous = tried.setting
        found = []
        for one in job.patterns[setup.pattern].passes:
            found.append(PassStep(setup, one, previous, approach(job.carriage, previous, one.setting, one.down)))
            previous = one.setting
        yield setup, tuple(found)


def steps(job: Job) -> Iterator[Step]:
    """The steps by the session's own rules, as if each check were confirmed and each pass cut as soon as called for."""
    state = State(job=job, confirmed=(None,) * len(job.checks), cuts=(0,) * len(job.setups))

    def due(setup: Setup) -> Iterator[CheckStep]:
        nonlocal state
        while (index := first_due(state)) is not None:
            check = job.checks[index]
            yield CheckStep(setup, check, first_half_again(job, setup) if check.name == PIECE_CHECK else None)
            state = replace(state, confirmed=confirmed_with(state, check.name))

    for setup, passes in cuts(job):
        state = replace(state, setup=setup.number)
        for step in passes:
            yield from due(setup)
            yield step
            # Checks that are due after a number of passes count them as in a session.
            counted = counted_on(state)
            state = replace(state, cuts=with_cuts(state, state.cut | 1 << (step.pass_.number - 1)), confirmed=counted)
        yield from due(setup)
