"""With the loudspeaker leaking into the microphone at -10 dB no announcement is ever taken for a command.

Everything said in a job is recorded (a whole one, detours and all, in the long run), and the same job is run again
with that recording in the microphone: as quiet as a leak is, late by the loudspeaker's own lag, in a room's noise and
with its echo.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from assistant.__main__ import main
from assistant.hearing.contract import RATE
from assistant.hearing.wav import read_wav
from tests.commands.program import CHECKS, SHOP, Done, Workshop
from tests.hearing.corpus.noise import echoed
from tests.hearing.voices import floats, pcm, write_wav

LEAK_DB = -10.0
FIRST_S, EVERY_S = 42.0, 11.0  # what comes first takes 40 seconds to say, all else less than the rest
LEAST_S = 6.0  # between two lines: what has been asked is answered no sooner, and a pass takes four
QUIET_S = 1.0  # after an announcement
LAG_S = 0.15  # of sound device, loudspeaker and air: the announcement's end comes when the ear may be open again


def few_lines() -> list[str]:
    """Checks, a pass, standing by and carrying on: what is said most often."""
    answers = [f"heard marigold {answer}" for answer in CHECKS]
    detour = ["standing by for now", "marigold carry on working", "marigold still clamped with the guard on"]
    return [*answers, "pedal tap", *(f"heard {words}" for words in detour)]


def all_lines() -> list[str]:
    """Checks, passes, every question and detour: all that the voice has to say in a session of two setups."""
    answers = [f"heard marigold {answer}" for answer in CHECKS]
    again = ["heard report my progress", "heard how many more to go", "heard say again position"]
    detours = [
        "heard standing by for now",
        "heard marigold carry on working",
        "heard marigold still clamped with the guard on",
        "heard marigold return to previous",
        "heard negative cancel that",
        "heard marigold go to pass one number one",
        "heard marigold affirm that is right",
        "heard marigold mark down a problem",
    ]
    counted = ["pedal tap", "pedal tap", "pedal hold"]
    return [*answers, *again, "pedal tap", *detours, *counted, "pedal hold", *counted]


def script(times: Sequence[float], lines: Sequence[str]) -> str:
    return "".join(f"{at} {line}\n" for at, line in zip(times, lines, strict=True))


def closer(times: Sequence[float], lines: Sequence[str], done: Done) -> list[float]:
    """When each line may come, so that there is no more silence than needed: the ear's work takes as long as sound.

    What follows a tap keeps its distance, since rules count from it.
    """
    ends = [line["at"] for line in done.lines if line["kind"] == "speech_ended"]
    closer = [times[0]]
    for line, at, following in zip(lines, times, times[1:], strict=False):
        said = max((end for end in ends if at < end < following), default=at)
        wait = following - at if line == "pedal tap" else max(LEAST_S, said + QUIET_S - at)
        closer.append(round(closer[-1] + min(wait, following - at), 2))
    return closer


def leaked(said: Path) -> bytes:
    samples = floats(read_wav(said)) * 10 ** (LEAK_DB / 20)
    samples = np.concatenate([np.zeros(round(LAG_S * RATE)), echoed(samples, 7)])
    return pcm(samples + np.random.default_rng(7).standard_normal(len(samples)) * 1e-4)


def heard_by_voice(done: Done, times: Sequence[float]) -> list[str]:
    """The script's own phrases come with the events' time; all others came through the microphone."""
    kinds = [line for line in done.lines if line["type"] == "event" and line["kind"] == "heard"]
    return [line["phrase"] for line in kinds if line["at"] not in times]


@pytest.mark.timeout(900)  # on a busy machine the ear is slower than the sound
@pytest.mark.parametrize(
    ("lines", "code"),
    [
        pytest.param(few_lines(), 1, id="as far as carrying on"),
        pytest.param(all_lines(), 0, id="a whole job"),
    ],
)
@pytest.mark.long
def test_nothing_the_program_says_is_taken_for_a_command(workshop: Workshop, lines: list[str], code: int) -> None:
    workshop.patience_s = 600.0
    wide = [FIRST_S + EVERY_S * n for n in range(len(lines))]
    paced = workshop.cut(script(wide, lines), "--speaker", "paced.wav")
    assert paced.code == code, paced.err
    assert "carried_on" in {fact[0] for fact in paced.facts}
    times = closer(wide, lines, paced)
    first = workshop.cut(script(times, lines), "--speaker", "said.wav")
    assert (first.facts, first.said) == (paced.facts, paced.said)
    write_wav(workshop.folder / "leak.wav", leaked(workshop.folder / "said.wav"))
    again = workshop.cut(script(times, lines), "--speaker", "again.wav", "--mic", "leak.wav")
    assert heard_by_voice(again, times) == []
    assert again.facts == first.facts
    assert again.said == first.said


@pytest.mark.long
@pytest.mark.timeout(900)
def test_another_device_that_says_our_words_is_not_obeyed(workshop: Workshop, capsys: pytest.CaptureFixture) -> None:
    """A second Kerfcall, or a recording of one: as loud as a person, and nobody is deaf to it."""
    workshop.patience_s = 600.0
    lines = all_lines()
    said = workshop.cut(script([FIRST_S + EVERY_S * n for n in range(len(lines))], lines), "--speaker", "said.wav")
    assert said.code == 0, said.err
    assert main(["hear", str(workshop.folder / "said.wav")]) == 0
    heard = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert len(heard) > len(lines) and [one["heard"] for one in heard if one["phrase"]] == []


ANSWER = "dust port is open now"
OWN_CHECK = f'''
[[checks]]
name = "dust port"
say = "Marigold, {ANSWER}"
answer = "{ANSWER}"
when = "session"
'''


@pytest.mark.long
def test_a_question_in_the_words_of_its_answer_does_not_answer_itself(
    workshop: Workshop, capsys: pytest.CaptureFixture
) -> None:
    """Announcements are unlike phrases, so only deafness stands between this one and a confirmation.

    Where nobody is deaf, the same sound is made out: it is loud and clear enough. By pocketsphinx, since the neural
    recogniser is in doubt about a formant voice with echo.
    """
    workshop.write("shop.toml", SHOP + OWN_CHECK + '[voice]\nrecogniser = "pocketsphinx"\n')
    hold = "".join(f"{FIRST_S + EVERY_S * n} pedal hold\n" for n in range(len(CHECKS)))
    first = workshop.cut(hold, "--speaker", "said.wav")
    assert first.facts[-1] == ("check_opened", 1, "dust port"), first.err
    asked_at = max(line["at"] for line in first.lines if line["kind"] == "speech_started")

    def leak_of(said: str) -> bytes:
        leak, before = bytearray(leaked(workshop.folder / said)), 2 * round(asked_at * RATE)
        leak[:before] = bytes(before)
        return bytes(leak) + bytes(2 * RATE)

    write_wav(workshop.folder / "leak.wav", leak_of("said.wav"))
    again = workshop.cut(hold, "--speaker", "again.wav", "--mic", "leak.wav")
    assert again.facts == first.facts
    heard = []
    # The voice doesn't render the pause after the lead-in word the same each time, and may cut it in two.
    for said in ("said.wav", "again.wav"):
        write_wav(workshop.folder / "leak.wav", leak_of(said))
        leak_and_shop = [str(workshop.folder / name) for name in ("leak.wav", "shop.toml")]
        assert main(["hear", leak_and_shop[0], "--shop", leak_and_shop[1]]) == 0
        heard += [json.loads(line)["heard"] for line in capsys.readouterr().out.splitlines()]
    assert any(ANSWER in text for text in heard), heard
