"""One pocketsphinx decoder with the English model of its wheel: made, and what it made of a buffer read."""

from __future__ import annotations

import math
from typing import Any

from assistant.errors import NoSuchPart
from assistant.hearing.accept import Unit

# A segment's score comes exponentiated and in the decoder's storage unit of 1024 natural logs.
SCORE_UNIT = 1024


def model_file(name: str) -> str:
    """Where the wheel's model has it. Raises NoSuchPart when the library is missing."""
    try:
        from pocketsphinx import get_model_path
    except ImportError as error:
        raise NoSuchPart("the recogniser pocketsphinx is not installed; pip install pocketsphinx") from error
    return str(get_model_path(name))


def make(**settings: Any) -> Any:
    """A decoder. Raises NoSuchPart when the library is missing."""
    model, words = model_file("en-us/en-us"), model_file("en-us/cmudict-en-us.dict")
    from pocketsphinx import Decoder

    # cmn="batch" takes the cepstral mean over the one utterance: what was heard before can't matter.
    return Decoder(hmm=model, dict=words, lm=None, cmn="batch", loglevel="FATAL", **settings)


def units(decoder: Any, pcm16k: bytes) -> list[Unit]:
    """The decoding of the whole buffer, without the empty closing mark."""
    # The front end's state would otherwise carry over: the same sound must score the same whatever came before.
    decoder.reinit_feat()
    decoder.start_utt()
    try:
        decoder.process_raw(pcm16k, full_utt=True)
    finally:
        decoder.end_utt()
    return [
        Unit(s.word, s.start_frame, s.end_frame, math.log(max(s.ascore, 1e-300)) * SCORE_UNIT)
        for s in decoder.seg() or ()
        if s.word != "</s>"
    ]
