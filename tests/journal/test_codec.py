"""Every journalled fact has one written form, and reads back as the same fact."""

from __future__ import annotations

import json
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from typing import ClassVar

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.errors import JournalError
from assistant.joinery.halves import Half
from assistant.joinery.model import (
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
from assistant.joinery.settings import Reads
from assistant.joinery.units import Unit
from assistant.journal import codec
from assistant.plans.mishaps import Mishap
from assistant.plans.model import (
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
from assistant.session import facts as f
from assistant.session.kinds import By, Doubt, JobChange, MoveKind, QuestionName
from tests.session.journalled import JOURNALLED

OF_VOICE = (Acceptance, DenoiserName, Endpoints, Reads, RecogniserName)
OF_JOBS = (CarriageKind, HomeKind, Layout, Register, StopSide, Unit, Zero, *OF_VOICE)
texts = st.text(max_size=20)
counts = st.integers(min_value=0, max_value=20_000)
lengths = st.fractions(min_value="1/25400", max_value=10_000, max_denominator=25_400)


def built(cls: type, **known: st.SearchStrategy) -> st.SearchStrategy:
    """An object of this dataclass with every field drawn from its type, so that no field can be forgotten."""
    drawn = {field.name: _of(field.type) for field in fields(cls) if field.name not in known}
    return st.builds(cls, **drawn, **known)


def _of(annotation: str) -> st.SearchStrategy:
    kinds = {"int": counts, "str": texts, "Fraction": lengths, "bool": st.booleans()}
    kinds |= {"float": st.floats(0, 1e6), "Fraction | None": st.none() | lengths, "int | None": st.none() | counts}
    kinds |= {"str | None": st.none() | texts, "tuple[str, ...]": st.lists(texts, max_size=3).map(tuple)}
    kinds |= {"tuple[int, ...]": st.lists(counts, max_size=3).map(tuple)}
    kinds |= {one.__name__: st.sampled_from(one) for one in (By, Doubt, Mishap, MoveKind, *OF_JOBS)}
    kinds |= {"JobChange | Mishap": st.sampled_from([*JobChange, *Mishap])}
    return kinds[annotation]


def several(strategy: st.SearchStrategy) -> st.SearchStrategy:
    return st.lists(strategy, max_size=3).map(tuple)


def by_name(strategy: st.SearchStrategy) -> st.SearchStrategy:
    """Pairs of a name and its value, each name once."""
    return st.dictionaries(texts, strategy, max_size=3).map(lambda found: tuple(found.items()))


def _hanging_together(job: Job) -> Job:
    """Numbers of setups and passes as in any job: from 1, and of those that exist."""
    patterns = tuple(
        replace(pattern, passes=tuple(replace(one, number=n) for n, one in enumerate(pattern.passes, start=1)))
        for pattern in job.patterns
    )
    none = (Half.PIECE_IN, Half.PIECE_OUT) if job.carriage.distance_piece is None else ()
    setups = tuple(
        replace(
            setup,
            number=n,
            stage=1,
            pattern=setup.pattern % len(patterns),
            half=Half.NONE if setup.half in none else setup.half,
        )
        for n, setup in enumerate(job.setups, start=1)
    )
    order = tuple(dict.fromkeys(n for n in job.order if 0 < n <= len(setups)))
    return replace(job, patterns=patterns, setups=setups, order=order, stages=("cut",))


patterns = built(Pattern, segments=several(built(Segment)), passes=several(built(Pass)), before=several(built(Pass)))
carriages = built(Carriage, travel=st.none() | st.tuples(lengths, lengths), drive=st.none() | built(Drive))
jobs = built(
    Job,
    checks=several(built(Check, when=st.sampled_from(When))),
    patterns=st.lists(patterns, min_size=1, max_size=2).map(tuple),
    setups=several(built(Setup, half=st.sampled_from(Half))),
    carriage=carriages,
    pedal=built(PedalSettings),
    page=built(PageSettings),
    voice=built(VoiceSettings, phrases=by_name(st.lists(texts, max_size=3).map(tuple)), pronunciations=by_name(texts)),
).map(_hanging_together)
exact = lengths.map(str)


def facts_of(kind: type[f.Fact]) -> st.SearchStrategy:
    perhaps = st.just("") | exact
    known: dict[type[f.Fact], dict[str, st.SearchStrategy]] = {
        f.SettingCalled: {"setting": exact},
        f.Reregistered: {"setting": perhaps},
        f.MoveAsked: {"to": perhaps},
        f.Moved: {"asked": exact, "reported": exact},
        f.CarriageHalted: {"reported": exact},
        f.CarriageHomed: {"off_by": perhaps},
        f.JobExtended: {
            "patterns": several(patterns),
            "setups": several(built(Setup, half=st.sampled_from(Half))),
            "kerf": perhaps,
        },
        f.SetupReopened: {"cut_off": perhaps},
        f.KerfMisplaced: {"off_by": exact | exact.map("-{}".format)},
        f.DepthSet: {"depth": exact},
    }
    return built(kind, **known.get(kind, {}))


def _reads_back(fact: f.Fact) -> None:
    text = codec.encode(fact)
    assert text.isascii()
    assert codec.decode(fact.kind, fact.version, text) == fact


@pytest.mark.parametrize("kind", [k for k in JOURNALLED if k is not f.Started], ids=lambda kind: kind.kind)
@settings(max_examples=50, deadline=None, derandomize=True)
@given(data=st.data())
def test_every_kind_reads_back_as_it_was_written(kind: type[f.Fact], data: st.DataObject) -> None:
    _reads_back(data.draw(facts_of(kind)))


@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(jobs)
def test_a_whole_job_reads_back_as_it_was_written(job: Job) -> None:
    _reads_back(f.Started(job))


def test_every_journalled_kind_has_a_codec() -> None:
    assert {kind: one.version for kind, one in codec.CODECS.items()} == {k.kind: k.version for k in JOURNALLED}


def test_a_kind_added_without_a_codec_is_refused() -> None:
    @dataclass(frozen=True, slots=True)
    class Sharpened(f.Fact):
        kind: ClassVar[str] = "sharpened"

    with pytest.raises(JournalError, match="'sharpened'"):
        codec.encode(Sharpened())


def test_a_kind_whose_version_was_raised_without_its_codec_is_refused() -> None:
    @dataclass(frozen=True, slots=True)
    class SetupDone(f.Fact):
        kind: ClassVar[str] = "setup_done"
        version: ClassVar[int] = 2
        setup: int

    with pytest.raises(JournalError, match="'setup_done', version 2"):
        codec.encode(SetupDone(1))


def test_passing_facts_are_never_written() -> None:
    with pytest.raises(JournalError, match="'asked'"):
        codec.encode(f.Asked(QuestionName.BACK, 1, 1))


def test_the_pass_is_written_under_the_formats_own_key() -> None:
    assert json.loads(codec.encode(f.PassCut(2, 7, By.PEDAL))) == {"setup": 2, "pass": 7, "by": "pedal"}
    assert json.loads(codec.encode(f.SettingCalled(2, 7, "1235/100")))["setting"] == "1235/100"


@pytest.mark.parametrize(
    ("kind", "version", "text", "named"),
    [
        ("glued", 1, "{}", "unknown kind of fact 'glued'"),
        ("pass_cut", 2, '{"setup":1,"pass":1,"by":"pedal"}', "has version 2, this Kerfcall knows up to 1"),
        ("pass_cut", 0, '{"setup":1,"pass":1,"by":"pedal"}', "version 0, can't be brought to version 1"),
        ("pass_cut", 1, '{"setup":1,"by":"pedal"}', "'pass' is None"),
        ("pass_cut", 1, '{"setup":true,"pass":1,"by":"pedal"}', "'setup' is True"),
        ("pass_cut", 1, '{"setup":1,"pass":1,"by":3}', "'by' is 3"),
        ("pass_cut", 1, '{"setup":1,', "can't be read"),
        ("pass_cut", 1, "[]", "not a JSON object"),
        ("setting_called", 1, '{"setup":1,"pass":1,"setting":"1/0"}', "'setting' is '1/0'"),
        ("reregistered", 2, '{"setup":1}', "'setting' is None"),
        ("started", 1, "{}", "'job' is damaged"),
        ("started", 3, "{}", "'job' is damaged"),
        ("started", 4, "{}", "'job' is missing"),
        ("board_spoilt", 1, '{"setups":[1,true]}', "not a list of whole numbers"),
        ("job_extended", 1, '{"setups":[{}],"patterns":[],"order":[],"why":""}', "what joins the job is damaged"),
        ("started", 1, '{"job":{}}', "'job' is damaged"),
        ("move_asked", 1, '{"setup":1,"pass":1,"what":"park","to":"","held":true}', "'park', which is no move"),
    ],
)
def test_what_cannot_be_read_is_refused_and_named(kind: str, version: int, text: str, named: str) -> None:
    with pytest.raises(JournalError, match=named):
        codec.decode(kind, version, text)


def test_words_read_back_as_members() -> None:
    """So that whoever takes a fact apart needs no conversion."""
    cut = codec.decode("pass_cut", 1, '{"setup":2,"pass":7,"by":"page"}')
    wrong = codec.decode("went_wrong", 1, '{"setup":2,"pass":7,"mishap":"loose piece"}')
    lost = codec.decode("carriage_lost", 1, '{"setup":2,"why":"silent","text":""}')
    sent = codec.decode("move_asked", 1, '{"setup":2,"pass":0,"what":"visit","to":"","held":true}')
    assert isinstance(cut, f.PassCut) and cut.by is By.PAGE
    assert isinstance(wrong, f.WentWrong) and wrong.mishap is Mishap.LOOSE
    assert isinstance(lost, f.CarriageLost) and lost.why is Doubt.SILENT
    assert isinstance(sent, f.MoveAsked) and sent.what is MoveKind.VISIT


@pytest.mark.parametrize(("why", "member"), [("copy", JobChange.COPY), ("other blade", Mishap.BLADE)])
def test_a_job_grows_by_a_change_or_by_a_mishap(why: str, member: JobChange | Mishap) -> None:
    body = {"patterns": [], "setups": [], "order": [1], "why": why, "kerf": ""}
    fact = codec.decode("job_extended", 2, json.dumps(body))
    assert isinstance(fact, f.JobExtended) and fact.why is member
    assert json.loads(codec.encode(fact)) == body


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("pass_cut", {"setup": 1, "pass": 1, "by": "elbow"}),
        ("went_wrong", {"setup": 1, "pass": 1, "mishap": "ran dry"}),
        ("carriage_lost", {"setup": 1, "why": "stolen", "text": ""}),
        ("job_extended", {"patterns": [], "setups": [], "order": [1], "why": "ran dry", "kerf": ""}),
    ],
)
def test_a_word_that_is_not_known_is_kept(kind: str, body: dict[str, object]) -> None:
    """What is there can be listed, exported and repaired; playing the session refuses a mishap that isn't known."""
    fact = codec.decode(kind, codec.CODECS[kind].version, json.dumps(body))
    assert json.loads(codec.encode(fact)) == body


STORED = {
    By: {"voice", "pedal", "keys", "page"},
    MoveKind: {"home", "visit", "setting"},
    Doubt: {"alarm", "reset", "line", "garbage", "silent", "switch", "elsewhere", "halted"},
    JobChange: {"board", "end", "socket", "spoilt", "copy"},
    Layout: {"even", "listed", "slots", "lined"},
    CarriageKind: {"readout", "handwheel", "steps"},
    Unit: {"mm", "in"},
    Zero: {"outside", "inside"},
    Register: {"stop", "setting bar"},
    StopSide: {"left", "right"},
    HomeKind: {"switch", "by hand"},
    Reads: {"digits", "words", "fractions", "turns"},
    RecogniserName: {"auto", "moonshine", "vosk", "pocketsphinx"},
    DenoiserName: {"auto", "none", "spectral", "rnnoise"},
    Endpoints: {"auto", "level", "speech"},
    Acceptance: {"usual", "strict"},
}
"""What journals hold, in facts and in the job that a session began with."""


def test_stored_words_stay() -> None:
    """A renamed one could not be told from one that isn't known."""
    assert {kind: {one.value for one in kind} for kind in STORED} == STORED


def test_a_setting_that_is_no_exact_number_is_not_written() -> None:
    with pytest.raises(JournalError, match="not an exact number"):
        codec.encode(f.SettingCalled(1, 1, "12,35"))


def test_old_versions_are_brought_up_step_by_step(monkeypatch: pytest.MonkeyPatch) -> None:
    current = codec.CODECS["stood_by"]
    monkeypatch.setitem(codec.CODECS, "stood_by", codec.Codec(3, current.encode, current.decode))
    monkeypatch.setitem(codec.UPCASTERS, ("stood_by", 1), lambda body: {"source": body["from"]})
    monkeypatch.setitem(codec.UPCASTERS, ("stood_by", 2), lambda body: {"by": body["source"]})
    assert codec.decode("stood_by", 1, '{"from":"pedal"}') == f.StoodBy("pedal")
    assert codec.decode("stood_by", 2, '{"source":"voice"}') == f.StoodBy("voice")
    assert codec.decode("stood_by", 3, '{"by":"keys"}') == f.StoodBy("keys")


def test_work_clamped_again_before_a_cut_was_named_to_try_left_the_carriage_where_it_was() -> None:
    assert codec.decode("reregistered", 1, '{"setup":3}') == f.Reregistered(3, "")


def test_settings_keep_their_exact_value_through_the_journal() -> None:
    fact = codec.decode("setting_called", 1, codec.encode(f.SettingCalled(1, 1, str(Fraction(1143, 90)))))
    assert isinstance(fact, f.SettingCalled)
    assert Fraction(fact.setting) == Fraction("12.7")
