"""How likely the sound makes a given text: the scores of a small neural recogniser.

The model is moonshine's tiny English one (27 million parameters, MIT licence), run by onnxruntime: an encoder that
turns the sound into one vector for each 24 ms, and a decoder that gives the odds of every next token of text. What
it writes by itself is never acted on, since it writes sentences for noise too. What counts is how the odds of a given
text compare with those of the model's own free continuation, and with those of other given texts.

All scores are natural logs of probabilities.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import NoSuchPart
from assistant.hearing.neural_files import DECODER, ENCODER, TOKENS

BEGIN, END = 1, 2  # tokens
BYTES_FROM, PIECES_FROM = 3, 259  # tokens: 256 single bytes, then the pieces of words
SPACE = "\u2581"
LAYERS, HEADS, WIDTH = 6, 8, 36
# What the model may write after a text that ends here. A comma goes on ("all clamps are secure, aren't they?").
CLOSING = (".", "?", "!")
# Rows decoded at once. Six need 14 MB, all of a phrase's rivals at once 160 (hearing study 2).
ROWS = 6
# Texts so far below the best one, natural log, are given up: that is more than any limit forgives.
WITHIN = 18.0
TOKENS_PER_S, FEWEST_TOKENS = 6.5, 6  # the most that it may write; from the hearing study's worked example

Tokens = tuple[int, ...]
Past = dict[str, np.ndarray]
TokenTree = dict[int, Any]  # token -> what can follow it; -1 -> the number of the text that ends here


class Tokeniser:
    """Text to tokens and back, by the model's own table of pieces."""

    def __init__(self, path: Path) -> None:
        self._pieces = _pieces(path.read_bytes())
        self._ids: dict[bytes, int] = {}
        for number, piece in enumerate(self._pieces[PIECES_FROM:], PIECES_FROM):
            if piece:
                self._ids.setdefault(piece, number)

    def encode(self, text: str) -> Tokens:
        """The tokens of a text as it stands within a sentence.

        The table is sorted by rank and has no merges, so the pair that makes the piece with the lowest number is
        merged first, until no pair makes a piece.
        """
        parts = [letter.encode() for letter in SPACE + text.replace(" ", SPACE)]
        while True:
            pairs = ((self._ids.get(a + b), n) for n, (a, b) in enumerate(zip(parts, parts[1:], strict=False)))
            best = min(((number, n) for number, n in pairs if number is not None), default=None)
            if best is None:
                break
            at = best[1]
            parts[at : at + 2] = [parts[at] + parts[at + 1]]
        found: list[int] = []
        for part in parts:
            number = self._ids.get(part)
            found += [BYTES_FROM + byte for byte in part] if number is None else [number]
        return tuple(found)

    def decode(self, tokens: Iterable[int]) -> str:
        """The text of these tokens."""
        raw = b"".join(
            self._pieces[t] if t >= PIECES_FROM else bytes([t - BYTES_FROM]) if t >= BYTES_FROM else b"" for t in tokens
        )
        return raw.decode("utf-8", "replace").replace(SPACE, " ").strip()


def _pieces(data: bytes) -> list[bytes]:
    """The file's pieces: before each its length in one byte, or in two if the first has its top bit set."""
    found, at = [], 0
    while at < len(data):
        length = data[at]
        at += 1
        if length >= 128:
            length = data[at] * 128 + length - 128
            at += 1
        found.append(data[at : at + length])
        at += length
    return found


@dataclass(frozen=True, slots=True)
class Scored:
    """How likely one text is, the beginning taken as given.

    words: of all its tokens together. first: of its first token. end: that the text ends here. open: that it goes on.
    """

    words: float
    first: float
    end: float
    open: float

    @property
    def whole(self) -> float:
        """The text and its end."""
        return self.words + self.end


@dataclass(slots=True)
class _Path:
    """One text on its way through the tree of all texts. node: what can come next."""

    node: TokenTree
    token: int
    words: float
    first: float


class Given:
    """A piece of sound with the beginning of its text given: scores what comes after that.

    beginning: tokens. Owned by the `Neural` that made it.
    """

    def __init__(self, model: Neural, hidden: np.ndarray, beginning: Tokens) -> None:
        self._model, self._hidden = model, hidden
        logits, self._past = model.step(np.array([[BEGIN, *beginning]]), hidden, None)
        self.given = _log_softmax(logits[0])
        """The log odds of every token at each place, the first being that after `BEGIN`."""

    def search(self, root: TokenTree, length_s: float) -> tuple[dict[int, Scored], float, Tokens]:
        """The scores of the likeliest texts by their number, and the score and tokens of the free continuation.

        root: from `tree_of`. length_s: of the sound.
        """
        found: dict[int, Scored] = {}
        odds = self.given[-1]
        free, free_score = [int(odds.argmax())], float(odds.max())
        rows = [_Path(child, token, float(odds[token]), float(odds[token])) for token, child in root.items()]
        rows = self._likeliest(rows, found)
        order: list[int] = []
        past = self._past
        longest = int(length_s * TOKENS_PER_S) + FEWEST_TOKENS
        came_from = [0] * (len(rows) + 1)
        while rows or free[-1] != END:
            goes_on = free[-1] != END and len(free) < longest
            if not rows and not goes_on:
                break
            # The free continuation is one more row, the last, since it is as long as the others.
            tokens = [row.token for row in rows] + ([free[-1]] if goes_on else [])
            picked = came_from[: len(rows)] + (came_from[-1:] if goes_on else [])
            logits, past = self._model.step(np.array(tokens)[:, None], self._hidden, _rows_of(past, picked))
            every = _log_softmax(logits[:, -1])
            if goes_on:
                free.append(int(every[-1].argmax()))
                free_score += float(every[-1].max())
            new: list[tuple[_Path, int]] = []
            for n, row in enumerate(rows):
                for token, child in row.node.items():
                    if token == -1:
                        self._ended(found, child, row, every[n])
                    else:
                        new.append((_Path(child, token, row.words + float(every[n][token]), row.first), n))
            kept = set(map(id, self._likeliest([row for row, _ in new], found)))
            rows, order = [row for row, _ in new if id(row) in kept], [n for row, n in new if id(row) in kept]
            came_from = order + [len(tokens) - 1]
        return found, free_score, tuple(free)

    def _likeliest(self, rows: list[_Path], found: dict[int, Scored]) -> list[_Path]:
        if not rows:
            return []
        best = max(row.words for row in rows)
        bar = max([best, *(scored.whole for scored in found.values())]) - WITHIN
        return sorted((row for row in rows if row.words >= bar), key=lambda row: -row.words)[: ROWS - 1]

    def _ended(self, found: dict[int, Scored], number: int, row: _Path, odds: np.ndarray) -> None:
        scored = self._scored(row.words, row.first, odds)
        if number not in found or scored.whole > found[number].whole:
            found[number] = scored

    def _scored(self, words: float, first: float, odds: np.ndarray) -> Scored:
        end = float(np.logaddexp.reduce(odds[list(self._model.closing)]))
        # Never quite 1, since log1p(-1) is minus infinity.
        return Scored(words, first, end, float(np.log1p(-min(np.exp(end), 1 - 1e-12))))

    def forced(self, texts: Sequence[Tokens]) -> list[Scored]:
        """The scores of these texts, in their order."""
        found = []
        for start in range(0, len(texts), ROWS):
            part = texts[start : start + ROWS]
            tokens = np.full((len(part), max(map(len, part))), END)
            for n, text in enumerate(part):
                tokens[n, : len(text)] = text
            logits, _ = self._model.step(tokens, self._hidden, _rows_of(self._past, [0] * len(part)))
            for n, text in enumerate(part):
                odds = _log_softmax(logits[n, : len(text)])
                first = float(self.given[-1][text[0]])
                rest = odds[np.arange(len(text) - 1), list(text[1:])]
                found.append(self._scored(first + float(rest.sum()), first, odds[-1]))
        return found


class Neural:
    """The model, loaded. Owned by one thread. folder: of its three files. Raises NoSuchPart or OSError."""

    def __init__(self, folder: Path) -> None:
        try:
            import onnxruntime
        except ImportError as error:
            raise NoSuchPart("the neural recogniser needs onnxruntime; pip install onnxruntime") from error
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        # The arena keeps the largest piece's memory for ever, for no speed gained.
        options.enable_cpu_mem_arena = False
        options.log_severity_level = 3
        make = onnxruntime.InferenceSession
        self._encoder = make(str(folder / ENCODER), options, providers=["CPUExecutionProvider"])
        self._decoder = make(str(folder / DECODER), options, providers=["CPUExecutionProvider"])
        self._present = [output.name for output in self._decoder.get_outputs()][1:]
        self.tokeniser = Tokeniser(folder / TOKENS)
        self.closing = (*(self.tokeniser._ids[mark.encode()] for mark in CLOSING), END)

    def hidden(self, pcm16k: bytes) -> np.ndarray:
        """The encoder's vectors for a piece: 16 kHz mono, 16 bit; shape 1 x frames of 24 ms x 288."""
        samples = np.frombuffer(pcm16k, "<i2").astype(np.float32)[None] / 32768
        feed = {"input_values": samples, "attention_mask": np.ones(samples.shape, np.int64)}
        return self._encoder.run(None, feed)[0]

    def given(self, hidden: np.ndarray, beginning: Tokens = ()) -> Given:
        """The piece with these vectors, its text taken to begin with these tokens."""
        return Given(self, hidden, beginning)

    def step(self, tokens: np.ndarray, hidden: np.ndarray, past: Past | None) -> tuple[np.ndarray, Past]:
        """The decoder once: its logits, rows x tokens x vocabulary, and what it needs to go on from there.

        tokens: rows x tokens, whole numbers. past: what an earlier step gave for as many rows; None at the beginning.
        """
        rows = len(tokens)
        feed = {
            "input_ids": tokens.astype(np.int64),
            "encoder_hidden_states": np.repeat(hidden, rows, 0),
            "encoder_attention_mask": np.ones((rows, hidden.shape[1]), np.int64),
            "use_cache_branch": np.array([past is not None]),
        }
        empty = np.zeros((rows, HEADS, 0, WIDTH), np.float32)
        names = [name.replace("present", "past_key_values") for name in self._present]
        feed |= dict.fromkeys(names, empty) if past is None else past
        logits, *present = self._decoder.run(None, feed)
        after = dict(zip(names, present, strict=True))
        if past is not None:
            # Once given, the sound's own keys come back empty.
            after |= {name: kept for name, kept in past.items() if ".encoder." in name}
        return logits, after


def _rows_of(past: Past, rows: Sequence[int]) -> Past:
    """These rows of it, in this order. The sound's keys are the same in every row."""
    return {
        name: np.repeat(values[:1], len(rows), 0) if ".encoder." in name else values[list(rows)]
        for name, values in past.items()
    }


def tree_of(texts: Iterable[tuple[Tokens, int]], root: TokenTree | None = None) -> TokenTree:
    """Texts, each with its number, for `Given.search`: of those with the same number it keeps the likeliest.

    root: a tree that they are added to.
    """
    root = {} if root is None else root
    for tokens, number in texts:
        node = root
        for token in tokens:
            node = node.setdefault(token, {})
        node[-1] = number
    return root


def _log_softmax(logits: np.ndarray) -> np.ndarray:
    shifted = logits - logits.max(-1, keepdims=True)
    return shifted - np.log(np.exp(shifted).sum(-1, keepdims=True))
