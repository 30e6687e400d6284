"""Keeps rendered speech in memory, and drops the least recently used first."""

from __future__ import annotations

import threading
from collections import OrderedDict

from assistant.speaking.engine import Engine, Pcm

# About six minutes of speech at 22050 frames per second.
LIMIT_BYTES = 16_000_000
SoundKey = tuple[str, str, int, str]


def key_of(engine: Engine, text: str, words_a_minute: int | None = None) -> SoundKey:
    """The cache's key for a text. words_a_minute: the engine's own rate unless given."""
    return engine.name, engine.voice, words_a_minute or engine.words_a_minute, text


class SpeechCache:
    """Speech by (engine, voice, words a minute, text), at most `limit_bytes` of samples. Any thread can use it."""

    def __init__(self, limit_bytes: int = LIMIT_BYTES):
        self._limit = limit_bytes
        self._held: OrderedDict[SoundKey, Pcm] = OrderedDict()
        self._bytes = 0
        self._lock = threading.Lock()

    def __len__(self) -> int:
        return len(self._held)

    @property
    def bytes(self) -> int:
        return self._bytes

    def get(self, key: SoundKey) -> Pcm | None:
        with self._lock:
            pcm = self._held.get(key)
            if pcm is not None:
                self._held.move_to_end(key)
            return pcm

    def put(self, key: SoundKey, pcm: Pcm) -> None:
        """Keeps the speech, unless it is larger than the whole limit."""
        with self._lock:
            old = self._held.pop(key, None)
            self._bytes += pcm.samples.nbytes - (old.samples.nbytes if old else 0)
            self._held[key] = pcm
            while self._bytes > self._limit:
                _, dropped = self._held.popitem(last=False)
                self._bytes -= dropped.samples.nbytes
