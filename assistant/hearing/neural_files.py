"""Finds the neural recogniser's three files, and checks that they are the ones that its limits were set on."""

from __future__ import annotations

import hashlib
import importlib.util
from collections.abc import Sequence
from pathlib import Path

FOLDER = "tiny-en"
ENCODER, DECODER, TOKENS = "encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"
WHEEL = "moonshine-voice==0.1.0"
"""The newest release that carries the files; any platform's."""
INSTALL = f"pip install --no-deps {WHEEL}"
SHA256 = {
    ENCODER: "94e90a4654fc45cdfedb77c4c08e1739f48862998e58fada384b25118134f221",
    DECODER: "cf524c4862d36e9e5ab032eddc73637efd822d70e868ac575cf1a46e1e4708a0",
    TOKENS: "6884b35fd6377d4c4d32336a0bc152f36b64d1e45b6503683cdc238250a8472d",
}


def find(places: Sequence[Path]) -> Path | None:
    """The first folder of that name in these places, else the one in the wheel; None if there is none.

    The wheel's package is not imported: it would load a library of its own and packages for the network.
    """
    folders = [place / FOLDER for place in places]
    spec = importlib.util.find_spec("moonshine_voice")
    folders += [Path(place) / "assets" / FOLDER for place in (spec.submodule_search_locations or ())] if spec else []
    return next((folder for folder in folders if folder.is_dir()), None)


def fault(folder: Path) -> str:
    """Why these files can't be used, a plain clause; "" if they can. Reads all of them: 44 MB."""
    for name, digest in SHA256.items():
        path = folder / name
        try:
            with path.open("rb") as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            return f"{name} can't be read: {error.strerror}"
        if found != digest:
            return f"{name} is another file than the limits were set on, or is damaged"
    return ""
