"""How much of the sound as it came goes back into a suppressed piece before it is decoded.

Noise suppression takes hissing sounds for noise: the "s" in "six" is weakened, and digits are mistaken in quiet that
are told apart in noise. So only as much noise is taken away as there is: what is left of it lies `RESIDUAL_DB`
under the speech, and a piece that came as clean as that is decoded as it came.
"""

from __future__ import annotations

import numpy as np

from assistant.hearing.accept import frame_levels

RESIDUAL_DB = 40.0
LOUD, QUIET = 90, 10  # percentiles of the frames' levels: of speech, and of the noise before, between and after


def clearness(raw: bytes) -> float:
    """By how many dB the speech of a piece stands over its noise; 0 for a piece shorter than 10 ms."""
    levels = frame_levels(raw)
    return float(np.percentile(levels, LOUD) - np.percentile(levels, QUIET)) if len(levels) else 0.0


def blended(suppressed: bytes, raw: bytes) -> bytes:
    """The piece to be decoded: 16 bit, as long as `suppressed`.

    raw: the same piece as it came, sample by sample; a shorter one lacks its beginning.
    """
    share = 10 ** (min(0.0, clearness(raw) - RESIDUAL_DB) / 20)
    out = np.frombuffer(suppressed, "<i2").astype(np.float64)
    came = np.frombuffer(raw, "<i2")
    if len(came):
        part = out[len(out) - len(came) :]
        part += share * (came - part)
    return np.clip(np.rint(out), -32768, 32767).astype("<i2").tobytes()
