"""The trace: JSON Lines with the same head, facts and effects by name, and no passing facts."""

from __future__ import annotations

import io
import json
from dataclasses import fields, replace
from typing import Any

from assistant.plans.mishaps import Mishap
from assistant.runner.trace import Trace
from assistant.session import effects as e
from assistant.session import events, facts
from assistant.session.events import DeviceChanged, Event, Gesture, Heard, Leave, Start, TimePassed
from assistant.session.kinds import By, DeviceName, DeviceState, Doubt, JobChange, MoveKind
from assistant.session.turn import prompt, view
from assistant.wording.phrases import Phrase
from assistant.wording.prompts import Words
from tests.session.driver import Driver
from tests.session.jobs import few_checks, job
from tests.session.journalled import JOURNALLED

UTC = "2026-03-02T09:00:00.000Z"


def lines(*things: object) -> list[dict[str, Any]]:
    out = io.StringIO()
    trace = Trace(out, "2026-03-02-1", lambda: 7.00004)
    for thing in things:
        if isinstance(thing, Event):
            trace.event(thing)
        elif isinstance(thing, facts.Fact):
            trace.fact(thing)
        else:
            trace.effect(thing, Words(job()), (Phrase("cut", None, "marigold go", True, True),))  # type: ignore[arg-type]
    return [json.loads(line) for line in out.getvalue().splitlines()]


def test_the_head_of_every_line() -> None:
    (line,) = lines(Gesture(7.0, UTC, "tap", 6.6))
    assert list(line)[:4] == ["at", "session", "type", "kind"]
    assert (line["at"], line["session"], line["type"], line["kind"]) == (7.0, "2026-03-02-1", "event", "gesture")
    assert line["gesture"] == "tap" and line["since"] == 6.6


def test_facts_are_as_journalled_and_passing_facts_are_skipped() -> None:
    told = lines(facts.SettingCalled(1, 2, "1235/100"), facts.PassCut(1, 2, "pedal"), facts.Dropped())
    assert [line["kind"] for line in told] == ["setting_called", "pass_cut"]
    assert told[0]["setting"] == 12.35 and told[1]["pass"] == 2


def test_what_joins_the_job_is_named_by_its_numbers() -> None:
    grown = facts.JobExtended(job().patterns, (replace(job().setups[0], number=5),), (1, 2, 5, 3, 4), "copy")
    again = facts.SetupReopened(2, (1, 2), 0, "387/25")
    first, second = lines(grown, again)
    assert (first["setups"], first["order"], first["why"], first["kerf"]) == ([5], [1, 2, 5, 3, 4], "copy", None)
    (other,) = lines(facts.JobExtended((), (), (1, 2, 3, 4), "other blade", "322/100"))
    assert (other["why"], other["kerf"]) == ("other blade", 3.22)
    assert (second["passes"], second["cut_off"]) == ([1, 2], 15.48)


def test_lengths_that_went_wrong_are_numbers() -> None:
    first, second = lines(facts.KerfMisplaced(1, 2, "-3/10"), facts.DepthSet((0, 1), "63/5"))
    assert (first["off_by"], second["depth"], second["patterns"]) == (-0.3, 12.6, [0, 1])


def test_what_to_do_is_in_words_and_null_where_there_is_nothing() -> None:
    """As what is asked is."""
    driver = Driver(job(checks=few_checks()))
    driver.confirm_all()
    driver.gesture("hold")
    (before,) = lines(e.Show(view(driver.state)))
    driver.heard("mishap", "overshot")
    driver.gesture("hold")
    (after,) = lines(e.Show(view(driver.state)))
    assert before["view"]["card"] is None and before["view"]["asked"] is None
    assert after["view"]["card"].startswith("The same setting is called next.")


def test_a_question_has_its_name_and_none_has_an_empty_one() -> None:
    driver = Driver(job(checks=few_checks()))
    driver.confirm_all()
    (before,) = lines(e.Show(view(driver.state)))
    driver.heard("end")
    (after,) = lines(e.Show(view(driver.state)))
    assert (before["view"]["question"], after["view"]["question"]) == ("", "end")


def test_every_fact_of_a_journal_can_be_traced() -> None:
    """With something in every field, whatever its type is."""
    filled = {"int": 1, "str": "1/2", "bool": True, "tuple[int, ...]": (1, 2), "Job": job()}
    filled |= {"tuple[Pattern, ...]": job().patterns, "tuple[Setup, ...]": job().setups}
    filled |= {"By": By.VOICE, "Mishap": Mishap.BLADE, "JobChange | Mishap": JobChange.COPY}
    filled |= {"MoveKind": MoveKind.VISIT, "Doubt": Doubt.LINE}
    made = [kind(**{field.name: filled[str(field.type)] for field in fields(kind)}) for kind in JOURNALLED]
    assert [line["kind"] for line in lines(*made)] == [kind.kind for kind in JOURNALLED]


def test_the_job_is_given_in_brief() -> None:
    for line in lines(Start(0, UTC, job()), facts.Started(job())):
        assert {"title": "Small tray", "setups": 4, "passes": 12}.items() <= line.items()


def test_effects_carry_words_and_phrases() -> None:
    say = e.Say("a1", (prompt("nothing changed"),), "answer")
    prepare = e.Prepare(((prompt("nothing changed"),), (prompt("again"),)))
    told = lines(say, prepare, e.Listen((("cut", None),), 3), e.WakeAt(9.5), e.Close(open_=True))
    assert told[0] | {"text": "Nothing changed.", "class": "answer", "replaces": True} == told[0]
    assert told[1]["texts"] == ["Nothing changed.", "Again:"]
    assert told[2]["phrases"] == ["marigold go"] and told[2]["generation"] == 3
    assert told[3]["until"] == 9.5 and told[3]["at"] == 7.0
    assert told[4]["kind"] == "close" and told[4]["open"] is True


def test_every_kind_of_event_can_be_traced() -> None:
    all_events = [
        Heard(1, UTC, "cut", None, "x", 1, 2),
        events.NotHeard(1, UTC, "noise"),
        TimePassed(1, UTC),
        events.SpeechStarted(1, UTC, "a1"),
        events.SpeechEnded(1, UTC, "a1", "whole"),
        DeviceChanged(1, UTC, DeviceName.PEDAL, DeviceState.LOST, "gone"),
        events.Resume(1, UTC, ("changed",)),
        Leave(1, UTC),
    ]
    kinds = [line["kind"] for line in lines(*all_events)]
    assert kinds == [
        "heard", "not_heard", "time_passed", "speech_started", "speech_ended", "device_changed", "resume", "leave",
    ]  # fmt: skip
