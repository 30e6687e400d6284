"""`phrases`: everything that can be said, by state or as one JSON object a wording."""

from __future__ import annotations

import json

import pytest

from assistant.__main__ import main
from assistant.wording.phrases import INTENTS, SAID_WHEN


@pytest.fixture(autouse=True)
def no_shop(tmp_path, monkeypatch):
    monkeypatch.setattr("assistant.commands.hear.default_shop_path", lambda: tmp_path / "none.toml")


def test_json_has_one_object_a_wording(capsys):
    assert main(["phrases", "--json"]) == 0
    output = capsys.readouterr()
    objects = [json.loads(line) for line in output.out.splitlines()]
    assert all({"intent", "phrase", "lead_in", "strict"} <= set(one) for one in objects)
    assert {one["intent"] for one in objects} == {*INTENTS, "check"}
    assert output.err == "", "our own phrases are known and unlike one another"


def test_text_has_a_paragraph_a_state(capsys):
    assert main(["phrases"]) == 0
    text = capsys.readouterr().out
    assert all(f"{state}:" in text for state in SAID_WHEN)
    assert "marigold all clamps are secure" in text


def test_an_answer_with_an_unknown_word_is_refused_by_name(tmp_path, capsys):
    shop = tmp_path / "shop.toml"
    shop.write_text(
        '[blade]\nkerf = 3\n[[checks]]\nname = "vise"\nsay = "vise?"\n'
        'answer = "zorkmid is fully closed"\nwhen = "setup"\n'
    )
    assert main(["phrases", "--shop", str(shop)]) == 2
    assert '"zorkmid"' in capsys.readouterr().err
