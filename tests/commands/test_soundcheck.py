"""`soundcheck`: levels, each phrase with the saw off and on, the advice, and what is kept. Driven by WAV files."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from assistant.__main__ import main
from assistant.files import prepared
from assistant.hearing import own_scores, soundcheck_run
from assistant.hearing.contract import RATE
from assistant.hearing.ear import Found
from assistant.hearing.offline import hear_all
from assistant.hearing.own_scores import OwnScores, Scores, voice_folder
from assistant.hearing.soundcheck import OLD_FILE, prompts
from assistant.plans.checks import DEFAULT_CHECKS
from tests.hearing.voices import floats, need, padded, pcm, saw_noise, spoken, write_wav
from tests.plans.files import SHOP

CHOSEN = ("standing by for now", "return to previous", "clamps")
TEXTS = tuple(phrase.text for phrase in prompts(DEFAULT_CHECKS, "marigold", CHOSEN))
BACK, STAND_BY, CLAMPS = TEXTS
ROUNDS = 2
SPEECH = 0.5  # of the voices' own level: -3 dB at the peak
ROOM = 0.001


def room(samples: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(samples) * ROOM


@pytest.fixture(autouse=True)
def data_folder(tmp_path, monkeypatch) -> Path:
    folder = tmp_path / "data"
    monkeypatch.setattr("platformdirs.user_data_path", lambda app: folder / app)
    monkeypatch.setenv("XDG_DATA_HOME", str(folder))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return folder


_HEARD: dict[tuple[object, ...], list[Found]] = {}


@pytest.fixture(autouse=True)
def heard_once(monkeypatch) -> None:
    """The same sound is heard the same way: most tests have their recordings in common, and hear them once."""

    def heard(stream: bytes, table, spec, show) -> list[Found]:
        key = (hashlib.sha256(stream).digest(), tuple(table), spec)
        if key not in _HEARD:
            _HEARD[key] = list(hear_all(stream, table, spec, show))
        return _HEARD[key]

    monkeypatch.setattr(soundcheck_run, "hear_all", heard)


def said(texts=TEXTS * ROUNDS, voice: str = "en-us", gain: float = SPEECH) -> bytes:
    need("espeak-ng")
    samples = floats(b"".join(padded(spoken(voice, text), 0.8, 1.2) for text in texts)) * gain
    return pcm(samples + room(len(samples), 1))


def files(folder: Path, snr_db: float = 15, speech: bytes | None = None, saw: bytes | None = None) -> list[str]:
    """The three recordings as arguments. snr_db: of the usual speech over the saw."""
    speech = said() if speech is None else speech
    level = SPEECH * float(np.std([x for x in floats(spoken("en-us", TEXTS[0])) if abs(x) > 500 / 32768]))
    if saw is None:
        saw = pcm(saw_noise(4 * RATE, 4) * level / 10 ** (snr_db / 20) + room(4 * RATE))
    paths = {"quiet": pcm(room(4 * RATE, 2)), "saw": saw, "said": speech}
    return [word for name in paths for word in (f"--{name}", str(write_wav(folder / f"{name}.wav", paths[name])))]


def without_saw(words: list[str]) -> list[str]:
    """The same recordings but for the saw's."""
    place = words.index("--saw")
    return [*words[:place], *words[place + 2 :], "--no-saw"]


def command(*words: str, rounds: int = ROUNDS, phrases: Sequence[str] = CHOSEN) -> list[str]:
    return ["soundcheck", "--rounds", str(rounds), *words, "--phrases", *phrases]


def result(capsys) -> dict:
    return json.loads(capsys.readouterr().out)


# --- recordings


def test_the_order_is_what_is_to_be_said_one_a_line(capsys):
    assert main(command("--order")) == 0
    assert capsys.readouterr().out.splitlines() == list(TEXTS * ROUNDS)


@pytest.mark.long
def test_all_is_heard_in_moderate_noise_and_kept_until_it_is_forgotten(tmp_path, capsys, data_folder):
    assert main(command("--json", *files(tmp_path), "--microphone", "Headset 2")) == 0
    found = result(capsys)
    assert [line["phrase"] for line in found["phrases"]] == list(TEXTS)
    for line in found["phrases"]:
        assert (line["said"], line["saw_off"]["heard"], line["saw_on"]["heard"]) == (2, 2, 2), line
        assert (line["advice"], line["distrust"]) == ("voice", "")
    assert found["advice"] == "voice"
    assert found["speech_over_noise_db"]["saw"] == pytest.approx(15, abs=3)
    assert found["levels"]["quiet"]["rms_dbfs"] == pytest.approx(-60, abs=0.5)
    assert all(level["faults"] == [] for level in found["levels"].values())
    folder = voice_folder("Headset 2")
    assert sorted(found["kept"]) == sorted(str(path) for path in folder.iterdir())
    own = OwnScores.load(folder)
    for line in found["phrases"]:
        scores = own.of(line["phrase"])
        assert (len(scores.off), len(scores.on), scores.worst) == (2, 2, line["own_worst"])
    assert sum(path.stat().st_size for path in folder.iterdir()) < len(said()) / 4
    assert main(["soundcheck", "--forget", "--json"]) == 0
    assert sorted(result(capsys)["deleted"]) == sorted(found["kept"])
    assert not (data_folder / "kerfcall" / "voice").exists()
    assert main(["soundcheck", "--forget"]) == 0
    assert "There was nothing to delete" in capsys.readouterr().out


@pytest.mark.long
def test_what_drowns_in_the_noise_is_for_the_saw_off_only(tmp_path, capsys):
    assert main(command(*files(tmp_path, snr_db=-15))) == 0
    out = capsys.readouterr().out
    assert "Overall: voice with the saw off only (3 of 3 phrases" in out
    assert out.count("voice with the saw off only") == 4
    assert "Near a running blade, use the pedal" in out
    assert "-60 dBFS" in out and "[####" in out
    assert "no sound was kept, nothing was sent anywhere" in out


@pytest.mark.long
def test_other_talk_for_every_phrase_is_pedal_only(tmp_path, capsys):
    wrong = ["we need more sandpaper next week", "the dog is barking at the mailman again", "more sandpaper next week"]
    assert main(command("--json", *without_saw(files(tmp_path, speech=said(wrong))), rounds=1)) == 1
    found = result(capsys)
    assert found["advice"] == "pedal only" and "only 0 of 3" in found["why"]
    assert all(line["own_worst"] is None for line in found["phrases"])


@pytest.mark.long
def test_a_phrase_taken_for_another_is_named_and_distrusted(tmp_path, capsys):
    swapped = [STAND_BY if text == CLAMPS else text for text in TEXTS]
    assert main(command(*files(tmp_path, speech=said(swapped)), rounds=1)) == 0
    out = capsys.readouterr().out
    assert f'taken for "{STAND_BY}" 1 x' in out
    assert f'"{CLAMPS}": too low: it was taken for "{STAND_BY}"' in out


@pytest.mark.long
def test_clipped_speech_is_pedal_only_and_named(tmp_path, capsys):
    assert main(command("--json", *without_saw(files(tmp_path, speech=said(TEXTS, gain=4.0))), rounds=1)) == 1
    found = result(capsys)
    assert "clipped" in found["levels"]["said"]["faults"][0]
    assert found["why"].startswith("as long as the input is clipped")


def test_without_the_saw_nothing_is_promised_about_its_noise(tmp_path, capsys):
    """Scores of phrases that were not said this time stay, those of the one that was are replaced."""
    folder = voice_folder("recording")
    before = Scores((-1.0, -2.0), (-3.0,))
    OwnScores({"report my progress": before, CLAMPS: before}).save(folder)
    words = without_saw(files(tmp_path, speech=said([CLAMPS] * ROUNDS)))
    assert main(command("--json", *words, phrases=["clamps"])) == 0
    found = result(capsys)
    assert found["saw_noise"] is None and {line["saw_on"] for line in found["phrases"]} == {None}
    assert found["advice"] == "voice with the saw off only"
    own = OwnScores.load(folder)
    assert sorted(own.texts) == sorted([CLAMPS, "report my progress"])
    assert own.of("report my progress") == before
    assert own.of(CLAMPS).off != before.off and len(own.of(CLAMPS).off) == 2 and own.limit(CLAMPS) is None


@pytest.mark.long
def test_what_is_stored_is_said_with_how_many_phrases(tmp_path, capsys):
    words = files(tmp_path, speech=said(TEXTS[1:]))
    assert main(command(*words, rounds=1, phrases=("standing by for now", "clamps"))) == 0
    out = capsys.readouterr().out
    assert "scores.json" in out and "noise.json" in out
    assert "(the scores of 2 phrases, and the noise's level and spectrum; no sound was kept" in out


@pytest.mark.long
def test_without_the_neural_recogniser_there_are_no_scores(tmp_path, capsys):
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP + '\n[voice]\nrecogniser = "pocketsphinx"\n')
    assert main(command("--json", *without_saw(files(tmp_path)), "--shop", str(shop))) == 0
    found = result(capsys)
    assert found["recogniser"] == "pocketsphinx"
    assert {line["own_worst"] for line in found["phrases"]} == {None}
    assert [Path(path).name for path in found["kept"]] == ["noise.json"]


@pytest.mark.long
def test_the_noise_learned_once_is_used_when_the_saw_is_left_out(tmp_path, capsys):
    words = files(tmp_path, snr_db=-15)
    assert main(command("--json", *words)) == 0
    recorded = result(capsys)
    assert main(command("--json", *without_saw(words))) == 0
    learned = result(capsys)
    assert (recorded["saw_noise"], learned["saw_noise"]) == ("recorded", "learned earlier")
    for found in (recorded, learned):
        assert {line["saw_on"]["heard"] for line in found["phrases"]} == {0}
    assert learned["speech_over_noise_db"]["saw"] == pytest.approx(recorded["speech_over_noise_db"]["saw"], abs=0.2)


# --- what is kept


def test_forgetting_leaves_what_is_not_ours(capsys, data_folder):
    """Deleted are also what an earlier version kept of a voice, and what a write left that never ended."""
    folder = voice_folder("any")
    folder.mkdir(parents=True)
    for name in (own_scores.FILE, OLD_FILE):
        (folder / name).write_bytes(b"broken")
    (folder / "letter.txt").write_text("mine")
    (folder / "my scores.json").write_text("mine")
    # Its file is in place only at the very end, which the deleted new file makes impossible.
    with pytest.raises(FileNotFoundError), prepared(folder / own_scores.FILE, b"new"):
        assert main(["soundcheck", "--forget"]) == 0
    assert capsys.readouterr().out.count("Deleted") == 3
    assert sorted(path.name for path in folder.iterdir()) == ["letter.txt", "my scores.json"]


# --- bad input


def test_recordings_go_together_and_all_faults_come_at_once(tmp_path, capsys):
    wav = str(write_wav(tmp_path / "a.wav", bytes(64_000)))
    assert main(["soundcheck", "--said", wav, "--rounds", "0"]) == 2
    err = capsys.readouterr().err
    assert all(word in err for word in ("--quiet", "--saw", "--rounds"))
    assert main(["soundcheck", "--said", wav, "--quiet", wav, "--saw", wav, "--no-saw"]) == 2


def test_each_bad_file_is_named(tmp_path, capsys):
    words = files(tmp_path)
    (tmp_path / "quiet.wav").write_bytes(b"no sound")
    (tmp_path / "saw.wav").unlink()
    assert main(command(*words)) == 2
    err = capsys.readouterr().err
    assert "quiet.wav" in err and "saw.wav" in err


def test_too_few_sayings_are_refused_and_nothing_is_kept(tmp_path, capsys, data_folder):
    assert main(command(*files(tmp_path, speech=said(TEXTS)))) == 2
    assert "has 3 utterances, but 6 were expected" in capsys.readouterr().err
    assert not data_folder.exists()


def test_silence_for_speech_is_refused(tmp_path, capsys):
    assert main(command(*files(tmp_path, speech=bytes(10 * 2 * RATE)))) == 2
    assert "has 0 utterances, but 6" in capsys.readouterr().err
