"""The hearing child: a spawned process that owns the recogniser and the microphone.

If a decoder crashes, hangs or keeps the interpreter's lock, only this process suffers. Messages are tuples over one
pipe, the first item naming the kind.

To the child:    ("listen", phrases, generation)   ("speaking", active, monotonic s or None)
                 ("audio", bytes)   ("flush",)   ("close",)
From the child:  ("progress", what has been loaded)
                 ("ready", name, denoiser's reason)   ("failed", text)   ("refused", [(word, phrase), ..])
                 ("limited", text)
                 ("found", [Found, ..], [(first, decided) in monotonic s, ..])   ("done",)
                 ("microphone", state, text)   ("alive", level or None)

With sound from a file the child answers each "audio", "flush", "listen" and "speaking" with "done", after everything
that came of it. With the microphone it answers nothing, and sends "alive" every half second. The level in it is that
of the loudest chunk since the last "alive", dBFS; None if no sound came.
"""

from __future__ import annotations

import contextlib
import queue
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from assistant.errors import KerfcallError, NoSuchPart
from assistant.hearing.alsa import hush
from assistant.hearing.anchor import Anchor
from assistant.hearing.contract import Recogniser
from assistant.hearing.denoise import choose_denoiser
from assistant.hearing.ear import Ear, Found
from assistant.hearing.levels import NOTHING, loudness
from assistant.hearing.messages import FromChild, ToChild
from assistant.hearing.microphone import Microphone, open_capture
from assistant.hearing.models import ChosenRecogniser
from assistant.hearing.own_scores import OwnScores, voice_folder
from assistant.hearing.recorder import microphone_name
from assistant.plans.model import Acceptance, DenoiserName, Endpoints, RecogniserName, VoiceSettings
from assistant.wording.phrases import Phrase

ALIVE_EVERY_S = 0.5  # well within the time after which silence of the child counts as a loss
Connection = Any  # multiprocessing.connection.Connection; a Windows pipe has another class


@dataclass(frozen=True, slots=True)
class Spec:
    """What a child consists of. recogniser: a `RecogniserName`, or "digits N". model: its folder.

    live: the child owns the microphone; otherwise sound comes as messages. null_device: see `microphone.open_capture`.
    pronunciations: words and their phones, for pocketsphinx. denoiser, endpoints, acceptance: as in
    `plans.model.VoiceSettings`. own_voice: the operator's own scores for this microphone limit the phrases too.
    known, language, twice: as in `Ear`. lead_in: the word that the neural recogniser takes as given.
    """

    recogniser: str
    model: str | None = None
    live: bool = False
    null_device: bool = False
    pronunciations: tuple[tuple[str, str], ...] = ()
    denoiser: DenoiserName = DenoiserName.AUTO
    endpoints: Endpoints = Endpoints.AUTO
    acceptance: Acceptance = Acceptance.USUAL
    own_voice: bool = False
    known: tuple[Phrase, ...] = ()
    language: str = "en"
    lead_in: str = "marigold"
    twice: bool = False


def spec_of(voice: VoiceSettings, choice: ChosenRecogniser) -> Spec:
    """The spec that follows from the voice settings and the choice of recogniser."""
    model = str(choice.model) if choice.model else None
    return Spec(
        choice.recogniser,
        model,
        pronunciations=voice.pronunciations,
        denoiser=voice.denoiser,
        endpoints=voice.endpoints,
        acceptance=voice.acceptance,
        language=voice.language,
        lead_in=voice.lead_in,
    )


def make_recogniser(spec: Spec, limited: Callable[[str], None] = lambda text: None) -> Recogniser:
    """Loads the recogniser of the spec. Raises NoSuchPart or BadInput.

    limited: called with a line for the operator where less can be heard than the spec promises, then or later.
    A broken model can end the process, so outside tests only a child loads vosk.
    """
    strict = spec.acceptance == Acceptance.STRICT
    if spec.recogniser == RecogniserName.VOSK:
        from assistant.hearing.vosk import Vosk

        return Vosk(spec.model or "", all_strict=strict)
    if spec.recogniser.startswith("digits"):
        from assistant.hearing.digits import Digits

        return Digits(int(spec.recogniser.removeprefix("digits ")), spec.pronunciations)
    from assistant.hearing.sphinx import Sphinx

    grammar = Sphinx(pronunciations=spec.pronunciations, all_strict=strict)
    if spec.recogniser != RecogniserName.MOONSHINE:
        return grammar
    from assistant.hearing.beside import ModelLost, ScorerProcess
    from assistant.hearing.leading import OUT_OF_USE, Leading

    try:
        scorer = ScorerProcess(Path(spec.model or ""), spec.lead_in, spec.live)
    except ModelLost as error:
        limited(OUT_OF_USE.format(error))
        return grammar
    return Leading(scorer, grammar, limited, _own_scores(spec), strict)


def make_ear(
    spec: Spec,
    progress: Callable[[str], None] = lambda what: None,
    limited: Callable[[str], None] = lambda text: None,
) -> tuple[Ear, str]:
    """Makes the whole path of one stream; returns it with a line on its noise suppression. Raises as `make_recogniser`.

    limited: as in `make_recogniser`. progress: called with the name of each part that takes time to load, once it is
    loaded.
    If the noise suppression asked for is not available, the best one that is replaces it, and the line says so.
    """
    recogniser = make_recogniser(spec, limited)
    progress("recogniser")
    try:
        denoiser, why = choose_denoiser(spec.denoiser)
    except NoSuchPart as error:
        denoiser, why = choose_denoiser()
        why = f"{why} ({error})"
    progress("noise suppression")
    return Ear(recogniser, denoiser, spec.endpoints, spec.known, spec.language, spec.twice), why


def _own_scores(spec: Spec) -> OwnScores:
    """The operator's scores; none when they can't be read, since hearing works without them."""
    if spec.own_voice:
        with contextlib.suppress(NoSuchPart):
            return OwnScores.load(voice_folder(microphone_name()))
    return OwnScores()


def run_child(conn: Connection, spec: Spec) -> None:
    """The process's entry point. It runs until "close" or until the parent is gone."""
    # Ctrl-C goes to the terminal's whole process group; the parent decides when this process ends.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    limits: list[str] = []
    with contextlib.suppress(EOFError, OSError):
        try:
            conn.send((FromChild.PROGRESS, "libraries"))
            ear, why = make_ear(spec, lambda what: conn.send((FromChild.PROGRESS, what)), limits.append)
        except KerfcallError as error:
            conn.send((FromChild.FAILED, str(error)))
            return
        conn.send((FromChild.READY, ear.recogniser.name, why))
        if spec.live:
            hush()
            _Live(conn, ear, spec.null_device, limits).run()
        else:
            _serve_file(conn, ear, limits)


def _serve_file(conn: Connection, ear: Ear, limits: list[str]) -> None:
    while True:
        message = conn.recv()
        if message[0] == ToChild.CLOSE:
            return
        _report(conn, _handle(ear, message, ear.samples, conn), None, limits)
        conn.send((FromChild.DONE,))


def _handle(ear: Ear, message: tuple[Any, ...], sample: int, conn: Connection) -> list[Found]:
    """Acts on one message. sample: where in the stream it takes effect."""
    match message:
        case (ToChild.LISTEN, phrases, generation):
            refused = ear.listen(phrases, generation)
            if refused:
                conn.send((FromChild.REFUSED, refused))
        case (ToChild.SPEAKING, active, _):
            return ear.speaking(active, sample)
        case (ToChild.AUDIO, pcm):
            return ear.feed(pcm)
        case (ToChild.FLUSH,):
            return ear.flush()
    return []


def _report(conn: Connection, found: list[Found], time_of: Callable[[int], float] | None, limits: list[str]) -> None:
    """Sends what was found, and each line in `limits` once."""
    while limits:
        conn.send((FromChild.LIMITED, limits.pop(0)))
    if found:
        times = [(time_of(one.first), time_of(one.decided)) for one in found] if time_of else []
        conn.send((FromChild.FOUND, found, times))


class _Live:
    """The child's loop with a microphone: one queue takes the parent's messages and the device's chunks."""

    def __init__(self, conn: Connection, ear: Ear, null_device: bool, limits: list[str]) -> None:
        self._conn, self._ear, self._limits = conn, ear, limits
        self._queue: queue.SimpleQueue[tuple[Any, ...]] = queue.SimpleQueue()
        self._anchor = Anchor()
        self._received = 0
        self._loudest: float | None = None
        self._microphone = Microphone(
            lambda chunk, at: self._queue.put((ToChild.CHUNK, chunk, at)),
            lambda state, text: conn.send((FromChild.MICROPHONE, state, text)),
            partial(open_capture, null_device=null_device),
        )

    def run(self) -> None:
        """Runs until `ToChild.CLOSE` or the end of the pipe."""
        threading.Thread(target=self._listen_to_parent, daemon=True).start()
        next_alive = 0.0
        try:
            while True:
                now = time.monotonic()
                if now >= next_alive:
                    self._conn.send((FromChild.ALIVE, self._loudest))
                    self._loudest = None
                    self._microphone.tick(now)
                    next_alive = now + ALIVE_EVERY_S
                try:
                    message = self._queue.get(timeout=max(0.0, next_alive - now))
                except queue.Empty:
                    continue
                if message[0] == ToChild.CLOSE:
                    return
                _report(self._conn, self._take(message), self._anchor.time_of, self._limits)
        finally:
            self._microphone.close()

    def _listen_to_parent(self) -> None:
        with contextlib.suppress(EOFError, OSError):
            while True:
                self._queue.put(self._conn.recv())
        self._queue.put((ToChild.CLOSE,))

    def _take(self, message: tuple[Any, ...]) -> list[Found]:
        if message[0] == ToChild.CHUNK:
            _, chunk, arrived = message
            self._received += len(chunk) // 2
            self._loudest = max(loudness(chunk), NOTHING if self._loudest is None else self._loudest)
            self._anchor.chunk(self._received, arrived)
            return self._ear.feed(chunk)
        sample = self._anchor.sample_at(message[2]) if message[0] == ToChild.SPEAKING else 0
        return _handle(self._ear, message, sample, self._conn)
