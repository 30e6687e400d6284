"""The findings of `ready` about voice and loudspeaker."""

from __future__ import annotations

import pytest

from assistant.errors import NoSuchPart
from assistant.health import LIMITED, WORKS
from assistant.plans.model import VoiceSettings
from assistant.speaking import health

BOTH = {"outputs": ["Headset", "Screen"], "inputs": ["Headset"]}


def test_a_voice_that_can_not_be_had_is_text(monkeypatch: pytest.MonkeyPatch) -> None:
    def none(settings: VoiceSettings) -> None:
        raise NoSuchPart("no voice: none is installed")

    monkeypatch.setattr("assistant.speaking.choose.choose_engine", none)
    line = health.voice(VoiceSettings())
    assert line.state == LIMITED and "text on the screen only: no voice" in line.text and "espeakng-loader" in line.mend


def test_a_loudspeaker_is_named_and_how_many_more_there_are() -> None:
    line = health.loudspeaker(BOTH)
    assert (line.state, line.text, line.data) == (WORKS, "Headset and 1 more", {"devices": BOTH["outputs"]})


def test_the_loudspeaker_that_the_shop_file_asks_for_is_named() -> None:
    other = BOTH["outputs"][1]
    speaker = health.loudspeaker(BOTH, other.upper()[:-1])
    assert (speaker.state, speaker.text) == (WORKS, f"{other}, as the shop file asks")
    speaker = health.loudspeaker(BOTH, "porch")
    assert speaker.state == LIMITED and '"porch"' in speaker.text and other in speaker.text


@pytest.mark.parametrize("wanted", ["", "porch"])
def test_without_a_loudspeaker_text_is_on_the_screen(wanted: str) -> None:
    line = health.loudspeaker({"outputs": [], "inputs": []}, wanted)
    assert line.state == LIMITED and line.text == "text on the screen only: none found"
