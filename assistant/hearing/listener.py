"""The two listeners: one with the microphone, one fed with sound from a file. Both use the same child.

How they get session times. Live: the child stamps the sound with the machine's monotonic clock, which all its
processes share; the age of the stamp gives the session time. File: the start plus the sample count over the rate.
"""

from __future__ import annotations

import contextlib
import math
import queue
import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from assistant.errors import CouldNotRun
from assistant.hearing.child import Spec, spec_of
from assistant.hearing.contract import RATE
from assistant.hearing.ear import Found
from assistant.hearing.messages import FromChild, ToChild
from assistant.hearing.models import ChosenRecogniser, choose
from assistant.hearing.process import TOO_LONG, ChildDied, ChildProcess
from assistant.patience import Patience
from assistant.plans.intents import Intent
from assistant.plans.model import Check, RecogniserName, VoiceSettings
from assistant.runner.contracts import Clock, Post
from assistant.session.events import DeviceChanged, Event, Heard, NotHeard
from assistant.session.kinds import DeviceName, DeviceState
from assistant.wording.phrases import Phrase, whole_table

DIGITS = 9  # numbers with every digit once: "go to pass N" is recognised even when no pass can be named
# How long a child can take over one chunk of a file: without moving, and in all (or `LOADS` times its loading time).
ANSWER_S, LONGEST_ANSWER_S = 20.0, 60.0
# A live child that gives no sign of life for so long counts as slow, and after the longer of this and `LOADS` times its
# loading time as hung: a slow machine gets more patience.
ALIVE_S = 5.0
LOADS = 4
SLOW_LOAD_S = 10.0
BACK_OFF_S = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0)  # pauses between restarts
STEADY_S = 30.0  # after a child that lived this long, the pauses start again from the shortest
LOST = "Voice is off: the recogniser {}. It is being restarted. Go on by pedal or keys."
WORKS = "Voice works again."
LOADING = "The recogniser is slow to load: {:.0f} s so far. Until it is ready, go on by pedal or keys."
LOADED = "The recogniser is ready. It took {:.0f} s to load."
SLOW = "The recogniser is slow on this computer: no answer for {:.0f} s so far."


def event_of(found: Found, at: float, utc: str, since: float) -> Event | None:
    """The event to post for an utterance; None for a knock that was no voice's. at, since: session time, s."""
    if found.phrase is not None:
        phrase = found.phrase
        return Heard(at, utc, Intent(phrase.intent), phrase.argument, phrase.text, since, found.generation)
    return None if found.knock and not found.like else NotHeard(at, utc, found.reason, found.like)


def refused_text(refused: Sequence[tuple[str, str]]) -> str:
    """The notice that names each unknown word with its phrase."""
    listed = "; ".join(f'"{word}" in "{text}"' for word, text in refused)
    return f"The recogniser doesn't know some words, so these phrases can't be recognised: {listed}. Use other words."


class _Listener:
    """What both listeners share: the choice of recogniser, what a new child must know, and the posting of news."""

    def __init__(
        self,
        clock: Clock,
        post: Post,
        voice: VoiceSettings,
        checks: Sequence[Check],
        folders: Sequence[Path] | None,
    ) -> None:
        self._clock, self._post = clock, post
        self._voice = voice
        self.choice: ChosenRecogniser = choose(voice, folders)
        # A new child first gets the whole table, so that unknown words are reported at the start, not when a check
        # comes up.
        self._whole = whole_table(checks, voice)
        self._known = whole_table(checks, voice, DIGITS, DIGITS)
        self._phrases: tuple[Phrase, ...] = ()
        self._generation = 0

    def _spec(self, live: bool) -> Spec:
        return replace(spec_of(self._voice, self.choice), live=live, own_voice=live, known=self._known, twice=True)

    def _news(self, device: DeviceName, state: DeviceState, text: str) -> None:
        self._post(DeviceChanged(self._clock.at(), self._clock.utc(), device, state, text))

    def _refused(self, refused: Sequence[tuple[str, str]]) -> None:
        self._news(DeviceName.RECOGNISER, DeviceState.STANDS_IN, refused_text(refused))

    def _say_what_is_limited(self) -> None:
        for text in (self.choice.why if self.choice.stands_in else "", self.choice.lacks):
            if text:
                self._limited(text)

    def _limited(self, text: str) -> None:
        self._news(DeviceName.RECOGNISER, DeviceState.STANDS_IN, text)

    def _fall_back(self, text: str) -> bool:
        """Chooses pocketsphinx after a vosk child that never got ready. Returns whether it could."""
        if self.choice.recogniser != RecogniserName.VOSK or self._voice.language != "en":
            return False
        why = f"The vosk model {self.choice.model} can't be used ({text}). Using pocketsphinx instead."
        self.choice = ChosenRecogniser(RecogniserName.POCKETSPHINX, None, why, stands_in=True)
        self._news(DeviceName.RECOGNISER, DeviceState.STANDS_IN, why)
        return True


class FileListener(_Listener):
    """Hears the sound it is fed, in step, so that the same sound gives the same events at the same times.

    clock, post: as in `runner.contracts`; of the clock, what is heard uses only `utc`. voice: chooses the
    recogniser and its model. checks: the job's. start_s: session time of the first sample. folders: where to
    look for models, by default as `models` says. Raises NoSuchPart or CouldNotRun when no recogniser is available.
    """

    def __init__(
        self,
        clock: Clock,
        post: Post,
        voice: VoiceSettings,
        checks: Sequence[Check] = (),
        *,
        start_s: float = 0.0,
        folders: Sequence[Path] | None = None,
    ) -> None:
        super().__init__(clock, post, voice, checks, folders)
        self._start_s = start_s
        self._fed = 0
        self._child_from = 0
        self._speaking = False
        self._child = self._start()
        self._say_what_is_limited()

    @property
    def pid(self) -> int | None:
        """The child's process id."""
        return self._child.pid

    def _start(self) -> ChildProcess:
        child = ChildProcess(self._spec(live=False))
        self._child_from = self._fed
        try:
            message = child.ready()
        except ChildDied:
            message = (FromChild.FAILED, "it stopped while loading")
        if message[0] == FromChild.FAILED:
            child.kill()
            text = message[1]
            if self._fall_back(text):
                return self._start()
            raise CouldNotRun(f"the recogniser {self.choice.recogniser} can't be started: {text}")
        self._child = child
        self._exchange(ToChild.LISTEN, self._whole, -1)
        self._exchange(ToChild.LISTEN, self._phrases, self._generation)
        if self._speaking:
            self._exchange(ToChild.SPEAKING, True, None)
        return child

    def listen(self, phrases: Sequence[Phrase], generation: int) -> None:
        """Listens for only these phrases from the current sample on."""
        self._phrases, self._generation = tuple(phrases), generation
        self._ask("listen", self._phrases, generation)

    def speaking(self, active: bool) -> None:
        """Deaf from the current sample on; with False, no longer deaf from 0.3 s after it."""
        self._speaking = active
        self._ask("speaking", active, None)

    def feed(self, pcm16k: bytes) -> None:
        """Hears the next samples (16 kHz mono, 16 bit). Returns when all their events have been posted."""
        self._fed += len(pcm16k) // 2
        self._ask("audio", bytes(pcm16k))

    def flush(self) -> None:
        """Ends the sound: judges the utterance that was going on."""
        self._ask("flush")

    def _ask(self, *message: Any) -> None:
        try:
            self._exchange(*message)
        except ChildDied:
            self._news(DeviceName.RECOGNISER, DeviceState.LOST, LOST.format("broke down"))
            self._child.kill()
            self._child = self._start()
            self._news(DeviceName.RECOGNISER, DeviceState.WORKS, WORKS)

    def _exchange(self, *message: Any) -> None:
        self._child.send(*message)
        while True:
            longest_s = max(LONGEST_ANSWER_S, LOADS * self._child.load_s)
            answer = self._child.answer(ANSWER_S, longest_s)
            if answer is None:
                raise ChildDied
            match answer:
                case (FromChild.DONE,):
                    return
                case (FromChild.FOUND, found, _):
                    self._post_all(found)
                case (FromChild.REFUSED, refused):
                    self._refused(refused)
                case (FromChild.LIMITED, text):
                    self._limited(text)

    def _session_time(self, sample: int) -> float:
        return self._start_s + (self._child_from + sample) / RATE

    def _post_all(self, found: Sequence[Found]) -> None:
        for one in found:
            event = event_of(one, self._session_time(one.decided), self._clock.utc(), self._session_time(one.first))
            if event is not None:
                self._post(event)

    def close(self) -> None:
        """Ends the child."""
        self._child.close()


class LiveListener(_Listener):
    """Hears the microphone. Its thread supervises the child and posts; every method returns at once.

    When the child crashes or hangs, a new one starts, after pauses that grow, and learns what to listen for. Raises
    NoSuchPart when no recogniser is available. A missing microphone is no error: DeviceChanged reports it, and the
    child goes on looking for one. null_device: the audio library's silent device, for tests. Other arguments: see
    `FileListener`.
    """

    def __init__(
        self,
        clock: Clock,
        post: Post,
        voice: VoiceSettings,
        checks: Sequence[Check] = (),
        *,
        folders: Sequence[Path] | None = None,
        null_device: bool = False,
    ) -> None:
        super().__init__(clock, post, voice, checks, folders)
        self._null_device = null_device
        self._lock = threading.Lock()
        self._child: ChildProcess | None = None
        self._speaking = False
        self.level: float | None = None
        """The level of the loudest 30 ms of the last half second, dBFS; None while no sound comes."""
        self._closing = threading.Event()
        self._microphone: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._never_ready = 0
        self._settled = threading.Event()  # the first child is ready, or has ended
        self._thread = threading.Thread(target=self._supervise, name="hearing", daemon=True)
        self._thread.start()

    @property
    def pid(self) -> int | None:
        """The current child's process id; None between two children."""
        with self._lock:
            return self._child.pid if self._child else None

    def has_microphone(self, within_s: float) -> bool:
        """Whether a microphone was found. Must be called once at most.

        Waits until the recogniser is loaded or its first child has failed, and then up to `within_s` for the first
        report of the microphone.
        """
        while not self._settled.wait(0.1) and self._thread.is_alive():
            pass
        with contextlib.suppress(queue.Empty):
            return self._microphone.get(timeout=within_s) == DeviceState.WORKS
        return False

    def listen(self, phrases: Sequence[Phrase], generation: int) -> None:
        """Listens for only these phrases from now on."""
        with self._lock:
            self._phrases, self._generation = tuple(phrases), generation
            self._tell(ToChild.LISTEN, self._phrases, generation)

    def speaking(self, active: bool) -> None:
        """Deaf from now on; with False, no longer deaf in 0.3 s."""
        with self._lock:
            self._speaking = active
            self._tell(ToChild.SPEAKING, active, time.monotonic())

    def close(self) -> None:
        """Ends the child and lets go of the microphone."""
        self._closing.set()
        self._thread.join()

    def _tell(self, *message: Any) -> None:
        """Sends a message, under the lock. If the child is gone, the thread notices and briefs a new one."""
        if self._child is not None:
            with contextlib.suppress(ChildDied):
                self._child.send(*message)

    def _supervise(self) -> None:
        self._say_what_is_limited()
        failures = 0
        while not self._closing.is_set():
            started = time.monotonic()
            cause = self._run_one_child(restarted=failures > 0)
            if self._closing.is_set():
                return
            failures = 0 if time.monotonic() - started > STEADY_S else failures
            self._report_loss(cause, failures)
            self._closing.wait(BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)])
            failures += 1

    def _report_loss(self, cause: str, failures: int) -> None:
        """Reports once that voice is lost. Gives up a vosk model that can't be loaded for the other recogniser."""
        if self._never_ready >= 2 and self._fall_back(cause):
            self._never_ready = 0
        elif failures == 0:
            self._news(DeviceName.RECOGNISER, DeviceState.LOST, LOST.format(cause))

    def _run_one_child(self, restarted: bool) -> str:
        """Runs one child from its start to its end. Returns why it ended."""
        child = ChildProcess(replace(self._spec(live=True), null_device=self._null_device))
        try:
            cause = self._until_ready(child)
            if cause:
                self._never_ready += 1
                return cause
            self._never_ready = 0
            self._introduce(child)
            if restarted:
                self._news(DeviceName.RECOGNISER, DeviceState.WORKS, WORKS)
            self._settled.set()
            return self._follow(child)
        except ChildDied:
            return "broke down"
        finally:
            self.level = None
            self._settled.set()
            with self._lock:
                self._child = None
            # A child that hung or failed would not answer `close`.
            child.close() if self._closing.is_set() else child.kill()

    def _until_ready(self, child: ChildProcess) -> str:
        """Waits until the child is ready. Returns "", or why it never will be. Reports a child that is slow to load."""
        slow = False

        def waiting(waited_s: float) -> bool:
            nonlocal slow
            if not slow and waited_s > SLOW_LOAD_S:
                slow = True
                self._news(DeviceName.RECOGNISER, DeviceState.SLOW, LOADING.format(waited_s))
            return not self._closing.is_set()

        try:
            message = child.ready(waiting)
        except ChildDied:
            return "stopped while loading"
        if message[0] != FromChild.READY:
            return TOO_LONG if message[1] == TOO_LONG else f"could not start: {message[1]}"
        if slow:
            self._news(DeviceName.RECOGNISER, DeviceState.WORKS, LOADED.format(child.load_s))
        return ""

    def _introduce(self, child: ChildProcess) -> None:
        with self._lock:
            # Under the lock: newer phrases must not go out before these.
            self._child = child
            # Nothing was ever asked under -1, so that what is heard in this moment counts for nothing.
            self._tell(ToChild.LISTEN, self._whole, -1)
            self._tell(ToChild.LISTEN, self._phrases, self._generation)
            if self._speaking:
                self._tell(ToChild.SPEAKING, True, time.monotonic())

    def _follow(self, child: ChildProcess) -> str:
        limit_s = max(ALIVE_S, LOADS * child.load_s)
        patience, slow = Patience(limit_s, math.inf), False
        while not self._closing.is_set():
            message = child.receive(0.05)
            if message is not None:
                patience.sign()
                self._take(message)
            elif patience.over():
                return "hung"
            elif patience.still_for_s > ALIVE_S and not slow:
                slow = True  # reported once: on a slow machine it will happen again
                self._news(DeviceName.RECOGNISER, DeviceState.SLOW, SLOW.format(patience.still_for_s))
        return ""

    def _take(self, message: tuple[Any, ...]) -> None:
        match message:
            case (FromChild.ALIVE, level):
                self.level = level
            case (FromChild.FOUND, found, times):
                self._post_all(found, times)
            case (FromChild.MICROPHONE, state, text):
                self._microphone.put(state)
                self._news(DeviceName.MICROPHONE, state, text)
            case (FromChild.REFUSED, refused):
                self._refused(refused)
            case (FromChild.LIMITED, text):
                self._limited(text)

    def _post_all(self, found: Sequence[Found], times: Sequence[tuple[float, float]]) -> None:
        now, at, utc = time.monotonic(), self._clock.at(), self._clock.utc()
        for one, (first, _) in zip(found, times, strict=True):
            event = event_of(one, at, utc, at - (now - first))
            if event is not None:
                self._post(event)
