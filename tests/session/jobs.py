"""Small jobs for the session's tests, laid out by the real code."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from assistant.joinery.model import Blade, Carriage
from assistant.plans.checks import DEFAULT_CHECKS, FIXED
from assistant.plans.job import build_job
from assistant.plans.model import BoardPlan, Check, Job, JointPlan, Plan, Shop
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.state import State

HANDWHEEL = Carriage(
    kind="handwheel", resolution=Fraction(254, 16 * 125 * 10), pitch=Fraction(254, 160), divisions=125, unit="in"
)
EVERY_TWO = Check("dust bag", "dust bag emptied?", "dust bag is empty once more", "every", 2)
HEIGHT = Check("blade height", "height {depth}?", "blade height is now measured", "depth")
ZERO = Check("zero", "carriage zeroed?", "carriage zero is correct", "session")
OFFCUTS = Check("offcuts", "offcuts off the table?", "offcuts are off the table", "setup end")
BACKING = Check("backing", "fresh face?", "backing face is a fresh one", "part")


def plan(width: int = 18, finger: int = 6, count: int = 1, ends: int = 2, parts: str = "AB", **kinds: object) -> Plan:
    """By default: three segments of 6 mm, part A on two ends, part B on two."""
    names = {"A": "long side", "B": "short side"}
    boards = tuple(BoardPlan(names[part], part, count, ends) for part in parts)
    return Plan(
        title="Small tray",
        unit="mm",
        width=Fraction(width),
        thickness={"A": Fraction(10), "B": Fraction(12)},
        joint=JointPlan("even", finger=Fraction(finger), **kinds),  # type: ignore[arg-type]
        boards=boards,
    )


def job(
    a_plan: Plan | None = None,
    checks: tuple[Check, ...] | None = None,
    carriage: Carriage | None = None,
    kerf: Fraction = Fraction(318, 100),
) -> Job:
    """By default every default check for a stop and a single stage."""
    chosen = checks if checks is not None else tuple(c for c in DEFAULT_CHECKS if c.name != "setting bar out")
    shop = Shop("mm", Blade(kerf), carriage or Carriage(), checks=chosen)
    return build_job(a_plan or plan(), shop)


def few_checks(*more: Check) -> tuple[Check, ...]:
    """The checks that can't be turned off, and those given: the fewest that a job can have."""
    return tuple(c for c in DEFAULT_CHECKS if c.name in FIXED) + more


def with_pass_time(a_job: Job, seconds: float) -> Job:
    return replace(a_job, pedal=replace(a_job.pedal, pass_takes_s=seconds))


def at_setup(a_job: Job, number: int) -> State:
    """A session of this job that has just begun this setup, its first."""
    state = State()
    for n, fact in enumerate((f.Started(a_job), f.SetupStarted(number)), start=1):
        state = apply(state, f.Record(n, 0.0, "", fact))
    return state
