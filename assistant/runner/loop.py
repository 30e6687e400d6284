"""The one loop's turn: decide -> commit -> effects. One thread owns it, live or rehearsed."""

from __future__ import annotations

import queue
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from assistant.runner.contracts import Clock, Driven, Listener, Screen, Speaker, Watcher
from assistant.runner.trace import Trace
from assistant.runner.voice_watch import BACK, LOST, SLOW, VoiceWatch
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.decide import decide
from assistant.session.events import DeviceChanged, Displayed, Event, SpeechEnded, SpeechStarted, TimePassed, WentOut
from assistant.session.kinds import DeviceName, DeviceState, Klass, SpeechEnd, Tone
from assistant.session.state import State
from assistant.wording.drive import REACHED
from assistant.wording.phrases import Phrase, phrases_for
from assistant.wording.prompts import Words

ASKING = frozenset({Klass.CHECK, Klass.QUESTION, Klass.MOVE})  # classes of announcements that need an answer
Commit = Callable[[Sequence[f.Record]], None]


def tone_of(klass: Klass, prompts: Sequence[e.Prompt]) -> Tone | None:
    """The notes before an announcement, if the shop has any."""
    if klass == Klass.SETTING and any(each.key == REACHED for each in prompts):
        return Tone.ARRIVED
    return Tone.ASKS if klass in ASKING else None


@dataclass
class Outputs:
    """Where effects go. The session goes on without any that is missing."""

    speaker: Speaker | None = None
    listener: Listener | None = None
    screens: list[Screen] = field(default_factory=list)
    drive: Driven | None = None
    trace: Trace | None = None
    watchers: list[Watcher] = field(default_factory=list)


class Runner:
    """Owns the session's state and its queue. `post` can be called from any thread, everything else from one thread."""

    def __init__(self, commit: Commit, outputs: Outputs, clock: Clock, state: State | None = None):
        self.state = state or State()
        self.outputs = outputs
        self.clock = clock
        self.phrases: tuple[Phrase, ...] = ()
        self.closing: e.Close | None = None
        self.deadlines: set[float] = set()
        self._commit = commit
        # Not `Queue`: a signal handler posts too, and would wait for ever for a lock that this thread holds already.
        self._queue: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self._voice = VoiceWatch()

    def post(self, event: Event) -> None:
        """Put an event on the queue; returns at once."""
        self._queue.put(event)

    def next_event(self, timeout_s: float | None) -> Event | None:
        """Wait for an event up to `timeout_s` (None: without limit, 0: not at all)."""
        try:
            return self._queue.get(block=timeout_s != 0, timeout=timeout_s or None)
        except queue.Empty:
            return None

    @property
    def nothing_waits(self) -> bool:
        """Whether the queue is empty now."""
        return self._queue.empty()

    def next_deadline(self) -> float | None:
        return min(self.deadlines, default=None)

    def handle(self, event: Event) -> None:
        """One turn. Nothing is announced or shown before its facts are committed.

        Deadlines that lie before the event come first. Raises JournalError when the facts can't be
        committed; the state is then as it was before.
        """
        while (due := self.next_deadline()) is not None and due <= event.at:
            # Before its turn, which may ask for the same time again.
            self.deadlines.discard(due)
            self._turn(TimePassed(due, event.utc))
        if not isinstance(event, TimePassed):
            self._turn(event)

    def _turn(self, event: Event) -> None:
        """Run the event's turn. If it opened something, run a second turn that says that everything has gone out.

        The second turn bypasses the queue: an answer that waits there began before this went out.
        """
        self._one_turn(event)
        opening = self.state.opening
        if self.state.job is not None and opening.out_at is None:
            went_out = WentOut(max(self.clock.at(), event.at), self.clock.utc(), opening.generation)
            self._one_turn(went_out)

    def _one_turn(self, event: Event) -> None:
        self._note_speech(event)
        decision = decide(self.state, event)
        journalled = [record for record in decision.records if not record.fact.passing]
        if journalled:
            self._commit(journalled)
        self.state = decision.state
        trace = self.outputs.trace
        if trace is not None and not isinstance(event, WentOut | Displayed):
            trace.event(event)
            for record in decision.records:
                trace.fact(record.fact)
        for watcher in self.outputs.watchers:
            watcher.turn(event, decision.records)
        for effect in decision.effects:
            self._run(effect)

    def _note_speech(self, event: Event) -> None:
        """We don't listen while we speak; overlapping announcements count as one."""
        if isinstance(event, SpeechStarted):
            if self._voice.started(event.id, event.at):
                self._post_of_voice(DeviceState.WORKS, BACK)
        elif isinstance(event, SpeechEnded):
            self._voice.ended(event.id, event.at)
        else:
            return
        if self.outputs.listener is not None:
            self.outputs.listener.speaking(self._voice.sounding)

    def look_after_voice(self) -> None:
        """Call this when the queue is empty: it gives up a voice that hasn't reported on its announcement in time."""
        if self.outputs.speaker is not None:
            self._voice.moved(self.outputs.speaker.moved_at())
        overdue = self._voice.overdue(self.clock.at())
        for id in overdue:
            self.post(SpeechEnded(self.clock.at(), self.clock.utc(), id, SpeechEnd.FAILED))
        if overdue:
            self._post_of_voice(DeviceState.LOST, LOST)
        elif self._voice.became_slow(self.clock.at()):
            for screen in self.outputs.screens:  # not spoken: that would take as long again
                screen.said(SLOW, Klass.NOTICE, SLOW)

    def _post_of_voice(self, state: DeviceState, text: str) -> None:
        self.post(DeviceChanged(self.clock.at(), self.clock.utc(), DeviceName.LOUDSPEAKER, state, text))

    def _run(self, effect: e.Effect) -> None:
        words = Words(self.state.the_job)
        if isinstance(effect, e.Listen):
            job = self.state.the_job
            # Without a listener as well: a rehearsal's script and its synthetic operator look phrases up here.
            self.phrases = phrases_for(effect.wanted, job.checks, job.voice)
            if self.outputs.listener is not None:
                self.outputs.listener.listen(self.phrases, effect.generation)
        # The sound first: a trace or a slow terminal must not delay it.
        self._hand_to_speaker(effect, words)
        self._hand_to_screens(effect, words)
        self._hand_to_drive(effect)
        if isinstance(effect, e.WakeAt):
            self.deadlines.add(effect.at)
        elif isinstance(effect, e.Close):
            self.closing = effect
        if self.outputs.trace is not None:
            self.outputs.trace.effect(effect, words, self.phrases)

    def _hand_to_speaker(self, effect: e.Effect, words: Words) -> None:
        speaker = self.outputs.speaker
        if isinstance(effect, e.Say):
            at = self.clock.at()
            if speaker is None or self._voice.lost:
                self.post(SpeechEnded(at, self.clock.utc(), effect.id, SpeechEnd.FAILED))
            else:
                self._voice.handed(effect.id, at)
        if speaker is None:
            return
        match effect:
            case e.Say(id, prompts, klass, replaces):
                # Give it to a lost voice too: the voice may have come back.
                tone = tone_of(klass, prompts) if self.state.the_job.voice.tone else None
                speaker.say(id, words.say(prompts), replaces, tone)
            case e.Note():
                speaker.note()
            case e.Prepare(announcements):
                speaker.prepare([words.say(prompts) for prompts in announcements])
            case e.SetVoice(loudness_db, rate):
                speaker.set_voice(loudness_db, rate)

    def _hand_to_drive(self, effect: e.Effect) -> None:
        drive = self.outputs.drive
        if drive is None:
            return
        match effect:
            case e.Look(id):
                drive.look(id)
            case e.Home(id, visit, pressed_at, held):
                drive.home(id, visit, pressed_at, held)
            case e.MoveTo(id, setting, approach, pressed_at, held):
                drive.move_to(id, setting, approach, pressed_at, held)
            case e.Halt():
                drive.halt()

    def _hand_to_screens(self, effect: e.Effect, words: Words) -> None:
        match effect:
            case e.Say(_, prompts, klass, _):
                for screen in self.outputs.screens:
                    screen.said(words.shown(prompts), klass, words.recorded(prompts))
            case e.Show(view, line, klass):
                for screen in self.outputs.screens:
                    screen.show(view, words.recorded((line,)) if line else None, words, klass)
