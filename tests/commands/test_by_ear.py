"""`cut --mic FILE.wav`: real speech through the real recogniser drives a session; time is the sample count."""

from __future__ import annotations

import pytest

from assistant.hearing.contract import RATE
from tests.commands.program import CHECKS, SHOP, Workshop
from tests.hearing.voices import need, spoken, write_wav
from tests.sampling import every

# The same sound every time: espeak-ng dithers, so that one time in a few hundred a sentence comes out too near another.
VOICE = "flite:rms"


@pytest.fixture(autouse=True)
def _has_a_voice() -> None:
    need("flite")


def recording(workshop: Workshop, said: list[tuple[float, str]], seconds: float) -> None:
    """mic.wav: each text begins at its second, silence elsewhere."""
    sound = bytearray(2 * round(seconds * RATE))
    for at, text in said:
        piece = spoken(VOICE, text)
        start = 2 * round(at * RATE)
        sound[start : start + len(piece)] = piece
    write_wav(workshop.folder / "mic.wav", bytes(sound))


CONFIRMED = [(3.0 + 6 * n, f"marigold {answer}") for n, answer in enumerate(CHECKS)]
WORDS = ("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--mic", "mic.wav")


OWN_CHECK = (
    '[[checks]]\nname = "dust port"\nsay = "dust port open?"\nanswer = "dust port is open now"\nwhen = "session"\n'
)


def test_checks_the_shops_own_too_and_a_pass_by_voice_alone(workshop: Workshop) -> None:
    workshop.write("shop.toml", SHOP + OWN_CHECK)
    more = [(21.0, "dust port is open now"), (29.0, "this pass is completed")]
    said = [*CONFIRMED, *((at, f"marigold {words}") for at, words in more), (34.5, "report my progress")]
    recording(workshop, said, 39)
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
    workshop: Workshop, phrase: str, facts: list[tuple[object, ...]]
) -> None:
    """From the first pass on: the phrase, yes, and once the blade stands still that the board is out."""
    said = [(28.0, "this pass is completed"), (35.0, phrase), (42.0, "affirm that is right"), (42 + OUT[0], OUT[1])]
    recording(workshop, [*CONFIRMED, *((at, f"marigold {words}") for at, words in said)], 74)
    done = workshop.run(*WORDS)
    changes = ("board_chosen", "setup_reopened", "board_spoilt", "job_extended")
    made = [fact for fact in done.facts if fact[0] in changes]
    assert [fact[: len(wanted)] for fact, wanted in zip(made, facts, strict=True)] == facts
    assert ("check_confirmed", 1, "board out", "voice") in done.facts
    assert [fact for fact in done.facts if fact[0] == "setup_started"][-1] == ("setup_started", facts[-1][1])


@pytest.mark.long
def test_the_same_recording_gives_the_same_events_each_with_the_time_of_its_sound(
    workshop: Workshop,
) -> None:
    """It begins at its second, to a tenth (as speech does in silence), and is decided within 0.6 s of its end."""
    recording(workshop, CONFIRMED, 22)
    runs = [workshop.run(*WORDS, PYTHONHASHSEED=seed).lines for seed in ("1", "2")]
    for lines in runs:
        for line in lines:
            line.pop("session")
    assert runs[0] == runs[1]
    heard = [line for line in runs[0] if line["kind"] == "heard"]
    assert len(heard) == 3
    for line, (at, text) in zip(heard, CONFIRMED, strict=True):
        end = at + len(spoken(VOICE, text)) / 2 / RATE
        assert line["since"] == pytest.approx(at, abs=0.12)
        assert end - 0.2 <= line["at"] <= end + 0.6


@pytest.mark.long
def test_while_it_speaks_it_does_not_listen(workshop: Workshop) -> None:
    """The first announcement takes half a minute: what is said over it is not heard, what comes after it is."""
    answer = f"marigold {CHECKS[0]}"
    recording(workshop, [(8.0, answer), (50.0, answer)], 56)
    done = workshop.run(*WORDS, "--speaker", "said.wav")
    confirmed = [line["at"] for line in done.lines if line["kind"] == "check_confirmed"]
    assert len(confirmed) == 1 and confirmed[0] > 50


@pytest.mark.long
def test_a_script_and_a_recording_go_together(workshop: Workshop) -> None:
    recording(workshop, CONFIRMED, 50)
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
