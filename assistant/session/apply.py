"""`apply(state, record) -> state`: the same for a live session and for replay, so that resuming is replaying."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

from assistant.session import facts as f
from assistant.session.checks import BLADE_HEIGHT, CLAMPS, GUARD, SETTING_BAR_OUT, bits_of, here, setup_bits
from assistant.session.state import (
    CHECKS,
    CUTTING,
    ENDED_EARLY,
    FINISHED,
    RESUMING,
    STANDING_BY,
    Question,
    State,
)

Change = dict[str, Any]


def _opening(state: State, at: float) -> Change:
    """Something new can be answered from `at` on; the grammar before it is out of force."""
    untold: Change = {"asking": "", "told_from": None, "reminded": False}
    return {"open_since": at, "generation": state.generation + 1, **untold}


def _started(state: State, fact: f.Started, at: float) -> Change:
    confirmed = (None,) * len(fact.job.checks)
    return {"job": fact.job, "mode": CHECKS, "confirmed": confirmed, "rehearsed": fact.rehearsed}


def _setup_started(state: State, fact: f.SetupStarted, at: float) -> Change:
    return {"setup": fact.setup, "mode": CHECKS, "cursor": 0, "cut": 0, "touched": False, "open_check": None}


def _check_index(state: State, name: str) -> int:
    return next(i for i, check in enumerate(state.the_job.checks) if check.name == name)


def _check_opened(state: State, fact: f.CheckOpened, at: float) -> Change:
    return {"mode": CHECKS, "open_check": _check_index(state, fact.check), **_opening(state, at)}


def _check_confirmed(state: State, fact: f.CheckConfirmed, at: float) -> Change:
    index = _check_index(state, fact.check)
    confirmed = state.confirmed[:index] + (here(state),) + state.confirmed[index + 1 :]
    return {"confirmed": confirmed, "redo": state.redo & ~(1 << index), "open_check": None, "touched": True}


def _setting_called(state: State, fact: f.SettingCalled, at: float) -> Change:
    setting = Fraction(fact.setting)
    again = fact.pass_ == state.cursor and setting == state.carriage_at
    return {
        "mode": CUTTING,
        "cursor": fact.pass_,
        "called_at": at,
        "carriage_at": setting,
        "came_from": state.came_from if again else state.carriage_at,
        "open_check": None,
        **_opening(state, at),
    }


def _pass_cut(state: State, fact: f.PassCut, at: float) -> Change:
    return {"cut": state.cut | 1 << (fact.pass_ - 1), "cut_in_all": state.cut_in_all + 1}


def _stood_by(state: State, fact: f.StoodBy, at: float) -> Change:
    return {"mode": STANDING_BY, "question": None, "open_check": None, **_opening(state, at)}


def _carried_on(state: State, fact: f.CarriedOn, at: float) -> Change:
    return {"mode": CHECKS, "redo": state.redo | bits_of(state.the_job.checks, CLAMPS, GUARD)}


def _uncut(state: State, pass_: int) -> Change:
    was_cut = state.is_cut(pass_)
    return {
        "cut": state.cut & ~(1 << (pass_ - 1)),
        "cut_in_all": state.cut_in_all - was_cut,
        "cursor": pass_,
    }


def _stepped_back(state: State, fact: f.SteppedBack, at: float) -> Change:
    """Into a setup that was over, the work may be out of the clamps: everything about its clamping is asked again."""
    if fact.setup == state.setup and state.mode != FINISHED:
        return _uncut(state, fact.pass_)
    reopened = replace(state, setup=fact.setup)
    reopened = replace(reopened, cut=(1 << reopened.passes) - 1)
    return {
        **_uncut(reopened, fact.pass_),
        "setup": fact.setup,
        "mode": CHECKS,
        "touched": True,
        "open_check": None,
        "redo": state.redo | setup_bits(state.the_job.checks),
    }


def _jumped(state: State, fact: f.Jumped, at: float) -> Change:
    return _uncut(state, fact.pass_)


def _resumed(state: State, fact: f.Resumed, at: float) -> Change:
    redo = state.redo | bits_of(state.the_job.checks, CLAMPS, GUARD, BLADE_HEIGHT)
    return {"mode": RESUMING, "open_check": None, "question": None, "redo": redo, "notices": ()}


def _reregistered(state: State, fact: f.Reregistered, at: float) -> Change:
    """Clamped anew, a bar in the blade's way may have been used to do so."""
    return {"redo": state.redo | bits_of(state.the_job.checks, SETTING_BAR_OUT)}


def _finished(state: State, fact: f.Finished, at: float) -> Change:
    return {"mode": FINISHED, "open_check": None, **_opening(state, at)}


def _ended_early(state: State, fact: f.EndedEarly, at: float) -> Change:
    return {"mode": ENDED_EARLY, "open_check": None, "question": None, **_opening(state, at)}


def _asked(state: State, fact: f.Asked, at: float) -> Change:
    question = Question(fact.question, fact.setup, fact.pass_, fact.until)
    return {"question": question, **_opening(state, at)}


def _dropped(state: State, fact: f.Dropped, at: float) -> Change:
    return {"question": None, **_opening(state, at)}


def _notice_held(state: State, fact: f.NoticeHeld, at: float) -> Change:
    others = tuple(notice for notice in state.notices if notice[0] != fact.device)
    return {"notices": (*others, (fact.device, fact.text))}


_NOTHING: Callable[[State, Any, float], Change] = lambda state, fact, at: {}  # noqa: E731

_APPLY: dict[type[f.Fact], Callable[[State, Any, float], Change]] = {
    f.Started: _started,
    f.SetupStarted: _setup_started,
    f.CheckOpened: _check_opened,
    f.CheckConfirmed: _check_confirmed,
    f.SettingCalled: _setting_called,
    f.PassCut: _pass_cut,
    f.StoodBy: _stood_by,
    f.CarriedOn: _carried_on,
    f.SteppedBack: _stepped_back,
    f.Jumped: _jumped,
    f.Noted: _NOTHING,
    f.Resumed: _resumed,
    f.Reregistered: _reregistered,
    f.Zeroed: lambda state, fact, at: {"carriage_at": Fraction(0), "came_from": None},
    f.StageReady: _NOTHING,
    f.SetupDone: _NOTHING,
    f.Finished: _finished,
    f.EndedEarly: _ended_early,
    f.Asked: _asked,
    f.Dropped: _dropped,
    f.NoticeHeld: _notice_held,
    f.NoticesSpoken: lambda state, fact, at: {"notices": ()},
    f.HearingOut: lambda state, fact, at: {"hear_out": True},
    f.Asking: lambda state, fact, at: {"asking": fact.id},
    f.Told: lambda state, fact, at: {"told_from": fact.from_s},
    f.Reminded: lambda state, fact, at: {"reminded": True},
    f.VoiceSet: lambda state, fact, at: {"louder": fact.louder, "quicker": fact.quicker},
    f.Announced: lambda state, fact, at: {"said": state.said + fact.count},
}


def apply(state: State, record: f.Record) -> State:
    """The state after this record. Passing facts leave `n` as it was."""
    change = _APPLY[type(record.fact)](state, record.fact, record.at)
    return replace(state, n=record.n, at=record.at, **change)
