"""Makes a pocketsphinx decoder with the English model from its wheel, and reads what it makes of a buffer."""

from __future__ import annotations

import math
from typing import Any

from assistant.errors import NoSuchPart
from assistant.hearing.accept import DecodedWord

# A segment's score comes exponentiated, in the decoder's storage unit of 1024 natural logs.
SCORE_UNIT = 1024


def model_file(name: str) -> str:
    """The path of a file of the wheel's model. Raises NoSuchPart when the library is missing."""
    try:
        from pocketsphinx import get_model_path
    except ImportError as error:
        raise NoSuchPart("the recogniser pocketsphinx is not installed; pip install pocketsphinx") from error
    return str(get_model_path(name))


def make(**settings: Any) -> Any:
    """Makes a decoder with these settings. Raises NoSuchPart when the library is missing."""
    model, words = model_file("en-us/en-us"), model_file("en-us/cmudict-en-us.dict")
    from pocketsphinx import Decoder

    # cmn="batch" takes the cepstral mean over the one utterance, so that earlier sound has no influence. lm=None skips
    # the language model, which would cost 0.2 s and 23 MB at every start. The library's log level is set here because
    # each new decoder resets it.
    return Decoder(hmm=model, dict=words, lm=None, cmn="batch", loglevel="FATAL", **settings)


def decoded_words(decoder: Any, pcm16k: bytes) -> list[DecodedWord]:
    """Decodes the whole buffer. The empty closing mark is left out."""
    # Otherwise the front end's state would carry over: the same sound must score the same, whatever came before it.
    decoder.reinit_feat()
    decoder.start_utt()
    try:
        decoder.process_raw(pcm16k, full_utt=True)
    finally:
        decoder.end_utt()
    return [
        DecodedWord(s.word, s.start_frame, s.end_frame, math.log(max(s.ascore, 1e-300)) * SCORE_UNIT)
        for s in decoder.seg() or ()
        if s.word != "</s>"
    ]
