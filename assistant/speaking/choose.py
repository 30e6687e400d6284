"""Chooses the voice that speaks, and says why."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.errors import NoSuchPart
from assistant.plans.model import VoiceSettings

if TYPE_CHECKING:
    from assistant.speaking.engine import Engine

ANNOUNCED = "en"  # announcements are in English, whatever the language of the phrases


@dataclass(frozen=True, slots=True)
class ChosenEngine:
    """The engine, and a line for the screen that says which it is and why."""

    engine: Engine
    line: str


def _espeak(settings: VoiceSettings) -> tuple[Engine, str]:
    from assistant.speaking.espeak import CLEAREST, EspeakEngine

    engine = EspeakEngine(CLEAREST[ANNOUNCED], settings.speech_rate)
    return engine, f"voice: {engine.description}, rendered in this process"


def _pyttsx3(settings: VoiceSettings) -> tuple[Engine, str]:
    from assistant.speaking.pyttsx3_engine import Pyttsx3Engine

    engine = Pyttsx3Engine(None, settings.speech_rate, ANNOUNCED)
    return engine, f"voice: {engine.description}, the system's own voice, rendered in a separate process"


EngineMaker = Callable[[VoiceSettings], "tuple[Engine, str]"]
MAKERS: dict[str, EngineMaker] = {"espeak-ng": _espeak, "pyttsx3": _pyttsx3}


def order(platform: str) -> tuple[str, str]:
    """The engines in the order to try. espeak-ng comes first on Linux, where pyttsx3 loses phrases, else pyttsx3."""
    return ("espeak-ng", "pyttsx3") if platform.startswith("linux") else ("pyttsx3", "espeak-ng")


def choose_engine(
    settings: VoiceSettings, platform: str = sys.platform, makers: dict[str, EngineMaker] = MAKERS
) -> ChosenEngine:
    """The first voice that works on this system. Raises NoSuchPart with every reason, and what to do, if none does."""
    reasons: list[str] = []
    for name in order(platform):
        try:
            engine, line = makers[name](settings)
        except NoSuchPart as error:
            reasons.append(str(error))
            continue
        return ChosenEngine(engine, f"{line} (because {'; '.join(reasons)})" if reasons else line)
    raise NoSuchPart(f"no voice: {'; '.join(reasons)}")
