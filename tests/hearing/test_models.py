"""Which recogniser is chosen, and what is said where it is not the best one."""

from __future__ import annotations

import importlib.util

import pytest

from assistant.errors import CouldNotRun, NoSuchPart
from assistant.hearing.models import choose, must_have
from assistant.plans.model import VoiceSettings
from tests.hearing import neural_made


@pytest.fixture
def without(monkeypatch):
    monkeypatch.setattr("assistant.hearing.neural_files.find", lambda places: None)


def test_for_english_the_neural_recogniser_leads():
    choice = choose(VoiceSettings(), [])
    assert (choice.recogniser, choice.model, choice.lacks) == ("moonshine", neural_made.folder(), "")
    assert must_have(choice) is choice


def test_without_its_model_pocketsphinx_listens_and_says_what_it_lacks(without):
    choice = choose(VoiceSettings(), [])
    assert choice.recogniser == "pocketsphinx" and not choice.stands_in
    assert "opposite" in choice.lacks and "pip install --no-deps moonshine-voice==0.1.0" in choice.lacks
    assert choose(VoiceSettings(recogniser="pocketsphinx"), []).lacks == "", "whoever asks for it has it"


def test_asked_for_and_missing_it_is_named(without):
    choice = choose(VoiceSettings(recogniser="moonshine"), [])
    assert choice.stands_in and "moonshine's model is not installed" in choice.why
    with pytest.raises(CouldNotRun, match="not installed"):
        must_have(choice)


@pytest.mark.parametrize("library", ["onnxruntime", "pocketsphinx"])
def test_a_missing_library_is_named(library, monkeypatch):
    folder, found = neural_made.folder(), importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == library else found(name))
    monkeypatch.setattr("assistant.hearing.neural_files.find", lambda places: folder)
    if library == "pocketsphinx":
        with pytest.raises(NoSuchPart, match="pip install pocketsphinx"):
            choose(VoiceSettings(), [])
    else:
        assert "pip install onnxruntime" in choose(VoiceSettings(), []).why


def test_another_language_has_no_use_for_it():
    with pytest.raises(NoSuchPart, match="English only"):
        choose(VoiceSettings(language="ko"), [])


def test_a_model_that_the_shop_file_names_comes_first(tmp_path):
    choice = choose(VoiceSettings(model=str(tmp_path)), [])
    assert choice.recogniser == "pocketsphinx" and "is broken" in choice.why
