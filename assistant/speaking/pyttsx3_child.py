"""The process that owns pyttsx3. It renders phrases to files, one at a time.

On Linux one engine lives as long as the process, since a new engine starts at its own rate and takes another rate only
some time later. On macOS and Windows each phrase gets a new engine.

pyttsx3's own queue loses phrases, its player can't be cut off, and its drivers must be created and used in one thread.
So it only renders one text at a time to one file, in the main thread of a process that can be ended when it hangs.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
import time
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from multiprocessing.connection import Connection
from typing import Any

# A new rate is sometimes not taken at the first attempt.
ATTEMPTS = 3
ONE_ENGINE = sys.platform.startswith("linux")
LOOK_S = 0.02
SETTLING = 20  # at most so many texts are thrown away until the engine has taken the rate


class ChildAnswer(StrEnum):
    """What the first item of each answer says of the second."""

    READY = "ready"
    """The library's version."""
    DONE = "done"
    """The voice in use."""
    FAILED = "failed"
    """Why."""


@dataclass(frozen=True, slots=True)
class Orders:
    """What the whole process is started with. voice: an id, or None for any voice that speaks `language`.

    library, data: espeak-ng's, for pyttsx3 on Linux.
    """

    voice: str | None
    language: str
    words_a_minute: int
    library: str | None = None
    data: str | None = None


def serve(pipe: Connection, orders: Orders) -> None:
    """Answers once it is ready, and then each (text, path), until None or the pipe's end."""
    # pyttsx3 prints "Audio saved...", but standard output belongs to the parent's own lines.
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)
    try:
        if orders.library:
            import ctypes

            # On Linux pyttsx3 loads "libespeak-ng.so.1" by that name, and then finds this one already loaded.
            ctypes.CDLL(orders.library, mode=ctypes.RTLD_GLOBAL)
        if orders.data:
            os.environ["ESPEAK_DATA_PATH"] = orders.data
        import pyttsx3

        voice = orders.voice or _voice_for(pyttsx3, orders.language)
        # pyttsx3 hands out the same engine as long as something refers to it.
        kept = _settled_engine(pyttsx3, voice, orders.words_a_minute) if ONE_ENGINE else None
    except Exception as error:
        pipe.send((ChildAnswer.FAILED, f"pyttsx3 did not load: {error}"))
        return
    pipe.send((ChildAnswer.READY, getattr(pyttsx3, "__version__", "")))
    while True:
        try:
            request = pipe.recv()
        except (EOFError, OSError, KeyboardInterrupt):
            return
        if request is None:
            del kept
            return
        pipe.send(_answer(pyttsx3, request[0], request[1], voice, orders.words_a_minute))


def _voice_for(pyttsx3: Any, language: str) -> str | None:
    """The voice that `pick_voice` picks from pyttsx3's. When this function returns, nothing refers to its engine."""
    engine = pyttsx3.init()
    return pick_voice(engine.getProperty("voices") or [], str(engine.getProperty("voice") or ""), language)


def pick_voice(voices: Iterable[Any], default: str, language: str) -> str | None:
    """The first voice that speaks `language`; None to keep the default, if that speaks it or no voice does."""
    speaking = [str(voice.id) for voice in voices if _speaks(voice, language)]
    if not speaking or default.lower() in (id.lower() for id in speaking):
        return None
    return speaking[0]


def _speaks(voice: Any, language: str) -> bool:
    """Whether the voice speaks it, by its list of languages. A driver with an empty list has the language in the id."""
    wanted = re.compile(rf"(^|[^a-z]){re.escape(language.lower())}([^a-z]|$)")
    listed = [
        item.decode("ascii", "ignore") if isinstance(item, bytes) else str(item) for item in voice.languages or []
    ]
    return any(wanted.search(name.lower()) for name in (listed or [str(voice.id)]))


def _settled_engine(pyttsx3: Any, voice: str | None, words_a_minute: int) -> Any:
    """An engine that has taken its rate. That happens with its first texts, so short ones are rendered for nothing."""
    engine = pyttsx3.init()
    with tempfile.TemporaryDirectory(prefix="kerfcall-voice-") as folder:
        path, sizes = os.path.join(folder, "thrown-away.wav"), [0, -1]
        for _ in range(SETTLING):
            _, rate = _render(pyttsx3, "one two", path, voice, words_a_minute)
            sizes = [sizes[1], os.path.getsize(path)]
            if rate == words_a_minute and abs(sizes[0] - sizes[1]) < sizes[1] // 50:
                break
            time.sleep(LOOK_S)
    return engine


def _answer(pyttsx3: Any, text: str, path: str, voice: str | None, words_a_minute: int) -> tuple[ChildAnswer, str]:
    try:
        for _ in range(ATTEMPTS):
            used, rate = _render(pyttsx3, text, path, voice, None if ONE_ENGINE else words_a_minute)
            if rate == words_a_minute:
                break
    except Exception as error:
        return ChildAnswer.FAILED, f"{type(error).__name__}: {error}"
    # pyttsx3 ignores an unknown voice without an error.
    if voice and used != voice.lower():
        return ChildAnswer.FAILED, f'pyttsx3 has no voice "{voice}", it used "{used}"'
    return ChildAnswer.DONE, used


def settled(path: str, within_s: float = 10.0, look_s: float = 0.03) -> bool:
    """Waits until the file is there and has stopped growing. Returns False if that takes longer than `within_s`."""
    give_up, size = time.monotonic() + within_s, -1
    while time.monotonic() < give_up:
        before, size = size, os.path.getsize(path) if os.path.exists(path) else 0
        if size and size == before:
            return True
        time.sleep(look_s)
    return False


def _render(pyttsx3: Any, text: str, path: str, voice: str | None, words_a_minute: int | None) -> tuple[str, int]:
    """Renders a text. words_a_minute: None to leave the rate. Returns the voice and the rate that were used."""
    engine = pyttsx3.init()
    try:
        if voice:
            engine.setProperty("voice", voice)
        if words_a_minute is not None:
            engine.setProperty("rate", words_a_minute)
        engine.save_to_file(text, path)
        engine.runAndWait()
        if not sys.platform.startswith("linux"):
            # The system's voices write in the background: the run can end before the file is complete.
            settled(path)
        return str(engine.getProperty("voice") or "").lower(), round(float(engine.getProperty("rate")))
    finally:
        engine.stop()
