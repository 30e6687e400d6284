"""RNNoise, called through its shared library alone.

The library and its model come in the wheel `pyrnnoise` (Apache-2.0 around RNNoise's BSD-3-Clause). That package's
Python side drags in a third of a gigabyte, so it is installed without its dependencies and never imported. Its own
list of files says where the library is. The interface is RNNoise's `rnnoise.h`.
Method: Valin, "A Hybrid DSP/Deep Learning Approach to Real-Time Full-Band Speech Enhancement", IEEE MMSP 2018.
"""

from __future__ import annotations

import ctypes
import importlib.metadata
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import NoSuchPart
from assistant.hearing.denoise_resample import TAPS, Decimator, Interpolator
from assistant.hearing.endpoint import check_frame
from assistant.plans.model import DenoiserName

PACKAGE = "pyrnnoise"
INSTALL = "pip install --no-deps pyrnnoise"
SUFFIXES = (".so", ".dll", ".dylib")
FRAME_48K = 480  # samples, the only size it takes: floats at 48 kHz, scaled like 16 bit


def library_file() -> Path:
    """The path of RNNoise's library in the installed package. Raises NoSuchPart."""
    try:
        files = importlib.metadata.files(PACKAGE) or []
    except importlib.metadata.PackageNotFoundError as error:
        raise NoSuchPart(f"RNNoise is not installed; {INSTALL}") from error
    for file in files:
        path = Path(str(file.locate()))
        if file.suffix in SUFFIXES and "rnnoise" in file.name and path.is_file():
            return path
    raise NoSuchPart(f"the installed {PACKAGE} has no library for this machine; use the built-in noise suppression")


def load() -> Any:
    """Loads the library and declares its functions. Raises NoSuchPart."""
    path = library_file()
    try:
        library = ctypes.CDLL(str(path))
        library.rnnoise_create.argtypes = (ctypes.c_void_p,)
        library.rnnoise_create.restype = ctypes.c_void_p
        library.rnnoise_destroy.argtypes = (ctypes.c_void_p,)
        library.rnnoise_destroy.restype = None
        library.rnnoise_get_frame_size.restype = ctypes.c_int
        library.rnnoise_process_frame.argtypes = (ctypes.c_void_p,) * 3
        library.rnnoise_process_frame.restype = ctypes.c_float
    except (OSError, AttributeError) as error:
        raise NoSuchPart(f"RNNoise's library {path.name} can't be used ({error}); {INSTALL}") from error
    return library


class RNNoise:
    """The denoiser `rnnoise`. Raises NoSuchPart when its library is missing or doesn't fit."""

    name = DenoiserName.RNNOISE
    # The library's own lag, measured by cross-correlation, and the delay of both resampling filters.
    delay_s = 0.02 + (TAPS - 1) / 48_000
    tells_speech = True
    speech: float | None = None

    def __init__(self) -> None:
        self._state = None
        self._library = load()
        if self._library.rnnoise_get_frame_size() != FRAME_48K:
            raise NoSuchPart("the installed RNNoise has another frame size; use the built-in noise suppression")
        # None: the model that is built into the library (rnnoise.h).
        self._state = self._library.rnnoise_create(None)
        if not self._state:
            raise NoSuchPart("RNNoise could not be started; use the built-in noise suppression")
        self._up, self._down = Interpolator(), Decimator()
        self._out = np.zeros(FRAME_48K, dtype=np.float32)

    def frame(self, pcm: bytes) -> bytes:
        """See `denoise.Denoiser.frame`."""
        check_frame(pcm)
        wide = self._up.frame(np.frombuffer(pcm, "<i2")).astype(np.float32)
        self.speech = float(self._library.rnnoise_process_frame(self._state, self._out.ctypes.data, wide.ctypes.data))
        narrow = self._down.frame(self._out)
        return np.clip(np.rint(narrow), -32768, 32767).astype("<i2").tobytes()

    def __del__(self) -> None:
        if getattr(self, "_state", None):
            self._library.rnnoise_destroy(self._state)
            self._state = None
