"""A synthetic operator: waits until an announcement has ended, then answers in another voice.

It knows what a person at the saw knows: what is said, what the screen shows, and what it wants to do. Its phrases
reach the microphone as sound; its pedal presses are events.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from assistant.plans.intents import Intent, Mode
from assistant.runner.contracts import Clock, Post
from assistant.session.effects import View
from assistant.session.events import Event, Gesture, SpeechEnded, SpeechStarted
from assistant.session.kinds import Klass, Press
from assistant.speaking.engine import Engine, at_rate
from assistant.speaking.wav_out import GrowingWav
from assistant.wording.phrases import Phrase
from assistant.wording.prompts import Words

RATE = 16000
PAUSE_S = 0.7  # between hearing a question and answering it
ASKS_AGAIN_S = 6.0  # without an answer it takes its phrase for not heard
MOST_TRIES = 3  # by voice; then it uses the pedal, so that a phrase that is never heard doesn't stop it for ever
HALTS_AFTER_S = 0.15  # of a move, so that the carriage is under way
MOVE_S = 60.0  # longer than any move
MOVES = (Mode.HOMING, Mode.MOVING)
ANSWERS = {Mode.CHECKS: Intent.CHECK, Mode.CUTTING: Intent.CUT, Mode.STANDING_BY: Intent.CARRY_ON}


class DrivenCarriage(Protocol):
    """What this operator does to a driven carriage."""

    pedal_down: bool

    def pressed(self) -> bool: ...

    def released(self) -> None: ...

    def sled(self, away: bool) -> None: ...


@dataclass(frozen=True, slots=True)
class Habits:
    """How this operator works. cut_s: how long a pass takes. by_pedal: checks confirmed with a long press.

    asks: passes (counted in all, from 1) before which a question is put, by intent.
    by_voice: passes recorded by voice rather than by a tap. halts: moves (counted from 1) halted by a press.
    """

    cut_s: float = 6.0
    by_pedal: frozenset[str] = frozenset()
    by_voice: frozenset[int] = frozenset()
    asks: Mapping[int, Intent] = field(default_factory=dict)
    halts: frozenset[int] = frozenset()


class SyntheticOperator:
    """A screen that it reads, a source of sound for the microphone, and a foot on the pedal.

    phrases: what can be said now. note: called with what the operator does, for people who watch. drive: a motor moves
    the carriage, and a switch tells where the sled is.
    """

    def __init__(
        self,
        engine: Engine,
        clock: Clock,
        post: Post,
        phrases: Callable[[], tuple[Phrase, ...]],
        habits: Habits,
        note: Callable[[str], None],
        drive: DrivenCarriage | None = None,
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
        self._drive = drive
        self._moves = 0
        self._moving_from: float | None = None
        self._sled: list[tuple[float, bool]] = []  # when it leaves its place and comes back

    # a screen

    def show(self, view: View, line: str | None, words: Words, klass: Klass = Klass.LINE) -> None:
        if view != self._view:
            before, now = self._view, self._clock.at()
            self._view, self._tries = view, 0
            self._ready_at = now + view.wait_s
            if self._drive is not None and view.mode != (before.mode if before else None):
                self._move(view.mode, now)

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
                if cutting and self._drive is not None:
                    self._sled = [(event.at + 0.2 * pause_s, True), (event.at + 0.8 * pause_s, False)]

    def read(self, samples: int) -> bytes | None:
        """The operator's sound for the next samples; None when the session is over and nothing more is said."""
        now = self._clock.at()
        if self._view is not None and self._view.mode == Mode.FINISHED and not self._sounding:
            return None
        self._at_the_carriage(now)
        if self._act_at is not None and now >= self._act_at and not self._pcm:
            self._act_at = now + ASKS_AGAIN_S
            self._act()
        piece, self._pcm = self._pcm[: 2 * samples], self._pcm[2 * samples :]
        return piece.ljust(2 * samples, b"\0")

    # what it does

    def _move(self, mode: Mode, now: float) -> None:
        """The carriage has been let go, or stands: the foot comes off once it does."""
        assert self._drive is not None
        if mode in MOVES:
            self._moves += mode == Mode.MOVING
            self._moving_from = now
        elif self._moving_from is not None:
            self._moving_from = None
            self._drive.released()

    def _at_the_carriage(self, now: float) -> None:
        if self._drive is None:
            return
        while self._sled and now >= self._sled[0][0]:
            _, away = self._sled.pop(0)
            self._note("(sled over the blade)" if away else "(sled right back)")
            self._drive.sled(away)
        moves = self._moving_from is not None and self._view is not None and self._view.mode == Mode.MOVING
        if moves and self._moves in self._habits.halts and now >= (self._moving_from or 0.0) + HALTS_AFTER_S:
            self._moving_from = now + MOVE_S
            self._note("(pedal: a press while it moves)")
            self._drive.pressed()

    def _act(self) -> None:
        view = self._view
        if view is None:
            return
        self._tries += 1
        number = view.cut_in_all + 1
        if view.mode in MOVES:
            return
        if view.mode in (Mode.MOVE_ASKED, Mode.HALTED) and self._drive is not None:
            self._note("(pedal: held down)")
            self._drive.pedal_down = True
            now = self._clock.at()
            self._post(Gesture(now, self._clock.utc(), Press.LONG, now))
            return
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


class RecordedSource:
    """Passes a source's sound on and also keeps it in a file. Calls `also` with every event, after the source."""

    def __init__(self, inner: SyntheticOperator, path: Path, also: Callable[[Event], None]):
        self._inner, self._also = inner, also
        self._wav = GrowingWav(path, RATE)

    def read(self, samples: int) -> bytes | None:
        pcm = self._inner.read(samples)
        if pcm is not None:
            self._wav.write(pcm)
        return pcm

    def handled(self, event: Event) -> None:
        self._inner.handled(event)
        self._also(event)

    def close(self) -> None:
        self._wav.close()
