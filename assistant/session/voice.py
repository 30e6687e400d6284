"""Louder, quieter, slower, quicker: answered in the new voice. Nothing is recorded or moved."""

from __future__ import annotations

from assistant.plans.intents import Intent
from assistant.plans.voice_range import stepped_loudness, stepped_rate
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.effects import prompt
from assistant.session.kinds import Klass
from assistant.session.state import State
from assistant.session.turn import Turn

# Intent -> steps of loudness, steps of pace, the answer, the answer at the end of the range.
_STEPS: dict[Intent, tuple[int, int, e.Prompt, e.Prompt]] = {
    Intent.LOUDER: (1, 0, prompt("louder"), prompt("loudest")),
    Intent.QUIETER: (-1, 0, prompt("quieter"), prompt("softest")),
    Intent.SLOWER: (0, -1, prompt("slower"), prompt("slowest")),
    Intent.QUICKER: (0, 1, prompt("quicker"), prompt("quickest")),
}


def voice_of(state: State) -> e.SetVoice:
    """How announcements are spoken now."""
    voice = state.the_job.voice
    return e.SetVoice(stepped_loudness(voice.loudness, state.louder), stepped_rate(voice.speech_rate, state.quicker))


def to_keep(state: State) -> tuple[str, ...]:
    """The [voice] lines for the shop file that would keep this run's changes; none if nothing was changed."""
    voice, now = state.the_job.voice, voice_of(state)
    lines = (
        f"loudness = {now.loudness_db}" if now.loudness_db != voice.loudness else "",
        f"speech_rate = {now.rate}" if now.rate != voice.speech_rate else "",
    )
    return tuple(line for line in lines if line)


def change_voice(turn: Turn, intent: Intent) -> None:
    """One step. The answer waits for current speech, so that it cuts off no setting and no question."""
    louder, quicker, done, end = _STEPS[intent]
    before = voice_of(turn.state)
    was = turn.state
    turn.fact(f.VoiceSet(was.louder + louder, was.quicker + quicker))
    after = voice_of(turn.state)
    if after == before:
        # At the end of the range the step is taken back, or the first one the other way would do nothing.
        turn.fact(f.VoiceSet(was.louder, was.quicker))
    else:
        turn.effect(after)
    turn.add_notice(end if after == before else done, klass=Klass.ANSWER)
