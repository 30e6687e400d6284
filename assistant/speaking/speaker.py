"""The speakers that a session uses: the live one, and a silent one that only pretends."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence

from assistant.errors import KerfcallError
from assistant.plans.model import VoiceSettings
from assistant.runner.contracts import Clock, Post
from assistant.session.events import DeviceChanged, SpeechEnded, SpeechStarted
from assistant.session.kinds import DeviceName, DeviceState, SpeechEnd, Tone
from assistant.speaking.cache import SpeechCache
from assistant.speaking.choose import choose_engine
from assistant.speaking.device import Device, default_device
from assistant.speaking.engine import Engine
from assistant.speaking.player import Player, PlayerState
from assistant.speaking.renderer import Renderer


class LiveSpeaker:
    """Speaks through the loudspeaker; a `runner.contracts.Speaker`.

    line: which voice speaks and why. Raises NoSuchPart when there is no voice, or no library for a
    loudspeaker. A loudspeaker that is missing or vanishes is no error: DeviceChanged reports it, and
    announcements fail at once until it is back.
    """

    def __init__(
        self,
        clock: Clock,
        post: Post,
        settings: VoiceSettings,
        device: Device | None = None,
        engine: Engine | None = None,
        cache: SpeechCache | None = None,
    ):
        self._clock, self._post = clock, post
        device = device or default_device(settings.loudspeaker)
        self.line = "voice: as given"
        if engine is None:
            choice = choose_engine(settings)
            engine, self.line = choice.engine, choice.line
        self._voice_lost = threading.Event()
        self._renderer = Renderer(engine, cache or SpeechCache(), self._voice_failed, self._voice_worked)
        self._player = Player(engine.rate, device, clock, post)
        self._player.set_loudness(settings.loudness)

    @property
    def state(self) -> PlayerState:
        """The loudspeaker's state."""
        return self._player.state

    def say(self, id: str, text: str, replaces: bool, tone: Tone | None = None) -> None:
        # The place comes first: nothing said later may sound before this is rendered.
        slot = self._player.reserve(id, replaces, tone)
        if slot is None:
            return
        pcm = self._renderer.ready(text)
        if pcm is not None:
            self._player.supply(slot, pcm)
            return
        self._renderer.want(text, lambda got: self._player.supply(slot, got), lambda: self._player.waits(slot))

    def prepare(self, texts: Sequence[str]) -> None:
        self._renderer.prepare(texts)

    def moved_at(self) -> float:
        return self._clock.at() - (time.monotonic() - self._renderer.moved_at)

    def set_voice(self, loudness_db: int, words_a_minute: int) -> None:
        self._player.set_loudness(loudness_db)
        self._renderer.set_rate(words_a_minute)

    def note(self) -> None:
        self._player.note()

    def click(self) -> None:
        self._player.click()

    def tick(self) -> None:
        self._player.tick()

    def close(self, drain_s: float = 0.0) -> None:
        self._player.close(drain_s)
        # After the player, which may still wait for something to be rendered.
        self._renderer.close()

    def _voice_failed(self, error: KerfcallError) -> None:
        if not self._voice_lost.is_set():
            self._voice_lost.set()
            text = f"The voice failed. Announcements are on the screen only. ({error})"
            self._post_loudspeaker(DeviceState.LOST, text)

    def _voice_worked(self) -> None:
        if self._voice_lost.is_set():
            self._voice_lost.clear()
            self._post_loudspeaker(DeviceState.WORKS, "The voice works again.")

    def _post_loudspeaker(self, state: DeviceState, text: str) -> None:
        self._post(DeviceChanged(self._clock.at(), self._clock.utc(), DeviceName.LOUDSPEAKER, state, text))


class SilentSpeaker:
    """A `runner.contracts.Speaker` that says nothing, in no time, for rehearsals and for `--no-voice`."""

    def __init__(self, clock: Clock, post: Post):
        self._clock, self._post = clock, post

    def say(self, id: str, text: str, replaces: bool, tone: Tone | None = None) -> None:
        at, utc = self._clock.at(), self._clock.utc()
        self._post(SpeechStarted(at, utc, id))
        self._post(SpeechEnded(at, utc, id, SpeechEnd.WHOLE))

    def prepare(self, texts: Sequence[str]) -> None:
        """Does nothing: there is nothing to render."""

    def moved_at(self) -> float:
        """Now: there is nothing to render."""
        return self._clock.at()

    def set_voice(self, loudness_db: int, words_a_minute: int) -> None:
        """Does nothing: nothing sounds."""

    def note(self) -> None:
        """Does nothing: nobody would hear it."""

    def click(self) -> None:
        """Does nothing: nobody would hear it."""

    def tick(self) -> None:
        """Does nothing: nobody would hear it."""

    def close(self, drain_s: float = 0.0) -> None:
        """Does nothing: there is nothing to let go of."""
