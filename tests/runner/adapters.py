"""Adapters that record their calls in one list, so that the order can be checked."""

from __future__ import annotations

from collections.abc import Sequence

from assistant.runner.clock import SetClock
from assistant.runner.loop import Outputs, Runner
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.events import Start
from assistant.session.kinds import Tone
from assistant.wording.phrases import Phrase
from assistant.wording.prompts import Words
from tests.session.jobs import few_checks, job, plan


class Logbook:
    """A speaker, a listener, a screen and a journal in one."""

    def __init__(self) -> None:
        self.done: list[tuple[object, ...]] = []
        self.tones: list[Tone | None] = []
        self.fails = False
        self.moved = 0.0

    def commit(self, records: Sequence[f.Record]) -> None:
        if self.fails:
            raise OSError("the disk is full")
        self.done.append(("commit", *(record.fact.kind for record in records)))

    def say(self, id: str, text: str, replaces: bool, tone: Tone | None = None) -> None:
        self.done.append(("say", text, replaces))
        self.tones.append(tone)

    def prepare(self, texts: Sequence[str]) -> None:
        self.done.append(("prepare", *texts))

    def moved_at(self) -> float:
        return self.moved

    def set_voice(self, loudness_db: int, words_a_minute: int) -> None:
        self.done.append(("set voice", loudness_db, words_a_minute))

    def note(self) -> None:
        self.done.append(("note",))

    def click(self) -> None:
        self.done.append(("click",))

    def tick(self) -> None:
        self.done.append(("tick",))

    def close(self, drain_s: float = 0.0) -> None:
        self.done.append(("close",))

    def listen(self, phrases: Sequence[Phrase], generation: int) -> None:
        self.done.append(("listen", generation, len(phrases)))

    def speaking(self, active: bool) -> None:
        self.done.append(("speaking", active))

    def show(self, view: e.View, line: str | None, words: Words, klass: str = "line") -> None:
        self.done.append(("show", view.mode, line))

    def said(self, text: str, klass: str, record: str) -> None:
        self.done.append(("said", text))

    def of(self, *kinds: str) -> list[tuple[object, ...]]:
        return [entry for entry in self.done if entry[0] in kinds]


def started() -> tuple[Runner, Logbook, SetClock]:
    """A runner whose small session has begun; the logbook is empty again."""
    log, clock = Logbook(), SetClock()
    runner = Runner(log.commit, Outputs(log, log, [log]), clock)
    runner.handle(Start(0.0, clock.utc(), job(plan(parts="A"), few_checks())))
    log.done.clear()
    return runner, log, clock


def drain(runner: Runner) -> None:
    """Handle everything that is on the queue now."""
    while (event := runner.next_event(0)) is not None:
        runner.handle(event)
