"""A whole session with every state there is: what there is to see after each turn, for tests of the page."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace

from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job
from assistant.runner.clock import SetClock
from assistant.runner.loop import Outputs, Runner
from assistant.screens.view_sight import Gathering, Sight
from assistant.session.events import DeviceChanged, Event, Gesture, Heard, NotHeard, Resume, Start
from tests.runner.adapters import drain

LOST = {
    "loudspeaker": "No loudspeaker (the sound server has gone). Announcements are on the screen only.",
    "microphone": "Voice is off: the microphone delivers only silence. Is it muted? Go on by pedal or keys.",
    "pedal": "The pedal is not heard any more: the display server has ended; page_down in the terminal replaces it.",
}
"""Real ones, and the longest."""
EPOCH_S = 1_772_442_000


class Rehearsed:
    """A runner without a voice, and what is gathered from it."""

    def __init__(self, job: Job, warnings: tuple[str, ...] = ()) -> None:
        self.gathering = Gathering()
        self.runner = Runner(lambda records: None, Outputs(screens=[self.gathering]), SetClock())
        self.runner.outputs.watchers.append(self.gathering)
        self.at = 0.0
        self.do(Start(0.0, self.utc, replace(job, warnings=warnings)))

    @property
    def utc(self) -> str:
        return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(EPOCH_S + self.at))

    @property
    def sight(self) -> Sight:
        return self.gathering.sight

    def do(self, event: Event) -> None:
        self.runner.handle(event)
        drain(self.runner)

    def gesture(self, kind: str, after: float = 12.0) -> None:
        self.at += after
        self.do(Gesture(self.at, self.utc, kind, self.at))

    def heard(self, intent: str, argument: int | str | None = None) -> None:
        self.at += 12.0
        now = self.runner.state.generation
        self.do(Heard(self.at, self.utc, intent, argument, f"marigold {intent}", self.at, now))

    def device(self, name: str, state: str) -> None:
        self.do(
            DeviceChanged(self.at, self.utc, name, state, LOST[name] if state == "lost" else f"The {name} is back.")
        )

    def resume(self) -> None:
        self.at += 60.0
        self.do(Resume(self.at, self.utc))


def every_state(job: Job, warnings: tuple[str, ...] = ()) -> Iterator[Sight]:
    """After each turn of a session from the first check to the end, with every detour and every part lost once."""
    session = Rehearsed(job, warnings)
    yield session.sight
    detours = [
        lambda: session.gesture("tap", after=0.5),
        lambda: session.gesture("double"),
        lambda: session.device("loudspeaker", "lost"),
        lambda: session.device("microphone", "lost"),
        lambda: session.device("pedal", "lost"),
        lambda: session.heard("how many"),
        lambda: session.device("loudspeaker", "works"),
        lambda: session.device("microphone", "works"),
        lambda: session.device("pedal", "works"),
        lambda: session.do(NotHeard(session.at, session.utc, "it was too short")),
        lambda: session.heard("back"),
        lambda: session.gesture("double"),
        lambda: session.heard("go to", 1),
        lambda: session.gesture("hold"),
        lambda: session.heard("end"),
        lambda: session.gesture("double"),
        lambda: session.heard("stand by"),
        lambda: session.heard("mark"),
        lambda: session.gesture("hold"),
        session.resume,
        lambda: session.gesture("double"),  # not where it was: zeroed again?
        lambda: session.gesture("hold"),
        lambda: session.gesture("double"),  # not clamped as it was: clamped again?
        lambda: session.gesture("hold"),
    ]
    while session.runner.state.mode != "finished":
        state = session.runner.state
        if detours and state.effective_mode == "cutting" and state.cut_here >= 2:
            for turn in detours:
                turn()
                yield session.sight
            detours = []
        session.gesture("tap" if session.runner.state.effective_mode == "cutting" else "hold")
        yield session.sight
    session.gesture("double")
    yield session.sight
    yield from _changes(Rehearsed(job, warnings))
    yield from mishaps_told(Rehearsed(job, warnings))
    ended = Rehearsed(job, warnings)
    ended.heard("end")
    ended.gesture("hold")
    yield ended.sight


def mishaps_told(session: Rehearsed) -> Iterator[Sight]:
    """After each turn of a session in which all that can go wrong is told, with what is asked after it.

    Standing by, first by tapping through the list. What another kerf would change is asked, and not done: of another
    blade first whether the old one is back, and then the old kerf is given.
    """
    while session.runner.state.cut_here < 2:
        session.gesture("tap" if session.runner.state.effective_mode == "cutting" else "hold")
    session.heard("stand by")
    for gesture in ("tap", "hold", "tap", "double"):
        session.gesture(gesture)
        yield session.sight
    for mishap in Mishap:
        session.heard("mishap", mishap)
        yield session.sight
        asked: set[str] = set()
        while session.runner.state.question is not None:
            name = session.runner.state.question.name
            no = (mishap, name) == (Mishap.KERF, "verdict")
            if mishap == Mishap.BLADE:
                no = name == "old blade" or (name == "figure" and "old blade" not in asked)
            asked.add(name)
            if name == "figure" and (no or mishap != Mishap.BLADE):
                yield session.sight
                session.gesture("tap")
                yield session.sight
            session.gesture("double" if no else "hold")
            yield session.sight
    session.gesture("hold")  # back from the break
    yield session.sight
    session.gesture("double")
    yield session.sight


def _changes(session: Rehearsed) -> Iterator[Sight]:
    """After each turn of a session in which the job is changed in every way: asked, refused, done, the board out."""
    while session.runner.state.cut_here < 1:
        session.gesture("tap" if session.runner.state.effective_mode == "cutting" else "hold")
    for turn in (
        lambda: session.heard("redo"),
        lambda: session.gesture("double"),  # no length to spare: is the board spoilt?
        lambda: session.gesture("double"),
        lambda: session.heard("copy", 1),
        lambda: session.gesture("hold"),
        lambda: session.heard("socket", "1.1"),
        lambda: session.gesture("hold"),
        lambda: session.heard("copy", 99),
        lambda: session.heard("board"),
        lambda: session.gesture("hold"),
        lambda: session.heard("stand by"),  # the board is on its way out
        lambda: session.gesture("hold"),
        lambda: session.gesture("hold"),
        lambda: session.heard("spoilt"),
        lambda: session.gesture("hold"),
        lambda: session.gesture("hold", after=30.0),
        lambda: session.gesture("hold"),
    ):
        turn()
        yield session.sight
