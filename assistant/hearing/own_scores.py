"""What this operator's phrases score with the neural recogniser through one microphone, from a sound check.

Somebody whose phrases always score far above the general limit loses nothing by a stricter one, which keeps out more
of what is not the phrase. Only figures are kept, never sound.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant import files
from assistant.errors import CouldNotRun, NoSuchPart

APP = "kerfcall"
FILE = "scores.json"
FORMAT = 1  # a recogniser with another model needs another number: its scores can't be compared with these
FEWEST = 2  # sayings of a phrase, before its scores limit it
BELOW = 3.0  # natural log: how far below the worst score of the check a phrase is still accepted


def voice_folder(microphone: str) -> Path:
    """The folder of this user's scores and noise for this microphone, in the user's data folder."""
    return voices_folder() / (re.sub(r"[^a-z0-9]+", "-", microphone.casefold()).strip("-")[:80] or "default")


def voices_folder() -> Path:
    """The folder of all this user's voice data."""
    import platformdirs

    return platformdirs.user_data_path(APP) / "voice"


@dataclass(frozen=True, slots=True)
class Scores:
    """How well each accepted saying of a phrase fitted, natural logs: the measure "fit" of `scores.Measured`.

    off: with the saw off. on: in the saw's noise.
    """

    off: tuple[float, ...] = ()
    on: tuple[float, ...] = ()

    @property
    def worst(self) -> float | None:
        """The lowest of all; None if there are none."""
        return min((*self.off, *self.on), default=None)

    @property
    def limit(self) -> float | None:
        """What the phrase must reach; None if there are too few scores, or none in the saw's noise.

        A limit from quiet alone would refuse the phrase at the saw.
        """
        if self.worst is None or not self.on or len(self.off) + len(self.on) < FEWEST:
            return None
        # 0 is as likely as what the model itself would write. More only says that it didn't find the likeliest text.
        return min(self.worst, 0.0) - BELOW


class OwnScores:
    """One operator's scores through one microphone, by the phrase's text (with its lead-in)."""

    def __init__(self, scores: Mapping[str, Scores] | None = None) -> None:
        self._scores = {text: one for text, one in (scores or {}).items() if one.worst is not None}

    @property
    def texts(self) -> tuple[str, ...]:
        """The phrases that have scores."""
        return tuple(self._scores)

    def of(self, text: str) -> Scores:
        """The scores of the phrase; empty without any."""
        return self._scores.get(text, Scores())

    def limit(self, text: str) -> float | None:
        """The fit that the phrase must reach, natural log; None where only the general limit counts.

        It can be looser than the general limit, which counts beside it.
        """
        return self.of(text).limit

    def replace(self, text: str, scores: Scores) -> None:
        """Puts these in the place of the phrase's earlier scores."""
        self._scores.pop(text, None)
        if scores.worst is not None:
            self._scores[text] = scores

    @classmethod
    def load(cls, folder: Path) -> OwnScores:
        """Reads the scores stored in the folder. Without a file there are none.

        Raises NoSuchPart for a file that is broken or has another format.
        """
        path = folder / FILE
        mend = "run `kerfcall soundcheck` again"
        try:
            kept = json.loads(path.read_text(encoding="utf-8"))
            if kept["format"] != FORMAT:
                raise NoSuchPart(f"{path} was written by another version of Kerfcall; {mend}")
            phrases = kept["phrases"].items()
            return cls({text: Scores(_read(one["saw_off"]), _read(one["saw_on"])) for text, one in phrases})
        except FileNotFoundError:
            return cls()
        except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError) as error:
            raise NoSuchPart(f"the scores of your phrases in {path} can't be read; {mend}") from error

    def save(self, folder: Path) -> Path:
        """Stores the scores in the folder, completely or not at all. Raises CouldNotRun if it can't be written."""
        phrases = {text: {"saw_off": _plain(one.off), "saw_on": _plain(one.on)} for text, one in self._scores.items()}
        return keep(folder / FILE, json.dumps({"format": FORMAT, "phrases": phrases}, indent=1).encode())


def _plain(scores: Sequence[float]) -> list[float]:
    return [round(score, 2) for score in scores]


def _read(kept: list[Any]) -> tuple[float, ...]:
    if not isinstance(kept, list) or not all(math.isfinite(score) for score in kept):
        raise ValueError("not scores")
    return tuple(map(float, kept))


def keep(path: Path, content: bytes) -> Path:
    """Writes a file completely or not at all, readable by this user only, as is its folder. Raises CouldNotRun."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        files.write_whole(path, content)
    except OSError as error:
        raise CouldNotRun(f"{path} can't be written: {error.strerror or error}") from error
    return path
