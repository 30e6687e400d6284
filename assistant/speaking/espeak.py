"""The voice on Linux: espeak-ng's library, called in this process.

With synchronous output (mode 2) the samples are complete when the call returns, after a few milliseconds. The library
keeps everything in global variables, so one lock guards it and each process initialises it once.
"""

from __future__ import annotations

import ctypes
import os
import re
import threading
from collections.abc import Callable
from typing import Any

from assistant.errors import NoSuchPart
from assistant.speaking.engine import Pcm, VoiceFailed, never, speakable, trimmed
from assistant.speaking.espeak_files import LibraryPlace, places, short_data_folder

SYNCHRONOUS = 2  # in mode 1, which pyttsx3 uses, the call returned before there was any sound
# Without this option, a library that finds no data calls exit(1): no exception, and the session is gone.
DONT_EXIT = 0x8000
BUFFER_MS = 50  # between two buffers a render shows that it moves, and can be cancelled
UTF8 = 1
RATE_PARAMETER = 1
SLOWEST, FASTEST = 80, 450  # words a minute, the library's own limits
# By language. Measured: an independent recogniser hears most settings right in this voice, and
# hardly any in the plain "en" or "en-us" (tests/speaking/test_heard.py).
CLEAREST = {"en": "en-us+f2"}

# With hyphens round its point a number is one group of words: said 6 % quicker, and the recogniser of
# tests/speaking/test_heard.py hears as many right (113 of 150, without 115; in noise 59 and 54). All digits in one
# group would be quicker still, and are not heard as well (100 of 150).
_POINT = re.compile(r"(?<=\w) point (?=\w)")

_Callback = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p)


class _Library:
    """The loaded library. Take `lock` for every call."""

    def __init__(self, place: LibraryPlace):
        self.lock = threading.Lock()
        self.origin = place.origin
        self._setting: tuple[str, int] | None = None
        self._sink: Callable[[bytes], bool] = lambda _: False
        data = short_data_folder(place.data) if place.data else None
        try:
            self._dll = ctypes.CDLL(place.library)
        except OSError as error:
            raise NoSuchPart(f"espeak-ng ({place.origin}) did not load: {error}") from error
        self._declare()
        path = os.fsencode(data) if data else None
        self.rate = int(self._dll.espeak_Initialize(SYNCHRONOUS, BUFFER_MS, path, DONT_EXIT))
        if self.rate <= 0:
            raise NoSuchPart(f"espeak-ng ({place.origin}) finds no voice data in {data or 'its own folder'}")
        # The library keeps only the bare pointer, so the object must live as long as the library.
        self._callback = _Callback(self._take_buffer)
        self._dll.espeak_SetSynthCallback(self._callback)
        said = self._dll.espeak_Info(None) or b"?"
        self.version = said.decode("utf-8", "replace").split()[0]

    def _declare(self) -> None:
        """Declares the C signatures of the library's `speak_lib.h`. Without them ctypes cuts pointers to 32 bits."""
        text, number, anything = ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p
        unsigned = ctypes.c_uint
        signatures: dict[str, tuple[Any, list[Any]]] = {
            "espeak_Initialize": (number, [number, number, text, number]),
            "espeak_SetSynthCallback": (None, [_Callback]),
            "espeak_SetVoiceByName": (number, [text]),
            "espeak_SetParameter": (number, [number, number, number]),
            "espeak_Synth": (
                number,
                [text, ctypes.c_size_t, unsigned, number, unsigned, unsigned, anything, anything],
            ),
            "espeak_Info": (text, [anything]),
        }
        for name, (result, arguments) in signatures.items():
            function = getattr(self._dll, name)
            function.restype, function.argtypes = result, arguments

    def _take_buffer(self, samples: Any, count: int, _events: Any) -> int:
        if not samples or count <= 0:
            return 0
        # 1 ends the synthesis (speak_lib.h).
        return 1 if self._sink(ctypes.string_at(samples, count * 2)) else 0

    def use(self, voice: str, words_a_minute: int) -> None:
        """Sets the voice and the rate. Raises NoSuchPart for an unknown voice."""
        if self._setting == (voice, words_a_minute):
            return
        # If the library refuses the voice, nobody knows which one it has.
        self._setting = None
        if self._dll.espeak_SetVoiceByName(voice.encode()) != 0:
            raise NoSuchPart(f'espeak-ng has no voice "{voice}"; set voice.language in the shop file to "en"')
        self._dll.espeak_SetParameter(RATE_PARAMETER, words_a_minute, 0)
        self._setting = (voice, words_a_minute)

    def synth(self, text: str, sink: Callable[[bytes], bool]) -> None:
        """Renders a text. `sink` gets each buffer, and returns True to stop there."""
        self._sink = sink
        encoded = text.encode("utf-8") + b"\0"
        # From character 0 (1: positions count characters) to the end (0); see speak_lib.h.
        status = self._dll.espeak_Synth(encoded, len(encoded), 0, 1, 0, UTF8, None, None)
        if status != 0:
            raise VoiceFailed(f"espeak-ng refused a text (status {status}): {text!r}")


_loaded: dict[tuple[str, str], _Library] = {}
_loading = threading.Lock()


def _first_that_loads(candidates: list[LibraryPlace]) -> _Library:
    problems = []
    for place in candidates:
        key = (place.library, str(place.data))
        try:
            with _loading:
                if key not in _loaded:
                    _loaded[key] = _Library(place)
                return _loaded[key]
        except NoSuchPart as error:
            problems.append(str(error))
    reasons = "; ".join(problems) or "no library for this system is known"
    raise NoSuchPart(f"no espeak-ng: {reasons}; pip install espeakng-loader, or the system package espeak-ng")


class EspeakEngine:
    """espeak-ng as an `Engine`.

    voice: an espeak-ng voice name, e.g. "en", "en-us+f2". words_a_minute: 80 to 450; a rate outside is moved to the
    nearest of these.
    Raises NoSuchPart when no library or voice is found.
    """

    name = "espeak-ng"

    def __init__(
        self, voice: str = CLEAREST["en"], words_a_minute: int = 175, candidates: list[LibraryPlace] | None = None
    ):
        self._library = _first_that_loads(places() if candidates is None else candidates)
        self.voice = voice
        self.words_a_minute = max(SLOWEST, min(FASTEST, words_a_minute))
        self.rate = self._library.rate
        self.description = f"espeak-ng {self._library.version}, {self._library.origin}"
        with self._library.lock:
            self._library.use(self.voice, self.words_a_minute)

    def render(self, text: str, cancelled: Callable[[], bool] = never) -> Pcm | None:
        import numpy as np

        parts: list[bytes] = []

        def take(part: bytes) -> bool:
            parts.append(part)
            return cancelled()

        said = _POINT.sub("-point-", speakable(text))
        with self._library.lock:
            # Voice and rate are global in the library: another engine of this process can have changed them.
            self._library.use(self.voice, self.words_a_minute)
            if said:
                self._library.synth(said, take)
        if cancelled():
            return None
        return trimmed(Pcm(np.frombuffer(b"".join(parts), dtype="<i2"), self.rate))

    def set_rate(self, words_a_minute: int) -> None:
        self.words_a_minute = max(SLOWEST, min(FASTEST, words_a_minute))

    def close(self) -> None:
        """Does nothing: the library stays initialised for the life of the process."""
