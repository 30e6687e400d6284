"""What a mishap is about: which passes and setups it concerns, and what its figures mean. Lengths: Fraction, mm."""

from __future__ import annotations

from fractions import Fraction

from assistant.joinery.model import Pass
from assistant.joinery.units import MM_PER_UNIT, Unit
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job, Layout
from assistant.session.effects import Prompt, prompt
from assistant.session.kinds import Misheard, QuestionName
from assistant.session.order import end_of
from assistant.session.other_kerf import is_of_another_blade
from assistant.session.state import Question, State

MOST_OFF, MOST_DEEP, MOST_KERF = 300, 100, 999
"""The greatest figures that are listened for: of a cut in the wrong place, of one too deep, of a kerf; in their steps.

A misheard one can still be greater than what can be: `cannot_be`.
"""
KERF_STEP = {Unit.MM: Fraction(1, 100), Unit.INCH: MM_PER_UNIT[Unit.INCH] / 1000}
"""How finely a kerf is given in a session, mm, by the unit that is worked in."""


def length_of(job: Job) -> Fraction:
    """What one step of a figure means, mm: a tenth of a millimetre, or a hundredth of an inch."""
    return Fraction(1, 10) if job.carriage.unit == Unit.MM else MM_PER_UNIT[Unit.INCH] / 100


def kerf_of(job: Job, figure: int) -> Fraction:
    """The kerf that a figure means, mm: in hundredths of a millimetre, or thousandths of an inch; 0: as it is, exactly.

    A shop file, or a calibration, may have it finer than any figure that is said.
    """
    return figure * KERF_STEP[job.carriage.unit] if figure else job.kerf


def figure_below(job: Job) -> int:
    """The greatest figure of a kerf that isn't over the present one: from there on taps go up."""
    return job.kerf // KERF_STEP[job.carriage.unit]


def most(state: State, question: Question) -> int:
    """The greatest figure that can be answered."""
    match question.mishap:
        case Mishap.MISSED:
            return state.passes
        case Mishap.DEEP:
            return MOST_DEEP
        case Mishap.MISPLACED:
            return MOST_OFF
    return MOST_KERF


def greatest(state: State, question: Question) -> int:
    """The greatest figure that can be; taps go up to it."""
    job, pattern, figures = state.the_job, state.pattern, most(state, question)
    if question.mishap == Mishap.DEEP:
        figures = (deepest(state)[0] - pattern.depth) // length_of(job)
    elif question.mishap == Mishap.MISPLACED:
        figures = -(-max(_off_the_board(state, question.pass_)) // length_of(job)) - 1
    return max(1, figures)


def cannot_be(state: State, question: Question, figure: int) -> Prompt | None:
    """Why this can't be what was meant, or None. figure: signed, or not yet, as `Question.figure`; else not below 0.

    Figures by which a kerf lies beside the board, or the blade stands where it can't, are surely misheard.
    """
    job, mishap = state.the_job, question.mishap
    size = figure * length_of(job)
    if mishap == Mishap.MISSED:
        wrong = not 1 <= figure <= state.passes
        return prompt("no such pass", pass_=figure, passes=state.passes) if wrong else None
    if mishap in (Mishap.KERF, Mishap.BLADE):
        wrong = not 1 <= figure <= MOST_KERF
        return (
            prompt("figure can't be", why=Misheard.KERF, size=figure * KERF_STEP[job.carriage.unit]) if wrong else None
        )
    if figure == 0:
        return prompt("figure can't be", why=Misheard.NOUGHT, size=size)
    if mishap == Mishap.DEEP:
        most_deep, why = deepest(state)
        if state.pattern.depth + size > most_deep:
            return prompt("figure can't be", why=why, size=size, depth=state.pattern.depth, highest=most_deep)
    if mishap == Mishap.MISPLACED:
        nearer, farther = _off_the_board(state, question.pass_)
        side = question.name == QuestionName.SIDE
        if abs(size) >= ((nearer if size < 0 else farther) if side else max(nearer, farther)):
            return prompt(
                "figure can't be", why=Misheard.BOARD, size=abs(size), pass_=question.pass_, width=state.pattern.width
            )
    return None


def deepest(state: State) -> tuple[Fraction, Misheard]:
    """How deep a cut can be at the most, and which limit that is."""
    job, depth = state.the_job, state.pattern.depth
    # How high another blade can stand is not known.
    if job.highest is not None and not job.blade_since and job.highest < 2 * depth:
        return job.highest, Misheard.BLADE
    return 2 * depth, Misheard.DEPTH


def _off_the_board(state: State, pass_: int) -> tuple[Fraction, Fraction]:
    """How far nearer to the edge at the stop, and how far from it, this pass's kerf would lie just beside the board."""
    one = state.pattern.passes[pass_ - 1]
    return one.kerf_to, state.pattern.width - one.kerf_from


def places(state: State) -> list[int]:
    """The passes of this setup that may have gone wrong, the likeliest first.

    The one called, then those cut, from the last one back.
    """
    called = [state.cursor] if state.cursor and not state.is_cut(state.cursor) else []
    return called + [n for n in kerfs_here(state) if state.is_cut(n)]


def kerfs_here(state: State) -> list[int]:
    """The passes of this setup whose kerfs are there, deep enough or not, from the last one back."""
    kerfs = [n for n in range(state.passes, 0, -1) if state.stands(n)]
    at = state.cursor or state.passes
    return [n for n in kerfs if n <= at] + [n for n in kerfs if n > at]


def another_blade_cut_it(state: State, mishap: Mishap) -> bool:
    """Whether what would be cut again was cut by another blade: at its settings, this one would move the walls."""
    match mishap:
        case Mishap.SHALLOW:
            setups = tuple(cut_too_shallow(state))
        case Mishap.SLIPPED | Mishap.BUMPED | Mishap.DUST | Mishap.MISPLACED | Mishap.MISSED:
            setups = (state.setup,)
        case _:
            return False
    return any(is_of_another_blade(state.the_job, n) for n in setups)


def cut_too_shallow(state: State) -> dict[int, int]:
    """A mask of passes for each setup, in the order of cutting: all that is cut of ends cut since the height check."""
    alike = _of_one_depth(state)
    found = {n: state.cuts[n - 1] for n in alike if state.cuts[n - 1] & state.since_height[n - 1] or n == state.setup}
    return {n: mask for n, mask in found.items() if mask}


def patterns_of_this_depth(state: State) -> tuple[int, ...]:
    """By place in the job."""
    return tuple(sorted({state.the_job.setups[n - 1].pattern for n in _of_one_depth(state)}))


def cut_less_deep(state: State) -> dict[int, int]:
    """Likewise, what was cut at a height that was confirmed since, where what was cut after that is too deep.

    Without what another blade has cut: `left_less_deep`.
    """
    job = state.the_job
    return {n: mask for n, mask in _cut_before_the_height(state).items() if not is_of_another_blade(job, n)}


def left_less_deep(state: State) -> tuple[int, ...]:
    """The setups of the ends in which another blade has cut what is less deep: this one would move the walls there."""
    job, before = state.the_job, _cut_before_the_height(state)
    alike = _of_one_depth(state)
    return tuple(n for n in alike if _goes_on_less_deep(state, n) or (n in before and is_of_another_blade(job, n)))


def _goes_on_less_deep(state: State, setup: int) -> bool:
    """Whether it goes on with what another blade has cut at a height that was confirmed since."""
    job = state.the_job
    replaced = [n for n in range(1, setup) if n not in job.order and end_of(job, n) == end_of(job, setup)]
    return job.pattern_of(setup).is_rest and any(state.cuts[n - 1] & ~state.since_height[n - 1] for n in replaced)


def steps_left(state: State) -> tuple[tuple[int, Fraction], ...]:
    """(setup, mm) of each end in whose sockets cuts of two blades leave a step, and how high it is."""
    job = state.the_job
    found = []
    for n in state.counted:
        ends = [size for setup, size in state.steps if end_of(job, setup) == end_of(job, n)]
        if ends and state.cuts[n - 1] and job.pattern_of(n).is_rest:
            found.append((n, sum(ends, Fraction(0))))
    return tuple(found)


def can_be_matched(state: State) -> bool:
    """Whether all can be cut as deep as what is too deep: the blade can be raised by at least one step of a figure."""
    return deepest(state)[0] - state.pattern.depth >= length_of(state.the_job)


def cut_as_deep(state: State) -> dict[int, int]:
    """A mask of passes for each setup, in the order of cutting, this one included: cut since the height check."""
    found = {n: state.cuts[n - 1] & state.since_height[n - 1] for n in _of_one_depth(state)}
    return {n: mask for n, mask in found.items() if mask}


def taken_for_this_one(state: State) -> list[int]:
    """A setup of each board that may lie in the clamps in place of this one and has cuts already, in cutting order.

    It is of another part, or a slotted board of another name. What is not begun is still to be cut in any case.
    """
    job, this = state.the_job, state.the_setup
    found: dict[tuple[str, int], int] = {}
    for number in state.counted:
        one = job.setups[number - 1]
        other = one.part != this.part or (job.layout == Layout.SLOTS and one.board != this.board)
        if other and one.board != this.board and has_cuts(state, number):
            found.setdefault((one.board, one.first_copy), number)
    return list(found.values())


def has_cuts(state: State, setup: int) -> bool:
    """Whether anything is cut in the end that this setup cuts, by this blade or another."""
    by_this_blade = state.cuts[setup - 1] | state.shallow[setup - 1]
    return bool(by_this_blade or state.the_job.pattern_of(setup).is_rest or left_shallow(state, setup))


def left_shallow(state: State, setup: int) -> tuple[Pass, ...]:
    """The kerfs, not deep enough, that another blade has left in what this setup cuts, ascending by setup.

    All of its passes are laid out again, so none of them goes over such a kerf again as it is. But it is there.
    """
    job = state.the_job
    this, end = job.setups[setup - 1], end_of(job, setup)
    return tuple(
        one
        for n, mask in enumerate(state.shallow, start=1)
        if mask and n not in job.order and end_of(job, n) == end and job.setups[n - 1].half == this.half
        for one in job.pattern_of(n).passes
        if mask >> (one.number - 1) & 1
    )


def _cut_before_the_height(state: State) -> dict[int, int]:
    found = {n: state.cuts[n - 1] & ~state.since_height[n - 1] for n in _of_one_depth(state)}
    return {n: mask for n, mask in found.items() if mask}


def _of_one_depth(state: State) -> tuple[int, ...]:
    job, stage, depth = state.the_job, state.the_setup.stage, state.pattern.depth
    return tuple(n for n in state.counted if job.setups[n - 1].stage == stage and job.pattern_of(n).depth == depth)
