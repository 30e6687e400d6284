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
from assistant.hearing.phone_loop import Here
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.wording.phrases import Phrase, decoys
from tests.hearing.corpus.clips import CONDITIONS, KINDS, Block, Clip, Stream, blocks, noise_blocks
from tests.hearing.voices import LEAD_IN, table

EarMaker = Callable[[], Ear]
SLACK = RATE // 2  # samples before and after a clip in which what is heard is still of it
# Hits are wanted in every condition; what must not be taken, where the targets are.
WHERE = {
    "phrase": CONDITIONS,
    "pair": ("clean", "10 dB", "5 dB"),
    "human": ("clean", "10 dB"),
    "near": ("clean", "10 dB"),
    "other": ("clean", "10 dB"),
    "one off": ("clean", "10 dB"),
    "denied": ("clean", "10 dB"),
}


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
    known = decoys(DEFAULT_CHECKS, LEAD_IN)
    return Ear(_recogniser(spec), choose_denoiser(spec.denoiser)[0], spec.endpoints, known=known)


def phrases_for(clips: Sequence[Clip]) -> tuple[Phrase, ...]:
    """All phrases that can be said; for alphabet pairs, those pairs."""
    if clips and clips[0].kind == "pair":
        return tuple(Phrase("pair", clip.text, clip.text, False, False) for clip in clips)
    return table()


def hear(make_ear: EarMaker, half: str, block: Block) -> Heard:
    """One stream through one ear."""
    stream, phrases, ear = block.stream(), phrases_for(block.clips), make_ear()
    ear.listen(phrases, 0)
    loop = getattr(ear.recogniser, "loop", Here)
    began = time.process_time() + loop.cpu_s
    found = _timed(ear, stream.sound)
    cpu = time.process_time() + loop.cpu_s - began
    return Heard(tuple(_lines(half, stream, found, phrases)), len(stream.sound) / 2 / RATE, cpu)


Told = tuple[Found, float, float]


def _timed(ear: Ear, sound: bytes) -> list[Told]:
    """What was found, and when (s) the answer was there had the sound come in time: work queues behind work.

    Once with the work's wall time, once with its CPU time: other programs' load is in the first only.
    """
    loop = getattr(ear.recogniser, "loop", Here)
    found: list[Told] = []
    done, unloaded = 0.0, 0.0
    for start in range(0, len(sound), FRAME_BYTES):
        arrived = (start + FRAME_BYTES) / 2 / RATE
        began, cpu = time.perf_counter(), time.process_time() + loop.behind_s
        told = ear.feed(sound[start : start + FRAME_BYTES])
        done = max(done, arrived) + time.perf_counter() - began
        unloaded = max(unloaded, arrived) + time.process_time() + loop.behind_s - cpu
        found += [(item, done, unloaded) for item in told]
    return found + [(item, done, unloaded) for item in ear.flush()]


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


def work(half: str, kinds: Sequence[str], conditions: Sequence[str], every: int, minutes: float) -> list[Block]:
    """Everything that must be heard, each N-th clip, and so many minutes of noise."""
    found = [
        block
        for kind in KINDS
        if kind in kinds
        for condition in WHERE[kind]
        if condition in conditions
        for block in blocks(half, kind, condition, every)
    ]
    return found + list(noise_blocks(half, minutes))


def run(make_ear: EarMaker, half: str, wanted: Sequence[Block], jobs: int = 2) -> list[Heard]:
    """All blocks, over so many processes. make_ear: picklable when there is more than one."""
    if jobs == 1:
        return [hear(make_ear, half, block) for block in wanted]
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        return list(pool.map(functools.partial(hear, make_ear, half), wanted))


@dataclass(frozen=True, slots=True)
class Row:
    """One condition. Counts of clips, and of those taken.

    reaction, unloaded: of the hits, s, median and 95th percentile, by wall and by CPU time.
    """

    condition: str
    phrases: int
    hits: int
    wrong: int
    pairs: int
    pair_hits: int
    human: int
    human_strict: int
    human_eager: int
    near: int
    near_strict: int
    near_eager: int
    other: int
    other_taken: int
    one_off: int
    one_off_taken: int
    denied: int
    denied_taken: int
    reaction: tuple[float, float]
    unloaded: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Score:
    """heard: every line. noise_taken: phrases taken in `noise_s` seconds of noise alone."""

    rows: dict[str, Row]
    noise_s: float
    noise_taken: int
    audio_s: float
    cpu_s: float
    heard: tuple[Line, ...]


def score(
    make_ear: EarMaker,
    half: str,
    conditions: Sequence[str] = CONDITIONS,
    kinds: Sequence[str] = KINDS,
    every: int = 1,
    minutes: float = 30,
    jobs: int = 2,
) -> Score:
    """One half through new ears of this kind."""
    wanted = work(half, kinds, conditions, every, minutes)
    results = run(make_ear, half, wanted, jobs)
    lines = tuple(itertools.chain.from_iterable(result.lines for result in results))
    noise_s = sum(result.audio_s for block, result in zip(wanted, results, strict=True) if not block.clips)
    taken = [line for line in lines if line.condition.startswith("noise") and line.accepted]
    rows = {
        condition: _row(condition, [line for line in lines if line.condition == condition]) for condition in conditions
    }
    cpu = sum(result.cpu_s for result in results)
    return Score(rows, noise_s, len(taken), sum(result.audio_s for result in results), cpu, lines)


def _row(condition: str, lines: Sequence[Line]) -> Row:
    def count(kind: str, wanted: Callable[[Line], bool] = lambda line: True) -> int:
        """Clips, not lines: a clip may have been heard in pieces."""
        return len({line.name for line in lines if line.kind == kind and wanted(line)})

    def strict(line: Line) -> bool:
        return line.accepted is not None and line.strict

    def eager(line: Line) -> bool:
        return line.accepted is not None and not line.strict

    def taken(line: Line) -> bool:
        return line.accepted is not None

    hits = [line for line in lines if line.kind == "phrase" and line.right]
    return Row(
        condition,
        phrases=count("phrase"),
        hits=count("phrase", lambda line: line.right),
        wrong=count("phrase", lambda line: taken(line) and not line.right),
        pairs=count("pair"),
        pair_hits=count("pair", lambda line: line.right),
        human=count("human"),
        human_strict=count("human", strict),
        human_eager=count("human", eager),
        near=count("near"),
        near_strict=count("near", strict),
        near_eager=count("near", eager),
        other=count("other"),
        other_taken=count("other", taken),
        one_off=count("one off"),
        one_off_taken=count("one off", taken),
        denied=count("denied"),
        denied_taken=count("denied", taken),
        reaction=_middle_and_late([line.reaction_s for line in hits]),
        unloaded=_middle_and_late([line.unloaded_s for line in hits]),
    )


def _middle_and_late(times: Iterable[float | None]) -> tuple[float, float]:
    known = [seconds for seconds in times if seconds is not None]
    if not known:
        return math.nan, math.nan
    middle, late = np.percentile(known, (50, 95))
    return float(middle), float(late)
