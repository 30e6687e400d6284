"""Mixes some of the original sound back into a piece after noise suppression, before it is decoded.

Noise suppression takes hissing sounds for noise: it weakens the "s" in "six", so that in quiet digits are mistaken
which would be distinguished in noise. So only as much noise is removed as there is. What remains lies `RESIDUAL_DB`
below the speech, and a piece as clean as that is decoded in its original form.
"""

from __future__ import annotations

import numpy as np

from assistant.hearing.accept import frame_levels

RESIDUAL_DB = 40.0
LOUD, QUIET = 90, 10  # percentiles of the frames' levels, for the speech and for the noise before, between and after


def clearness(raw: bytes) -> float:
    """How far the speech of a piece is above its noise, dB; 0 for a piece shorter than 10 ms."""
    levels = frame_levels(raw)
    return float(np.percentile(levels, LOUD) - np.percentile(levels, QUIET)) if len(levels) else 0.0


def blended(suppressed: bytes, raw: bytes) -> bytes:
    """The piece to decode: 16 bit, as long as `suppressed`.

    raw: the same piece before suppression, aligned at the end; if it is shorter, its beginning is missing.
    """
    share = 10 ** (min(0.0, clearness(raw) - RESIDUAL_DB) / 20)
    out = np.frombuffer(suppressed, "<i2").astype(np.float64)
    came = np.frombuffer(raw, "<i2")
    if len(came):
        part = out[len(out) - len(came) :]
        part += share * (came - part)
    return np.clip(np.rint(out), -32768, 32767).astype("<i2").tobytes()
