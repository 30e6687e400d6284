"""What a listening child and its parent tell each other: the first item of every message, which says what it is."""

from __future__ import annotations

from enum import StrEnum


class ToChild(StrEnum):
    LISTEN = "listen"
    """Phrases, generation: from now on only these count."""
    SPEAKING = "speaking"
    """Whether we speak, and since when, by the monotonic clock; None where there is no microphone."""
    AUDIO = "audio"
    """PCM, where the child has no microphone."""
    FLUSH = "flush"
    """The sound is at its end."""
    CLOSE = "close"
    CHUNK = "chunk"
    """PCM and when it came, from the child's own microphone."""


class FromChild(StrEnum):
    PROGRESS = "progress"
    """What has been loaded."""
    READY = "ready"
    """The recogniser's name, and why its denoiser was chosen."""
    FAILED = "failed"
    """Why it can't load."""
    ALIVE = "alive"
    """The loudest level since the last of these, dBFS; None without sound."""
    FOUND = "found"
    """What was found, and for each when it began and was decided."""
    MICROPHONE = "microphone"
    """Its `DeviceState`, and a line for the operator."""
    REFUSED = "refused"
    """Phrases with words that the recogniser doesn't know."""
    LIMITED = "limited"
    """A line for the operator: less can be heard than was promised."""
    DONE = "done"
    """The last message was acted on."""


class ToModel(StrEnum):
    """To the process of the neural model (`beside`)."""

    TEXTS = "texts"
    """What may be said."""
    PIECE = "piece"
    """Its number, and PCM."""
