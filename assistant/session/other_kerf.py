"""Another kerf while a job is under way: measured again, or that of another blade.

What nothing is cut into yet is laid out again. What is begun is finished by its old figures if the blade is the same:
those are in the wood, and a mistake in the kerf is no greater there than in what is cut already. With another blade,
what is left of it is worked out round the kerfs that are there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from assistant.errors import BadInput, Fault
from assistant.joinery.halves import Clamping, Half, from_both_edges, other_edge_faults, with_piece
from assistant.joinery.model import Pattern
from assistant.joinery.other_kerf import BOARD_BEGUN, KERF, kerf_of, laid_out, rest
from assistant.joinery.passes import MOST_PASSES
from assistant.joinery.units import plain_length
from assistant.plans.job_json import fraction_text
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job, Setup
from assistant.session import facts as f
from assistant.session.kinds import JobChange, SetupStatus
from assistant.session.order import end_of
from assistant.session.state import State
from assistant.session.table import which_of

EDGES = (Half.THIS_EDGE, Half.OTHER_EDGE)


@dataclass(frozen=True, slots=True)
class KerfChange:
    """What a change of the kerf does to a job.

    fact: it, to be recorded. replaced: (old, new) numbers of each setup that is laid out again, by its first clamping.
    follows: the setup that must come next, since it replaces the one in the clamps or the one chosen to follow; 0 if
    those stay.
    """

    fact: f.JobExtended
    replaced: tuple[tuple[int, int], ...]
    follows: int


class BegunByAnother(BadInput):
    """Nothing is in the way of a kerf but what another blade has begun. setup: one that can't be gone on with."""

    def __init__(self, faults: Sequence[Fault], setup: int):
        super().__init__(faults)
        self.setup = setup


def kerf_changed(state: State, kerf: Fraction, other_blade: bool) -> KerfChange:
    """What becomes of the job with this kerf (mm) from now on. other_blade: it is another blade's, not measured again.

    Raises BadInput, all faults at once, each naming the part or the board: a kerf of no more than the overlap, sockets
    or what is left of them narrower than the kerf, settings outside the travel, an end of which another blade has cut
    one half, over 20,000 passes in all. It is `BegunByAnother` where only begun ends are in the way.
    """
    job = replace(state.the_job, kerf=kerf, kerf_since=len(state.the_job.patterns))
    growth, faults, refused = Growth(job), dict[Fault, None](), list[int]()
    for end in _ends(job):
        if any(state.status[n - 1] == SetupStatus.SPOILT for n in end) or all(is_cut(state, n) for n in end):
            continue
        begun = [n for n in end if state.cuts[n - 1]]
        if all(is_laid_out_for(job, n) for n in end):
            continue
        # Kerfs that aren't deep enough are gone over again where they are.
        if not other_blade and any(state.cuts[n - 1] | state.shallow[n - 1] for n in end):
            continue
        try:
            if len(end) > 1 and begun:
                what = "another blade has cut one half of this end, and both must be cut with the same"
                raise BadInput([Fault(what, plain_length(kerf, job.carriage.unit), KERF, BOARD_BEGUN)])
            if begun or job.pattern_of(end[0]).is_rest:
                growth.go_on(end[0], [p for p in _passes(job, end[0]) if state.cuts[end[0] - 1] >> (p - 1) & 1])
            else:
                growth.lay_out(end)
        except BadInput as error:
            name = board_words(job, end[0]) if begun or job.pattern_of(end[0]).is_rest else _part_words(job, end[0])
            faults |= dict.fromkeys(replace(fault, what=f"{name}: {fault.what}") for fault in error.faults)
            refused.append(end[0])
    why = Mishap.BLADE if other_blade else Mishap.KERF
    fact = replace(growth.fact(why), kerf=fraction_text(kerf))
    if (passes := fact.extend(job).total_passes) > MOST_PASSES:
        what = f"more than {MOST_PASSES:,} passes in one job"
        faults[Fault(what, f"{passes:,} passes", KERF, "use a blade with a wider kerf")] = None
    if kerf <= job.overlap and not faults:
        # Nothing is left that would be laid out for it, which would have been refused.
        what = f"must be wider than the passes overlap, {plain_length(job.overlap, job.carriage.unit)}"
        mend = "measure it again, and look for the decimal point"
        faults[Fault(what, plain_length(kerf, job.carriage.unit), KERF, mend)] = None
    if faults and all(fault.mend == BOARD_BEGUN for fault in faults):
        raise BegunByAnother(tuple(faults), refused[0])
    if faults:
        raise BadInput(tuple(faults))
    now = state.chosen or state.setup
    return KerfChange(fact, tuple(growth.replaced.items()), growth.replaced.get(now, 0))


def is_cut(state: State, setup: int) -> bool:
    """Whether every pass of this setup is cut."""
    return state.cuts[setup - 1].bit_count() == len(state.the_job.pattern_of(setup).passes)


def is_laid_out_for(job: Job, setup: int) -> bool:
    """Whether this setup's passes are those of the blade on the saw, as its kerf is known now."""
    return job.setups[setup - 1].pattern >= job.kerf_since or kerf_of(job.pattern_of(setup)) == job.kerf


def is_of_another_blade(job: Job, setup: int) -> bool:
    """Whether this setup's passes are another blade's, so that this one would cut its walls elsewhere."""
    return setup <= job.blade_since and not is_laid_out_for(job, setup)


def is_fresh(job: Job, setup: int) -> bool:
    """Whether a new board could be cut by this setup's pattern as it is."""
    return is_laid_out_for(job, setup) and not job.pattern_of(setup).is_rest


def board_words(job: Job, setup: int) -> str:
    """A setup's board and end as faults name them: "front, 2 of 4, end 1 (setup 7)"."""
    one = job.setups[setup - 1]
    end = "" if job.slotted else f"end {one.end}"
    return f"{', '.join(filter(None, (one.board, which_of(job, setup), end)))} (setup {setup})"


def _part_words(job: Job, setup: int) -> str:
    pattern = job.pattern_of(setup)
    if job.slotted:
        return f"slots {plain_length(pattern.depth, job.carriage.unit)} deep"
    stage = f", stage {job.setups[setup - 1].stage}" if len(job.stages) > 1 else ""
    return f"part {pattern.part}{stage}"


def _noun(job: Job) -> str:
    return "slot" if job.slotted else "socket"


def _ends(job: Job) -> list[list[int]]:
    """The setups of each end, in the order of cutting."""
    ends: dict[object, list[int]] = {}
    for number in job.order:
        ends.setdefault(end_of(job, number), []).append(number)
    return list(ends.values())


def _passes(job: Job, setup: int) -> tuple[int, ...]:
    return tuple(one.number for one in job.pattern_of(setup).passes)


@dataclass
class Growth:
    """What joins a job: setups numbered on, and those of their patterns that it hasn't got yet.

    job: with the kerf that counts for what joins it. replaced: each replaced setup's number, with that of the first new
    one in its place.
    """

    job: Job
    patterns: list[Pattern] = field(default_factory=list)
    setups: list[Setup] = field(default_factory=list)
    replaced: dict[int, int] = field(default_factory=dict)
    _known: dict[tuple[int, ...], tuple[tuple[int, Half], ...]] = field(default_factory=dict)

    def of_end(self, end: Sequence[int]) -> tuple[tuple[int, Half], ...]:
        """The whole end that these setups cut, for a new one: the pattern's number and the half of each clamping.

        Where they could cut it as they are, their own. Raises BadInput as `laid_out`.
        """
        mine = tuple((self.job.setups[n - 1].pattern, self.job.setups[n - 1].half) for n in end)
        if all(is_fresh(self.job, n) for n in end):
            return mine
        key = tuple(pattern for pattern, _ in mine)
        if key not in self._known:
            self._known[key] = self._numbered(_clampings(self.job, end))
        return self._known[key]

    def lay_out(self, end: Sequence[int]) -> None:
        """Replace these setups, all of an end, by those that cut it again. Raises BadInput as `of_end`."""
        self._replace(end, self.of_end(end))

    def go_on(self, setup: int, cut: Sequence[int]) -> None:
        """Replace this setup by one for what is left of it. Raises BadInput as `rest`."""
        one, job = self.job.setups[setup - 1], self.job
        # The end stays in this one clamping, so a piece that would reach farther is of no use.
        carriage = replace(job.carriage, distance_piece=None)
        left = rest(job.pattern_of(setup), cut, job.blade, carriage, carriage.unit, _noun(job))
        self._replace((setup,), self._numbered((Clamping(one.half, left),)))

    def _replace(self, end: Sequence[int], clampings: Sequence[tuple[int, Half]]) -> None:
        first = len(self.job.setups) + len(self.setups) + 1
        one = self.job.setups[end[0] - 1]
        for number, (pattern, half) in enumerate(clampings, start=first):
            self.setups.append(replace(one, number=number, pattern=pattern, half=half))
        self.replaced |= dict.fromkeys(end, first)

    def _numbered(self, clampings: Sequence[Clamping]) -> tuple[tuple[int, Half], ...]:
        """Each with the number of its pattern. Those of one end lie together, as `Job.ends` expects them."""
        wanted, known = [each.pattern for each in clampings], [*self.job.patterns, *self.patterns]
        places = range(len(known) - len(wanted) + 1)
        first = next((n for n in places if known[n : n + len(wanted)] == wanted), len(known))
        if first == len(known):
            self.patterns += wanted
        return tuple((n, each.half) for n, each in enumerate(clampings, start=first))

    def fact(self, why: JobChange | Mishap) -> f.JobExtended:
        """The job with all this in it, each new setup in the place of the one that it replaces."""
        firsts = sorted(set(self.replaced.values()))
        after = [*firsts[1:], len(self.job.setups) + len(self.setups) + 1]
        runs = {first: range(first, end) for first, end in zip(firsts, after, strict=True)} if firsts else {}
        order: dict[int, None] = {}
        for number in self.job.order:
            new = self.replaced.get(number)
            order |= dict.fromkeys((number,) if new is None else runs[new])
        return f.JobExtended(tuple(self.patterns), tuple(self.setups), tuple(order), why)


def _clampings(job: Job, end: Sequence[int]) -> tuple[Clamping, ...]:
    """All of an end for the job's blade, in as many clampings as it takes where it took two. Raises as `laid_out`."""
    pattern, half = job.pattern_of(end[-1]), job.setups[end[0] - 1].half
    carriage, unit = job.carriage, job.carriage.unit
    if half is Half.NONE:
        return (Clamping(half, laid_out(pattern, job.blade, replace(carriage, distance_piece=None), unit, _noun(job))),)
    if half not in EDGES:
        return with_piece(laid_out(pattern, job.blade, carriage, unit, _noun(job)), carriage)
    # From both edges no setting of the whole end counts, only those of the halves.
    made = laid_out(pattern, job.blade, replace(carriage, travel=None), unit, _noun(job))
    if faults := other_edge_faults(made, carriage, unit):
        raise BadInput(faults)
    return from_both_edges(made, carriage)
