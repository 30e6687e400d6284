"""What mishaps change: the part of `apply` that is theirs."""

from __future__ import annotations

from fractions import Fraction

from assistant.plans.checks import After
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job
from assistant.session import aftermath
from assistant.session import facts as f
from assistant.session.checks import due_after
from assistant.session.concerned import left_less_deep
from assistant.session.other_kerf import is_of_another_blade
from assistant.session.state import Change, State, WrongCut, changed, with_driving, without_doubt

_SETTLE = frozenset(
    {
        f.KerfMisplaced,
        f.SetupReopened,
        f.DepthSet,
        f.Jumped,
        f.JobExtended,
        f.BoardChosen,
        f.BoardSpoilt,
        f.CarriedOn,
        f.SetupStarted,
        f.CutsSure,
        f.OldBladeBack,
    }
)
"""After these nothing more is asked about a mishap."""


def settled(state: State, fact: f.Fact) -> Change:
    """What the fact changes of the mishap that more must be asked about, before all else."""
    if type(fact) not in _SETTLE:
        return {}
    if state.unsettled != Mishap.BLADE or isinstance(fact, f.OldBladeBack):
        return {"unsettled": None}
    # A board for which no kerf will do can be counted as spoilt first.
    if isinstance(fact, f.BoardSpoilt | f.BoardChosen) or (isinstance(fact, f.JobExtended) and not fact.kerf):
        return {}
    # In older journals anything else could follow a kerf that was never given.
    return {"unsettled": None, "redo": state.redo | due_after(state.the_job.checks, After.OTHER_BLADE)}


def perhaps_wrong(state: State, pass_: int) -> Change:
    """A cut that is made again after work or carriage may have moved: its old kerf lies nobody knows where."""
    may_lie_elsewhere = state.stands(pass_) and (state.moved or state.doubt) is not None
    return _with_wrong(state, WrongCut(state.setup, pass_, None)) if may_lie_elsewhere else {}


def _with_wrong(state: State, cut: WrongCut) -> Change:
    return {} if cut in state.wrong else {"wrong": (*state.wrong, cut)}


def kerf_misplaced(state: State, fact: f.KerfMisplaced, at: float) -> Change:
    marked = tuple(sorted({*state.marked, (fact.setup, fact.pass_)}))
    return {"marked": marked, **_with_wrong(state, WrongCut(fact.setup, fact.pass_, Fraction(fact.off_by)))}


def kept_in_doubt(state: State, job: Job) -> Change:
    """What becomes of doubtful cuts that can't be taken back any more. job: from now on.

    This blade would move the walls of what another one has cut, whether or not it goes on with that end. So no wall is
    relied on that such a cut may have reached, and each is named when all is cut.
    """
    gone = [setup for setup, _ in state.doubted if setup not in job.order or is_of_another_blade(job, setup)]
    kerfs = {setup: state.cuts[setup - 1] | state.shallow[setup - 1] for setup in gone}
    places = [(setup, n + 1) for setup, mask in kerfs.items() for n in range(mask.bit_length()) if mask >> n & 1]
    if not gone:
        return {}
    return {
        "doubted": without_doubt(state, *gone),
        "wrong": tuple(dict.fromkeys((*state.wrong, *(WrongCut(*place, None) for place in places)))),
        "marked": tuple(sorted({*state.marked, *places})),
    }


def depth_set(state: State, fact: f.DepthSet, at: float) -> Change:
    """Another depth asks for a fresh face of the backing, and for that the work comes out of its clamps.

    What another blade has cut less deep can't be gone over, so a step stays wherever this one cuts on beside it.
    """
    comes_out = state.touched and bool(_kerfs(state)) and not (state.setup_complete or state.leaves)
    deeper = Fraction(fact.depth) - state.pattern.depth
    steps = dict(state.steps)
    for setup in left_less_deep(state):
        steps[setup] = steps.get(setup, Fraction(0)) + deeper
    return {
        "job": fact.change(state.the_job),
        "to_register": state.to_register or comes_out,
        "steps": tuple(steps.items()),
    }


def went_wrong(state: State, fact: f.WentWrong, at: float) -> Change:
    """What follows whatever is answered next, so that no interruption loses it."""
    mishap, job = Mishap(fact.mishap), state.the_job
    after = aftermath.OF[mishap]
    change: Change = {
        "trouble": mishap,
        "on_break": state.on_break or mishap == Mishap.BREAK,
        "redo": state.redo | due_after(job.checks, *after.happened),
    }
    if after.unsure and _kerfs(state):
        change["doubted"] = (*without_doubt(state, state.setup), (state.setup, mishap))
        change |= kept_in_doubt(changed(state, change), job)
    if after.asks_on:
        change["unsettled"] = mishap
    if after.marks:
        change["marked"] = tuple(sorted({*state.marked, (fact.setup, fact.pass_)}))
    # A carriage that was bumped where nothing is cut yet is only zeroed.
    if after.moved and (mishap != Mishap.BUMPED or _kerfs(state)):
        change |= _may_have_moved(changed(state, change), mishap)
    # With another blade zero lies elsewhere, too; where a motor is zeroed by hand, that is how it is homed.
    if mishap in (Mishap.BUMPED, Mishap.BLADE):
        change |= _carriage_touched(changed(state, change))
    if mishap == Mishap.OVERSHOT:
        # The play of the screw lies on the wrong side now, so the setting is come up to again from below.
        change |= {"came_from": state.carriage_at, "play_open": True, **with_driving(state, at=None)}
    return change


def _may_have_moved(state: State, mishap: Mishap) -> Change:
    # A board that nobody has confirmed to be clamped yet is put to the stop and clamped in any case.
    is_clamped = (state.touched or state.to_register) and not state.leaves
    if not is_clamped:
        return {}
    if Mishap.BUMPED not in (state.moved, mishap):
        return {"moved": mishap, "is_zeroed": False}
    # A carriage that was bumped stays so, whatever else has moved. With both in doubt a cut shows only how they lie to
    # each other, so the carriage is zeroed first.
    zero = due_after(state.the_job.checks, After.CARRIAGE_MOVED) if state.moved not in (None, mishap) else 0
    return {"moved": Mishap.BUMPED, "is_zeroed": False, "redo": state.redo | zero}


def zero_due(state: State) -> int:
    """The `redo` bits of zero, where the carriage may have been moved and no cut has shown where it stands."""
    in_doubt = state.moved in (Mishap.BUMPED, Mishap.BREAK) and not state.is_zeroed
    return due_after(state.the_job.checks, After.CARRIAGE_MOVED) if in_doubt else 0


def _carriage_touched(state: State) -> Change:
    """A motor's place is lost. By hand it is set right by a cut; where there is none, by the edge, at zero."""
    change = with_driving(state, known=False, at=None)
    if state.leaves or not _kerfs(state):
        change["redo"] = state.redo | due_after(state.the_job.checks, After.CARRIAGE_MOVED)
    return change


def _kerfs(state: State) -> int:
    """The mask of the kerfs that this end has, deep enough or not."""
    return state.cut | state.shallow[state.setup - 1]


def came_back(state: State, fact: f.CameBack, at: float) -> Change:
    happened = (After.BLADE_MOVED,) * fact.lowered + (After.HANDS_IN,) * fact.touched
    change: Change = {"redo": state.redo | due_after(state.the_job.checks, *happened)}
    if fact.touched:
        change |= _may_have_moved(changed(state, change), Mishap.BREAK)
        change |= _carriage_touched(changed(state, change))
        # A cut shows whether work and carriage lie as they did, not which of them was moved.
        change["unread"] = state.the_job.carriage.drive is None and state.carriage_at is not None
    return change
