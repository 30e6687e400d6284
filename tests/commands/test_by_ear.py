"""`cut --mic FILE.wav`: real speech through the real recogniser drives a session; time is the sample count."""

from __future__ import annotations

import wave

import numpy as np
import pytest

from assistant.speaking.engine import at_rate
from assistant.speaking.espeak import EspeakEngine
from tests.commands.program import CHECKS, SHOP, Workshop
from tests.sampling import every

RATE = 16_000


@pytest.fixture(scope="module")
def voice() -> EspeakEngine:
    return EspeakEngine("en-us", 130)


def recording(workshop: Workshop, voice: EspeakEngine, said: list[tuple[float, str]], seconds: float) -> None:
    """mic.wav: each text begins at its second, silence elsewhere."""
    samples = np.zeros(round(seconds * RATE), np.int16)
    for at, text in said:
        pcm = voice.render(text)
        assert pcm is not None
        piece = at_rate(pcm, RATE).samples
        start = round(at * RATE)
        samples[start : start + len(piece)] = piece
    with wave.open(str(workshop.folder / "mic.wav"), "wb") as wav:
        wav.setnchannels(1)
        wav.setsampwidth(2)
        wav.setframerate(RATE)
        wav.writeframes(samples.tobytes())


CONFIRMED = [(3.0 + 6 * n, f"marigold {answer}") for n, answer in enumerate(CHECKS)]
WORDS = ("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--mic", "mic.wav")


OWN_CHECK = (
    '[[checks]]\nname = "dust port"\nsay = "dust port open?"\nanswer = "dust port is open now"\nwhen = "session"\n'
)


def test_checks_the_shops_own_too_and_a_pass_by_voice_alone(workshop: Workshop, voice: EspeakEngine) -> None:
    workshop.write("shop.toml", SHOP + OWN_CHECK)
    more = [(21.0, "dust port is open now"), (29.0, "this pass is completed")]
    said = [*CONFIRMED, *((at, f"marigold {words}") for at, words in more), (34.5, "report my progress")]
    recording(workshop, voice, said, 39)
    done = workshop.run(*WORDS)
    assert done.code == 1, done.err
    assert [fact for fact in done.facts if fact[0] in ("check_confirmed", "pass_cut")] == [
        ("check_confirmed", 1, "clamps", "voice"),
        ("check_confirmed", 1, "guard", "voice"),
        ("check_confirmed", 1, "blade height", "voice"),
        ("check_confirmed", 1, "dust port", "voice"),
        ("pass_cut", 1, 1, "voice"),
    ]
    assert done.said[-1].endswith("pass two of two is next.")


OUT = (26.0, "saw is off and the board is out")
"""Later than a blade takes to run down after it is asked."""


@pytest.mark.parametrize(
    ("phrase", "facts"),
    every(
        3,
        [
            ("this board has been spoiled", [("board_spoilt",), ("job_extended",), ("board_chosen", 3)]),
            ("leave it for another board", [("board_chosen", 2)]),
            ("cut this end over again", [("setup_reopened", 1), ("board_chosen", 1)]),
        ],
    ),
)
def test_a_board_is_left_cut_again_or_spoilt_by_voice_alone(
    workshop: Workshop, voice: EspeakEngine, phrase: str, facts: list[tuple[object, ...]]
) -> None:
    """From the first pass on: the phrase, yes, and once the blade stands still that the board is out."""
    said = [(28.0, "this pass is completed"), (35.0, phrase), (42.0, "affirm that is right"), (42 + OUT[0], OUT[1])]
    recording(workshop, voice, [*CONFIRMED, *((at, f"marigold {words}") for at, words in said)], 74)
    done = workshop.run(*WORDS)
    changes = ("board_chosen", "setup_reopened", "board_spoilt", "job_extended")
    made = [fact for fact in done.facts if fact[0] in changes]
    assert [fact[: len(wanted)] for fact, wanted in zip(made, facts, strict=True)] == facts
    assert ("check_confirmed", 1, "board out", "voice") in done.facts
    assert [fact for fact in done.facts if fact[0] == "setup_started"][-1] == ("setup_started", facts[-1][1])


@pytest.mark.long
def test_the_same_recording_gives_the_same_events_each_with_the_time_of_its_sound(
    workshop: Workshop, voice: EspeakEngine
) -> None:
    """It begins at its second, to a tenth (as speech does in silence), and is decided within 0.6 s of its end."""
    recording(workshop, voice, CONFIRMED, 22)
    runs = [workshop.run(*WORDS, PYTHONHASHSEED=seed).lines for seed in ("1", "2")]
    for lines in runs:
        for line in lines:
            line.pop("session")
    assert runs[0] == runs[1]
    heard = [line for line in runs[0] if line["kind"] == "heard"]
    assert len(heard) == 3
    for line, (at, text) in zip(heard, CONFIRMED, strict=True):
        pcm = voice.render(text)
        assert pcm is not None
        assert line["since"] == pytest.approx(at, abs=0.12)
        assert at + pcm.seconds - 0.2 <= line["at"] <= at + pcm.seconds + 0.6


@pytest.mark.long
def test_while_it_speaks_it_does_not_listen(workshop: Workshop, voice: EspeakEngine) -> None:
    """The first announcement takes half a minute: what is said over it is not heard, what comes after it is."""
    answer = f"marigold {CHECKS[0]}"
    recording(workshop, voice, [(8.0, answer), (50.0, answer)], 56)
    done = workshop.run(*WORDS, "--speaker", "said.wav")
    confirmed = [line["at"] for line in done.lines if line["kind"] == "check_confirmed"]
    assert len(confirmed) == 1 and confirmed[0] > 50


@pytest.mark.long
def test_a_script_and_a_recording_go_together(workshop: Workshop, voice: EspeakEngine) -> None:
    recording(workshop, voice, CONFIRMED, 50)
    workshop.write("script.txt", "30 pedal tap\n40 pedal tap\n")
    done = workshop.run(*WORDS, "--rehearse", "script.txt")
    assert [fact for fact in done.facts if fact[0] == "pass_cut"] == [
        ("pass_cut", 1, 1, "pedal"),
        ("pass_cut", 1, 2, "pedal"),
    ]


@pytest.mark.parametrize("name", ["none.wav", "plan.toml"])
def test_a_recording_that_is_none_is_bad_input(workshop: Workshop, name: str) -> None:
    done = workshop.run(*WORDS[:-1], name)
    assert done.code == 2 and name in done.err
    assert workshop.run("journal", "show", "--state", "state").code == 3, "no session has begun"
