"""`phrases`: everything that can be said, by state or as one JSON object a wording."""

from __future__ import annotations

import json

import pytest

from assistant.__main__ import main
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.intents import NAMED, PHRASED
from assistant.plans.model import VoiceSettings
from assistant.wording.phrases import listing, low_note, whole_table


@pytest.fixture(autouse=True)
def no_shop(tmp_path, monkeypatch):
    monkeypatch.setattr("assistant.plans.shop_file.default_shop_path", lambda: tmp_path / "none.toml")


def test_json_has_one_object_a_wording(capsys):
    assert main(["phrases", "--json"]) == 0
    output = capsys.readouterr()
    objects = [json.loads(line) for line in output.out.splitlines()]
    assert all({"intent", "phrase", "lead_in", "strict"} <= set(one) for one in objects)
    assert {one["intent"] for one in objects} == {*PHRASED, *NAMED}
    assert output.err == "", "our own phrases are known and unlike one another"


def test_text_is_the_whole_listing_and_what_the_low_notes_mean(capsys):
    assert main(["phrases"]) == 0
    text = capsys.readouterr().out
    assert text == f"{listing(whole_table(DEFAULT_CHECKS, VoiceSettings(), 1))}\n\n{low_note(VoiceSettings())}\n"


def test_what_the_low_notes_mean_is_explained_with_the_shops_own_lead_in(tmp_path, capsys):
    assert main(["phrases"]) == 0
    text = capsys.readouterr().out
    assert "A short low double note: what you said was not understood, or means nothing now" in text
    assert 'only when "marigold" was heard' in text
    shop = tmp_path / "shop.toml"
    shop.write_text("[blade]\nkerf = 3\n[voice]\ntone = false\n")
    assert main(["phrases", "--shop", str(shop)]) == 0
    text = capsys.readouterr().out
    assert "double note" not in text and "tone = false" in text


def test_an_answer_with_an_unknown_word_is_refused_by_name(tmp_path, capsys):
    shop = tmp_path / "shop.toml"
    shop.write_text(
        '[blade]\nkerf = 3\n[[checks]]\nname = "vise"\nsay = "vise?"\n'
        'answer = "zorkmid is fully closed"\nwhen = "setup"\n'
    )
    assert main(["phrases", "--shop", str(shop)]) == 2
    assert '"zorkmid"' in capsys.readouterr().err


def run_with(tmp_path, capsys, text, *options):
    shop = tmp_path / "shop.toml"
    shop.write_text("[blade]\nkerf = 3\n" + text)
    assert main(["phrases", "--shop", str(shop), *options]) == 0
    return capsys.readouterr()


def test_an_own_phrase_is_listed_in_place_of_ours(tmp_path, capsys):
    text = '[[phrases]]\nintent = "end"\nsay = ["that is all for today"]\n'
    output = run_with(tmp_path, capsys, text)
    assert "marigold that is all for today" in output.out and "finish the session" not in output.out
    assert output.err == ""


def test_an_unknown_word_is_refused_until_it_has_a_pronunciation(tmp_path, capsys):
    phrase = '[[phrases]]\nintent = "carry on"\nadd = ["wilco carrying on"]\n'
    shop = tmp_path / "unknown.toml"
    shop.write_text("[blade]\nkerf = 3\n" + phrase)
    assert main(["phrases", "--shop", str(shop)]) == 2
    assert '"wilco"' in capsys.readouterr().err
    output = run_with(tmp_path, capsys, phrase + '[pronunciations]\nwilco = "W IH L K OW"\n')
    assert "marigold wilco carrying on" in output.out


def test_phrases_that_sound_alike_and_do_no_harm_are_warned_of_and_no_fault(tmp_path, capsys):
    text = '[[phrases]]\nintent = "where"\nsay = ["say again my position"]\n'
    error = run_with(tmp_path, capsys, text).err
    assert '"say again position" and "say again my position" sound alike (distance 0.' in error


@pytest.mark.parametrize(("intent", "of"), [("cut", "return to previous"), ("back", "proceed to next pass")])
def test_a_phrase_that_could_be_taken_for_one_that_does_something_is_refused(tmp_path, capsys, intent, of):
    shop = tmp_path / "shop.toml"
    text = of.replace("to", "to the")
    shop.write_text(f'[blade]\nkerf = 3\n[[phrases]]\nintent = "{intent}"\nadd = ["{text}"]\n')
    assert main(["phrases", "--shop", str(shop)]) == 2
    output = capsys.readouterr()
    assert f'phrases[1].add: sounds too much like "{of}"' in output.err and output.out == ""


def test_another_language_is_listed_in_its_words(tmp_path, capsys):
    output = run_with(tmp_path, capsys, '[voice]\nlanguage = "ko"\n')
    assert "twice" not in output.out
    assert "무궁화 이번 절단 완료" in output.out and '12 is "하나 둘"' in output.out
    assert "knows English only" in output.err
    objects = [
        json.loads(line) for line in run_with(tmp_path, capsys, '[voice]\nlanguage = "ko"\n', "--json").out.splitlines()
    ]
    assert {one["intent"] for one in objects} == {*PHRASED, *NAMED}
    assert all(one["say"] == ("무궁화 " if one["lead_in"] else "") + one["phrase"] for one in objects)
