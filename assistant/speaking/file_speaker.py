"""The speaker of `--speaker FILE.wav`: writes everything said to a file, whose sample count is the time."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from assistant.errors import KerfcallError
from assistant.plans.model import VoiceSettings
from assistant.runner.contracts import Clock, Post
from assistant.session.events import DeviceChanged, SpeechEnded, SpeechStarted
from assistant.session.kinds import DeviceName, DeviceState, SpeechEnd, Tone
from assistant.speaking.cache import SpeechCache, key_of
from assistant.speaking.choose import choose_engine
from assistant.speaking.engine import Engine, at_rate, speakable
from assistant.speaking.mixer import Mixer
from assistant.speaking.wav_out import GrowingWav

PIECE_S = 1.0  # a long silence is written in pieces, not as one array


class FileSpeaker:
    """A `runner.contracts.Speaker` whose time moves only in `advance`. Owned by one thread.

    append: continue at the end of an existing file (a resumed run). origin: the session time at which this file, or its
    continuation, begins; by default the clock's time now. `at` of its events is the exact sample time. Every call acts
    at the file's end, after bringing that up to the clock's time. Raises NoSuchPart without a voice, and BadInput and
    CouldNotRun as `wav_out.GrowingWav`.
    """

    def __init__(
        self,
        path: str | Path,
        clock: Clock,
        post: Post,
        settings: VoiceSettings,
        append: bool = False,
        origin: float | None = None,
        engine: Engine | None = None,
    ):
        self._clock, self._post = clock, post
        self.line = "voice: as given"
        if engine is None:
            choice = choose_engine(settings)
            engine, self.line = choice.engine, choice.line
        self._engine = engine
        self._origin = clock.at() if origin is None else origin
        self._cache = SpeechCache()
        self._mixer = Mixer(engine.rate)
        self._mixer.set_loudness(settings.loudness)
        try:
            self._wav = GrowingWav(Path(path), engine.rate, append)
        except KerfcallError:
            engine.close()
            raise
        self._before = self._wav.frames

    @property
    def rate(self) -> int:
        """Frames per second of the file."""
        return self._mixer.rate

    @property
    def at(self) -> float:
        """The session time of the file's current end, s."""
        return self._time(self._wav.frames)

    def _time(self, frames: int) -> float:
        return self._origin + (frames - self._before) / self.rate

    def say(self, id: str, text: str, replaces: bool, tone: Tone | None = None) -> None:
        self.advance(self._clock.at())
        if replaces:
            self._cut()
        said = speakable(text)
        key = key_of(self._engine, said)
        pcm = self._cache.get(key)
        if pcm is None:
            try:
                pcm = self._engine.render(said)
            except KerfcallError as error:
                self._post(SpeechEnded(self.at, self._clock.utc(), id, SpeechEnd.FAILED))
                words = f"The voice failed. Announcements are on the screen only. ({error})"
                self._post(DeviceChanged(self.at, self._clock.utc(), DeviceName.LOUDSPEAKER, DeviceState.LOST, words))
                return
            assert pcm is not None  # nobody cancels it
            self._cache.put(key, pcm)
        self._mixer.reserve(id, tone).samples = at_rate(pcm, self.rate).samples
        self._write(0)  # no frames: this only begins it, so that its event has the time of the file's current end

    def prepare(self, texts: Sequence[str]) -> None:
        """Does nothing: the file's time stands still during a render."""

    def moved_at(self) -> float:
        """The current end: rendering takes no time here."""
        return self.at

    def set_voice(self, loudness_db: int, words_a_minute: int) -> None:
        self.advance(self._clock.at())
        self._mixer.set_loudness(loudness_db)
        self._engine.set_rate(words_a_minute)

    def _cut(self) -> None:
        for id in self._mixer.cut():
            self._post(SpeechEnded(self.at, self._clock.utc(), id, SpeechEnd.CUT_OFF))

    def note(self) -> None:
        self.advance(self._clock.at())
        self._mixer.note()
        self._write(0)

    def click(self) -> None:
        self.advance(self._clock.at())
        self._mixer.click()

    def tick(self) -> None:
        self.advance(self._clock.at())
        self._mixer.tick()

    def next_boundary(self) -> float | None:
        """The session time at which the current announcement will end, or its words will begin; None without one."""
        left = self._mixer.frames_left()
        return None if left is None else self._time(self._wav.frames + left)

    def advance(self, to_s: float) -> None:
        """Writes up to session time `to_s`, with silence where nothing sounds. Never changes the past."""
        target = self._before + round((to_s - self._origin) * self.rate)
        while self._wav.frames < target:
            self._write(min(target - self._wav.frames, round(PIECE_S * self.rate)))

    def _write(self, frames: int) -> None:
        start = self._wav.frames
        samples, happened = self._mixer.mix(frames)
        if frames:
            self._wav.write(samples.astype("<i2").tobytes())
        for offset, kind, id in happened:
            at, utc = self._time(start + offset), self._clock.utc()
            self._post(SpeechStarted(at, utc, id) if kind == "started" else SpeechEnded(at, utc, id, SpeechEnd.WHOLE))

    def close(self, drain_s: float = 0.0) -> None:
        """Goes on writing for at most drain_s until all has been said, cuts off the rest, and closes the file."""
        last = self.at + drain_s
        while self._mixer.busy and self.at < last:
            boundary = self.next_boundary()
            # Without a boundary only clicks and fades are left.
            step = PIECE_S / 10 if boundary is None else boundary - self.at
            frames = round(min(step, last - self.at) * self.rate)
            self._write(max(frames, 1))
        self._cut()
        self._wav.close()
        self._engine.close()
