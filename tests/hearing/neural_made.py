"""The neural recogniser for tests: loaded once a process, skipped where its files are not installed."""

from __future__ import annotations

import functools
from pathlib import Path

import pytest

from assistant.hearing import neural_files
from assistant.hearing.neural import Neural
from assistant.hearing.scores import SayableText, Scorer
from assistant.wording.phrases import Phrase
from assistant.wording.rivals import rivals
from tests.hearing.voices import LEAD_IN


def folder() -> Path:
    found = neural_files.find([])
    if found is None:
        pytest.skip(f"needs the neural recogniser's files: {neural_files.INSTALL}")
    return found


@functools.cache
def model() -> Neural:
    return Neural(folder())


@functools.cache
def scorer() -> Scorer:
    return Scorer(model(), LEAD_IN)


def said(*phrases: Phrase) -> list[SayableText]:
    """The phrases with all their rivals."""
    return [
        SayableText(
            phrase.wording,
            phrase.lead_in,
            (phrase.intent, phrase.argument),
            tuple(rival.wording for rival in rivals([phrase], "en", lambda word: True)),
        )
        for phrase in phrases
    ]
