"""Converts a job to JSON and back, exactly: the form in which it is stored with its session.

Every key is written out here, not taken from the dataclasses, so that a stored job keeps its meaning when these change.
Lengths are texts "n/d" in mm. Decoding trusts nothing: bad data raises KeyError (a key is
missing) or ValueError (anything else), never another exception.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any, TypeVar

from assistant.joinery.halves import Half
from assistant.joinery.model import (
    CLEAR_ABOVE,
    OVERLAP,
    OVERRUN,
    Carriage,
    CarriageKind,
    Drive,
    HomeKind,
    Pass,
    Pattern,
    Register,
    Segment,
    StopSide,
    Zero,
)
from assistant.joinery.settings import Reads, read_as
from assistant.joinery.units import Unit
from assistant.plans.members import Member, member
from assistant.plans.model import (
    RUN_DOWN_S,
    Acceptance,
    Check,
    DenoiserName,
    Endpoints,
    Job,
    Layout,
    PageSettings,
    PedalSettings,
    RecogniserName,
    Setup,
    VoiceSettings,
    When,
)

# Python refuses to make an int of over 4,300 digits.
_FRACTION = re.compile(r"-?[0-9]{1,4000}/[0-9]{1,4000}")
_Item = TypeVar("_Item")


def fraction_text(value: Fraction) -> str:
    """Exact, always with its denominator: Fraction(3) -> "3/1"."""
    return f"{value.numerator}/{value.denominator}"


def fraction_of(text: object) -> Fraction:
    """The inverse of `fraction_text`. Raises ValueError for anything else."""
    if not isinstance(text, str) or not _FRACTION.fullmatch(text):
        raise ValueError(f"not an exact fraction: {text!r:.60}")
    top, bottom = text.split("/")
    # Fraction would raise ZeroDivisionError, which is neither of the two promised.
    if not int(bottom):
        raise ValueError("a fraction is divided by zero")
    return Fraction(int(top), int(bottom))


def job_to_json(job: Job) -> dict[str, Any]:
    """The job as JSON objects, lists, texts, numbers; patterns are stored once."""
    return {
        "title": job.title,
        "plan_digest": job.plan_digest,
        "kerf": fraction_text(job.kerf),
        "clearance": fraction_text(job.clearance),
        "assumed_kerf": fraction_text(job.assumed_kerf),
        "warnings": list(job.warnings),
        "checks": [check_to_json(check) for check in job.checks],
        "stages": list(job.stages),
        "patterns": [pattern_to_json(pattern) for pattern in job.patterns],
        "setups": [setup_to_json(setup) for setup in job.setups],
        "order": list(job.order),
        "carriage": _carriage_to_json(job.carriage),
        "pedal": {
            "key": job.pedal.key,
            # The gesture's old name, by which every stored job has it.
            "hold_s": job.pedal.long_press_s,
            "double_tap_s": job.pedal.double_tap_s,
            "pass_takes_s": job.pedal.pass_takes_s,
            "device": job.pedal.device,
        },
        "voice": _voice_to_json(job.voice),
        "greatest_error": fraction_text(job.greatest_error),
        "worst_clearance": fraction_text(job.worst_clearance),
        "layout": job.layout,
        "page": {"may_record_cuts": job.page.may_record_cuts},
        "run_down_s": job.run_down_s,
        "clear_above": fraction_text(job.clear_above),
        "shop_path": job.shop_path,
        "overlap": fraction_text(job.overlap),
        "overrun": fraction_text(job.overrun),
        **({"highest": fraction_text(job.highest)} if job.highest is not None else {}),
        **({"blade_since": job.blade_since} if job.blade_since else {}),
        **({"kerf_since": job.kerf_since} if job.kerf_since else {}),
    }


def job_from_json(data: object) -> Job:
    """The inverse of `job_to_json`. Raises KeyError or ValueError for bad data."""
    of = _Reader(data)
    voice = _voice_from_json(of.value("voice"))
    job = Job(
        title=of.text("title"),
        plan_digest=of.text("plan_digest"),
        kerf=of.length("kerf"),
        clearance=of.length("clearance"),
        assumed_kerf=of.length("assumed_kerf"),
        warnings=of.many("warnings", _text),
        checks=of.many("checks", check_from_json),
        stages=of.many("stages", _text),
        patterns=of.many("patterns", pattern_from_json),
        setups=of.many("setups", setup_from_json),
        order=of.many("order", whole),
        carriage=_carriage_from_json(of.value("carriage"), voice.reads),
        pedal=_pedal_from_json(of.value("pedal")),
        voice=voice,
        greatest_error=of.length("greatest_error"),
        worst_clearance=of.length("worst_clearance"),
        # Jobs stored before there were other layouts have no such key.
        layout=of.member_or("layout", Layout.EVEN),
        # Nor have older jobs the settings of the bench page,
        page=PageSettings(_Reader(of.value("page")).flag("may_record_cuts")) if of.has("page") else PageSettings(),
        run_down_s=of.seconds("run_down_s") if of.has("run_down_s") else RUN_DOWN_S,
        # the room to keep clear above the blade,
        clear_above=of.length("clear_above") if of.has("clear_above") else CLEAR_ABOVE,
        # the path of their shop file,
        shop_path=of.text_or("shop_path", ""),
        # or how far passes overlap and run past an edge.
        overlap=of.length("overlap") if of.has("overlap") else OVERLAP,
        overrun=of.length("overrun") if of.has("overrun") else OVERRUN,
        highest=of.length("highest") if of.has("highest") else None,
        # A session begins with its first blade, and with that one's kerf as it is known then.
        blade_since=of.whole_or("blade_since", 0),
        kerf_since=of.whole_or("kerf_since", 0),
    )
    _refuse_contradictions(job)
    return job


def _refuse_contradictions(job: Job) -> None:
    for place, setup in enumerate(job.setups, start=1):
        if setup.number != place:
            raise ValueError(f"setup {place} is numbered {setup.number}")
        if not 0 <= setup.pattern < len(job.patterns):
            raise ValueError(f"setup {place} names pattern {setup.pattern} of {len(job.patterns)}")
        if not 1 <= setup.stage <= len(job.stages):
            raise ValueError(f"setup {place} names stage {setup.stage} of {len(job.stages)}")
        if setup.half in (Half.PIECE_IN, Half.PIECE_OUT) and not job.carriage.distance_piece:
            raise ValueError(f"setup {place} needs a distance piece, and the carriage has none")
    if len(set(job.order)) < len(job.order) or not set(job.order) <= {setup.number for setup in job.setups}:
        raise ValueError(f"the order names a setup twice, or one that isn't there: {job.order!r:.60}")
    for pattern in job.patterns:
        if [one.number for one in pattern.passes] != list(range(1, len(pattern.passes) + 1)):
            raise ValueError(f"the passes of part {pattern.part} are not numbered from 1")


class _Reader:
    """Reads one JSON object key by key, and refuses values of the wrong type."""

    def __init__(self, data: object):
        if not isinstance(data, dict):
            raise ValueError(f"must be a JSON object, not {type(data).__name__}")
        self._data = data

    def value(self, key: str) -> Any:
        return self._data[key]

    def has(self, key: str) -> bool:
        return key in self._data

    def text(self, key: str) -> str:
        return _text(self._data[key])

    def text_or_none(self, key: str) -> str | None:
        return None if self._data[key] is None else self.text(key)

    def text_or(self, key: str, default: str) -> str:
        return self.text(key) if key in self._data else default

    def member(self, key: str, kind: type[Member]) -> Member:
        return member(kind, self.text(key))

    def member_or(self, key: str, default: Member) -> Member:
        return self.member(key, type(default)) if key in self._data else default

    def whole(self, key: str) -> int:
        return whole(self._data[key], key)

    def whole_or(self, key: str, default: int) -> int:
        return self.whole(key) if key in self._data else default

    def seconds(self, key: str) -> float:
        value = self._data[key]
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
            raise ValueError(f"{key} must be a number of seconds")
        return float(value)

    def flag(self, key: str) -> bool:
        if not isinstance(self._data[key], bool):
            raise ValueError(f"{key} must be true or false")
        return bool(self._data[key])

    def length(self, key: str) -> Fraction:
        return fraction_of(self._data[key])

    def length_or_none(self, key: str) -> Fraction | None:
        return None if self._data[key] is None else self.length(key)

    def many(self, key: str, one: Callable[[Any], _Item]) -> tuple[_Item, ...]:
        if not isinstance(self._data[key], list):
            raise ValueError(f"{key} must be a list")
        return tuple(one(item) for item in self._data[key])

    def pairs(self, key: str, one: Callable[[Any], _Item]) -> tuple[tuple[str, _Item], ...]:
        """The object at `key` as pairs; () if there is none."""
        data = self._data.get(key, {})
        if not isinstance(data, dict):
            raise ValueError(f"{key} must be an object")
        return tuple((name, one(value)) for name, value in data.items())


def whole(value: object, key: str = "each") -> int:
    # A bool is an int in Python.
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{key} must be a whole number")
    return value


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("must be a text")
    return value


def _texts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise ValueError("must be a list")
    return tuple(_text(item) for item in value)


def check_to_json(check: Check) -> dict[str, Any]:
    return {
        "name": check.name,
        "say": check.say,
        "answer": check.answer,
        "when": check.when,
        "every": check.every,
    }


def check_from_json(data: object) -> Check:
    of = _Reader(data)
    name, when = of.text("name"), of.text("when")
    if when not in list(When):
        raise ValueError(f"its check {name!r:.40} has an unknown `when`: {when!r:.40}")
    return Check(name, of.text("say"), of.text("answer"), When(when), of.whole("every"))


def pattern_to_json(pattern: Pattern) -> dict[str, Any]:
    return {
        "part": pattern.part,
        "width": fraction_text(pattern.width),
        "depth": fraction_text(pattern.depth),
        "segments": [
            {"start": fraction_text(s.start), "end": fraction_text(s.end), "finger": s.is_finger}
            for s in pattern.segments
        ],
        "passes": [_pass_to_json(one) for one in pattern.passes],
        # Keys that say nothing are left out, as in jobs stored before there were any halves.
        **({"before": [_pass_to_json(one) for one in pattern.before]} if pattern.before else {}),
        **({"mirrored": True} if pattern.mirrored else {}),
    }


def _pass_to_json(one: Pass) -> dict[str, Any]:
    return {
        "number": one.number,
        "socket": one.socket,
        "kerf_from": fraction_text(one.kerf_from),
        "kerf_to": fraction_text(one.kerf_to),
        "setting": fraction_text(one.setting),
        **({"down": True} if one.down else {}),
        **({"shift": fraction_text(one.shift)} if one.shift else {}),
    }


def pattern_from_json(data: object) -> Pattern:
    of = _Reader(data)
    return Pattern(
        of.text("part"),
        of.length("width"),
        of.length("depth"),
        of.many("segments", _segment_from_json),
        of.many("passes", _pass_from_json),
        of.many("before", _pass_from_json) if of.has("before") else (),
        of.has("mirrored") and of.flag("mirrored"),
    )


def _segment_from_json(data: object) -> Segment:
    of = _Reader(data)
    return Segment(of.length("start"), of.length("end"), of.flag("finger"))


def _pass_from_json(data: object) -> Pass:
    of = _Reader(data)
    return Pass(
        of.whole("number"),
        of.whole("socket"),
        of.length("kerf_from"),
        of.length("kerf_to"),
        of.length("setting"),
        of.has("down") and of.flag("down"),
        of.length("shift") if of.has("shift") else Fraction(0),
    )


def setup_to_json(setup: Setup) -> dict[str, Any]:
    """The form of one setup in a stored job."""
    return {
        "number": setup.number,
        "stage": setup.stage,
        "board": setup.board,
        "part": setup.part,
        "end": setup.end,
        "copies": setup.copies,
        "first_copy": setup.first_copy,
        "pattern": setup.pattern,
        "half": setup.half,
    }


def setup_from_json(data: object) -> Setup:
    of = _Reader(data)
    return Setup(
        of.whole("number"),
        of.whole("stage"),
        of.text("board"),
        of.text("part"),
        of.whole("end"),
        of.whole("copies"),
        of.whole("first_copy"),
        of.whole("pattern"),
        # Jobs stored before boards could be wider than the travel cut every end in one clamping.
        _half(of.text_or("half", "")),
    )


def _half(text: str) -> Half:
    if text not in list(Half):
        raise ValueError(f"there is no such half of an end: {text!r:.40}")
    return Half(text)


def _carriage_to_json(carriage: Carriage) -> dict[str, Any]:
    return {
        "kind": carriage.kind,
        "resolution": fraction_text(carriage.resolution),
        "pitch": None if carriage.pitch is None else fraction_text(carriage.pitch),
        "divisions": carriage.divisions,
        "unit": carriage.unit,
        "zero": carriage.zero,
        "travel": None if carriage.travel is None else [fraction_text(end) for end in carriage.travel],
        "backlash": fraction_text(carriage.backlash),
        "register": carriage.register,
        "stop_side": carriage.stop_side,
        "fractions": carriage.fractions,
        **({"drive": _drive_to_json(carriage.drive)} if carriage.drive else {}),
        **({"distance_piece": fraction_text(carriage.distance_piece)} if carriage.distance_piece else {}),
    }


def _carriage_from_json(data: object, reads: Reads) -> Carriage:
    of = _Reader(data)
    travel = None if of.value("travel") is None else of.many("travel", fraction_of)
    if travel is not None and len(travel) != 2:
        raise ValueError("travel must be two settings")
    resolution = of.length("resolution")
    if resolution <= 0:
        raise ValueError("resolution must be over 0")
    carriage = Carriage(
        of.member("kind", CarriageKind),
        resolution,
        of.length_or_none("pitch"),
        None if of.value("divisions") is None else of.whole("divisions"),
        of.member("unit", Unit),
        of.member("zero", Zero),
        None if travel is None else (travel[0], travel[1]),
        of.length("backlash"),
        of.member("register", Register),
        of.member("stop_side", StopSide),
    )
    if of.has("drive"):
        carriage = replace(carriage, drive=_drive_from_json(of.value("drive")))
    if of.has("distance_piece"):
        carriage = replace(carriage, distance_piece=of.length("distance_piece"))
    # Jobs stored before screens followed the voice don't say whether the carriage shows fractions.
    return replace(carriage, fractions=of.flag("fractions")) if of.has("fractions") else read_as(carriage, reads)


def _drive_to_json(drive: Drive) -> dict[str, Any]:
    return {
        "port": drive.port,
        "axis": drive.axis,
        "feed": fraction_text(drive.feed),
        "approach_feed": fraction_text(drive.approach_feed),
        "home": drive.home,
        "home_reads": fraction_text(drive.home_reads),
        "clear_input": drive.clear_input,
        "steps_per_mm": None if drive.steps_per_mm is None else fraction_text(drive.steps_per_mm),
    }


def _drive_from_json(data: object) -> Drive:
    of = _Reader(data)
    return Drive(
        of.text("port"),
        of.text("axis"),
        of.length("feed"),
        of.length("approach_feed"),
        of.member("home", HomeKind),
        of.length("home_reads"),
        of.flag("clear_input"),
        of.length_or_none("steps_per_mm"),
    )


def _pedal_from_json(data: object) -> PedalSettings:
    of = _Reader(data)
    return PedalSettings(
        of.text("key"),
        of.seconds("hold_s"),
        of.seconds("double_tap_s"),
        of.seconds("pass_takes_s"),
        of.text_or("device", "auto"),
    )


def _voice_to_json(voice: VoiceSettings) -> dict[str, Any]:
    return {
        "language": voice.language,
        "lead_in": voice.lead_in,
        "recogniser": voice.recogniser,
        "reads": voice.reads,
        "speech_rate": voice.speech_rate,
        "model": voice.model,
        "phrases": {intent: list(texts) for intent, texts in voice.phrases},
        "pronunciations": dict(voice.pronunciations),
        "denoiser": voice.denoiser,
        "endpoints": voice.endpoints,
        "acceptance": voice.acceptance,
        "loudspeaker": voice.loudspeaker,
        "loudness": voice.loudness,
        "tone": voice.tone,
    }


def _voice_from_json(data: object) -> VoiceSettings:
    of = _Reader(data)
    return VoiceSettings(
        of.text("language"),
        of.text("lead_in"),
        of.member("recogniser", RecogniserName),
        of.member("reads", Reads),
        of.whole("speech_rate"),
        of.text_or_none("model"),
        # Jobs stored before phrases could be changed have none of their own.
        of.pairs("phrases", _texts),
        of.pairs("pronunciations", _text),
        # Nor do they name the stages of hearing.
        of.member_or("denoiser", DenoiserName.AUTO),
        of.member_or("endpoints", Endpoints.AUTO),
        of.member_or("acceptance", Acceptance.USUAL),
        of.text_or("loudspeaker", ""),
        of.whole_or("loudness", 0),
        # Today notes are on by default, but a session begun without them goes on without.
        of.flag("tone") if of.has("tone") else False,
    )
