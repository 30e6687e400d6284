"""Runs the product's own path over the measuring streams: what each clip was heard as, and the figures of many.

`score` is for the benchmark and for setting limits; every line of its `heard` can be written as JSON.
"""

from __future__ import annotations

import functools
import itertools
import math
import multiprocessing
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from assistant.hearing.child import Spec, make_recogniser
from assistant.hearing.contract import RATE, Recogniser
from assistant.hearing.denoise import choose_denoiser
from assistant.hearing.ear import Ear, Found
from assistant.hearing.endpoint import FRAME_BYTES
from assistant.wording.phrases import Phrase
from tests.hearing.corpus import natural_texts
from tests.hearing.corpus.clips import Block, Clip, Stream
from tests.hearing.voices import LEAD_IN, short, table

EarMaker = Callable[[], Ear]
SLACK = RATE // 2  # samples before and after a clip in which what is heard is still of it
TALK = ("talk", "human")  # must not be taken, and is the talk that an hour is counted of


@dataclass(frozen=True, slots=True)
class Line:
    """One utterance that the ear reported, or a clip without a report (heard "", reason "nothing").

    kind: of the clip, or "noise". text: what should be heard, or "". accepted: the phrase taken, or None. strict,
    lead_in: of that phrase. right: it means what was said. reaction_s: from the clip's last sound to the answer,
    hangover, suppression and decoding included, by wall time. unloaded_s: the same with the work's CPU time.
    """

    half: str
    condition: str
    kind: str
    name: str
    text: str
    heard: str
    accepted: str | None
    strict: bool
    lead_in: bool
    right: bool
    reason: str
    reaction_s: float | None
    unloaded_s: float | None
    measures: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Heard:
    """One stream. Times in seconds."""

    lines: tuple[Line, ...]
    audio_s: float
    cpu_s: float


@functools.lru_cache(maxsize=2)
def _recogniser(spec: Spec) -> Recogniser:
    return make_recogniser(spec)


def ear_of(spec: Spec) -> Ear:
    """A new ear on a recogniser that is loaded once a process; else as `child.make_ear`."""
    return Ear(_recogniser(spec), choose_denoiser(spec.denoiser)[0], spec.endpoints)


def phrases_for(clips: Sequence[Clip]) -> tuple[Phrase, ...]:
    """All phrases that can be said, short ones too; beside those the wordings to come. Or the alphabet pairs alone."""
    if clips and clips[0].kind == "pair":
        return tuple(Phrase("pair", clip.text, clip.text, False, False) for clip in clips)
    if clips and clips[0].kind.startswith("short"):
        new = (Phrase("to come", text, f"{LEAD_IN} {text}", True, True, short=True) for text in natural_texts.TO_COME)
        return (*table(), *short(), *new)
    return (*table(), *short())


def hear(make_ear: EarMaker, half: str, block: Block) -> Heard:
    """One stream through one ear."""
    stream, phrases, ear = block.stream(), phrases_for(block.clips), make_ear()
    ear.listen(phrases, 0)
    began = time.process_time() + _cpu_elsewhere(ear)
    found = _timed(ear, stream.sound)
    cpu = time.process_time() + _cpu_elsewhere(ear) - began
    return Heard(tuple(_lines(half, stream, found, phrases)), len(stream.sound) / 2 / RATE, cpu)


Told = tuple[Found, float, float]


def _timed(ear: Ear, sound: bytes) -> list[Told]:
    """What was found, and when (s) the answer was there had the sound come in time: work queues behind work.

    Once with the work's wall time, once with its CPU time: other programs' load is in the first only.
    """
    scorer = getattr(ear.recogniser, "scorer", None)
    found: list[Told] = []
    done, unloaded, begun = 0.0, 0.0, 0.0
    for start in range(0, len(sound), FRAME_BYTES):
        arrived = (start + FRAME_BYTES) / 2 / RATE
        asked, waited, scored = (scorer.asked, scorer.waited_s, scorer.cpu_s) if scorer else (0, 0.0, 0.0)
        began, cpu = time.perf_counter(), time.process_time()
        told = ear.feed(sound[start : start + FRAME_BYTES])
        took, worked = time.perf_counter() - began, time.process_time() - cpu
        if scorer:
            if scorer.asked > asked:
                begun = arrived
            # It works while the end of the piece is waited for; here no time passes between two frames.
            meanwhile = arrived - begun
            took -= min(scorer.waited_s - waited, meanwhile)
            worked += max(0.0, scorer.cpu_s - scored - meanwhile)
        done, unloaded = max(done, arrived) + took, max(unloaded, arrived) + worked
        found += [(item, done, unloaded) for item in told]
    return found + [(item, done, unloaded) for item in ear.flush()]


def _cpu_elsewhere(ear: Ear) -> float:
    """Seconds of the process beside this one."""
    scorer = getattr(ear.recogniser, "scorer", None)
    return float(scorer.cpu_s if scorer else 0.0)


def _lines(half: str, stream: Stream, found: Sequence[Told], phrases: Sequence[Phrase]) -> Iterable[Line]:
    meanings = {phrase.text: (phrase.intent, phrase.argument) for phrase in phrases}
    told: list[list[Told]] = [[] for _ in stream.clips]
    for item in found:
        number = _clip_of(item[0], stream.spans)
        if number is None:
            yield _line(half, stream.condition, Clip("noise", "", "", b""), item, None, meanings)
        else:
            told[number].append(item)
    for clip, span, items in zip(stream.clips, stream.spans, told, strict=True):
        if not items:
            nothing = Found(0, 0, 0, None, "nothing", "", 0)
            yield _line(half, stream.condition, clip, (nothing, 0.0, 0.0), None, meanings)
        for item in items:
            yield _line(half, stream.condition, clip, item, span[1] / RATE, meanings)


def _clip_of(found: Found, spans: Sequence[tuple[int, int]]) -> int | None:
    """The clip that most of it falls on."""
    shared = [min(found.end, last + SLACK) - max(found.first, first - SLACK) for first, last in spans]
    best = int(np.argmax(shared)) if shared else 0
    return best if shared and shared[best] > 0 else None


def _line(half: str, condition: str, clip: Clip, item: Told, ended: float | None, meanings: dict) -> Line:
    found, answered, unloaded = item
    phrase = found.phrase
    right = phrase is not None and meanings.get(clip.text) == (phrase.intent, phrase.argument)
    return Line(
        half,
        condition,
        clip.kind,
        clip.name,
        clip.text,
        found.heard,
        phrase.text if phrase else None,
        bool(phrase and phrase.strict),
        bool(phrase and phrase.lead_in),
        right,
        found.reason,
        None if ended is None else round(answered - ended, 3),
        None if ended is None else round(unloaded - ended, 3),
        {name: round(float(value), 4) for name, value in found.measures.items()},
    )


def run(make_ear: EarMaker, half: str, wanted: Sequence[Block], jobs: int = 2) -> list[Heard]:
    """All blocks, over so many processes. make_ear: picklable when there is more than one."""
    if jobs == 1:
        return [hear(make_ear, half, block) for block in wanted]
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        return list(pool.map(functools.partial(hear, make_ear, half), wanted))


@dataclass(frozen=True, slots=True)
class Cell:
    """One kind of clip in one condition. Counts are of clips, not lines: a clip may have been heard in pieces.

    hits: heard as what was said. strict, eager: taken for anything else, by a phrase that records, confirms, moves or
    ends, or by another one only. reaction, unloaded: p50 and p95 of the hits, as in `Line`.
    """

    kind: str
    condition: str
    clips: int
    hits: int
    strict: int
    eager: int
    reaction: tuple[float, float]
    unloaded: tuple[float, float]

    @property
    def taken(self) -> int:
        """Taken for what was not said."""
        return self.strict + self.eager


@dataclass(frozen=True, slots=True)
class Load:
    """What was heard, and what hearing it cost. Seconds."""

    audio_s: float = 0.0
    cpu_s: float = 0.0

    def __add__(self, other: Load) -> Load:
        return Load(self.audio_s + other.audio_s, self.cpu_s + other.cpu_s)

    @property
    def cores(self) -> float:
        return self.cpu_s / self.audio_s if self.audio_s else math.nan


@dataclass(frozen=True, slots=True)
class Score:
    """cells: by kind and condition. people: all streams with clips; talk: those of `TALK`; noise: those without clips.

    noise_taken: phrases taken in noise alone. heard: every line.
    """

    cells: dict[tuple[str, str], Cell]
    people: Load
    talk: Load
    noise: Load
    noise_taken: int
    heard: tuple[Line, ...]


def score(make_ear: EarMaker, half: str, wanted: Sequence[Block], jobs: int = 2) -> Score:
    """These blocks through new ears of this kind."""
    results = run(make_ear, half, wanted, jobs)
    people, talk, noise = Load(), Load(), Load()
    for block, result in zip(wanted, results, strict=True):
        load = Load(result.audio_s, result.cpu_s)
        if not block.clips:
            noise += load
            continue
        people += load
        if block.clips[0].kind in TALK:
            talk += load
    lines = tuple(itertools.chain.from_iterable(result.lines for result in results))
    taken = [line for line in lines if line.condition.startswith("noise") and line.accepted]
    return Score(cells_of(lines), people, talk, noise, len(taken), lines)


def cells_of(lines: Iterable[Line]) -> dict[tuple[str, str], Cell]:
    """Noise alone has none; what was taken between clips is among its kind "noise"."""
    found: dict[tuple[str, str], list[Line]] = {}
    for line in lines:
        if not line.condition.startswith("noise"):
            found.setdefault((line.kind, line.condition), []).append(line)
    return {key: _cell(*key, of_it) for key, of_it in found.items()}


def _cell(kind: str, condition: str, lines: Sequence[Line]) -> Cell:
    wrong = [line for line in lines if line.accepted is not None and not line.right]
    strict = {line.name for line in wrong if line.strict}
    hits = [line for line in lines if line.right]
    return Cell(
        kind,
        condition,
        clips=len({line.name for line in lines}),
        hits=len({line.name for line in hits}),
        strict=len(strict),
        eager=len({line.name for line in wrong} - strict),
        reaction=_middle_and_late([line.reaction_s for line in hits]),
        unloaded=_middle_and_late([line.unloaded_s for line in hits]),
    )


def wilson(part: int, whole: int) -> tuple[float, float]:
    """The share's 95 % interval, 0 to 1 (E. B. Wilson, 1927); 0 to 1 where there is nothing to count."""
    if not whole:
        return 0.0, 1.0
    z = 1.959964
    share, weight = part / whole, z * z / whole
    middle = (share + weight / 2) / (1 + weight)
    half = z * math.sqrt((share * (1 - share) + weight / 4) / whole) / (1 + weight)
    return max(0.0, middle - half), min(1.0, middle + half)


def _middle_and_late(times: Iterable[float | None]) -> tuple[float, float]:
    known = [seconds for seconds in times if seconds is not None]
    if not known:
        return math.nan, math.nan
    middle, late = np.percentile(known, (50, 95))
    return float(middle), float(late)
