"""With the loudspeaker leaking into the microphone at -10 dB no announcement is ever taken for a command.

Everything said in a whole job, detours and all, is recorded, and the same job is run again with that recording in
the microphone: as quiet as a leak is, late by the loudspeaker's own lag, in a room's noise and with its echo.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from assistant.hearing.contract import RATE
from assistant.hearing.wav import read_wav
from tests.commands.program import CHECKS, Done, Workshop
from tests.hearing.corpus.noise import echoed
from tests.hearing.voices import floats, pcm, write_wav

LEAK_DB = -10.0
FIRST_S, EVERY_S = 32, 11  # what comes first takes half a minute to say, all else less than the rest
LAGS_S = (0.0, 0.15)  # of sound device, loudspeaker and air


def script() -> str:
    """Checks, passes, every question and detour: all that the voice has to say in a session of two setups."""
    answers = [f"heard marigold {answer}" for answer in CHECKS]
    again = ["heard report my progress", "heard how many more to go", "heard say again position"]
    detours = [
        "heard standing by for now",
        "heard marigold carry on working",
        *answers[:2],
        "heard marigold return to previous",
        "heard negative cancel that",
        "heard marigold go to pass one number one",
        "heard marigold affirm that is right",
        "heard marigold mark down a problem",
    ]
    end = ["pedal tap", "pedal tap", "pedal hold", "pedal hold", "pedal tap", "pedal tap"]
    lines = enumerate([*answers, *again, "pedal tap", *detours, *end])
    return "".join(f"{FIRST_S + EVERY_S * n} {line}\n" for n, line in lines)


def leaked(said: Path, lag_s: float) -> bytes:
    samples = floats(read_wav(said)) * 10 ** (LEAK_DB / 20)
    samples = np.concatenate([np.zeros(round(lag_s * RATE)), echoed(samples, 7)])
    return pcm(samples + np.random.default_rng(7).standard_normal(len(samples)) * 1e-4)


def heard_by_voice(done: Done) -> list[str]:
    """The script's own phrases come with the events' time; all others came through the microphone."""
    kinds = [line for line in done.lines if line["type"] == "event" and line["kind"] == "heard"]
    return [line["phrase"] for line in kinds if (line["at"] - FIRST_S) % EVERY_S]


@pytest.mark.parametrize("lag_s", LAGS_S)
def test_nothing_the_program_says_is_taken_for_a_command(workshop: Workshop, lag_s: float) -> None:
    first = workshop.cut(script(), "--speaker", "said.wav")
    assert first.code == 0, first.err
    write_wav(workshop.folder / "leak.wav", leaked(workshop.folder / "said.wav", lag_s))
    again = workshop.cut(script(), "--speaker", "again.wav", "--mic", "leak.wav")
    assert heard_by_voice(again) == []
    assert again.facts == first.facts
    assert again.said == first.said
