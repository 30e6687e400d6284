"""`models`: what is found, what is used and why; `verify` fails for a broken model."""

from __future__ import annotations

import json

import pytest

from assistant.__main__ import main


@pytest.fixture
def data(tmp_path, monkeypatch):
    monkeypatch.setattr("assistant.hearing.models.search_folders", lambda: [("user data", tmp_path)])
    monkeypatch.setattr("assistant.commands.models.search_folders", lambda: [("user data", tmp_path)])
    monkeypatch.setattr("assistant.commands.hear.default_shop_path", lambda: tmp_path / "none.toml")
    return tmp_path


def test_without_a_model_pocketsphinx_is_used_and_the_reason_given(data, capsys):
    assert main(["models", "list"]) == 0
    text = capsys.readouterr().out
    assert text.startswith("pocketsphinx listens") and "no vosk model" in text.casefold() and str(data) in text
    assert main(["models", "verify", "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["used"]["recogniser"] == "pocketsphinx" and report["models"] == []


def test_a_broken_model_is_named_and_not_used(data, capsys):
    (data / "vosk-model-small-en-us-0" / "am").mkdir(parents=True)
    assert main(["models", "verify", "--json"]) == 3
    report = json.loads(capsys.readouterr().out)
    assert report["used"]["recogniser"] == "pocketsphinx"
    assert any("graph/HCLr.fst: is missing" in fault for fault in report["models"][0]["faults"])
