"""Noise suppression, the stage between the microphone and the end-pointer: one contract, several makers.

A denoiser takes 10 ms frames at 16 kHz and gives as many back, `delay_s` later. Each stream has its own, because its
state is what it knows about the noise. Hearing works without any extra library: `Spectral` needs only numpy.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from assistant.errors import BadInput, Fault, NoSuchPart
from assistant.hearing.endpoint import check_frame
from assistant.plans.model import DenoiserName


class Denoiser(Protocol):
    """One stream's noise suppression. Not thread-safe.

    name: never `AUTO`. delay_s: how much later the sound comes out, seconds, always the same.
    tells_speech: whether it estimates how likely speech is. speech: the probability, 0 to 1, that the last frame
    is speech; None without an estimate.
    """

    name: DenoiserName
    delay_s: float
    tells_speech: bool
    speech: float | None

    def frame(self, pcm: bytes) -> bytes:
        """Processes the next 10 ms: 320 bytes, 16 kHz mono, signed 16 bit little endian, in and out.

        Raises ValueError for any other length.
        """


class Plain:
    """The denoiser `none`, which changes nothing."""

    name = DenoiserName.NONE
    delay_s = 0.0
    tells_speech = False
    speech: float | None = None

    def frame(self, pcm: bytes) -> bytes:
        check_frame(pcm)
        return pcm


def _spectral() -> Denoiser:
    from assistant.hearing.denoise_spectral import Spectral

    return Spectral()


def _rnnoise() -> Denoiser:
    from assistant.hearing.denoise_rnnoise import RNNoise

    return RNNoise()


MAKERS: dict[DenoiserName, Callable[[], Denoiser]] = {
    DenoiserName.NONE: Plain,
    DenoiserName.SPECTRAL: _spectral,
    DenoiserName.RNNOISE: _rnnoise,
}


def choose_denoiser(name: DenoiserName = DenoiserName.AUTO) -> tuple[Denoiser, str]:
    """Makes a denoiser for one stream; returns it with a line that says which and why.

    `AUTO`: RNNoise if its library is installed, else the built-in one.
    Raises BadInput for an unknown name, NoSuchPart when one asked for by name is not installed.
    """
    if name == DenoiserName.AUTO:
        return _best()
    if name not in MAKERS:
        known = ", ".join(f'"{known}"' for known in DenoiserName)
        raise BadInput([Fault("there is no such kind", f'"{name}"', "noise suppression", f"use one of {known}")])
    return MAKERS[name](), f"noise suppression {name}, as asked for"


def _best() -> tuple[Denoiser, str]:
    # RNNoise first: at 10 dB it doubles the phrases that are heard.
    try:
        return _rnnoise(), "noise suppression rnnoise: its library is installed"
    except NoSuchPart as missing:
        return _spectral(), f"noise suppression spectral, the built-in one: {missing}"
