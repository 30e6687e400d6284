"""One sound check from its sound to its report: what the recogniser makes of it, and what is kept."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

import numpy as np

from assistant.errors import NoSuchPart
from assistant.hearing.child import Spec
from assistant.hearing.contract import RATE
from assistant.hearing.levels import Noise, floats, noise_of
from assistant.hearing.offline import hear_all
from assistant.hearing.own_scores import FILE, OwnScores, voice_folder
from assistant.hearing.soundcheck import (
    Outcome,
    Saying,
    SoundcheckReport,
    Taken,
    carried,
    in_noise,
    keep_noise,
    kept_noise,
    learn,
    outcomes,
)
from assistant.wording.phrases import Phrase

NOISE_S = 4.0  # of noise synthesised from the level and spectrum that an earlier check kept


def check(
    taken: Taken, phrases: Sequence[Phrase], table: Sequence[Phrase], spec: Spec, out: TextIO
) -> SoundcheckReport:
    """Listens to the sound, judges the phrases and stores scores and noise.

    table: the phrases listened for. out: shows how far it is.
    """
    folder = voice_folder(taken.microphone)
    own = earlier_scores(folder, out)
    saw, learned = saw_noise(taken, folder, out)
    room = floats(taken.quiet)
    print("Listening to your phrases as in a session, with the saw off ..", file=out, flush=True)
    off = _outcomes(in_noise(taken.said, room), taken.sayings, table, spec, out)
    on: list[Outcome] | None = None
    if saw is not None:
        print(".. and mixed with the saw's noise ..", file=out, flush=True)
        on = _outcomes(in_noise(taken.said, saw, room), taken.sayings, table, spec, out)
    lines = carried(phrases, taken.sayings, off, on, table)
    own_worst = learn(own, taken.sayings, off, on)
    # A file that has lost its last phrase, or was broken, must be replaced too.
    kept = [own.save(folder)] if own.texts or (folder / FILE).exists() else []
    if taken.saw is not None or learned is None:  # otherwise the saw noise of an earlier check would be lost
        kept.append(keep_noise(folder, noise_of(taken.quiet), noise_of(taken.saw) if taken.saw else None))
    return SoundcheckReport.made(taken, lines, spec.recogniser, learned, own_worst, kept)


def earlier_scores(folder: Path, out: TextIO) -> OwnScores:
    """The scores stored so far. Starts again from none, with a line that says so, if the file can't be read."""
    try:
        return OwnScores.load(folder)
    except NoSuchPart as error:
        print(f"{str(error).partition(';')[0]}: starting again without them.", file=out, flush=True)
        return OwnScores()


def saw_noise(taken: Taken, folder: Path, out: TextIO) -> tuple[np.ndarray | None, Noise | None]:
    """The saw's noise to mix in, and what an earlier check learned about it if the noise is made from that.

    A recording of this check comes first. The noise is None where there is neither.
    """
    if taken.saw is not None:
        return floats(taken.saw), None
    try:
        _, learned = kept_noise(folder)
    except NoSuchPart as error:
        print(f"{str(error).partition(';')[0]}: going on without the saw's noise.", file=out, flush=True)
        return None, None
    if learned is None:
        return None, None
    return learned.made(round(NOISE_S * RATE)), learned


def _outcomes(
    stream: bytes, sayings: Sequence[Saying], table: Sequence[Phrase], spec: Spec, out: TextIO
) -> list[Outcome]:
    """What the recogniser made of each saying. Shows the progress on a terminal."""
    terminal = out.isatty()

    def show(share: float) -> None:
        if terminal:
            print(f"\r  {100 * share:3.0f} %", end="" if share < 1 else "\n", file=out, flush=True)

    return outcomes(hear_all(stream, table, spec, show), sayings)
