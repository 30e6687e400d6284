"""Whether work clamped again lies where it did: in which cut to try the still blade, and at which setting."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from assistant.joinery.halves import reached_again
from assistant.joinery.misplaced import reached
from assistant.joinery.model import Carriage, Pass, Pattern
from assistant.joinery.other_kerf import kerf_of
from assistant.joinery.settings import approach, exact_setting, rounding_error
from assistant.joinery.units import round_to_step
from assistant.plans.model import Job, Setup
from assistant.session.concerned import kerfs_here, left_shallow, length_of
from assistant.session.state import State


class Meets(StrEnum):
    """Which wood the still blade touches beside it."""

    KERF = "kerf"
    """Wood on both sides."""
    FAR_WALL = "far wall"
    """Wood only on the side farther from the reference edge, because the socket is wider than the kerf."""
    NEAR_WALL = "near wall"
    """Wood only on the nearer side."""
    EDGE = "edge"
    """Wood on one side, and the other is open, as only a cut at an edge is."""
    NOTHING = ""


@dataclass(frozen=True, slots=True)
class Trial:
    """The still blade in a cut: where it touches wood shows whether the work has moved.

    pass_: the one whose cut it is; 0 for a cut that another blade has made. setting, previous, approach: mm, as when a
    pass is called; previous is where the carriage stands now.
    """

    pass_: int
    where: Meets
    setting: Fraction
    previous: Fraction | None
    approach: Fraction | None


def trial(state: State) -> Trial | None:
    """A kerf of its own where there is one, else a socket's wall, else the edge; of like ones the last pass.

    None where nothing is cut in this clamping, or no wall of it surely stands. Where another blade has begun the end,
    its cuts count too, if this blade goes into them.
    """
    pattern = state.pattern
    cut = [one for one in pattern.passes if state.stands(one.number)]
    # A kerf that isn't deep enough lies where it should, and the teeth that enter its mouth first show that on their
    # sides, though the blade stands too high to go all through. If it is another blade's, that holds only where this
    # one's kerf is no wider: a wider one meets wood wherever the work lies.
    shallow = left_shallow(state, state.setup)
    by_another = (*(pattern.before if pattern.is_rest else ()), *shallow)
    gone = [*pattern.before, *shallow, *cut]
    old = _in_old_cuts(by_another, gone, kerf_of(pattern), state.the_job.carriage)
    found = _surest([*old, *cut], [*gone, *wrong_kerfs(state, state.setup)], pattern)
    if found is None:
        return None
    where, one = found
    stands = state.carriage_at
    point = approach(state.the_job.carriage, stands, one.setting, one.down)
    return Trial(one.number, where, one.setting, stands, point)


def is_cut_into(state: State) -> bool:
    """Whether this end has cuts, of whichever blade, deep enough or not.

    Once it has been out of its clamps it must be put back to suit them, even where only its edge shows how it lies.
    """
    return bool(trial(state) or kerfs_here(state) or state.pattern.is_rest)


def wrong_kerfs(state: State, setup: int) -> Iterator[Pass]:
    """The wood that cuts in the wrong place may have taken from this setup's end, measured as its pattern is.

    Work put to a wall that such a cut has moved would be moved with it. Numbers, sockets and settings are 0.
    """
    job, pattern = state.the_job, state.the_job.pattern_of(setup)
    for wrong in state.wrong:
        if not is_same_end(job, wrong.setup, setup):
            continue
        of = job.pattern_of(wrong.setup)
        low, high = reached(of, of.passes[wrong.pass_ - 1], wrong.off_by, length_of(job))
        if of.mirrored != pattern.mirrored:
            low, high = pattern.width - high, pattern.width - low
        yield Pass(0, 0, low, high, Fraction(0))


def is_same_end(job: Job, setup: int, other: int) -> bool:
    """Whether these setups cut the same wood: in halves, to several depths, or with one blade after another."""
    one, two = job.setups[setup - 1], job.setups[other - 1]
    return (one.board, one.first_copy, one.end, one.stage) == (two.board, two.first_copy, two.end, two.stage)


def _in_old_cuts(old: Sequence[Pass], gone: Sequence[Pass], kerf: Fraction, carriage: Carriage) -> Iterator[Pass]:
    """A blade of this kerf where an old one ends and where it begins, as far as it goes in there. Numbers are 0."""
    for one in old:
        for left, right in ((one.kerf_to - kerf, one.kerf_to), (one.kerf_from, one.kerf_from + kerf)):
            # An old kerf lies a little off its figures, since its setting was rounded, and this one must lie there too.
            exact = exact_setting(left, right, carriage) - one.shift + rounding_error(one, carriage)
            if _is_clear(left, right, gone):
                yield Pass(0, one.socket, left, right, round_to_step(exact, carriage.resolution))


def _is_clear(left: Fraction, right: Fraction, gone: Sequence[Pass]) -> bool:
    for one in sorted(gone, key=lambda each: each.kerf_from):
        if one.kerf_from <= left <= one.kerf_to:
            left = one.kerf_to
    return left >= right


class Tried(NamedTuple):
    """The still blade in a cut of the first half, with the distance piece out. setting: mm."""

    where: Meets
    setting: Fraction


def first_half_again(job: Job, setup: Setup, wrong: Iterable[Pass] = ()) -> Tried | None:
    """Where the second half of an end is tried against the first, as surely as can be; None if no cut is in reach.

    wrong: the wood that cuts in the wrong place may have taken.
    """
    if not setup.half.is_second:
        return None
    pattern = job.patterns[setup.pattern]
    found = _surest(reached_again(pattern, job.carriage), [*pattern.before, *wrong], pattern)
    return Tried(found[0], found[1].setting) if found else None


def to_try(state: State) -> Tried | None:
    """What the check of the distance piece asks to try: nothing once a pass of this half is cut.

    Nor where a driven carriage stands elsewhere, since nothing moves while somebody is at the clamps.
    """
    tried = None if state.cut else first_half_again(state.the_job, state.the_setup, wrong_kerfs(state, state.setup))
    elsewhere = state.the_job.carriage.drive is not None and tried and state.driving.at != tried.setting
    return None if elsewhere else tried


def _surest(among: Sequence[Pass], cut: Sequence[Pass], pattern: Pattern) -> tuple[Meets, Pass] | None:
    tries = [(where, one) for one in among if (where := _meets(one, cut, pattern))]
    for wanted in ((Meets.KERF,), (Meets.FAR_WALL, Meets.NEAR_WALL), (Meets.EDGE,)):
        found = [each for each in tries if each[0] in wanted]
        if found:
            return found[-1]
    return None


def _meets(one: Pass, cut: Sequence[Pass], pattern: Pattern) -> Meets:
    far = one.kerf_to < pattern.width and not any(p.kerf_from <= one.kerf_to < p.kerf_to for p in cut)
    near = one.kerf_from > 0 and not any(p.kerf_from < one.kerf_from <= p.kerf_to for p in cut)
    if far and near:
        return Meets.KERF
    if not (far or near):
        return Meets.NOTHING
    socket = pattern.sockets[one.socket - 1]
    if socket.start <= 0 or socket.end >= pattern.width:
        return Meets.EDGE
    return Meets.FAR_WALL if far else Meets.NEAR_WALL
