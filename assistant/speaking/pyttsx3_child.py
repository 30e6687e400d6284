"""The process that owns pyttsx3: one engine a phrase, rendered to a file, one phrase at a time.

pyttsx3's own queue loses phrases, its player can't be cut off, and its drivers must be created
and used in one thread. Here it only ever renders one text to one file, in the main thread of a
process that can be ended when it hangs.
"""

from __future__ import annotations

import os
from multiprocessing.connection import Connection
from typing import Any

# A new rate is sometimes not taken at the first attempt.
ATTEMPTS = 3


def serve(pipe: Connection, voice: str | None, words_a_minute: int, library: str | None, data: str | None) -> None:
    """Answer (text, path) with ("done", voice in use) or ("failed", reason) until None or the pipe's end."""
    _quiet_stdout()
    try:
        _prepare_library(library, data)
        import pyttsx3
    except Exception as error:
        pipe.send(("failed", f"pyttsx3 did not load: {error}"))
        return
    pipe.send(("ready", getattr(pyttsx3, "__version__", "")))
    while True:
        try:
            request = pipe.recv()
        except (EOFError, OSError, KeyboardInterrupt):
            return
        if request is None:
            return
        pipe.send(_answer(pyttsx3, request[0], request[1], voice, words_a_minute))


def _quiet_stdout() -> None:
    """pyttsx3 prints "Audio saved..."; standard output belongs to the parent's own lines."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)


def _prepare_library(library: str | None, data: str | None) -> None:
    """On Linux pyttsx3 loads "libespeak-ng.so.1" by that name: it finds the one already loaded."""
    if library:
        import ctypes

        ctypes.CDLL(library, mode=ctypes.RTLD_GLOBAL)
    if data:
        os.environ["ESPEAK_DATA_PATH"] = data


def _answer(pyttsx3: Any, text: str, path: str, voice: str | None, words_a_minute: int) -> tuple[str, str]:
    try:
        for _ in range(ATTEMPTS):
            used, rate = _render(pyttsx3, text, path, voice, words_a_minute)
            if rate == words_a_minute:
                break
    except Exception as error:
        return "failed", f"{type(error).__name__}: {error}"
    if voice and used != voice.lower():
        return "failed", f'pyttsx3 has no voice "{voice}", it used "{used}"'
    return "done", used


def _render(pyttsx3: Any, text: str, path: str, voice: str | None, words_a_minute: int) -> tuple[str, int]:
    engine = pyttsx3.init()
    try:
        if voice:
            engine.setProperty("voice", voice)
        engine.setProperty("rate", words_a_minute)
        engine.save_to_file(text, path)
        engine.runAndWait()
        return str(engine.getProperty("voice") or "").lower(), round(float(engine.getProperty("rate")))
    finally:
        engine.stop()
