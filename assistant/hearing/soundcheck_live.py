"""The live part of `soundcheck`: microphone, prompts on the terminal, and a saw that only the operator starts."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import TextIO

from assistant.errors import CouldNotRun
from assistant.hearing.contract import BYTES_PER_S
from assistant.hearing.levels import SILENT, bar, level_of
from assistant.hearing.recorder import Listening, Recorder, microphone_name, next_utterance
from assistant.hearing.soundcheck import Saying, Taken
from assistant.wording.phrases import Phrase

LEVEL_S = 4.0  # of the room, and of the saw
WITHIN_S = 8.0  # in which a phrase must begin
ASKED = 3  # times for one phrase
GIVE_UP = 2  # phrases in a row without an answer
RUN_DOWN_S = 30.0  # for the blade to come to a stop
LOOK_S, QUIET_LOOKS = 0.5, 3  # it is quiet after so many quiet pieces of this length in a row
NEARLY_DB = 8.0  # up to so much over the room's level counts as quiet

CAUTION = """\
Nothing is cut in this check. Kerfcall can't start or stop the saw and doesn't know where your hands are.
The saw's manual comes first. No sound is kept, and nothing is sent anywhere."""
SAW_ON = """\
Next, {seconds:g} s of the saw's noise. This part is optional: to skip it, type s and press Enter.
No work on the table, guard in place, eye and hearing protection on. Start the saw yourself. Stand out of the
blade's line, touch nothing, say nothing. Press Enter when the saw is at full speed: """
SAW_OFF = (
    "Switch the saw off and wait until the blade has stopped. Nobody needs to speak while it runs. "
    "Press Enter when it is quiet: "
)


def take(prompted: Sequence[Phrase], with_saw: bool, out: TextIO, answer: Callable[[], str] | None = None) -> Taken:
    """Leads the operator through the recordings. answer: reads a line, for tests.

    Raises NoSuchPart without a microphone, CouldNotRun when the sound can't be used.
    """
    recorder = Recorder()
    try:
        return _Conversation(recorder, out, answer or sys.stdin.readline).take(prompted, with_saw)
    finally:
        recorder.close()


class _Conversation:
    def __init__(self, recorder: Recorder, out: TextIO, answer: Callable[[], str]) -> None:
        self._recorder, self._out, self._answer = recorder, out, answer

    def take(self, prompted: Sequence[Phrase], with_saw: bool) -> Taken:
        taken = Taken(microphone_name())
        self._say(f"{CAUTION}\n\nMicrophone: {taken.microphone}")
        self._say(f"First, {LEVEL_S:g} s of the room, with the saw off. Say nothing.")
        taken.quiet = self._record()
        room = level_of(taken.quiet).rms
        if room <= SILENT:
            raise CouldNotRun(
                f"the microphone is silent ({room:.0f} dBFS): it is muted, or it is the wrong one; choose the right "
                "one and turn its gain up in the system's sound settings"
            )
        if with_saw:
            taken.saw = self._take_saw(room)
        taken.said, taken.sayings = self._take_phrases(prompted)
        return taken

    def _say(self, text: str, end: str = "\n") -> None:
        print(text, end=end, file=self._out, flush=True)

    def _record(self) -> bytes:
        with self._meter() as show:
            return self._recorder.seconds(LEVEL_S, show)

    def _take_saw(self, room: float) -> bytes | None:
        self._say("\n" + SAW_ON.format(seconds=LEVEL_S), end="")
        line = self._answer()
        # The end of input counts as "skip" too: nobody is there to start a saw.
        if not line or line.strip().casefold().startswith("s"):
            self._say("Skipping the saw's noise.")
            return None
        saw = self._record()
        # Phrases are said only after the saw is off: nobody should have to speak beside a running blade.
        self._say(SAW_OFF, end="")
        self._answer()
        self._wait_for_quiet(room)
        return saw

    def _wait_for_quiet(self, room: float) -> None:
        """Waits for the blade to run down, since its noise would be taken for the first phrase.

        room: level with the saw off, dBFS. Raises CouldNotRun when it doesn't get quiet.
        """
        quiet, announced = 0, False
        for _ in range(round(RUN_DOWN_S / LOOK_S)):
            level = level_of(self._recorder.seconds(LOOK_S, lambda rms, peak: None)).rms
            quiet = quiet + 1 if level < room + NEARLY_DB else 0
            if quiet == QUIET_LOOKS:
                return
            if not announced:
                self._say("Waiting until it is as quiet as before ..")
                announced = True
        raise CouldNotRun(
            f"the room did not get quiet within {RUN_DOWN_S:g} s after the saw's noise; start again when it is quiet, "
            "or skip the saw with --no-saw"
        )

    def _take_phrases(self, prompted: Sequence[Phrase]) -> tuple[bytes, list[Saying]]:
        self._say(
            f"\nNow {len(prompted)} phrases, with the saw off. Say each as you would at the saw, without a pause."
        )
        listening, sayings, unsaid = Listening(), [], 0
        self._recorder.skip()  # what came before the first prompt is no answer
        for n, phrase in enumerate(prompted, 1):
            saying = self._ask(f"{n}/{len(prompted)}", phrase, listening)
            sayings.append(saying)
            unsaid = 0 if saying.said else unsaid + 1
            if unsaid == GIVE_UP:
                raise CouldNotRun(
                    f"nothing was heard for {GIVE_UP} phrases in a row, and nothing was kept; check which microphone "
                    "is chosen and how near it is"
                )
        # A second of silence, so that the last phrase ends.
        return bytes(listening.stream) + bytes(BYTES_PER_S), sayings

    def _ask(self, place: str, phrase: Phrase, listening: Listening) -> Saying:
        for _ in range(ASKED):
            self._say(f'{place}  say: "{phrase.text}"')
            with self._meter() as show:
                heard = next_utterance(self._recorder, listening, WITHIN_S, show)
            if heard is not None and not heard.reason:
                return Saying(phrase, heard.first, heard.end)
            self._say(f"      {heard.reason}; once more." if heard else "      Nothing was heard; once more.")
        return Saying(phrase, 0, 0)

    @contextlib.contextmanager
    def _meter(self) -> Iterator[Callable[[float, float], None]]:
        """Shows the level as a moving bar, on a terminal only."""
        terminal = self._out.isatty()

        def show(rms: float, peak: float) -> None:
            if terminal:
                self._say(f"\r      {bar(rms, peak)} {rms:5.0f} dBFS", end="")

        try:
            yield show
        finally:
            if terminal:
                self._say("\r" + " " * 64 + "\r", end="")
