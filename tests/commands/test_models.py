"""`models` shows what is found, what is used and why. `verify` fails for a broken model. `get` says what it does."""

from __future__ import annotations

import json

import pytest

from assistant.__main__ import main
from assistant.commands import models as command
from assistant.hearing.download import known_models
from tests.hearing.test_download import ARCHIVE, NAME, site  # noqa: F401 (a fixture)


@pytest.fixture
def data(tmp_path, monkeypatch):
    monkeypatch.setattr("assistant.hearing.models.search_folders", lambda: [("user data", tmp_path)])
    monkeypatch.setattr("assistant.commands.models.search_folders", lambda: [("user data", tmp_path)])
    monkeypatch.setattr("assistant.plans.shop_file.default_shop_path", lambda: tmp_path / "none.toml")
    monkeypatch.setattr("assistant.hearing.neural_files.find", lambda places: None)
    return tmp_path


def test_without_a_model_pocketsphinx_is_used_and_the_reason_given(data, capsys):
    assert main(["models", "list"]) == 0
    text = capsys.readouterr().out
    assert text.startswith("pocketsphinx listens") and "moonshine's model is not installed" in text
    assert str(data) in text
    assert main(["models", "verify", "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["used"]["recogniser"] == "pocketsphinx" and report["models"] == []


def test_a_broken_model_is_named_and_not_used(data, capsys):
    (data / "vosk-model-small-en-us-0" / "am").mkdir(parents=True)
    assert main(["models", "verify", "--json"]) == 3
    report = json.loads(capsys.readouterr().out)
    assert report["used"]["recogniser"] == "pocketsphinx"
    assert any("graph/HCLr.fst: is missing" in fault for fault in report["models"][0]["faults"])


@pytest.fixture
def offered(site, data, monkeypatch):  # noqa: F811
    """The loopback server's model is the only one listed."""
    monkeypatch.setattr(command, "known_models", lambda: [site.model()])
    return site


def test_get_says_what_from_where_and_to_where_and_what_is_used_then(offered, data, capsys):
    assert main(["models", "get"]) == 0
    out = capsys.readouterr().out
    size = f"{len(ARCHIVE) / 1e6:.1f} MB"
    assert f"Fetching {NAME}: {size}, licence Apache-2.0\n  from {offered.url}\n  to   {data / NAME}" in out
    assert out.index("Fetching") < out.index("100 %") < out.index("SHA-256 are right") < out.index("is in place")
    assert "\r" not in out and out.count(" MB, ") <= 12
    assert f"vosk listens, with the model {data / NAME} (user data)" in out


def test_a_model_that_is_not_used_then_comes_with_what_to_do(offered, data, capsys, monkeypatch):
    monkeypatch.setattr("assistant.hearing.neural_files.find", lambda places: data)
    assert main(["models", "get"]) == 0
    out = capsys.readouterr().out
    assert "moonshine's tiny English model listens" in out and '[voice] recogniser = "vosk"' in out


def test_get_again_says_that_it_is_there(offered, data, capsys):
    assert main(["models", "get", NAME]) == 0
    capsys.readouterr()
    assert main(["models", "get", NAME]) == 0
    out = capsys.readouterr().out
    assert out.startswith(f"{data / NAME} is there already, and whole.") and "vosk listens" in out
    assert len(offered.asked) == 1


def test_get_for_programs_is_one_object(offered, data, capsys):
    assert main(["models", "get", "--json"]) == 0
    streams = capsys.readouterr()
    report = json.loads(streams.out)
    assert report["fetched"] is True and report["used"]["model"] == report["folder"] == str(data / NAME)
    assert "Fetching" in streams.err


def test_get_that_fails_exits_3_with_the_mend(offered, data, capsys):
    offered.code = 404
    assert main(["models", "get"]) == 3
    assert "is no longer there (HTTP 404); look on" in capsys.readouterr().err
    assert not (data / NAME).exists()


def test_an_unknown_name_exits_2_with_the_near_one(data, capsys):
    assert main(["models", "get", "vosk-small-en"]) == 2
    assert f"did you mean {known_models()[0].name}?" in capsys.readouterr().err


@pytest.mark.parametrize("action", ["list", "verify"])
def test_a_name_belongs_to_get_only(data, capsys, action):
    assert main(["models", action, "x"]) == 2
    assert f'models {action}: there is no place for this (got "x")' in capsys.readouterr().err


def test_the_list_tells_how_to_get_one(data, capsys):
    main(["models", "list"])
    out = capsys.readouterr().out
    assert "kerfcall models get" in out and known_models()[0].name in out
