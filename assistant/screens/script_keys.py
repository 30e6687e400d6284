"""The terminal's keys in a rehearsal: a script's lines press them, and they mean the same as in a live session."""

from __future__ import annotations

from assistant.runner.contracts import Clock
from assistant.screens.key_meanings import KeyMeanings, event_of
from assistant.session.events import Event


class ScriptKeys:
    """Keys as in a terminal while no pedal is heard."""

    def __init__(self, clock: Clock, pedal_key: str) -> None:
        """pedal_key: the shop file's; it means a tap, as in a terminal."""
        self._clock = clock
        self._meanings = KeyMeanings(pedal_key)

    def press(self, key: str) -> Event | None:
        """What pressing the key does now; None if it asks for more keys or counts as one kept down."""
        at = self._clock.at()
        meaning = self._meanings.press(key, at, pedal_alive=False)
        return event_of(meaning, at, self._clock.utc()) if meaning else None
