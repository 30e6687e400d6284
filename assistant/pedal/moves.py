"""What a watch of keys puts on the queue for the gesture maker."""

from __future__ import annotations

from enum import StrEnum


class KeyMove(StrEnum):
    """What happened to a key, or to the watch that hears it."""

    PRESS = "press"
    RELEASE = "release"
    DROP = "drop"
    """Events were lost, so nobody knows whether the key is down."""
    ENDED = "ended"
    """The watch hears nothing any more."""
    WAKE = "wake"
    """Nothing has moved: this only ends a wait."""
