"""Turns a plan and a shop into what `fit` predicts: the joints to put together, their errors and their wood."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from enum import Enum, auto
from fractions import Fraction

from assistant.advice.fit import (
    AS_GOOD,
    CLIFF,
    SWELLING_FINGERS,
    SWELLING_MM,
    Band,
    Chances,
    Draws,
    Errors,
    Joint,
    a_step_off,
    best_of,
    chances,
    clearances,
    joint_of,
    moved,
    room,
    simulate,
    slots_of,
)
from assistant.advice.movement import WOODS, Wood, emc, find_wood, holds, strain
from assistant.errors import BadInput
from assistant.joinery.halves import whole
from assistant.joinery.model import Pattern
from assistant.joinery.units import Unit, plain_length
from assistant.plans.job import build_job
from assistant.plans.model import Air, BoardPlan, Grain, Job, Plan, Shop
from assistant.plans.pieces import BLANK

PARTS = ("A", "B")
# Assumed if the plan's [uncertainty] doesn't say: a carriage in good order, a measured kerf, a clean stop; mm. Common
# practice, no source.
ASSUMED = {"setting": 0.01, "kerf": 0.01, "reference": 0.03}
# The clearances tried: every hundredth of a millimetre, or every half of a thousandth of an inch.
STEPS = {Unit.MM: Fraction(1, 100), Unit.INCH: Fraction(127, 10_000)}
# This many of the best clearances are laid out and simulated again, since each is rounded differently: enough to reach
# a tenth of a millimetre round the best guess.
MOST_TRIED = 12
DRAWN_TO_CHOOSE = 4_000_000
BOTH, BLANKS, SLOTS = "parts A and B", "the blank in part {}", "slots {} deep"


@dataclass(frozen=True, slots=True)
class Prediction:
    """One joint to put together. depth: the deepest cut in it, mm. key: the plan's key for its clearance.

    copies: how many of them the plan's boards make.
    """

    name: str
    joint: Joint
    depth: float
    key: str
    copies: int = 1


class Verdict(Enum):
    """What comes of a plan's clearance."""

    NONE_SERVES = auto()
    """No clearance at all gives good joints."""
    ANOTHER = auto()
    """The best gives more good joints."""
    NO_MARGIN = auto()
    """None gives more, but a step tighter or looser spoils many joints, and fewer with the best."""
    TIGHTER = auto()
    """None gives more, and a tighter one gives as many."""
    KEEP = auto()


@dataclass(frozen=True, slots=True)
class FitOutcome:
    """What is predicted for one joint to put together. room: None if it can always slide open.

    best: the clearance that gives most good joints, mm, even a step of `STEPS` tighter or looser; None if none
    gives any. with_best: the chances if it is laid out with that, its own rounding included.
    a_step_off, best_a_step_off: the least share of good joints within a step of the plan's clearance, and of the best.
    """

    prediction: Prediction
    chances: Chances
    room: Band | None
    best: Fraction | None
    with_best: Chances | None
    a_step_off: float
    best_a_step_off: float | None

    @property
    def verdict(self) -> Verdict:
        """What to say of the plan's clearance, beside the best."""
        if self.best is None or self.with_best is None:
            return Verdict.NONE_SERVES
        then, now = self.with_best.serves, self.chances.serves
        if then > now + AS_GOOD:
            return Verdict.ANOTHER
        if self.a_step_off < (self.best_a_step_off or 0.0) - CLIFF:
            return Verdict.NO_MARGIN
        # 1e-9, so that the plan's own clearance as a float doesn't count as tighter.
        tighter = float(self.best) < self.prediction.joint.clearance - 1e-9
        return Verdict.TIGHTER if tighter and then >= now - AS_GOOD else Verdict.KEEP


@dataclass(frozen=True, slots=True)
class Movement:
    """How a part's wood moves across its width from cutting to glue-up.

    before, after: its moisture at these times, percent. strain: change as a fraction of the width, or None if
    the species is not known; note then says why.
    """

    part: str
    wood: str
    grain: Grain
    before: float
    after: float
    strain: float | None
    note: str = ""

    @property
    def holds(self) -> bool:
        """Whether the coefficients hold at both moistures."""
        return holds(self.before, self.after)


def errors_of(plan: Plan) -> tuple[Errors, tuple[str, ...]]:
    """(the plan's standard uncertainties, the names of those that it doesn't give and that are assumed)."""
    given = plan.uncertainty
    figures = {name: getattr(given, name, None) for name in ASSUMED}
    assumed = tuple(name for name, figure in figures.items() if figure is None)
    return Errors(**{n: ASSUMED[n] if f is None else float(f) for n, f in figures.items()}), assumed


def predictions(plan: Plan, shop: Shop) -> tuple[Prediction, ...]:
    """Every joint of this plan, in the order in which they are put together.

    A part without a board in the plan is assumed to be cut on this machine in the same way. Raises
    BadInput as `build_job` does.
    """
    # A joint needs both parts, so a missing one gets a board for the prediction only.
    mates = tuple(BoardPlan(f"mate, part {part}", part) for part in missing_parts(plan))
    job = build_job(replace(plan, boards=(*plan.boards, *mates)), shop)
    if plan.joint.slotted:
        return tuple(_slots(plan, job))
    cut = {(setup.stage, setup.part): whole(job.patterns[setup.pattern], job.carriage) for setup in job.setups}
    last = len(job.stages)
    joint = joint_of(cut[last, "A"], cut[last, "B"], job.clearance, job.carriage)
    strains = {each.part: each.strain for each in movements(plan)}
    if strains and None not in strains.values():
        joint = moved(joint, strains["A"] or 0.0, strains["B"] or 0.0)
    deepest = max(float(cut[last, part].depth) for part in PARTS)
    # The part with fewer ends decides how many joints there are. A part without boards in this plan doesn't count.
    copies = min((ends for part in PARTS if (ends := _ends(plan, part))), default=1)
    return (*_blanks(plan, job, cut), Prediction(BOTH, joint, deepest, "joint.clearance", copies))


def _ends(plan: Plan, part: str) -> int:
    return sum(board.count * board.ends for board in plan.boards if board.part == part)


def outcomes(plan: Plan, shop: Shop, limit: float, joints: int) -> tuple[FitOutcome, ...]:
    """Simulate every joint of this plan. limit: the widest good gap, mm. joints: how many to simulate of each.

    Raises BadInput as `build_job` does.
    """
    errors, _ = errors_of(plan)
    predicted = enumerate(predictions(plan, shop))
    return tuple(_outcome(plan, shop, index, each, errors, limit, joints) for index, each in predicted)


def _outcome(
    plan: Plan, shop: Shop, index: int, each: Prediction, errors: Errors, limit: float, joints: int
) -> FitOutcome:
    """Simulate one joint and look for its best clearance. index: of `each` among the plan's predictions."""
    draws = simulate(each.joint, errors, joints=joints)
    now = chances(draws, limit)
    # Choosing the clearance takes dozens of simulations, so a joint with many passes gets fewer draws in each.
    to_choose = min(joints, max(1000, DRAWN_TO_CHOOSE // each.joint.passes))

    def serves(clearance: Fraction) -> float | None:
        """The share of good joints with this clearance, rounded as it would be cut; None if it can't be laid out."""
        made = _cut_with(plan, shop, index, each.key, clearance) if clearance >= 0 else None
        return None if made is None else chances(simulate(made, errors, joints=to_choose), limit).serves

    best, sure = _best(plan, each, draws, limit, serves)
    then = None if best is None else _cut_with(plan, shop, index, each.key, best)
    with_best = None if then is None else chances(simulate(then, errors, joints=joints), limit)
    # The joint has its clearance as a float, but a layout needs it exact.
    clearance, step = Fraction(each.joint.clearance).limit_denominator(10**6), STEPS[plan.unit]
    beside = [share for way in (-1, 1) if (share := serves(clearance + way * step)) is not None]
    return FitOutcome(each, now, room(each.joint, errors), best, with_best, min([now.serves, *beside]), sure)


def _best(
    plan: Plan, each: Prediction, draws: Draws, limit: float, serves: Callable[[Fraction], float | None]
) -> tuple[Fraction | None, float | None]:
    """(the best clearance, the least share of good joints with it or a step to either side)."""
    step = STEPS[plan.unit]
    swelling = each.joint.fingers >= SWELLING_FINGERS and not plan.joint.slotted
    guessed = clearances(draws, limit, least=SWELLING_MM if swelling else 0.0, step=float(step))
    likely = [round(c / float(step)) for c in sorted(guessed, key=lambda c: (-guessed[c], c))[:MOST_TRIED]]
    # With their neighbours, since `best_of` also asks how a clearance does a step off.
    tried = sorted({count + off for count in likely for off in (-1, 0, 1)})
    shares = {float(count): share for count in tried if (share := serves(count * step)) is not None}
    best = best_of(shares, [float(count) for count in likely if count in shares])
    return (None, None) if best is None else (int(best) * step, a_step_off(shares, best))


def _cut_with(plan: Plan, shop: Shop, index: int, key: str, clearance: Fraction) -> Joint | None:
    """The same joint laid out with another clearance; None if the plan doesn't allow it."""
    if key == "joint.clearance":
        other = replace(plan, joint=replace(plan.joint, clearance=clearance))
    else:
        other = replace(plan, lining=replace(plan.lining, glue_clearance=clearance) if plan.lining else None)
    try:
        return predictions(other, shop)[index].joint
    except BadInput:
        return None


def missing_parts(plan: Plan) -> tuple[str, ...]:
    """The parts of the joint of which the plan has no board."""
    if plan.joint.slotted:
        return ()
    return tuple(part for part in PARTS if all(board.part != part for board in plan.boards))


def _slots(plan: Plan, job: Job) -> Iterator[Prediction]:
    for each in job.ends:
        name = SLOTS.format(plain_length(each.depth, plan.unit))
        joint = slots_of(each, job.clearance, job.carriage)
        if joint.gaps:
            yield Prediction(name, joint, float(each.depth), "joint.clearance", _ends(plan, "A"))


def _blanks(plan: Plan, job: Job, cut: dict[tuple[int, str], Pattern]) -> Iterator[Prediction]:
    """The joints glued up after the first stage of a lined joint. Their wood is assumed not to move before that."""
    for part in PARTS:
        if plan.lining is not None and (1, part + BLANK) in cut:
            board, blank = cut[1, part], cut[1, part + BLANK]
            joint = joint_of(board, blank, plan.lining.glue_clearance, job.carriage)
            name = BLANKS.format(part)
            yield Prediction(name, joint, float(blank.depth), "lining.glue_clearance", _ends(plan, part))


def moisture(air: Air) -> float:
    """The wood's moisture, percent: from the meter, or what it settles at in this air."""
    if air.moisture is not None or air.temperature_c is None or air.humidity is None:
        return air.moisture or 0.0
    return emc(air.temperature_c, air.humidity)


def movements(plan: Plan) -> tuple[Movement, ...]:
    """How each part moves; () if the plan has no [climate]. With slots there is only part A."""
    if plan.climate is None:
        return ()
    found = []
    for part in PARTS[:1] if plan.joint.slotted else PARTS:
        own = plan.woods[part]
        before, after = moisture(plan.climate.cutting[part]), moisture(plan.climate.glue_up[part])
        woods = find_wood(own.species or "")
        if len(woods) == 1:
            moves = strain(woods[0].across(own.grain), before, after)
            found.append(Movement(part, woods[0].name, own.grain, before, after, moves))
        else:
            why = _why_unknown(own.species, woods)
            found.append(Movement(part, own.species or "", own.grain, before, after, None, why))
    return tuple(found)


def _why_unknown(species: str | None, found: tuple[Wood, ...]) -> str:
    if species is None:
        return "no species is given: set stock.species"
    if found:
        return f'"{species}" could be any of: ' + "; ".join(wood.name for wood in found)
    return f'the movement of "{species}" is not known; give one of the {len(WOODS)} known woods that moves like it'
