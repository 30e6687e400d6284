"""`hear`: one JSON line an utterance."""

from __future__ import annotations

import json

import pytest

from assistant.__main__ import main
from tests.hearing.voices import need, padded, spoken, write_wav

KEYS = {"from_s", "to_s", "phrase", "intent", "argument", "reason", "heard", "measures"}


def lines(capsys):
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_every_utterance_has_its_time_phrase_or_reason(tmp_path, capsys):
    need("espeak-ng")
    sound = padded(spoken("en-us", "marigold proceed to next pass"), 1.0, 1.0)
    sound += padded(spoken("en-us", "we need more sandpaper next week"), 0.5, 0.8)
    wav = write_wav(tmp_path / "a.wav", sound)
    assert main(["hear", str(wav), "--recogniser", "pocketsphinx"]) == 0
    first, second = lines(capsys)
    assert set(first) == KEYS
    assert (first["intent"], first["phrase"], first["reason"]) == ("cut", "proceed to next pass", "")
    assert abs(first["from_s"] - 1.0) < 0.06 < first["to_s"] - first["from_s"]
    assert second["phrase"] is None and second["intent"] is None and second["reason"]


@pytest.mark.long
def test_denials_are_refused_by_name(tmp_path, capsys):
    """As in a session, the phrases that are listened for only to be refused are listened for here too."""
    need("espeak-ng")
    denied, nearly = "setting bar is not put away", "never finish the session"
    sound = b"".join(padded(spoken("en-us", f"marigold {said}"), 0.8, 0.8) for said in (denied, nearly))
    assert main(["hear", str(write_wav(tmp_path / "a.wav", sound)), "--recogniser", "pocketsphinx"]) == 0
    assert [(line["intent"], line["reason"]) for line in lines(capsys)] == [
        (None, f'heard "{denied}": that is not the answer'),
        (None, f'heard "{nearly}": that is not a phrase'),
    ]


def test_a_silent_file_gives_no_line_and_a_bad_one_exit_code_2(tmp_path, capsys):
    quiet = write_wav(tmp_path / "a.wav", bytes(64000))
    assert main(["hear", str(quiet), "--recogniser", "pocketsphinx"]) == 0
    printed = capsys.readouterr()
    assert (printed.out, printed.err) == ("", f"kerfcall: {quiet}: nobody speaks in its 2.0 s of sound\n")
    quiet.write_bytes(quiet.read_bytes()[:32_044])
    assert main(["hear", str(quiet), "--recogniser", "pocketsphinx"]) == 0
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.splitlines() == [
        f"kerfcall: {quiet}: the file is cut short: its header promises 2.0 s of sound, but it has 1.0 s",
        f"kerfcall: {quiet}: nobody speaks in its 1.0 s of sound",
    ]
    assert main(["hear", str(tmp_path / "missing.wav")]) == 2
    assert "missing.wav" in capsys.readouterr().err


@pytest.mark.long
def test_the_shop_files_lead_in_is_listened_for_and_an_unknown_word_refused_by_name(tmp_path, capsys):
    need("flite")
    wav = write_wav(tmp_path / "a.wav", padded(spoken("flite:slt", "elephant finish the session")))
    shop = tmp_path / "shop.toml"
    shop.write_text('[blade]\nkerf = 3\n[voice]\nlead_in = "elephant"\n')
    command = ["hear", str(wav), "--recogniser", "pocketsphinx", "--shop", str(shop)]
    assert main(command) == 0
    assert [line["intent"] for line in lines(capsys)] == ["end"]
    shop.write_text('[blade]\nkerf = 3\n[voice]\nlead_in = "zorkmid"\n')
    assert main(command) == 2
    assert '"zorkmid"' in capsys.readouterr().err
