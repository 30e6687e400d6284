"""Takes readings dictated to the microphone, with the saw off. What is read back is both spoken and shown."""

from __future__ import annotations

import queue
import time
from dataclasses import replace
from typing import Any, Protocol

from assistant.asking import ShowLine
from assistant.calibrating.blunders import Caliper
from assistant.calibrating.dictation import Dictation, answers, doubt_of, spec_for
from assistant.calibrating.readings import ReadingCollector
from assistant.errors import BadInput, CouldNotRun, Fault, NoSuchPart
from assistant.hearing.messages import FromChild, ToChild
from assistant.hearing.process import ChildDied, ChildProcess
from assistant.plans.model import VoiceSettings
from assistant.runner.clock import LiveClock
from assistant.runner.contracts import Speaker
from assistant.session.events import Event, SpeechEnded, SpeechStarted
from assistant.session.kinds import DeviceState
from assistant.speaking.speaker import LiveSpeaker, SilentSpeaker

MICROPHONE_S = 10.0  # a sound server that is just starting needs a few seconds
LISTENING_S = 0.05  # one wait for the child; between two waits it learns whether we speak, and Ctrl-C is noticed
TYPE_THEM = "type the readings instead, or give them with --reading or --csv"


class Child(Protocol):
    """The part of `hearing.process.ChildProcess` that is needed here."""

    def send(self, *message: Any) -> None: ...

    def ready(self) -> tuple[Any, ...]: ...

    def receive(self, timeout_s: float) -> tuple[Any, ...] | None: ...


class Conversation:
    """Runs one dictation to its end. news: events that the speaker posts. show: called with each line to show.

    patience_s: how long to wait for a microphone at the start.
    """

    def __init__(
        self,
        talk: Dictation,
        child: Child,
        speaker: Speaker,
        news: queue.SimpleQueue[Event],
        show: ShowLine,
        patience_s: float = MICROPHONE_S,
    ):
        self._talk, self._child, self._speaker, self._news, self._show = talk, child, speaker, news, show
        self._patience_s = patience_s
        self._said = 0

    def run(self) -> None:
        """Go on until every reading is taken. Ctrl-C or the end of the recogniser ends it sooner and loses no reading.

        Raises CouldNotRun if there is no recogniser or no microphone.
        """
        ready = self._child.ready()
        if ready[0] != FromChild.READY:
            raise CouldNotRun(f"the recogniser can't be started: {ready[1]}; {TYPE_THEM}")
        self._child.send(ToChild.LISTEN, (), 0)
        self._say(self._talk.ask())
        limit = time.monotonic() + self._patience_s
        works = False
        try:
            while not self._talk.finished:
                self._tell_child_who_speaks()
                match self._child.receive(LISTENING_S):
                    case (FromChild.MICROPHONE, state, text):
                        works = works or state == DeviceState.WORKS
                        self._show(str(text))
                    case (FromChild.FOUND, found, _):
                        for line in (line for one in found for line in answers(self._talk, one)):
                            self._say(line)
                if not works and time.monotonic() > limit:
                    raise CouldNotRun(f"no microphone can be heard; {TYPE_THEM}")
        except KeyboardInterrupt:
            self._show("Ended. The readings taken so far are kept.")
        except ChildDied:
            self._show("The recogniser failed. The readings taken so far are kept.")

    def _say(self, line: str) -> None:
        self._show(line)
        self._said += 1
        self._speaker.say(f"dictation {self._said}", line, True)

    def _tell_child_who_speaks(self) -> None:
        """Report the start and end of our own speech, so that the child doesn't listen to it."""
        while not self._news.empty():
            event = self._news.get()
            if isinstance(event, SpeechStarted | SpeechEnded):
                self._child.send(ToChild.SPEAKING, isinstance(event, SpeechStarted), time.monotonic())


def from_microphone(
    collector: ReadingCollector, voice: VoiceSettings, caliper: Caliper, rounds: int, show: ShowLine
) -> None:
    """Take dictated readings of the board's places. Without a loudspeaker, they are read back on the screen only.

    Raises BadInput for a board without places, CouldNotRun or NoSuchPart without recogniser or microphone.
    """
    if not collector.places:
        mend = "give the test board with --plan FILE, so that Kerfcall can ask for its places"
        raise BadInput([Fault("dictation needs a test board with places to ask for", "", "--dictate", mend)])
    talk = Dictation(list(collector.places) * rounds, doubt_of(collector))
    news: queue.SimpleQueue[Event] = queue.SimpleQueue()
    speaker = _speaker(news, voice, show)
    child = ChildProcess(replace(spec_for(voice, caliper), live=True))
    try:
        Conversation(talk, child, speaker, news, show).run()
    finally:
        child.close()
        speaker.close(2.0)
    for label, figures in talk.taken:
        collector.typed.append(f"{label}={figures}")
        collector.add(label, figures, "", f"place {label}, as dictated")


def _speaker(news: queue.SimpleQueue[Event], voice: VoiceSettings, show: ShowLine) -> Speaker:
    clock = LiveClock()
    try:
        return LiveSpeaker(clock, news.put, voice)
    except NoSuchPart as error:
        show(f"{error}. Readings are read back only here, on the screen.")
        return SilentSpeaker(clock, news.put)
