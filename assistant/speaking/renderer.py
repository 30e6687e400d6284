"""The speaking thread: the only caller of the engine once it runs."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from assistant.errors import KerfcallError
from assistant.speaking.cache import SpeechCache, key_of
from assistant.speaking.engine import Engine, Pcm, VoiceFailed, is_words, speakable


@dataclass(frozen=True, slots=True, eq=False)
class _Wanted:
    text: str
    done: Callable[[Pcm | None], None]
    still_wanted: Callable[[], bool]


class Renderer:
    """Renders what must sound now, first come, first served, and in between what will perhaps sound next.

    failed, worked: called on the speaking thread after every render that fails or succeeds.
    """

    def __init__(
        self,
        engine: Engine,
        cache: SpeechCache,
        failed: Callable[[KerfcallError], None] = lambda _: None,
        worked: Callable[[], None] = lambda: None,
    ):
        self._engine, self._cache = engine, cache
        self._failed, self._worked = failed, worked
        self._wanted: deque[_Wanted] = deque()
        self._ahead: deque[str] = deque()
        self._latest: tuple[str, ...] = ()
        self._rate = engine.words_a_minute
        self._request = 0
        self._changed = threading.Condition()
        self._closing = False
        self.moved_at = time.monotonic()
        """When the engine last delivered a piece of sound or got a text; monotonic, s."""
        self._thread = threading.Thread(target=self._run, name="kerfcall-speaking", daemon=True)
        self._thread.start()

    def ready(self, text: str) -> Pcm | None:
        """The rendered text; None if it isn't rendered yet."""
        # By the rate asked for: the engine takes it only before its next text.
        return self._cache.get(key_of(self._engine, speakable(text), self._rate))

    def want(self, text: str, done: Callable[[Pcm | None], None], still_wanted: Callable[[], bool]) -> None:
        """Renders `text` now. `done` gets it, or None if it failed. Dropped once `still_wanted` returns False."""
        with self._changed:
            self._wanted.append(_Wanted(speakable(text), done, still_wanted))
            self._changed.notify()

    def prepare(self, texts: Sequence[str]) -> None:
        """Renders these ahead, in this order, when nothing is wanted. Replaces the texts of an earlier call."""
        with self._changed:
            self._latest = tuple(speakable(text) for text in texts)
            self._ahead = deque(self._latest)
            self._request += 1
            self._changed.notify()

    def set_rate(self, words_a_minute: int) -> None:
        """Renders at this rate from the next text on, and renders again what was rendered ahead."""
        with self._changed:
            if words_a_minute == self._rate:
                return
            self._rate = words_a_minute
            self._ahead = deque(self._latest)
            self._request += 1
            self._changed.notify()

    def close(self, within_s: float = 2.0) -> None:
        """Ends the thread, then the engine. What is still wanted counts as failed."""
        with self._changed:
            self._closing = True
            self._changed.notify()
        self._thread.join(within_s)
        self._engine.close()
        while self._wanted:
            self._wanted.popleft().done(None)

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._closing or self._wanted or self._ahead)
                if self._closing:
                    return
                wanted = self._wanted.popleft() if self._wanted else None
                text = wanted.text if wanted else self._ahead.popleft()
                request, rate = self._request, self._rate
            # Set here, since only this thread may call the engine.
            if rate != self._engine.words_a_minute:
                self._engine.set_rate(rate)
            if wanted:
                self._render_wanted(wanted)
            else:
                self._render_ahead(text, request)

    def _render_wanted(self, wanted: _Wanted) -> None:
        if wanted.still_wanted():
            wanted.done(self._render(wanted.text, lambda: self._closing or not wanted.still_wanted()))

    def _render_ahead(self, text: str, request: int) -> None:
        def must_give_way() -> bool:
            wanted = self._wanted[0] if self._wanted else None
            # If this very text is wanted by now, the quickest way to it is to go on.
            return self._closing or (wanted is not None and wanted.text != text)

        pcm = self._render(text, must_give_way)
        with self._changed:
            # It only gave way to something that must sound now, so it is tried again, unless a newer list has come.
            if pcm is None and self._wanted and request == self._request:
                self._ahead.appendleft(text)

    def _render(self, text: str, cancelled: Callable[[], bool]) -> Pcm | None:
        key = key_of(self._engine, text)
        pcm = self._cache.get(key)
        if pcm is not None:
            return pcm

        def piece_came() -> bool:
            self.moved_at = time.monotonic()
            return cancelled()

        self.moved_at = time.monotonic()
        try:
            pcm = self._engine.render(text, piece_came)
        except KerfcallError as error:
            self._failed(error)
            return None
        except Exception as error:
            # The thread must survive any fault of a voice: without it, nothing would ever be said again.
            failure = VoiceFailed(f"{type(error).__name__}: {error}")
            failure.__cause__ = error
            self._failed(failure)
            return None
        if pcm is not None and not pcm.frames and is_words(text):
            # If it were played, it would end at once and count as spoken, though nobody had heard it.
            self._failed(VoiceFailed(f"the voice made no sound (text: {text!r})"))
            return None
        if pcm is not None:
            self._cache.put(key, pcm)
            self._worked()
        return pcm
