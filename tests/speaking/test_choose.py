"""Which voice is chosen, and what is said about it."""

from __future__ import annotations

import pytest

from assistant.errors import NoSuchPart
from assistant.plans.model import VoiceSettings
from assistant.speaking.choose import choose_engine, order
from assistant.speaking.engine import Engine
from assistant.speaking.espeak import CLEAREST, EspeakEngine
from tests.speaking.stand_ins import FlatVoice


def works(settings: VoiceSettings) -> tuple[Engine, str]:
    return FlatVoice(), "voice: flat"


def missing(name: str):  # noqa: ANN201
    def make(settings: VoiceSettings) -> tuple[Engine, str]:
        raise NoSuchPart(f"{name} is missing; mend: install {name}")

    return make


@pytest.mark.parametrize(("platform", "first"), [("linux", "espeak-ng"), ("darwin", "pyttsx3"), ("win32", "pyttsx3")])
def test_the_order_by_system(platform: str, first: str) -> None:
    assert order(platform)[0] == first


def test_the_second_stands_in_and_says_why() -> None:
    makers = {"espeak-ng": missing("espeak-ng"), "pyttsx3": works}
    choice = choose_engine(VoiceSettings(), "linux", makers)
    assert choice.line == "voice: flat (because espeak-ng is missing; mend: install espeak-ng)"


def test_no_voice_names_every_mend() -> None:
    makers = {"espeak-ng": missing("espeak-ng"), "pyttsx3": missing("pyttsx3")}
    with pytest.raises(NoSuchPart, match="no voice: .*install espeak-ng.*install pyttsx3"):
        choose_engine(VoiceSettings(), "linux", makers)


@pytest.mark.parametrize(("platform", "name"), [("linux", "espeak-ng"), ("darwin", "pyttsx3")])
def test_the_real_ones_speak_at_the_rate_of_the_shop_file(platform: str, name: str) -> None:
    choice = choose_engine(VoiceSettings(speech_rate=120), platform)
    try:
        assert choice.engine.name == name and choice.engine.words_a_minute == 120
        assert choice.line.startswith(f"voice: {name}")
        pcm = choice.engine.render("one two three")
        assert pcm is not None and pcm.seconds > 0.8
    finally:
        choice.engine.close()


def test_announcements_are_english_whatever_is_listened_for() -> None:
    engine = choose_engine(VoiceSettings(language="ko"), "linux").engine
    try:
        assert isinstance(engine, EspeakEngine) and engine.voice == CLEAREST["en"]
    finally:
        engine.close()
