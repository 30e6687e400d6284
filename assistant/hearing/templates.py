"""Voice templates: how this operator says each phrase into this microphone, and how far a piece is from that.

A template is the cepstra of one saying. The sound itself is never kept. Before a comparison, each template is put
into the noise of the piece: its bands are levelled to the piece's, and the piece's own noise is added. The distance
then grows little with noise, and the limit, which follows the signal-to-noise ratio, can stay narrow. This is true only
of sound straight from the microphone. Noise suppression removes noise between the words but not within them, so the
noisier a suppressed piece was, the further it is from its templates.

Distance: dynamic time warping after Sakoe and Chiba (1978), symmetric, over the path's length.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from assistant import files
from assistant.errors import CouldNotRun, NoSuchPart
from assistant.hearing.cepstra import CEPSTRA, band_powers, bands_of, cepstra_of, features, product

APP = "kerfcall"
FILE = "templates.npz"
FORMAT = 1
FEWEST = 2  # a phrase needs so many templates before a piece is judged by them
MOST = 12  # templates of a phrase, which limits the time a judgement takes
SHORTEST, LONGEST = 20, 500  # frames of a template
SLACK = 5  # frames around the phrase that count neither as the phrase nor as the noise behind it
FAR = np.float32(1e9)

# Signal to noise in dB -> greatest distance, as a multiple of the spread of the operator's own repeats. Straight lines
# in between. `python -m tests.hearing.template_study` prints the figures that these limits were set by.
LIMITS = ((-4.0, 1.08), (1.0, 1.12), (6.0, 1.16), (15.0, 1.33), (30.0, 1.33))
SPREADS = (1.2, 4.0)  # the range believed; a synthetic speaker's is 1.4 to 1.8, a person's on two days is larger


def voice_folder(microphone: str) -> Path:
    """The folder of this user's templates and noise for this microphone, in the user's data folder."""
    return voices_folder() / (re.sub(r"[^a-z0-9]+", "-", microphone.casefold()).strip("-")[:80] or "default")


def voices_folder() -> Path:
    """The folder of all this user's voice data."""
    import platformdirs

    return platformdirs.user_data_path(APP) / "voice"


class Voice:
    """One operator's templates through one microphone, by the phrase's text (with its lead-in)."""

    def __init__(self, templates: Mapping[str, Sequence[np.ndarray]] | None = None) -> None:
        """Takes the newest `MOST` templates of each phrase. templates: cepstra, frames x `CEPSTRA`, mean removed."""
        self._templates = {text: list(ones)[-MOST:] for text, ones in (templates or {}).items()}
        self._spread: float | None = None

    @property
    def texts(self) -> tuple[str, ...]:
        """The phrases that have templates."""
        return tuple(self._templates)

    def count(self, text: str) -> int:
        """The number of templates of the phrase."""
        return len(self._templates.get(text, ()))

    def enrol(self, text: str, sayings: Iterable[bytes]) -> int:
        """Replaces the phrase's templates by these sayings (16 kHz mono, 16 bit, trimmed to the phrase).

        Returns how many are kept. Sayings shorter than 0.2 s or longer than 5 s are not.
        """
        powers = [band_powers(piece) for piece in sayings]
        kept = [cepstra_of(one) for one in powers if SHORTEST <= len(one) <= LONGEST][-MOST:]
        self._templates.pop(text, None)
        if kept:
            self._templates[text] = kept
        self._spread = None
        return len(kept)

    def distance(self, pcm16k: bytes, text: str, noise: np.ndarray | None = None) -> float:
        """The distance of the piece, trimmed to the phrase's frames, from the nearest template of the phrase.

        noise: mean power in each band while nobody speaks (as from `cepstra.band_powers`), or None for none.
        0 is the same sound; repeats by the same voice are about 1.5 apart. Infinite without templates, and for pieces
        shorter than 0.2 s or longer than 5 s.
        """
        return self._distance(band_powers(pcm16k), text, noise)

    def _distance(self, powers: np.ndarray, text: str, noise: np.ndarray | None) -> float:
        templates = self._templates.get(text, [])
        if not templates or not SHORTEST <= len(powers) <= LONGEST:
            return float("inf")
        behind = np.zeros(powers.shape[1], np.float32) if noise is None else noise
        heard = [features(through(template, powers, behind)) for template in templates]
        return float(warped(features(powers), heard).min())

    def limit(self, snr_db: float) -> float:
        """The greatest distance at which a piece counts as the phrase: a multiple of the operator's own spread.

        snr_db: as from `signal_to_noise`.
        """
        ratios, multiples = zip(*LIMITS, strict=True)
        return min(max(self.spread, SPREADS[0]), SPREADS[1]) * float(np.interp(snr_db, ratios, multiples))

    @property
    def spread(self) -> float:
        """The median distance between this operator's repeats of a phrase; 0 while there are none."""
        if self._spread is None:
            each = [d for ones in self._templates.values() if len(ones) >= FEWEST for d in _to_the_others(ones)]
            self._spread = float(np.median(each)) if each else 0.0
        return self._spread

    @classmethod
    def load(cls, folder: Path) -> Voice:
        """Reads the templates stored in the folder. Without a file, the Voice has none.

        Raises NoSuchPart for a file that is broken or has another format.
        """
        path = folder / FILE
        mend = "run `kerfcall soundcheck` again"
        try:
            # Read into memory first: numpy leaves the file of a broken archive open.
            with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as kept:
                if int(kept["format"]) != FORMAT:
                    raise NoSuchPart(f"{path} was written by another version of Kerfcall; {mend}")
                texts = [str(text) for text in kept["texts"]]
                ones = [np.asarray(kept[f"t{n}"], np.float32) for n in range(len(texts))]
        except FileNotFoundError:
            return cls()
        except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile) as error:
            raise NoSuchPart(f"the voice templates in {path} can't be read; {mend}") from error
        if any(one.ndim != 2 or one.shape[1] != CEPSTRA or not np.isfinite(one).all() for one in ones):
            raise NoSuchPart(f"the voice templates in {path} have the wrong contents; {mend}")
        templates: dict[str, list[np.ndarray]] = {}
        for text, one in zip(texts, ones, strict=True):
            templates.setdefault(text, []).append(one)
        return cls(templates)

    def save(self, folder: Path) -> Path:
        """Stores the templates in the folder, completely or not at all. Raises CouldNotRun if it can't be written."""
        pairs = [(text, one) for text, ones in self._templates.items() for one in ones]
        arrays: dict[str, Any] = {f"t{n}": one.astype(np.float16) for n, (_, one) in enumerate(pairs)}
        arrays |= {"format": np.array(FORMAT), "texts": np.array([text for text, _ in pairs], dtype=np.str_)}
        return keep(folder / FILE, lambda file: np.savez(file, **arrays))


def keep(path: Path, content: files.Content) -> Path:
    """Writes a file completely or not at all, readable by this user only, as is its folder. Raises CouldNotRun."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        files.write_whole(path, content)
    except OSError as error:
        raise CouldNotRun(f"{path} can't be written: {error.strerror or error}") from error
    return path


def through(template: np.ndarray, powers: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """The template's bands as they would be within the piece: equally loud in each band, and with the piece's noise.

    template: cepstra. powers: the piece's bands. noise: mean power in each band.
    """
    bands = np.exp(bands_of(template))
    speech = np.maximum(powers.mean(axis=0) - noise, np.maximum(0.1 * noise, 1e-10))
    return np.asarray(bands * (speech / bands.mean(axis=0)) + noise, np.float32)


def warped(piece: np.ndarray, templates: Sequence[np.ndarray]) -> np.ndarray:
    """The warped distance of the piece from each template, divided by the frames of both.

    Euclidean between frames, with symmetric steps (a diagonal step counts twice) and both ends fixed. piece, templates:
    frames x the same number of features.
    """
    longest, count = max(len(one) for one in templates), len(piece)
    skewed = _skewed(piece, templates, longest)
    before = np.full((len(templates), longest + 1), FAR, np.float32)
    now = before.copy()
    now[:, 1] = 2 * skewed[0, :, 0]
    now[:, 2:] = FAR
    ends = np.array([len(one) + count - 2 for one in templates])
    totals = np.where(ends == 0, now[:, 1], FAR)
    rows = np.array([len(one) for one in templates])
    for step in range(1, longest + count - 1):
        cost = skewed[step]
        after = np.full_like(now, FAR)
        np.minimum(now[:, 1:], now[:, :-1], out=after[:, 1:])
        after[:, 1:] += cost
        np.minimum(after[:, 1:], before[:, :-1] + 2 * cost, out=after[:, 1:])
        before, now = now, after
        if step >= ends.min():
            totals = np.where(ends == step, now[np.arange(len(rows)), rows], totals)
    return np.asarray(totals / (rows + count), np.float64)


def _skewed(piece: np.ndarray, templates: Sequence[np.ndarray], longest: int) -> np.ndarray:
    """Frame distances by anti-diagonal, [i + j, template, i], so that a whole diagonal is done in one step.

    `FAR` outside the template and the piece.
    """
    count = len(piece)
    skewed = np.full((longest + count - 1, len(templates), longest), FAR, np.float32)
    squares = (piece**2).sum(axis=1)
    for n, one in enumerate(templates):
        squared = (one**2).sum(axis=1)[:, None] + squares[None, :] - 2 * product(one, piece.T)
        i, j = np.arange(len(one))[:, None], np.arange(count)[None, :]
        skewed[i + j, n, i] = np.sqrt(np.maximum(squared, 0.0))
    return skewed


def _to_the_others(templates: Sequence[np.ndarray]) -> list[float]:
    """The distance of each template from the nearest of the others."""
    whole = [np.exp(bands_of(one)) for one in templates]
    features_of = [features(one) for one in whole]
    return [float(warped(one, features_of[:n] + features_of[n + 1 :]).min()) for n, one in enumerate(features_of)]


def signal_to_noise(powers: np.ndarray, first: int, last: int) -> tuple[float, np.ndarray]:
    """How far the phrase is above the noise behind it, dB, and the mean power of that noise in each band.

    powers: the whole piece's bands. first, last: the phrase's frames, inclusive. If the phrase fills the piece, its own
    faintest tenth is taken as the noise.
    """
    outside = np.concatenate([powers[: max(first - SLACK, 0)], powers[last + 1 + SLACK :]])
    inside = powers[first : last + 1]
    if len(outside) >= SLACK:
        # Only the quieter frames: a knock or another voice beside the phrase is no noise floor.
        loudness = outside.sum(axis=1)
        noise = outside[loudness <= np.median(loudness) * 1.5].mean(axis=0)
    else:
        noise = np.percentile(inside, 10, axis=0)
    noise = np.maximum(noise, 1e-12)
    over = max(float(inside.mean(axis=0).sum() - noise.sum()), 1e-12)
    return 10 * float(np.log10(over / noise.sum())), np.asarray(noise, np.float32)


def judge(voice: Voice, pcm16k: bytes, first_frame: int, last_frame: int, text: str) -> tuple[float, float] | None:
    """The piece's distance from this operator's templates of the phrase, and the limit for its noise.

    pcm16k: the whole piece before any noise suppression, including what is around the phrase. first_frame, last_frame:
    of the phrase within it, 10 ms each, inclusive. None if the phrase has fewer than `FEWEST` templates to judge by.
    """
    if voice.count(text) < FEWEST:
        return None
    powers = band_powers(pcm16k)
    first, last = max(first_frame, 0), min(last_frame, len(powers) - 1)
    if last < first:
        return float("inf"), voice.limit(0.0)
    snr_db, noise = signal_to_noise(powers, first, last)
    return voice._distance(powers[first : last + 1], text, noise), voice.limit(snr_db)
