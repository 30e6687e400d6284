"""A synthetic operator: waits until an announcement has ended, then answers in another voice.

It knows what a person at the saw knows: what is said, what the screen shows, and what it wants to do. Its phrases
reach the microphone as sound; its pedal presses are events.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from assistant.plans.intents import Intent, Mode
from assistant.runner.contracts import Clock, Post
from assistant.session.effects import View
from assistant.session.events import Event, Gesture, SpeechEnded, SpeechStarted
from assistant.session.kinds import Klass, Press
from assistant.speaking.engine import Engine, at_rate
from assistant.wording.phrases import Phrase
from assistant.wording.prompts import Words

RATE = 16000
PAUSE_S = 0.7
ASKS_AGAIN_S = 6.0
MOST_TRIES = 3  # by voice; then it uses the pedal, so that a phrase that is never heard doesn't stop it for ever
ANSWERS = {Mode.CHECKS: Intent.CHECK, Mode.CUTTING: Intent.CUT, Mode.STANDING_BY: Intent.CARRY_ON}


@dataclass(frozen=True, slots=True)
class Habits:
    """How this operator works. cut_s: how long a pass takes. by_pedal: checks confirmed with a long press.

    asks: passes (counted in all, from 1) before which a question is put, by intent.
    by_voice: passes recorded by voice rather than by a tap.
    """

    cut_s: float = 6.0
    by_pedal: frozenset[str] = frozenset()
    by_voice: frozenset[int] = frozenset()
    asks: Mapping[int, Intent] = field(default_factory=dict)


class SyntheticOperator:
    """A screen that it reads, a source of sound for the microphone, and a foot on the pedal.

    phrases: what can be said now. note: called with what the operator does, for people who watch.
    """

    def __init__(
        self,
        engine: Engine,
        clock: Clock,
        post: Post,
        phrases: Callable[[], tuple[Phrase, ...]],
        habits: Habits,
        note: Callable[[str], None],
    ):
        self._engine, self._clock, self._post = engine, clock, post
        self._phrases, self._habits, self._note = phrases, habits, note
        self._view: View | None = None
        self._act_at: float | None = None
        self._pcm = b""
        self._sounding = 0
        self._tries = 0
        self._asked: set[int] = set()
        self._ready_at = 0.0

    # a screen

    def show(self, view: View, line: str | None, words: Words, klass: Klass = Klass.LINE) -> None:
        if view != self._view:
            self._view, self._tries = view, 0
            self._ready_at = self._clock.at() + view.wait_s

    def said(self, text: str, klass: Klass, record: str) -> None:
        self._act_at = None

    # a source of sound

    def handled(self, event: Event) -> None:
        """Takes note of announcements that begin and end. The answer comes after the last of them."""
        if isinstance(event, SpeechStarted):
            self._sounding += 1
            self._act_at = None
        elif isinstance(event, SpeechEnded):
            self._sounding = max(0, self._sounding - 1)
            if not self._sounding:
                cutting = self._view is not None and self._view.mode == Mode.CUTTING and not self._question_due()
                pause_s = self._habits.cut_s if cutting else PAUSE_S
                self._act_at = max(event.at, self._ready_at) + pause_s

    def read(self, samples: int) -> bytes | None:
        """The operator's sound for the next samples; None when the session is over and nothing more is said."""
        now = self._clock.at()
        if self._view is not None and self._view.mode == Mode.FINISHED and not self._sounding:
            return None
        if self._act_at is not None and now >= self._act_at and not self._pcm:
            self._act_at = now + ASKS_AGAIN_S
            self._act()
        piece, self._pcm = self._pcm[: 2 * samples], self._pcm[2 * samples :]
        return piece.ljust(2 * samples, b"\0")

    # what it does

    def _act(self) -> None:
        view = self._view
        if view is None:
            return
        self._tries += 1
        number = view.cut_in_all + 1
        if self._question_due():
            self._asked.add(number)
            intent = self._habits.asks[number]
        else:
            intent = ANSWERS.get(view.mode, Intent.YES)
        if intent == Intent.CHECK:
            by_pedal = view.check in self._habits.by_pedal
        else:
            by_pedal = intent == Intent.CUT and number not in self._habits.by_voice
        if by_pedal or self._tries > MOST_TRIES:
            gesture = Press.TAP if view.mode == Mode.CUTTING else Press.LONG
            self._note(f"(pedal: {gesture.shown})")
            now = self._clock.at()
            self._post(Gesture(now, self._clock.utc(), gesture, now))
            return
        phrase = next((p for p in self._phrases() if p.intent == intent), None)
        if phrase is None:
            return
        self._note(f'"{phrase.text}"')
        pcm = self._engine.render(phrase.text)
        if pcm is not None:
            self._pcm = at_rate(pcm, RATE).samples.astype("<i2").tobytes()

    def _question_due(self) -> bool:
        view = self._view
        if view is None or view.mode != Mode.CUTTING:
            return False
        number = view.cut_in_all + 1
        return number in self._habits.asks and number not in self._asked
