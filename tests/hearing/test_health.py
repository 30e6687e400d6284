"""The findings of `ready` about hearing: noise suppression, recogniser, microphone and its level."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import NoSuchPart
from assistant.health import LIMITED, WORKS, Finding
from assistant.hearing import denoise, health
from assistant.hearing.contract import RATE
from assistant.hearing.models import ModelFolder
from assistant.hearing.sound_child import figures
from assistant.plans.model import Check, VoiceSettings
from tests.hearing.voices import pcm, sine_of

DEVICES = {"outputs": [], "inputs": ["Headset"]}


def level(sound: np.ndarray) -> Finding:
    return health.level(DEVICES, figures(pcm(sound)))


def spoken(dbfs: float, room_dbfs: float = -70) -> np.ndarray:
    """Half a second of speech's level in a second and a half of room."""
    sound = np.random.default_rng(1).standard_normal(round(1.5 * RATE)) * 10 ** (room_dbfs / 20)
    sound[RATE // 2 : RATE] += sine_of(dbfs, 0.5)
    return sound


@pytest.mark.parametrize(
    ("sound", "state", "words"),
    [
        (np.zeros(RATE), LIMITED, "silent"),
        (sine_of(-90), LIMITED, "silent"),
        (np.clip(sine_of(3), -1, 0.99), LIMITED, "clipping"),
        (np.clip(sine_of(3), -0.5, 0.5), LIMITED, "clipping"),
        (sine_of(-3.01), LIMITED, "clipping"),
        (sine_of(-6), WORKS, "steady sound"),
        (spoken(-50), LIMITED, "too quiet for speech"),
        (sine_of(-80), LIMITED, "too quiet, even for a room"),
        (spoken(-20), WORKS, "speech"),
        (sine_of(-60), WORKS, "nobody spoke"),
        (sine_of(-30), WORKS, "steady sound"),
    ],
)
def test_a_level_is_told_with_what_is_wrong_with_it(sound: np.ndarray, state: str, words: str) -> None:
    line = level(sound)
    assert line.state == state and words in line.text, line
    assert bool(line.mend) is (state == LIMITED)


def test_a_level_has_a_figure_and_a_bar() -> None:
    """-20 dBFS lies three quarters up from -80 to 0."""
    line = level(sine_of(-20))
    assert line.text.startswith("-20 dBFS [" + "#" * 15 + "." * 5 + "]")
    assert line.data["rms_dbfs"] == pytest.approx(-20, abs=0.05)
    assert len(line.text) < 56


def test_a_moment_of_nothing_at_the_beginning_is_not_taken_for_a_pause_in_speech() -> None:
    """A sound server's first buffers may be empty."""
    sound = sine_of(-60)
    sound[: RATE // 5] = 0
    assert level(sound).data["spoken"] is False


def test_a_microphone_is_named_and_how_many_more_there_are() -> None:
    line = health.microphone(DEVICES)
    assert (line.state, line.text, line.data) == (WORKS, "Headset", {"devices": ["Headset"]})
    assert health.microphone({"inputs": ["Headset", "Camera"]}).text == "Headset and 1 more"


def test_without_a_microphone_pedal_and_keys_stand_in() -> None:
    none: dict[str, list[str]] = {"outputs": [], "inputs": []}
    line = health.microphone(none)
    assert line.state == LIMITED and line.text == "pedal and keys only: none found" and line.data == {"devices": []}
    assert (health.level(none, {}).state, health.level(none, {}).text) == (LIMITED, "nothing to measure")


def without_rnnoise() -> denoise.Denoiser:
    raise NoSuchPart("RNNoise is not installed; pip install --no-deps pyrnnoise")


class Stub(denoise.Plain):
    name = "rnnoise"


@pytest.mark.parametrize(
    ("asked", "rnnoise", "state", "chosen", "words"),
    [
        ("auto", Stub, WORKS, "rnnoise", "RNNoise: its library is installed"),
        (
            "auto",
            without_rnnoise,
            LIMITED,
            "spectral",
            "built-in suppression, weaker near a saw: RNNoise is not inst",
        ),
        ("rnnoise", without_rnnoise, LIMITED, "spectral", "the shop file asks for rnnoise: RNNoise is not installed"),
        ("rnnoise", Stub, WORKS, "rnnoise", "RNNoise, as the shop file asks"),
        ("spectral", Stub, WORKS, "spectral", "the built-in suppression, as the shop file asks"),
        ("none", Stub, WORKS, "none", "no suppression, as the shop file asks"),
    ],
)
def test_noise_suppression_is_told_with_its_reason(
    asked: str,
    rnnoise: Callable[[], denoise.Denoiser],
    state: str,
    chosen: str,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(denoise, "_rnnoise", rnnoise)
    monkeypatch.setitem(denoise.MAKERS, "rnnoise", rnnoise)
    line = health.noise(VoiceSettings(denoiser=asked))
    assert (line.state, line.data) == (state, {"chosen": chosen, "asked_for": asked})
    assert words in line.text
    assert ("pip install --no-deps pyrnnoise" in line.mend) is (state == LIMITED)


def test_the_noise_suppression_told_is_the_one_that_hearing_takes() -> None:
    chosen, _ = denoise.choose_denoiser("auto")
    assert health.noise(VoiceSettings()).data["chosen"] == chosen.name


def test_the_recogniser_is_told_with_its_model(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    line = health.recogniser(VoiceSettings(recogniser="pocketsphinx"))
    assert line.data == {"recogniser": "pocketsphinx", "model": None, "language": "en"}
    assert (line.state, line.text) == (WORKS, "pocketsphinx, its own model: the shop file asks for it")
    folder = tmp_path / "vosk-model-small-en"
    monkeypatch.setattr(
        "assistant.hearing.models.find_models", lambda voice, folders=None: [ModelFolder(folder, "", (), True)]
    )
    monkeypatch.setattr("assistant.hearing.models._vosk_missing", lambda found, usable: "")
    line = health.recogniser(VoiceSettings(recogniser="vosk"))
    assert line.data["model"] == str(folder) and line.text == f"vosk, {folder}"
    monkeypatch.setattr(health, "importable", lambda name: False)
    line = health.recogniser(VoiceSettings(recogniser="pocketsphinx"))
    assert (line.state, line.mend) == (LIMITED, "python -m pip install pocketsphinx")


def test_without_the_neural_model_it_says_what_cannot_be_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.hearing.models.find_models", lambda voice, folders=None: [])
    line = health.recogniser(VoiceSettings())
    assert (line.state, line.data["recogniser"]) == (WORKS, "moonshine")
    monkeypatch.setattr("assistant.hearing.neural_files.find", lambda places: None)
    line = health.recogniser(VoiceSettings())
    assert (line.state, line.data["recogniser"]) == (LIMITED, "pocketsphinx")
    assert "can take an opposite" in line.text and line.mend == "pip install --no-deps moonshine-voice==0.1.0"


def test_a_damaged_neural_model_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "encoder_model.ort").write_bytes(b"x")
    monkeypatch.setattr("assistant.hearing.neural_files.find", lambda places: tmp_path)
    line = health.recogniser(VoiceSettings())
    assert line.state == LIMITED and "encoder_model.ort is another file" in line.text


def test_a_recogniser_that_was_asked_for_and_is_not_there_is_stood_in_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.hearing.models.find_models", lambda voice, folders=None: [])
    line = health.recogniser(VoiceSettings(recogniser="vosk"))
    assert line.state == LIMITED and line.data["recogniser"] == "pocketsphinx" and "models list" in line.mend


def test_words_that_the_recogniser_does_not_know_are_named_on_its_line() -> None:
    own = Check("dust port", "dust port open?", "the dust port is wide qzxopen", "setup")
    line = health.recogniser(VoiceSettings(recogniser="pocketsphinx", lead_in="zxqwort"), (own,))
    assert line.state == LIMITED and line.data["unknown"] == ["zxqwort", "qzxopen"]
    assert '"zxqwort", "qzxopen"' in line.text and "kerfcall phrases" in line.mend
    taught = VoiceSettings(
        recogniser="pocketsphinx", lead_in="zxqwort", pronunciations=(("zxqwort", "Z EH K S W ER T"),)
    )
    assert health.recogniser(taught).state == WORKS
