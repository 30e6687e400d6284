"""Drives a session by hand in tests: takes events, keeps state and effects."""

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
    WentOut,
)
from assistant.session.state import State
from assistant.wording.prompts import Words
from tests.witness import Witness

UTC = "2026-03-02T09:00:00.000Z"


class Driver:
    """records: the journalled facts. said: the texts of the last turn."""

    def __init__(self, job: Job | None = None, state: State | None = None, hear_out: bool = False):
        self.state = state or State()
        self.at = self.state.at
        self.records: list[f.Record] = []
        self.effects: tuple[e.Effect, ...] = ()
        self.stalls_s = 0.0
        self.witness = Witness(self.state.job)
        self.facts: tuple[f.Fact, ...] = ()
        if job is not None:
            self.send(Start(0.0, UTC, job, hear_out=hear_out))

    def send(self, event: Event) -> None:
        """Handle one event and then, like the runner, report `stalls_s` later that what it opened has gone out."""
        self.facts, self.effects = self._turn(event)
        self.witness.turn(event, [fact for fact in self.facts if not fact.passing], self.effects)
        if self.state.opening.out_at is None:
            self.at = max(self.at, event.at) + self.stalls_s
            facts, effects = self._turn(WentOut(self.at, UTC, self.state.generation))
            self.facts, self.effects = self.facts + facts, self.effects + effects
        self.witness.out(max(self.at, event.at))

    def _turn(self, event: Event) -> tuple[tuple[f.Fact, ...], tuple[e.Effect, ...]]:
        decision = decide(self.state, event)
        self.state = decision.state
        self.records += [record for record in decision.records if not record.fact.passing]
        return tuple(record.fact for record in decision.records), decision.effects

    def gesture(self, gesture: str, after: float = 5.0, held: float = 0.0) -> None:
        """The gesture comes `after` seconds later. Its press went down `held` seconds before that."""
        self.at += after
        self.send(Gesture(self.at, UTC, gesture, self.at - held))

    def heard(
        self, intent: str, argument: str | int | None = None, after: float = 5.0, old: int = 0, began: float = 0.0
    ) -> None:
        """Heard under the grammar of `old` generations ago; the first sound came `began` seconds before."""
        self.at += after
        generation = self.state.generation - old
        self.send(Heard(self.at, UTC, intent, argument, intent, self.at - began, generation))

    def wait(self, seconds: float) -> None:
        self.at += seconds
        self.send(TimePassed(self.at, UTC))

    def device(self, device: str = "microphone", state: str = "lost") -> None:
        self.at += 1
        self.send(DeviceChanged(self.at, UTC, device, state, f"{device} {state}"))

    def resume(self, *notes: str) -> None:
        """Resume as another process would: from the journalled facts alone."""
        state = State()
        for record in self.records:
            state = apply(state, record)
        self.state = state
        self.at += 60
        self.send(Resume(self.at, UTC, notes))

    def speech(self, how: str, after: float = 0.0) -> None:
        """The announcement that asks begins to sound ("begun") or ends (whole | cut off | failed)."""
        self.at += after
        id = self.state.opening.announcement
        self.send(SpeechStarted(self.at, UTC, id) if how == "begun" else SpeechEnded(self.at, UTC, id, how))

    def confirm_all(self) -> None:
        """Long press until no check is open; at a setup's end, only once the blade has run down."""
        while self.state.effective_mode == "checks":
            self.gesture("hold", after=self.state.the_job.run_down_s if self.asked == "saw off" else 5.0)

    @property
    def asked(self) -> str:
        """The open check's name, "" for none."""
        index = self.state.open_check
        return "" if index is None else self.state.the_job.checks[index].name

    def count(self) -> None:
        """Once the blade has run down, confirm that the saw is off and the sockets are counted."""
        assert self.asked == "saw off"
        self.gesture("hold", after=self.state.the_job.run_down_s)

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
