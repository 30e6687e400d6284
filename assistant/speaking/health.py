"""What `ready` checks about speaking: the voice and the loudspeaker."""

from __future__ import annotations

from typing import Any

from assistant.errors import KerfcallError
from assistant.health import LIMITED, WORKS, Finding, pip
from assistant.hearing.health import device
from assistant.plans.model import VoiceSettings
from assistant.speaking.device import not_there, number_of


def voice(settings: VoiceSettings) -> Finding:
    """The engine and the voice that speak."""
    try:
        from assistant.speaking.choose import choose_engine

        choice = choose_engine(settings)
        close = getattr(choice.engine, "close", None)
        if close is not None:
            close()
    except (KerfcallError, ImportError) as error:
        return Finding("voice", LIMITED, f"text on the screen only: {error}", pip("espeakng-loader", "pyttsx3"))
    line = choice.line.removeprefix("voice: ").replace(", rendered in this process", "")
    return Finding("voice", WORKS, line, "", {"words_a_minute": settings.speech_rate})


def loudspeaker(devices: dict[str, Any], wanted: str = "") -> Finding:
    """The loudspeaker. devices: from `hearing.sound_child.asked`. wanted: the shop file's, "" for any."""
    finding = device("loudspeaker", devices, "outputs", "text on the screen only")
    names = devices.get("outputs") or []
    if not wanted or not names:
        return finding
    number = number_of(wanted, names)
    if number is None:
        mend = "connect it, or change [voice] loudspeaker in the shop file"
        return Finding("loudspeaker", LIMITED, not_there(wanted, names), mend, finding.data)
    return Finding("loudspeaker", WORKS, f"{names[number]}, as the shop file asks", "", finding.data)
