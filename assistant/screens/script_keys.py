"""The terminal's keys in a rehearsal: pressed by the lines of a script, with the meanings that they have live."""

from __future__ import annotations

from assistant.runner.contracts import Clock
from assistant.screens.key_meanings import KeyMeanings, event_of
from assistant.session.events import Event


class ScriptKeys:
    """Keys as a terminal has them while no pedal is heard."""

    def __init__(self, clock: Clock, pedal_key: str) -> None:
        """pedal_key: of the shop file; as a tap it stands in for a pedal, where it can."""
        self._clock = clock
        self._meanings = KeyMeanings(pedal_key)

    def press(self, key: str) -> Event | None:
        """What pressing it now does; None where it asks for more keys or is taken for one kept down."""
        at = self._clock.at()
        meaning = self._meanings.press(key, at, pedal_alive=False)
        return event_of(meaning, at, self._clock.utc()) if meaning else None
