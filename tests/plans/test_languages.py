"""A language is one file, checked like any other input, with all its faults reported at once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from assistant.errors import BadInput
from assistant.plans.intents import EAGER, NUMBERED, PHRASED, Intent
from assistant.plans.languages import (
    CHECKS,
    FOLDER,
    known_languages,
    language_of,
    read_language,
)
from assistant.plans.mishaps import Mishap

ENGLISH = (FOLDER / "en.toml").read_text(encoding="utf-8")


def faults_of(folder: Path, text: str) -> list[str]:
    path = folder / "en.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        read_language(path)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize("name", known_languages())
def test_every_language_that_is_there_is_whole(name: str) -> None:
    language = language_of(name)
    assert set(language.phrases) == set(PHRASED) and all(language.phrases.values())
    assert set(language.answers) == set(CHECKS) and all(language.answers.values())
    assert set(language.mishaps) == set(Mishap) and all(language.mishaps.values())
    assert set(PHRASED) - EAGER <= language.led
    assert len(language.digits) == 10 and all(language.digits)


def test_english_comes_first() -> None:
    assert known_languages()[0] == "en" and "ko" in known_languages()


def test_a_language_that_is_not_there_is_refused() -> None:
    with pytest.raises(BadInput, match="no such language.*en, ko"):
        language_of("../en")


def test_numbers_go_digit_by_digit_in_every_way_of_saying_them() -> None:
    """The radio words are those of ICAO Annex 10, volume II, 5.2.1.4.3."""
    language = language_of("en")
    assert language.numbers(120) == ["one two zero"]
    assert language.numbers(59) == ["five nine", "five niner", "fife nine", "fife niner"]
    assert language_of("ko").numbers(12) == ["하나 둘"]


def test_a_number_is_said_once_or_twice_as_its_intent_has_it() -> None:
    for intent in NUMBERED:
        assert language_of("en").in_full(intent, "one two") == "one two number one two"
        assert language_of("ko").in_full(intent, "하나 둘") == "하나 둘"


def test_a_short_wording_is_that_of_a_table_and_a_name_in_it() -> None:
    """A mishap and an intent could have one name, as a shop's own check and a mishap can."""
    short = language_of("en").short
    assert short[(Intent.MISHAP, "other blade")] == ("new blade",) and (Intent.CHECK, "other blade") not in short
    assert short[(Intent.END, None)] == ("finish now",)
    assert {intent for intent, name in short if name is not None} == {"check", "mishap"}


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('lead_in = "marigold"', 'lead_in = "mari gold"', "en.toml: lead_in: must be one word in lower-case letters"),
        ('lead_in = "marigold"', "", "en.toml: lead_in: is missing"),
        ('"return to previous"', '"go back"', "en.toml: phrases.back.say: has 2 syllables, too few"),
        ('"return to previous"', '"return 2 previous"', "en.toml: phrases.back.say: must be plain words, letters only"),
        ('"return to previous"', '"marigold return to"', "en.toml: phrases.back.say: must not begin with the lead-in"),
        ('"standing by for now"', '"wait now"', "en.toml: phrases.stand by.say: has 2 syllables"),
        ('["standing by for now", "stand by for me"]', "[]", "en.toml: phrases.stand by.say: must be 1 to 10 phrases"),
        ('say = ["standing by for now", "stand by for me"]', "", "en.toml: phrases.stand by.say: is missing"),
        ('again = "number"', 'again = "2"', "en.toml: phrases.go to.again: must be one word in lower-case letters"),
        ('again = "number"', 'again = "the number"', "en.toml: phrases.go to.again: must be one word"),
        (
            "[phrases.end]",
            "[phrases.ends]",
            "en.toml: phrases.ends: is not a table that Kerfcall knows; did you mean end?",
        ),
        (
            '"finish the session"',
            '"standing by for now then"',
            "en.toml: phrases.end.say: is like the phrase of phrases.stand",
        ),
        (
            '"all clamps are secure"',
            '"finish the session"',
            "en.toml: answers.clamps: is like the phrase of phrases.end",
        ),
        ('clamps = "all clamps are secure"', "", "en.toml: answers.clamps: is missing"),
        ("[digits]", "[numbers]", "en.toml: numbers: is not a table that Kerfcall knows"),
        ('8 = ["eight"]', '8 = ["nine"]', "en.toml: digits.9: is also the word for 8"),
        ('8 = ["eight"]', "", "en.toml: digits.8: is missing"),
        ('8 = ["eight"]', '8 = ["8"]', "en.toml: digits.8: must be one word in lower-case letters"),
        ("lead_in = true", "lead_in = false", "en.toml: phrases.cut.lead_in: can't be left out"),
        ('guard = ["guard fitted"]', '"stand by" = ["wait here"]', "en.toml: short.answers.stand by: can't be short"),
        ('guard = ["guard fitted"]', 'gard = ["guard fitted"]', "en.toml: short.answers.gard: can't be short"),
        ('guard = ["guard fitted"]', 'guard = ["on"]', "en.toml: short.answers.guard: has 1 syllable, too few"),
        ('guard = ["guard fitted"]', 'guard = ["marigold on"]', "en.toml: short.answers.guard: must not begin with"),
        (
            'guard = ["guard fitted"]',
            'guard = ["glue dry now"]',
            "en.toml: short.answers.glue dry and trimmed: is like the",
        ),
        ('chipped = ["finger', 'guard = ["finger', "en.toml: short.mishaps.guard: can't be short"),
        ('quicker = ["faster"]', 'no = ["cancel it"]', "en.toml: short.phrases.no: can't be short"),
        ("[short.mishaps]", "[short.mishap]", "en.toml: short.mishap: is not a table that Kerfcall knows"),
        (
            'chipped = ["finger broken off"]',
            'chipped = ["new blade on"]',
            "en.toml: short.mishaps.chipped: is like the phrase of short.mishaps.other blade",
        ),
        ('missed = "a pass has been left out"', "", "en.toml: mishaps.missed: is missing"),
        ('missed = "a pass has been', 'mist = "a pass has been', "en.toml: mishaps.mist: is not a key that Kerfcall"),
        ('"a pass has been left out"', '"left out"', "en.toml: mishaps.missed: has 2 syllables, too few"),
        (
            '"a pass has been left out"',
            '"all clamps are secure"',
            "en.toml: mishaps.missed: is like the phrase of answers.clamps",
        ),
        ('say = ["the figure is"]', 'say = ["number"]', "en.toml: phrases.figure.say: has 2 syllables, too few"),
        ('again = "number"', 'again = "number again"', "en.toml: phrases.figure.again: must be one word in"),
        (
            'guard = ["guard fitted"]',
            'guard = ["all clamps"]',
            "en.toml: short.answers.guard: is like the phrase of answers",
        ),
    ],
)
def test_a_faulty_file_is_refused_with_place_and_reason(tmp_path: Path, old: str, new: str, fault: str) -> None:
    assert old in ENGLISH
    assert any(line.startswith(fault) for line in faults_of(tmp_path, ENGLISH.replace(old, new))), fault


def test_all_faults_of_a_file_are_reported_at_once(tmp_path: Path) -> None:
    text = ENGLISH.replace('8 = ["eight"]', "").replace("[answers]", "[answer]").replace('"standing by for now"', '"a"')
    places = {re.split(r": ", line)[1] for line in faults_of(tmp_path, text)}
    assert {"digits.8", "answers", "answer", "phrases.stand by.say"} <= places


def test_only_what_asks_pauses_or_refuses_may_go_without_a_lead_in(tmp_path: Path) -> None:
    faults = faults_of(tmp_path, ENGLISH.replace("lead_in = true", "lead_in = false"))
    assert {line.split(": ")[1] for line in faults} == {f"phrases.{i}.lead_in" for i in PHRASED if i not in EAGER}
    assert Intent.GO_TO not in EAGER
