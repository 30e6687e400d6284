"""Plays a session's facts back into the state they lead to. A fact that doesn't fit is refused, never guessed at."""

from __future__ import annotations

from fractions import Fraction

from assistant.errors import KerfcallError
from assistant.joinery.model import CarriageKind
from assistant.joinery.units import Unit
from assistant.journal.faults import of_fact
from assistant.journal.store import Journal
from assistant.plans.languages import known_languages
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job, Setup
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.kinds import SetupStatus
from assistant.session.state import State

SPOILT = SetupStatus.SPOILT
_OF_A_SETUP = (
    f.SetupStarted
    | f.CheckOpened
    | f.CheckConfirmed
    | f.SettingCalled
    | f.PassCut
    | f.SteppedBack
    | f.Jumped
    | f.Noted
    | f.Resumed
    | f.Reregistered
    | f.Zeroed
    | f.SetupDone
    | f.EndedEarly
    | f.BoardChosen
    | f.SetupReopened
    | f.WentWrong
    | f.KerfMisplaced
    | f.CameBack
    | f.CutsSure
    | f.OldBladeBack
    | f.MoveAsked
    | f.Moved
    | f.CarriageHalted
    | f.CarriageLost
    | f.CarriageHomed
)
_OF_A_PASS = f.SettingCalled | f.PassCut | f.SteppedBack | f.Jumped | f.KerfMisplaced
_PERHAPS_OF_A_PASS = f.Noted | f.WentWrong | f.Resumed | f.EndedEarly | f.MoveAsked | f.Moved
_IN_THE_SETUP_BEGUN = f.SettingCalled | f.PassCut | f.Jumped


def played(journal: Journal, session: str) -> State:
    """The state after all facts of the session. Raises JournalError for the first that can't be read or applied."""
    state = State()
    for record in journal.replay(session):
        fact = record.fact
        try:
            wrong = misfit(state, fact)
            if not wrong:
                state = apply(state, record)
                continue
        except KerfcallError as error:
            wrong = str(error)
        except Exception as error:
            wrong = f"it can't be applied: {error!r:.200}"
        mend = f"`kerfcall journal show {session}` shows what was cut; begin another with `kerfcall cut`"
        raise of_fact(journal.path, session, record.n, fact.kind, wrong, mend)
    return state


def misfit(state: State, fact: f.Fact) -> str:
    """Why no session can have had this fact in this state: what is wrong, with the value; "" if it fits."""
    job = state.job
    if isinstance(fact, f.Started):
        return "the session had already begun" if job is not None else _job_fault(fact.job)
    if job is None:
        return "it comes before the start of the session"
    if isinstance(fact, f.TestJointSkipped) and state.setup:
        return f"setup {state.setup} had already been begun"
    if isinstance(fact, f.CheckOpened | f.CheckConfirmed) and fact.check not in (check.name for check in job.checks):
        return f"its job has no check {fact.check!r:.60}"
    if isinstance(fact, f.StageReady) and not 1 <= fact.stage <= len(job.stages):
        return f"there is no stage {fact.stage} of {len(job.stages)}"
    if isinstance(fact, f.JobExtended):
        return _extension_fault(state, job, fact)
    if isinstance(fact, f.WentWrong) and fact.mishap not in set(Mishap):
        return f"there is no mishap {fact.mishap!r:.60}"
    if isinstance(fact, f.DepthSet):
        known = all(0 <= place < len(job.patterns) for place in fact.patterns)
        return "" if known and Fraction(fact.depth) > 0 else f"it sets patterns {fact.patterns} to {fact.depth} mm"
    if isinstance(fact, f.BoardSpoilt):
        missing = [setup for setup in fact.setups if not 1 <= setup <= len(job.setups)]
        return f"there is no setup {missing[0]} of {len(job.setups)}" if missing else ""
    if not isinstance(fact, _OF_A_SETUP):
        return ""
    if not 1 <= fact.setup <= len(job.setups):
        return f"there is no setup {fact.setup} of {len(job.setups)}"
    if state.setup == 0 and not isinstance(fact, f.SetupStarted | f.Noted | f.EndedEarly):
        return "no setup has been begun"
    if isinstance(fact, _IN_THE_SETUP_BEGUN) and fact.setup != state.setup:
        return f"it belongs to setup {fact.setup}, but setup {state.setup} is being cut"
    if isinstance(fact, f.SetupStarted | f.BoardChosen | f.SetupReopened) and state.status[fact.setup - 1] == SPOILT:
        return f"the board of setup {fact.setup} is spoilt"
    if isinstance(fact, f.SetupReopened):
        return _no_such_pass(job, fact.setup, fact.passes)
    if isinstance(fact, _OF_A_PASS | _PERHAPS_OF_A_PASS):
        passes = len(job.pattern_of(fact.setup).passes)
        if not isinstance(fact, _PERHAPS_OF_A_PASS) and fact.pass_ == 0 or not 0 <= fact.pass_ <= passes:
            return f"there is no pass {fact.pass_} of {passes} in setup {fact.setup}"
    return ""


def _no_such_pass(job: Job, setup: int, passes: tuple[int, ...]) -> str:
    count = len(job.pattern_of(setup).passes)
    missing = [pass_ for pass_ in passes if not 1 <= pass_ <= count]
    return f"there is no pass {missing[0]} of {count} in setup {setup}" if missing else ""


def _extension_fault(state: State, job: Job, fact: f.JobExtended) -> str:
    """Why a job can't have grown by this. A setup of which something is cut stays in the order, or its kerfs go on.

    They do in a setup of the same end whose pattern has them as those that are there.
    """
    first, patterns = len(job.setups) + 1, len(job.patterns) + len(fact.patterns)
    if [one.number for one in fact.setups] != list(range(first, first + len(fact.setups))):
        return f"its setups are not numbered from {first}"
    for one in fact.setups:
        if not 0 <= one.pattern < patterns or not 1 <= one.stage <= len(job.stages):
            return f"setup {one.number} names pattern {one.pattern} of {patterns}, stage {one.stage}"
    known = set(range(1, first + len(fact.setups)))
    if len(set(fact.order)) < len(fact.order) or not set(fact.order) <= known:
        return "its order names a setup twice, or one that isn't there"
    if fact.kerf and Fraction(fact.kerf) <= job.overlap:
        return f"its kerf is {fact.kerf} mm, and passes overlap by {job.overlap} mm"
    left_out = [n for n, cut in enumerate(state.cuts, start=1) if cut and n in job.order and n not in fact.order]
    lost = [n for n in left_out if not _goes_on(state, job, fact, n)]
    return f"its order leaves out setup {lost[0]}, of which something is cut" if lost else ""


def _goes_on(state: State, job: Job, fact: f.JobExtended, setup: int) -> bool:
    """Whether one of the new setups has the kerfs of this one among those that are there."""
    old, patterns = job.setups[setup - 1], (*job.patterns, *fact.patterns)
    passes = (one for one in job.pattern_of(setup).passes if state.cuts[setup - 1] >> (one.number - 1) & 1)
    kerfs = {(one.kerf_from, one.kerf_to) for one in passes}
    same = (one for one in fact.setups if _end(one) == _end(old) and one.number in fact.order)
    return any(kerfs <= {(one.kerf_from, one.kerf_to) for one in patterns[new.pattern].before} for new in same)


def _end(setup: Setup) -> tuple[str, int, int, int, int]:
    return setup.board, setup.first_copy, setup.copies, setup.end, setup.stage


def _job_fault(job: Job) -> str:
    """What makes it impossible to cut from this job, "" if nothing does."""
    carriage = job.carriage
    if not job.setups:
        return "its job has no setups"
    # The decoder has seen to the types. Left are values without which no setting and no check could be worded.
    if job.voice.language not in known_languages():
        return f"its job is in an unknown language, {job.voice.language!r:.40}"
    if carriage.kind not in tuple(CarriageKind) or carriage.unit not in tuple(Unit):
        return f"its carriage is of an unknown kind or unit, {str(carriage.kind)!r:.40} in {str(carriage.unit)!r:.40}"
    if carriage.kind == CarriageKind.HANDWHEEL and not (
        carriage.pitch and carriage.pitch > 0 and (carriage.divisions or 0) > 0
    ):
        return f"its handwheel has no pitch or no marks: {carriage.pitch}, {carriage.divisions}"
    return ""
