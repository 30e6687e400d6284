"""Silences ALSA's library, which writes a page of lines to standard error for every device that isn't there."""

from __future__ import annotations

import ctypes
import sys
from typing import Any

# Fixed arguments of a variadic handler: file, line, function, error, format.
_Handler = ctypes.CFUNCTYPE(None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p)
_handler: Any = None


def hush() -> None:
    """Drops those lines for the life of this process. The code that opens a device reports its failure anyway."""
    global _handler
    if _handler is not None or not sys.platform.startswith("linux"):
        return
    try:
        library = ctypes.CDLL("libasound.so.2")
        # The library keeps only the bare pointer, so the object must live as long as the process.
        _handler = _Handler(lambda *_: None)
        library.snd_lib_error_set_handler(_handler)
    except (OSError, AttributeError):
        _handler = False
