"""`apply(state, record) -> state`: the same in a live session and in replay, so resuming is replaying."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

from assistant.plans.checks import (
    BLADE_HEIGHT,
    BOARD_OUT,
    CLAMPS,
    GUARD,
    PIECE_CHECK,
    SAW_OFF,
    ZERO_CHECK,
    After,
    covered_by,
)
from assistant.plans.intents import Mode
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job
from assistant.session import apply_mishaps
from assistant.session import facts as f
from assistant.session.checks import (
    BEFORE_A_TRIAL,
    asks_saw_off,
    bits_of,
    confirmed_with,
    counted_on,
    due_after,
    due_of,
)
from assistant.session.concerned import has_cuts
from assistant.session.kinds import MoveKind, SetupStatus, Then
from assistant.session.order import end_of, opposite, setups_of_end
from assistant.session.slip import is_same_end, to_try
from assistant.session.state import (
    CHECKS,
    CUTTING,
    ENDED_EARLY,
    FINISHED,
    HALTED,
    HOMING,
    MOVE_ASKED,
    MOVING,
    QUESTION,
    RESUMING,
    STANDING_BY,
    Change,
    CutOff,
    Driving,
    Opening,
    Question,
    State,
    changed,
    end_key,
    with_cuts,
    with_driving,
    with_mask,
    with_status,
    without_doubt,
)


def _opens(state: State, kind: Mode, question: Question | None = None) -> Change:
    """Something new waits for an answer and has not gone out yet. The previous grammar is no longer in force."""
    before = state.opening
    # What never went out was never heard, so no press can have begun under it.
    after = before.kind if before.out_at is not None else before.after
    return {"opening": Opening(before.generation + 1, kind, after, question)}


def _started(state: State, fact: f.Started, at: float) -> Change:
    setups = len(fact.job.setups)
    return {
        "job": fact.job,
        "mode": CHECKS,
        "confirmed": (None,) * len(fact.job.checks),
        "rehearsed": fact.rehearsed,
        "cuts": (0,) * setups,
        "shallow": (0,) * setups,
        "since_height": (0,) * setups,
        "status": (SetupStatus.TO_CUT,) * setups,
    }


def _setup_started(state: State, fact: f.SetupStarted, at: float) -> Change:
    """A board that was in the clamps before is clamped again: all of that is due, as is what counts the end's cuts."""
    job = state.the_job
    setup, before = job.setups[fact.setup - 1], state.the_setup if state.setup else None
    redo = state.redo
    if fact.setup in state.named:
        redo |= due_after(job.checks, After.CLAMPED_AGAIN, After.TAKEN_BACK)
    if before is not None and setup.stage < before.stage:
        redo |= due_after(job.checks, After.STAGE_BEFORE)
    if any(each.end == end_key(setup) for each in state.cut_off):
        # For the saw to cut an end off, its blade is raised, and the sled or its stop may be moved.
        redo |= due_after(job.checks, After.BLADE_MOVED, After.CARRIAGE_MOVED)
    return {
        "setup": fact.setup,
        "previous": state.setup,
        "chosen": 0,
        "status": with_status(changed(state, {"status": _left(state)}), SetupStatus.BEGUN, fact.setup),
        "named": state.named | {fact.setup},
        "setups_this_run": state.setups_this_run + 1,
        "turns": state.turns + job.is_turned(fact.setup),
        "to_register": has_cuts(state, fact.setup),
        "moved": None,
        "is_zeroed": False,
        "mode": CHECKS,
        "cursor": 0,
        "touched": False,
        "open_check": None,
        "answered": 0,
        "redo": redo | apply_mishaps.zero_due(state),
        **with_driving(state, placed=False, visited=False, unproved=0, after_cut=False),
    }


def _left(state: State) -> tuple[SetupStatus, ...]:
    """The status of all setups once the present one is left. One of which nothing is cut is as it was before."""
    if state.setup and state.status[state.setup - 1] == SetupStatus.BEGUN and not state.cut:
        return with_status(state, SetupStatus.TO_CUT, state.setup)
    return state.status


def _check_opened(state: State, fact: f.CheckOpened, at: float) -> Change:
    index = [check.name for check in state.the_job.checks].index(fact.check)
    return {"mode": CHECKS, "open_check": index, **_opens(state, CHECKS), **with_driving(state, after_cut=False)}


def _check_confirmed(state: State, fact: f.CheckConfirmed, at: float) -> Change:
    is_off = fact.check in (SAW_OFF, BOARD_OUT)
    redo = state.redo & ~bits_of(state.the_job.checks, covered_by(fact.check))
    confirmed = confirmed_with(state, fact.check)
    still = {"saw_runs": False, **with_driving(state, still=True)} if is_off else {}
    # What comes before a trial comes before the board is put to the stop for it.
    is_at_hand = state.touched or not (state.to_register and fact.check in BEFORE_A_TRIAL)
    answered = {"open_check": None, "touched": is_at_hand, "answered": state.answered + 1}
    height: Change = {"since_height": (0,) * len(state.cuts)} if BLADE_HEIGHT in covered_by(fact.check) else {}
    zero = _at_zero(state) if fact.check == ZERO_CHECK and state.carriage_at is not None else {}
    return {"confirmed": confirmed, "redo": redo, **answered, **still, **height, **zero, **_tried_again(state, fact)}


def _at_zero(state: State) -> Change:
    """Zeroed to the reference edge. What then doesn't suit its cuts is the work, even if the carriage was bumped."""
    here: Change = {"carriage_at": Fraction(0), "came_from": None, "play_open": False, "unread": False}
    return here | ({"is_zeroed": True} if state.moved else {})


def _tried_again(state: State, fact: f.CheckConfirmed) -> Change:
    """Where a cut of the first half was tried with the distance piece out, the carriage stands at its setting there."""
    tried = to_try(state) if fact.check == PIECE_CHECK else None
    if tried is None or tried.setting == state.carriage_at:
        return {}
    return {"carriage_at": tried.setting, "came_from": state.carriage_at, "play_open": False}


def _setting_called(state: State, fact: f.SettingCalled, at: float) -> Change:
    setting = Fraction(fact.setting)
    again = fact.pass_ == state.cursor and setting == state.carriage_at
    return {
        "mode": CUTTING,
        "cursor": fact.pass_,
        "carriage_at": setting,
        "came_from": state.came_from if again else state.carriage_at,
        # A screw that came down to where it stands has its play still, whichever board is cut there.
        "play_open": state.play_open and setting == state.carriage_at,
        "open_check": None,
        # The saw may run from here on, so the wait for the blade to stop must be counted again.
        "saw_off_at": None,
        "to_register": False,  # in older journals nobody was asked to try it
        "cut_off": tuple(each for each in state.cut_off if each.end != end_key(state.the_setup)),
        "saw_runs": True,
        "answered": 0,
        **_opens(state, CUTTING),
        # Only changes of the switch are reported, so a sled that is out already won't be seen to leave.
        **with_driving(state, still=False, after_cut=False, gone=state.driving.clear is False),
    }


def _stands_there(state: State, fact: f.StandsThere, at: float) -> Change:
    came_down = state.carriage_at is not None and (state.came_from or 0) > state.carriage_at
    return {"came_from": state.carriage_at, "play_open": came_down or state.play_open, "unread": False}


def _pass_cut(state: State, fact: f.PassCut, at: float) -> Change:
    setup, bit = state.setup, 1 << (fact.pass_ - 1)
    driving = with_driving(state, unproved=state.driving.unproved | bit, after_cut=True)
    cuts = {
        "cuts": with_cuts(state, state.cut | bit),
        "shallow": with_mask(state.shallow, setup, state.shallow[setup - 1] & ~bit),
        "since_height": with_mask(state.since_height, setup, state.since_height[setup - 1] | bit),
    }
    return {**cuts, "confirmed": counted_on(state), **driving}


def _stood_by(state: State, fact: f.StoodBy, at: float) -> Change:
    waits = {"mode": STANDING_BY, "open_check": None, "answered": 0}
    return {**waits, **_opens(state, STANDING_BY), **with_driving(state, after_cut=False)}


def _carried_on(state: State, fact: f.CarriedOn, at: float) -> Change:
    checks = state.the_job.checks
    redo = state.redo | due_after(checks, After.CARRIED_ON)
    # Clamps that are still to be confirmed are asked about in place of "carrying on", which asks about the guard, too.
    # A shop can have the guard asked first, so that it was confirmed before the session stood by.
    if due_of(state, CLAMPS) is not None and due_of(state, GUARD) is None:
        redo |= bits_of(checks, (GUARD,))
    return {"mode": CHECKS, "trouble": None, "on_break": False, "redo": redo}


def _uncut(state: State, pass_: int) -> Change:
    """Mark this pass as not cut. What is counted at the end must be counted again once all is cut again.

    When all was cut, the saw was switched off and the work inspected, so the session asks whether it is still clamped.
    """
    happened = (After.TAKEN_BACK, After.ALL_WAS_CUT) if state.setup_complete else (After.TAKEN_BACK,)
    cuts, shallow = state.cut & ~(1 << (pass_ - 1)), state.shallow[state.setup - 1] & ~(1 << (pass_ - 1))
    return {
        "cuts": with_cuts(state, cuts),
        "shallow": with_mask(state.shallow, state.setup, shallow),
        # What is cut from now on is cut after that.
        "doubted": state.doubted if cuts | shallow else without_doubt(state, state.setup),
        "status": with_status(state, SetupStatus.BEGUN, state.setup),
        "cursor": pass_,
        "redo": state.redo | due_after(state.the_job.checks, *happened),
        "answered": 0,
        **with_driving(state, visited=False, after_cut=False),
    }


def _stepped_back(state: State, fact: f.SteppedBack, at: float) -> Change:
    """If this reopens a finished setup, the work may be out of the clamps, so all clamping checks are due again."""
    if fact.setup == state.setup and state.mode != FINISHED:
        return {**_uncut(state, fact.pass_), **apply_mishaps.perhaps_wrong(state, fact.pass_)}
    reopened = changed(state, {"setup": fact.setup, "status": _left(state)})
    return {
        **_uncut(reopened, fact.pass_),
        "setup": fact.setup,
        "mode": CHECKS,
        "previous": 0,
        "chosen": 0,
        "to_register": bool(reopened.cut & ~(1 << (fact.pass_ - 1))) or reopened.pattern.is_rest,
        "moved": None,
        "is_zeroed": False,
        "touched": True,
        "open_check": None,
        "redo": state.redo
        | due_after(state.the_job.checks, After.CLAMPED_AGAIN, After.TAKEN_BACK)
        | apply_mishaps.zero_due(state),
        **with_driving(state, placed=True, visited=False, after_cut=False),
    }


def _jumped(state: State, fact: f.Jumped, at: float) -> Change:
    return {**_uncut(state, fact.pass_), **apply_mishaps.perhaps_wrong(state, fact.pass_)}


def _resumed(state: State, fact: f.Resumed, at: float) -> Change:
    redo = state.redo | due_after(state.the_job.checks, After.INTERRUPTED)
    # Whoever resumes may not have heard what was said before, so the first boards are named in full again.
    begun: Change = {"mode": RESUMING, "setups_this_run": 1, "turns": 0, "open_check": None, "redo": redo}
    begun |= {"answered": 0, "trouble": None, "on_break": False, "unread": False}
    if state.the_job.carriage.drive:
        # Where the carriage stood is lost with the last run, and so is the proof of what it cut in this setup.
        begun["driving"] = Driving(placed=state.touched, unproved=state.cut)
    return begun


def _reregistered(state: State, fact: f.Reregistered, at: float) -> Change:
    """The board was clamped again: every check after clamping is due, also the check for a bar in the blade's way."""
    redo = state.redo | due_after(state.the_job.checks, After.CLAMPED_AGAIN)
    settled: Change = {"to_register": False, "moved": None, "is_zeroed": False}
    settled["doubted"] = without_doubt(state, state.setup)
    if not fact.setting:
        # There was no kerf by which the carriage could be set right.
        return settled | {"redo": redo | apply_mishaps.zero_due(state)}
    settled["redo"] = redo
    setting = Fraction(fact.setting)
    # The cut was tried from where the carriage stood. None would mean that it was zeroed, and it was not.
    came_from = state.came_from if setting == state.carriage_at else state.carriage_at
    return {**settled, "carriage_at": setting, "came_from": came_from}


# --- changes of the job


def _setup_done(state: State, fact: f.SetupDone, at: float) -> Change:
    # It was asked of all its cuts whether they are good.
    return {"status": with_status(state, SetupStatus.CUT, fact.setup), "doubted": without_doubt(state, fact.setup)}


def _job_extended(state: State, fact: f.JobExtended, at: float) -> Change:
    job = fact.extend(state.the_job)
    return {
        "job": job,
        "cuts": (*state.cuts, *(0 for _ in fact.setups)),
        "shallow": (*state.shallow, *(0 for _ in fact.setups)),
        "since_height": (*state.since_height, *(0 for _ in fact.setups)),
        "status": (*state.status, *(SetupStatus.TO_CUT for _ in fact.setups)),
        **apply_mishaps.kept_in_doubt(state, job),
    }


def _board_chosen(state: State, fact: f.BoardChosen, at: float) -> Change:
    """From now on the board in the clamps is on its way out of them."""
    waits = {"chosen": fact.setup, "to_register": False, "mode": CHECKS, "open_check": None, "answered": 0, "cursor": 0}
    # Of another blade whose kerf is still to be given, its card is too.
    settled = {"moved": None, "is_zeroed": False, "trouble": state.unsettled}
    return {
        **waits,
        **settled,
        "redo": state.redo | apply_mishaps.zero_due(state),
        **with_driving(state, after_cut=False, move=None, id=""),
    }


def _setup_reopened(state: State, fact: f.SetupReopened, at: float) -> Change:
    """Its cuts no longer count. Of an end that is cut off nothing is left to be marked or proved either."""
    again = sum(1 << (pass_ - 1) for pass_ in fact.passes)
    mask, shallow = state.cuts[fact.setup - 1], state.shallow[fact.setup - 1]
    here = fact.setup == state.setup
    change: Change = {
        "cuts": with_cuts(state, mask & ~again, fact.setup),
        "shallow": with_mask(state.shallow, fact.setup, shallow | mask & again if fact.deeper else shallow & ~again),
        "status": with_status(state, SetupStatus.REDO, fact.setup),
    }
    if not (change["cuts"][fact.setup - 1] | change["shallow"][fact.setup - 1]):
        change["doubted"] = without_doubt(state, fact.setup)
    if here and fact.deeper:
        # From the first pass on; and while the blade was raised, the work may have been out of its clamps.
        change |= {"cursor": 0, "to_register": True}
    if not (fact.socket or fact.deeper):
        change["marked"] = tuple(place for place in state.marked if place[0] != fact.setup)
        job, end = state.the_job, end_of(state.the_job, fact.setup)
        left = enumerate(change["shallow"], start=1)
        change["shallow"] = tuple(0 if n not in job.order and end_of(job, n) == end else mask for n, mask in left)
        change["wrong"] = tuple(cut for cut in state.wrong if not is_same_end(job, cut.setup, fact.setup))
        change["steps"] = tuple(step for step in state.steps if end_of(job, step[0]) != end)
        change["doubted"] = without_doubt(state, *setups_of_end(job, fact.setup))
        # Both halves of an end go with one cut, and only the first of them says how much.
        if fact.cut_off:
            change["cut_off"] = _cut_off(state, fact.setup, Fraction(fact.cut_off))
    if here:
        happened = (After.TAKEN_BACK, After.ALL_WAS_CUT) if state.setup_complete else (After.TAKEN_BACK,)
        change |= {"redo": state.redo | due_after(state.the_job.checks, *happened), "answered": 0}
        gone = {"visited": False, "after_cut": False}
        change |= with_driving(state, **gone, **({} if fact.socket else {"unproved": 0}))
    return change


def _cut_off(state: State, setup: int, off: Fraction) -> tuple[CutOff, ...]:
    """The ends that lose length, once this one is cut off as well. The end opposite it loses as much."""
    job, known = state.the_job, {each.end: each for each in state.cut_off}
    this, facing = end_key(job.setups[setup - 1]), opposite(state, setup)
    other = end_key(job.setups[facing.setup - 1]) if facing and facing.setup else None

    def loses(end: tuple[str, int, int], joint: bool, both: bool = False) -> None:
        before = known.get(end)
        known[end] = CutOff(end, off + (before.off if before else 0), joint or bool(before and before.joint), both)

    follows = known.get(other) if other else None
    if other and follows and follows.both:
        # It is cut off together with the other one, and that was counted there.
        known[other] = replace(follows, both=False)
        loses(this, joint=True)
    elif other:
        mates = setups_of_end(job, facing.setup) if facing else ()
        has_joint = any(has_cuts(state, n) for n in mates)
        loses(this, joint=True, both=has_joint)
        if not has_joint:
            loses(other, joint=False)
    else:
        loses(this, joint=True)
    return tuple(known.values())


def _board_spoilt(state: State, fact: f.BoardSpoilt, at: float) -> Change:
    job = state.the_job
    change: Change = {
        "status": with_status(state, SetupStatus.SPOILT, *fact.setups),
        "marked": tuple(place for place in state.marked if place[0] not in fact.setups),
        "wrong": tuple(cut for cut in state.wrong if not any(is_same_end(job, cut.setup, n) for n in fact.setups)),
        "doubted": without_doubt(state, *fact.setups),
    }
    return {**change, **(with_driving(state, unproved=0) if state.setup in fact.setups else {})}


def _reopened(state: State, fact: f.Reopened, at: float) -> Change:
    return {"mode": CHECKS, "open_check": None, **_opens(state, CHECKS)}


def _finished(state: State, fact: f.Finished, at: float) -> Change:
    return {"mode": FINISHED, "open_check": None, **_opens(state, FINISHED)}


def _ended_early(state: State, fact: f.EndedEarly, at: float) -> Change:
    return {"mode": ENDED_EARLY, "open_check": None, **_opens(state, ENDED_EARLY)}


def _asked(state: State, fact: f.Asked, at: float) -> Change:
    # Questions aren't stored, so after an interruption it is asked again. That another blade is on isn't settled by any
    # question that is left: the old kerf would be cut on by.
    asked_now = fact.mishap == state.unsettled != Mishap.BLADE
    unsettled = None if asked_now else state.unsettled
    asked = Question(fact.question, fact.setup, fact.pass_, fact.mishap, fact.figure)
    return {"unsettled": unsettled, **_opens(state, QUESTION, asked)}


def _dropped(state: State, fact: f.Dropped, at: float) -> Change:
    """What the question interrupted is announced again, and waits for an answer as if it were new."""
    return _opens(state, state.mode)


def _announcement(state: State, **changes: Any) -> Change:
    return {"opening": changed(state.opening, changes)}


def _opening_out(state: State, fact: f.OpeningOut, at: float) -> Change:
    change = _announcement(state, out_at=at)
    # Counted from the first time: a question between, after which it is asked again, must not restart the wait.
    if state.saw_off_at is None and asks_saw_off(state):
        change["saw_off_at"] = at
    return change


def _carried(state: State, fact: f.Carried, at: float) -> Change:
    """What was already announced stays announced. What was cut off before is now carried by this announcement."""
    counts = state.opening.announced_at
    kept = counts if counts is not None and counts <= at else None
    return _announcement(state, announcement=fact.id, announced_at=kept, unspoken=False)


def _notice_held(state: State, fact: f.NoticeHeld, at: float) -> Change:
    others = tuple(notice for notice in state.notices if notice[0] != fact.device)
    return {"notices": (*others, (fact.device, fact.text))}


# --- a driven carriage


def _move_proposed(state: State, fact: f.MoveProposed, at: float) -> Change:
    mode = HALTED if fact.halted else MOVE_ASKED
    return {"mode": mode, "open_check": None, **_opens(state, mode), **with_driving(state, move=fact.move, id="")}


def _move_asked(state: State, fact: f.MoveAsked, at: float) -> Change:
    """From here on it stands nowhere, until it has arrived. In a replay nobody knows what the move was for."""
    mode = MOVING if fact.what == MoveKind.SETTING else HOMING
    move = state.driving.move
    # Anything but a step is let only once the blade has had its time to stop (`driven.still_from`).
    still = state.driving.still or move is None or not move.step
    # This record's own number, which `n` becomes only after this: `sending.begin` names the order by it.
    from_here = {"left": state.driving.at, "at": None, "id": move_id(state.n + 1)}
    driving = with_driving(state, **from_here, still=still, looking=None)
    return {"mode": mode, "open_check": None, **_opens(state, mode), **driving}


def move_id(n: int) -> str:
    """The id of the move that record `n` asks for."""
    return f"m{n}"


def _moved(state: State, fact: f.Moved, at: float) -> Change:
    setting, move = Fraction(fact.asked), state.driving.move
    placed = state.driving.placed or (move is not None and move.then == Then.BOARD)
    stands = {"at": setting, "reported": Fraction(fact.reported), "move": None, "id": "", "placed": placed}
    gone = state.driving.clear is False
    # It has come up to the setting from below by itself, so its play is taken up.
    there = {"carriage_at": setting, "came_from": setting, "play_open": False}
    return {"mode": RESUMING, **there, **with_driving(state, **stands, gone=gone)}


def _carriage_halted(state: State, fact: f.CarriageHalted, at: float) -> Change:
    return with_driving(state, reported=Fraction(fact.reported), id="")


def _carriage_lost(state: State, fact: f.CarriageLost, at: float) -> Change:
    return with_driving(state, known=False, at=None, reported=None, id="", looking=None)


def _carriage_homed(state: State, fact: f.CarriageHomed, at: float) -> Change:
    """Where the visit found it off, its place is not known any more, and what it cut stays in doubt."""
    move = state.driving.move
    visits = move is not None and move.what == MoveKind.VISIT
    visited = state.driving.visited or visits
    off_by = Fraction(fact.off_by) if fact.off_by else None
    proved = off_by is not None and not fact.beyond and abs(off_by) <= allowed_off(state.the_job)
    # Homing begins from an unknown place, so there was nothing that it could find to be off.
    true = proved or not visits
    unproved = 0 if proved else state.driving.unproved
    found = {"off_by": off_by, "beyond": fact.beyond}
    homed = {"known": true, "visited": visited, "unproved": unproved, **found}
    return {"mode": RESUMING, **with_driving(state, at=None, reported=None, id="", **homed)}


def allowed_off(job: Job) -> Fraction:
    """How far off the home switch may be found before the joint suffers, mm."""
    # A quarter of the clearance is what each wall has to spare; less than a step can't be seen in any case.
    return max(job.clearance / 4, job.carriage.resolution)


# For facts that are kept for whoever reads the journal, and change nothing that is asked or called.
_NOTHING: Callable[[State, Any, float], Change] = lambda state, fact, at: {}  # noqa: E731

_APPLY: dict[type[f.Fact], Callable[[State, Any, float], Change]] = {
    f.Started: _started,
    f.TestJointSkipped: _NOTHING,
    f.SetupStarted: _setup_started,
    f.CheckOpened: _check_opened,
    f.CheckConfirmed: _check_confirmed,
    f.SettingCalled: _setting_called,
    f.PassCut: _pass_cut,
    f.StoodBy: _stood_by,
    f.CarriedOn: _carried_on,
    f.SteppedBack: _stepped_back,
    f.Jumped: _jumped,
    f.Noted: lambda state, fact, at: {"marked": tuple(sorted({*state.marked, (fact.setup, fact.pass_)}))},
    f.Resumed: _resumed,
    f.Reregistered: _reregistered,
    f.Zeroed: lambda state, fact, at: _at_zero(state),
    f.StageReady: _NOTHING,
    f.SetupDone: _setup_done,
    f.JobExtended: _job_extended,
    f.BoardChosen: _board_chosen,
    f.SetupReopened: _setup_reopened,
    f.BoardSpoilt: _board_spoilt,
    f.WentWrong: apply_mishaps.went_wrong,
    f.KerfMisplaced: apply_mishaps.kerf_misplaced,
    f.DepthSet: apply_mishaps.depth_set,
    f.CameBack: apply_mishaps.came_back,
    f.Reopened: _reopened,
    f.Finished: _finished,
    f.EndedEarly: _ended_early,
    f.StandsThere: _stands_there,
    f.CutsSure: lambda state, fact, at: {"doubted": without_doubt(state, fact.setup)},
    f.OldBladeBack: lambda state, fact, at: {"trouble": None},
    f.StillClamped: lambda state, fact, at: {"to_register": False},
    f.Asked: _asked,
    f.Dropped: _dropped,
    f.NoticeHeld: _notice_held,
    f.NoticesSpoken: lambda state, fact, at: {"notices": ()},
    f.HearingOut: lambda state, fact, at: {"hear_out": True},
    f.OpeningOut: _opening_out,
    f.Carried: _carried,
    f.Delivered: lambda state, fact, at: _announcement(state, announced_at=fact.from_s),
    f.Unspoken: lambda state, fact, at: _announcement(state, unspoken=True, announced_at=None),
    f.OnScreen: lambda state, fact, at: _announcement(state, displayed_at=at),
    f.Reminded: lambda state, fact, at: _announcement(state, reminded=True),
    f.VoiceSet: lambda state, fact, at: {"louder": fact.louder, "quicker": fact.quicker},
    f.MoveProposed: _move_proposed,
    f.MoveBegun: lambda state, fact, at: with_driving(state, move=fact.move),
    f.MoveAsked: _move_asked,
    f.Moved: _moved,
    f.CarriageHalted: _carriage_halted,
    f.CarriageLost: _carriage_lost,
    f.CarriageHomed: _carriage_homed,
    f.SledAt: lambda state, fact, at: with_driving(state, clear=fact.clear, gone=state.driving.gone or not fact.clear),
    f.Looking: lambda state, fact, at: with_driving(state, looking=fact),
    f.LookedAt: lambda state, fact, at: with_driving(state, looking=None),
    # Sending it off had left it nowhere; it never set out, so it stands where it stood.
    f.NotSent: lambda state, fact, at: with_driving(state, at=state.driving.left, id=""),
    f.Announced: lambda state, fact, at: {"said": state.said + fact.count},
}


def apply(state: State, record: f.Record) -> State:
    """The state after this record. Passing facts leave `n` as it was."""
    if state.unsettled and (settled := apply_mishaps.settled(state, record.fact)):
        state = changed(state, settled)
    change = _APPLY[type(record.fact)](state, record.fact, record.at)
    return changed(state, {"n": record.n, "at": record.at, **change})
