"""Dictated readings: the conversation alone, and one spoken to the real recogniser."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from assistant.__main__ import main
from assistant.calibrating.blunders import Caliper
from assistant.calibrating.board import Place
from assistant.calibrating.dictation import Dictation, answers, doubt_of, places_of, spec_for
from assistant.calibrating.readings import ReadingCollector
from assistant.hearing.digits import NO, READING, STRIKE, YES, spelled
from assistant.hearing.offline import hear_all
from assistant.plans.model import VoiceSettings
from tests.hearing.voices import need, padded, spoken
from tests.plans.files import write
from tests.sampling import every

SHOP = 'unit = "mm"\n[blade]\nkerf = 3.2\n'


def say(talk: Dictation, *said: str) -> list[str]:
    """Figures are readings; the rest are words."""
    lines: list[str] = []
    for text in said:
        lines += talk.hear(READING, text) if text[:1].isdigit() else talk.hear(text)
    return lines


def test_a_reading_is_read_back_and_taken_by_a_yes() -> None:
    talk = Dictation(["A", "B"])
    assert talk.ask() == "A: say the reading, digit by digit."
    assert say(talk, "6.34") == ["A: six point three four. Yes or no?"]
    assert talk.taken == []
    assert say(talk, YES) == ["B: say the reading, digit by digit."]
    assert say(talk, "6.35", YES)[-1] == "All readings are taken."
    assert talk.taken == [("A", "6.34"), ("B", "6.35")]
    assert talk.finished


def test_a_no_and_another_number_take_nothing() -> None:
    talk = Dictation(["A", "B"])
    say(talk, "6.43", NO, "6.84", "6.34", YES)
    assert talk.taken == [("A", "6.34")]


def test_strike_that_drops_what_is_open_and_then_what_was_taken() -> None:
    talk = Dictation(["A", "B"])
    say(talk, "6.34", YES, "6.35")
    assert say(talk, STRIKE)[0].startswith("Struck. B:")
    assert talk.taken == [("A", "6.34")]
    assert say(talk, STRIKE) == ["A, six point three four, is taken back. A: say the reading, digit by digit."]
    assert talk.taken == []
    assert say(talk, STRIKE, YES, NO) == [], "with nothing open or taken these say nothing"


def test_a_reading_many_times_off_is_questioned_as_it_is_read_back() -> None:
    collector = ReadingCollector([Place("A", Fraction("9.525"), "up", "")], "mm", {"A": Fraction("6.325")})
    talk = Dictation(["A"], doubt_of(collector))
    assert say(talk, "63.4") == [
        "A: six three point four. About 10 times too large; this place should give about 6.3 mm. Yes or no?"
    ]
    assert "length is over 10 m. Yes or no?" in say(talk, "6340000")[0]
    assert say(talk, "6.34") == ["A: six point three four. Yes or no?"]


def test_after_the_last_reading_no_number_is_heard() -> None:
    talk = Dictation(["A"])
    say(talk, "6.34", YES)
    assert say(talk, "6.35", YES) == []
    assert talk.taken == [("A", "6.34")]


def test_a_second_round_is_announced_as_such() -> None:
    talk = Dictation(["A", "B"] * 2)
    say(talk, "6.34", YES, "6.35", YES)
    assert talk.ask() == "A again: say the reading, digit by digit."


def test_what_was_not_understood_is_asked_again() -> None:
    assert say(Dictation(["A"]), "") == ["Not understood. Say it again."]


@pytest.mark.parametrize(
    ("step", "unit", "places"), [("0.01", "mm", 2), ("0.05", "mm", 2), ("0.0127", "in", 4), ("0.1", "mm", 1)]
)
def test_as_many_decimals_as_the_instrument_shows(step: str, unit: str, places: int) -> None:
    assert places_of(Caliper(step=Fraction(step), unit=unit)) == places


@pytest.mark.parametrize("voice", every(2, ["en-us", "flite:slt"]))
def test_a_conversation_is_heard_place_by_place(voice: str) -> None:
    """With a reading refused, one struck after its yes, and one not answered: those may be misheard."""
    need("flite" if voice.startswith("flite") else "espeak-ng")
    said = ["8.81", NO, "8.91", YES, "18.81", YES, STRIKE, "17.91", YES, "26.91", YES, "35.91", YES, "45.91"]
    words = (spelled(text) if text[:1].isdigit() else text for text in said)
    sound = b"".join(padded(spoken(voice, text), 0.6, 0.9) for text in words)
    talk = Dictation(list("ABCDEF"))
    found = hear_all(sound, (), spec_for(VoiceSettings(), Caliper()))
    lines = [line for one in found for line in answers(talk, one)]
    assert "A: eight point nine one. Yes or no?" in lines
    assert any(line.startswith("Struck. A") for line in lines)
    assert any("is taken back" in line for line in lines)
    assert talk.taken == [("A", "8.91"), ("B", "17.91"), ("C", "26.91"), ("D", "35.91")]


def test_without_a_board_there_are_no_places(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = write(tmp_path, SHOP, "shop.toml")
    assert main(["calibrate", "zero", "--shop", str(shop), "--dictate"]) == 2
    assert "dictation needs a test board with places to ask for" in capsys.readouterr().err
