"""What a watch of keys puts on the queue of whoever makes gestures of them."""

from __future__ import annotations

from enum import StrEnum


class Move(StrEnum):
    """What happened to a key, or to the hearing of it."""

    PRESS = "press"
    RELEASE = "release"
    DROP = "drop"
    """Events were lost: whether the key is down is unknown."""
    ENDED = "ended"
    """The watch hears nothing any more."""
    WAKE = "wake"
    """Nothing has moved: it only ends a wait."""
