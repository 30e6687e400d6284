"""Converts facts to JSON bodies and back, with one explicit codec for each kind.

The keys of a body are part of the format: `journal export` shows them and old journals hold
them. When the shape of a fact changes, its `version` goes up and an upcaster is added here.
Nothing is ever rewritten in place.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from assistant.errors import JournalError
from assistant.plans.members import Member, member
from assistant.plans.mishaps import Mishap
from assistant.session.facts import (
    BoardChosen,
    BoardSpoilt,
    CameBack,
    CarriageHalted,
    CarriageHomed,
    CarriageLost,
    CarriedOn,
    CheckConfirmed,
    CheckOpened,
    CutsSure,
    DepthSet,
    EndedEarly,
    Fact,
    Finished,
    JobExtended,
    Jumped,
    KerfMisplaced,
    MoveAsked,
    Moved,
    Noted,
    OldBladeBack,
    PassCut,
    Reopened,
    Reregistered,
    Resumed,
    SettingCalled,
    SetupDone,
    SetupReopened,
    SetupStarted,
    StageReady,
    Started,
    SteppedBack,
    StoodBy,
    TestJointSkipped,
    WentWrong,
    Zeroed,
)
from assistant.session.kinds import By, Doubt, JobChange, MoveKind

Body = dict[str, Any]
Upcaster = Callable[[Body], Body]

# Far more digits than any length has, far fewer than Python refuses to read (4,300). No denominator is 0.
_NUMBER = re.compile(r"-?[0-9]{1,400}(?:\.[0-9]{1,400}|/0*[1-9][0-9]{0,399})?")
# Resuming decodes every fact of a session, and this skips what `loads` does around it.
_parse = json.JSONDecoder().raw_decode


@dataclass(frozen=True, slots=True)
class Codec:
    """The encoder and decoder of one kind. version: the version they write and read."""

    version: int
    encode: Callable[[Any], Body]
    decode: Callable[[Body], Fact]


class _Unreadable(Exception):
    """A body lacks a key or has a value of the wrong type. The text names the key."""


class TooNew(JournalError):
    """The fact has a kind or a version that only a newer Kerfcall knows."""


def _count(body: Body, key: str) -> int:
    value = body.get(key)
    # Not isinstance, since a bool is an int in Python.
    if type(value) is not int:
        raise _Unreadable(f"{key!r} is {value!r}, not a whole number")
    return value


def _counts(body: Body, key: str) -> tuple[int, ...]:
    values = body.get(key)
    if type(values) is not list or any(type(value) is not int for value in values):
        raise _Unreadable(f"{key!r} is {values!r:.60}, not a list of whole numbers")
    return tuple(values)


def _text(body: Body, key: str) -> str:
    value = body.get(key)
    if type(value) is not str:
        raise _Unreadable(f"{key!r} is {value!r}, not text")
    return value


def _member(body: Body, key: str, kind: type[Member]) -> Member:
    return member(kind, _text(body, key))


def _exact(body: Body, key: str) -> str:
    """A fraction as text, kept exactly as it was written."""
    value = _text(body, key)
    if not _NUMBER.fullmatch(value):
        raise _Unreadable(f"{key!r} is {value!r:.60}, not an exact number")
    return value


def _exact_or_none(body: Body, key: str) -> str:
    """As `_exact`, or "" where there is no number."""
    return "" if body.get(key) == "" else _exact(body, key)


def _flag(body: Body, key: str) -> bool:
    value = body.get(key)
    if type(value) is not bool:
        raise _Unreadable(f"{key!r} is {value!r}, not true or false")
    return value


def _encode_started(fact: Started) -> Body:
    from assistant.plans.job_json import job_to_json

    return {"job": job_to_json(fact.job), "rehearsed": fact.rehearsed}


def _decode_started(body: Body) -> Started:
    from assistant.plans.job_json import job_from_json

    job, rehearsed = body.get("job"), body.get("rehearsed")
    if type(job) is not dict:
        raise _Unreadable("'job' is missing")
    if type(rehearsed) is not bool:
        raise _Unreadable(f"'rehearsed' is {rehearsed!r}, not true or false")
    try:
        return Started(job_from_json(job), rehearsed)
    except (KeyError, IndexError, TypeError, ValueError, ArithmeticError) as error:
        raise _Unreadable(f"'job' is damaged: {error!r}") from error


def _encode_job_extended(fact: JobExtended) -> Body:
    from assistant.plans.job_json import pattern_to_json, setup_to_json

    return {
        "patterns": [pattern_to_json(one) for one in fact.patterns],
        "setups": [setup_to_json(one) for one in fact.setups],
        "order": list(fact.order),
        "why": str(fact.why),
        "kerf": fact.kerf,
    }


def _decode_job_extended(body: Body) -> JobExtended:
    from assistant.plans.job_json import pattern_from_json, setup_from_json

    try:
        patterns = tuple(pattern_from_json(one) for one in body["patterns"])
        setups = tuple(setup_from_json(one) for one in body["setups"])
    except (KeyError, TypeError, ValueError, ArithmeticError) as error:
        raise _Unreadable(f"what joins the job is damaged: {error!r}") from error
    order, by_change = _counts(body, "order"), body.get("why") in list(JobChange)
    why = _member(body, "why", JobChange) if by_change else _member(body, "why", Mishap)
    return JobExtended(patterns, setups, order, why, _exact_or_none(body, "kerf"))


def _encode_check_opened(fact: CheckOpened) -> Body:
    return {"setup": fact.setup, "check": fact.check}


def _decode_check_opened(body: Body) -> CheckOpened:
    return CheckOpened(_count(body, "setup"), _text(body, "check"))


def _encode_check_confirmed(fact: CheckConfirmed) -> Body:
    return {"setup": fact.setup, "check": fact.check, "by": str(fact.by)}


def _decode_check_confirmed(body: Body) -> CheckConfirmed:
    return CheckConfirmed(_count(body, "setup"), _text(body, "check"), _member(body, "by", By))


def _encode_setting_called(fact: SettingCalled) -> Body:
    return {"setup": fact.setup, "pass": fact.pass_, "setting": fact.setting}


def _decode_setting_called(body: Body) -> SettingCalled:
    return SettingCalled(_count(body, "setup"), _count(body, "pass"), _exact(body, "setting"))


def _decode_reregistered(body: Body) -> Reregistered:
    return Reregistered(_count(body, "setup"), _exact_or_none(body, "setting"))


def _encode_pass_cut(fact: PassCut) -> Body:
    return {"setup": fact.setup, "pass": fact.pass_, "by": str(fact.by)}


def _decode_pass_cut(body: Body) -> PassCut:
    return PassCut(_count(body, "setup"), _count(body, "pass"), _member(body, "by", By))


def _encode_noted(fact: Noted) -> Body:
    return {"setup": fact.setup, "pass": fact.pass_, "text": fact.text}


def _decode_noted(body: Body) -> Noted:
    return Noted(_count(body, "setup"), _count(body, "pass"), _text(body, "text"))


def _encode_place(fact: SteppedBack | Jumped | Resumed | EndedEarly) -> Body:
    return {"setup": fact.setup, "pass": fact.pass_}


def _place(body: Body) -> tuple[int, int]:
    return _count(body, "setup"), _count(body, "pass")


def _encode_move_asked(fact: MoveAsked) -> Body:
    place = {"setup": fact.setup, "pass": fact.pass_}
    return {**place, "what": str(fact.what), "to": fact.to, "held": fact.held}


def _decode_move_asked(body: Body) -> MoveAsked:
    what = _member(body, "what", MoveKind)
    if what not in list(MoveKind):
        raise _Unreadable(f"'what' is {what!r:.60}, which is no move")
    return MoveAsked(*_place(body), what, _exact_or_none(body, "to"), _flag(body, "held"))


def _encode_moved(fact: Moved) -> Body:
    return {"setup": fact.setup, "pass": fact.pass_, "asked": fact.asked, "reported": fact.reported}


def _decode_moved(body: Body) -> Moved:
    return Moved(*_place(body), _exact(body, "asked"), _exact(body, "reported"))


CODECS: dict[str, Codec] = {
    "started": Codec(4, _encode_started, _decode_started),
    "test_joint_skipped": Codec(1, lambda f: {}, lambda b: TestJointSkipped()),
    "setup_started": Codec(1, lambda f: {"setup": f.setup}, lambda b: SetupStarted(_count(b, "setup"))),
    "check_opened": Codec(1, _encode_check_opened, _decode_check_opened),
    "check_confirmed": Codec(1, _encode_check_confirmed, _decode_check_confirmed),
    "setting_called": Codec(1, _encode_setting_called, _decode_setting_called),
    "pass_cut": Codec(1, _encode_pass_cut, _decode_pass_cut),
    "stood_by": Codec(1, lambda f: {"by": str(f.by)}, lambda b: StoodBy(_member(b, "by", By))),
    "carried_on": Codec(1, lambda f: {"by": str(f.by)}, lambda b: CarriedOn(_member(b, "by", By))),
    "stepped_back": Codec(1, _encode_place, lambda b: SteppedBack(*_place(b))),
    "jumped": Codec(1, _encode_place, lambda b: Jumped(*_place(b))),
    "noted": Codec(1, _encode_noted, _decode_noted),
    "resumed": Codec(1, _encode_place, lambda b: Resumed(*_place(b))),
    "reregistered": Codec(2, lambda f: {"setup": f.setup, "setting": f.setting}, _decode_reregistered),
    "zeroed": Codec(1, lambda f: {"setup": f.setup}, lambda b: Zeroed(_count(b, "setup"))),
    "stage_ready": Codec(1, lambda f: {"stage": f.stage}, lambda b: StageReady(_count(b, "stage"))),
    "setup_done": Codec(1, lambda f: {"setup": f.setup}, lambda b: SetupDone(_count(b, "setup"))),
    "finished": Codec(1, lambda f: {}, lambda b: Finished()),
    "ended_early": Codec(1, _encode_place, lambda b: EndedEarly(*_place(b))),
    "job_extended": Codec(2, _encode_job_extended, _decode_job_extended),
    "board_chosen": Codec(1, lambda f: {"setup": f.setup}, lambda b: BoardChosen(_count(b, "setup"))),
    "setup_reopened": Codec(
        2,
        lambda f: {
            "setup": f.setup,
            "passes": list(f.passes),
            "socket": f.socket,
            "cut_off": f.cut_off,
            "deeper": f.deeper,
        },
        lambda b: SetupReopened(
            _count(b, "setup"),
            _counts(b, "passes"),
            _count(b, "socket"),
            _exact_or_none(b, "cut_off"),
            _flag(b, "deeper"),
        ),
    ),
    "went_wrong": Codec(
        1,
        lambda f: {"setup": f.setup, "pass": f.pass_, "mishap": str(f.mishap)},
        lambda b: WentWrong(*_place(b), _member(b, "mishap", Mishap)),
    ),
    "kerf_misplaced": Codec(
        1,
        lambda f: {"setup": f.setup, "pass": f.pass_, "off_by": f.off_by},
        lambda b: KerfMisplaced(*_place(b), _exact(b, "off_by")),
    ),
    "depth_set": Codec(
        1,
        lambda f: {"patterns": list(f.patterns), "depth": f.depth},
        lambda b: DepthSet(_counts(b, "patterns"), _exact(b, "depth")),
    ),
    "came_back": Codec(
        1,
        lambda f: {"setup": f.setup, "lowered": f.lowered, "touched": f.touched},
        lambda b: CameBack(_count(b, "setup"), _flag(b, "lowered"), _flag(b, "touched")),
    ),
    "board_spoilt": Codec(1, lambda f: {"setups": list(f.setups)}, lambda b: BoardSpoilt(_counts(b, "setups"))),
    "cuts_sure": Codec(1, lambda f: {"setup": f.setup}, lambda b: CutsSure(_count(b, "setup"))),
    "old_blade_back": Codec(1, lambda f: {"setup": f.setup}, lambda b: OldBladeBack(_count(b, "setup"))),
    "reopened": Codec(1, lambda f: {}, lambda b: Reopened()),
    "move_asked": Codec(1, _encode_move_asked, _decode_move_asked),
    "moved": Codec(1, _encode_moved, _decode_moved),
    "halted": Codec(
        1,
        lambda f: {"setup": f.setup, "reported": f.reported},
        lambda b: CarriageHalted(_count(b, "setup"), _exact(b, "reported")),
    ),
    "carriage_lost": Codec(
        1,
        lambda f: {"setup": f.setup, "why": str(f.why), "text": f.text},
        lambda b: CarriageLost(_count(b, "setup"), _member(b, "why", Doubt), _text(b, "text")),
    ),
    "homed": Codec(
        1,
        lambda f: {"setup": f.setup, "off_by": f.off_by, "beyond": f.beyond},
        lambda b: CarriageHomed(_count(b, "setup"), _exact_or_none(b, "off_by"), _flag(b, "beyond")),
    ),
}


def _with_fixed_checks(body: Body) -> Body:
    """Add the fixed checks to a session stored without them: they are asked from the end of the next setup on."""
    from assistant.plans.checks import with_fixed
    from assistant.plans.job_json import check_from_json, check_to_json
    from assistant.plans.languages import language_of

    job: Any = body.get("job")
    try:
        checks = with_fixed([check_from_json(check) for check in job["checks"]], language_of(job["voice"]["language"]))
    except (KeyError, TypeError, ValueError) as error:
        raise _Unreadable(f"'job' is damaged: {error!r}") from error
    return {**body, "job": {**job, "checks": [check_to_json(check) for check in checks]}}


def _in_order(body: Body) -> Body:
    """Setups were cut in the order of their numbers, and none ever replaced another."""
    job: Any = body.get("job")
    try:
        return {**body, "job": {**job, "order": [setup["number"] for setup in job["setups"]]}}
    except (KeyError, TypeError) as error:
        raise _Unreadable(f"'job' is damaged: {error!r}") from error


# (kind, version) -> makes a body of that version into one of version + 1.
UPCASTERS: dict[tuple[str, int], Upcaster] = {
    ("started", 1): lambda body: {**body, "rehearsed": False},
    ("started", 2): _with_fixed_checks,
    # The check that a board is out came after version 3, so its sessions get the fixed ones too.
    ("started", 3): lambda body: _in_order(_with_fixed_checks(body)),
    # In version 1 the operator chose which cut to try, so its setting isn't known.
    ("reregistered", 1): lambda body: {**body, "setting": ""},
    ("setup_reopened", 1): lambda body: {**body, "deeper": False},
    # In version 1 the kerf stayed what it was at the start.
    ("job_extended", 1): lambda body: {**body, "kerf": ""},
}


def encode(fact: Fact) -> str:
    """The fact's body as JSON text (ASCII). Raises JournalError for a kind that is never stored or has no codec."""
    codec = CODECS.get(fact.kind)
    if fact.passing or codec is None or codec.version != fact.version:
        raise JournalError(f"a fact of kind {fact.kind!r}, version {fact.version}, has no form in the journal")
    body = codec.encode(fact)
    try:
        # Read back at once, before it is committed: later, it would only be noticed when the session is resumed.
        if codec.decode(body) != fact:
            raise _Unreadable("it would not be read back as the same fact")
    except _Unreadable as error:
        raise JournalError(f"a fact of kind {fact.kind!r} can't be written: {error}") from error
    return json.dumps(body, separators=(",", ":"), allow_nan=False)


def decode(kind: str, version: int, text: str) -> Fact:
    """The fact in a row. Raises JournalError that says what can't be read: kind, version or key."""
    codec = CODECS.get(kind)
    if codec is None:
        raise TooNew(f"unknown kind of fact {kind!r}: it was written by another version of Kerfcall; upgrade it")
    try:
        body, end = _parse(text)
        # `raw_decode` stops at the end of a value and takes no offence at what follows.
        if type(body) is not dict or end != len(text):
            raise _Unreadable("its body is not a JSON object")
        if version != codec.version:
            body = _upcast(kind, version, codec.version, body)
        return codec.decode(body)
    # RecursionError: brackets nested thousands deep, which only a damaged body holds.
    except (_Unreadable, ValueError, RecursionError) as error:
        raise JournalError(f"a fact of kind {kind!r} can't be read: {error}") from error


def body_of(fact: Fact) -> Body:
    """The fact's body, with the format's keys such as "pass"."""
    return CODECS[fact.kind].encode(fact)


def _upcast(kind: str, version: int, wanted: int, body: Body) -> Body:
    if type(version) is not int:
        raise _Unreadable(f"its version is {version!r:.40}, not a whole number")
    if version > wanted:
        raise TooNew(f"a fact of kind {kind!r} has version {version}, this Kerfcall knows up to {wanted}; upgrade it")
    for step in range(version, wanted):
        upcaster = UPCASTERS.get((kind, step))
        if upcaster is None:
            raise JournalError(f"a fact of kind {kind!r}, version {step}, can't be brought to version {step + 1}")
        body = upcaster(body)
    return body
