"""Drives a session by hand in tests: events in, state and effects kept."""

from __future__ import annotations

from assistant.plans.model import Job
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.decide import decide
from assistant.session.events import (
    DeviceChanged,
    Event,
    Gesture,
    Heard,
    Resume,
    SpeechEnded,
    SpeechStarted,
    Start,
    TimePassed,
)
from assistant.session.state import State
from assistant.session.turn import record_of
from assistant.wording.prompts import Words

UTC = "2026-03-02T09:00:00.000Z"


class Driver:
    """`records` are the journalled ones; `said` the texts of the last turn."""

    def __init__(self, job: Job | None = None, state: State | None = None, hear_out: bool = False):
        self.state = state or State()
        self.at = self.state.at
        self.records: list[f.Record] = []
        self.effects: tuple[e.Effect, ...] = ()
        self.facts: tuple[f.Fact, ...] = ()
        if job is not None:
            self.send(Start(0.0, UTC, job, hear_out=hear_out))

    def send(self, event: Event) -> None:
        decision = decide(self.state, event)
        for fact in decision.facts:
            record = record_of(self.state, fact, event)
            self.state = apply(self.state, record)
            if not fact.passing:
                self.records.append(record)
        self.facts, self.effects = decision.facts, decision.effects

    def gesture(self, gesture: str, after: float = 5.0, held: float = 0.0) -> None:
        """`after` seconds later; the press went down `held` before that."""
        self.at += after
        self.send(Gesture(self.at, UTC, gesture, self.at - held))

    def heard(
        self, intent: str, argument: str | int | None = None, after: float = 5.0, old: int = 0, began: float = 0.0
    ) -> None:
        """`old` grammars ago, the first sound `began` seconds before it was heard."""
        self.at += after
        generation = self.state.generation - old
        self.send(Heard(self.at, UTC, intent, argument, intent, self.at - began, generation))

    def wait(self, seconds: float) -> None:
        self.at += seconds
        self.send(TimePassed(self.at, UTC))

    def device(self, device: str = "microphone", state: str = "lost") -> None:
        self.at += 1
        self.send(DeviceChanged(self.at, UTC, device, state, f"{device} {state}"))

    def resume(self) -> None:
        """As another process would: from the journalled facts alone."""
        state = State()
        for record in self.records:
            state = apply(state, record)
        self.state = state
        self.at += 60
        self.send(Resume(self.at, UTC))

    def speech(self, how: str, after: float = 0.0) -> None:
        """What asks begins to sound ("begun") or ends (whole | cut off | failed)."""
        self.at += after
        id = self.state.asking
        self.send(SpeechStarted(self.at, UTC, id) if how == "begun" else SpeechEnded(self.at, UTC, id, how))

    def confirm_all(self) -> None:
        """Hold until no check is open."""
        while self.state.effective_mode == "checks":
            self.gesture("hold")

    def cut(self, passes: int = 1) -> None:
        for _ in range(passes):
            self.confirm_all()
            self.gesture("tap")

    @property
    def kinds(self) -> list[str]:
        """Kinds of the last turn's journalled facts."""
        return [fact.kind for fact in self.facts if not fact.passing]

    @property
    def all_kinds(self) -> list[str]:
        return [record.fact.kind for record in self.records]

    @property
    def says(self) -> list[e.Say]:
        return [effect for effect in self.effects if isinstance(effect, e.Say)]

    @property
    def said(self) -> str:
        words = Words(self.state.the_job)
        return " ".join(words.say(say.prompts) for say in self.says)

    @property
    def shown(self) -> str:
        words = Words(self.state.the_job)
        lines = [x.line for x in self.effects if isinstance(x, e.Show) and x.line]
        return " ".join(words.one(line) for line in lines)
