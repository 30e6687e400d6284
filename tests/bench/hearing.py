"""`python -m tests.bench.hearing`: hits, wrong phrases and false accepts, with their intervals, and what hearing costs.

The product's own path, suppression to acceptance, over streams in which each clip stands in its background; everything
that can be said is listened for at once, which is harder than any state of a session. The sound is made at run time
(tests.hearing.corpus) and belongs to one half: limits are set on "tune", figures are for "report". Natural voices give
the figures that are judged, human talk must not be taken, and formant voices have rows of their own and no say.

`--every N` takes each N-th clip and a part of the noise; 1 is all of it, nearly three hours of sound. Natural voices
are fetched and speak once, which takes 20 minutes of CPU for all of it; the user's cache keeps what they said.
`--dump FILE` writes one JSON object a line for each utterance. Ratios to floors of the same run: CPU seconds a second
of audio, and the time to an answer against that of the grammar path.
"""

from __future__ import annotations

import argparse
import dataclasses
import functools
import json
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from assistant.hearing.child import Spec
from assistant.hearing.models import choose
from assistant.plans.model import VoiceSettings
from tests.hearing.corpus import natural, speakers
from tests.hearing.corpus.clips import CONDITIONS, HALVES
from tests.hearing.corpus.evaluate import Cell, Score, ear_of, score, wilson
from tests.hearing.corpus.work import KINDS, NEGATIVE, WANTED, work

NOISE_MINUTES = 30
# CPU seconds a second of audio, over which the bench fails.
CPU_LIMIT = 0.9
HITS = {  # %, at least
    "clean": 98.0,
    "10 dB": 96.0,
    "5 dB": 82.0,
    "0 dB": 60.0,
    "echo 0.6 s": 96.0,
    "echo 1.0 s": 85.0,
    "300-3400 Hz": 96.0,
    "pause 0.5 s": 97.0,
}
NOT_JUDGED = "0 dB"  # for wrong phrases
TAKEN = {"opposite": 0.0, "question": 0.0, "harmless": 10.0, "quoted": 1.0, "order": 0.0, "longer": 1.0}  # %, at most
EAGER_AN_HOUR = 1.0
ANSWER_S = {"clean": 0.45, "echo 0.6 s": 0.6, "echo 1.0 s": 0.6}
CORES = {"people": 0.25, "noise": 0.1}
MEMORY_LIMIT_MB = 330
GRAMMAR = "pocketsphinx"  # the path whose answers the time to an answer is compared with
GRAMMAR_EVERY = 4  # of the clean phrases
STAGES = {
    "denoiser": ("auto", "none", "spectral", "rnnoise"),
    "endpoints": ("auto", "level", "speech"),
    "acceptance": ("usual", "strict"),
}


def main(argv: list[str] | None = None) -> int:
    """Print the table; 1 when the CPU's ratio is over its limit."""
    options = _options(argv)
    stages = dict(stage.split("=", 1) for stage in options.stage)
    choice = choose(VoiceSettings(recogniser=options.recogniser))
    if choice.recogniser != options.recogniser:
        print(f"{options.recogniser} was asked for: {choice.why}")
        return 2
    spec = Spec(choice.recogniser, str(choice.model) if choice.model else None, **stages)
    print(f"half: {options.half}, each {options.every}. clip; {choice.why}")
    print(f"{ear_of(spec).denoiser.name} suppresses noise.")
    for half in HALVES:
        print(f"natural voices to {half}: {', '.join(natural.VOICES[half])}")
        print(f"formant voices to {half}: {', '.join(speakers.usable(half))}")
    print("human pieces and files: by the hash of the name; sentences: every second; noise: seeds of its own")
    minutes = max(2, NOISE_MINUTES / options.every) if options.minutes is None else options.minutes
    try:
        wanted = work(options.half, options.kinds, options.conditions, options.every, minutes)
    except natural.MissingError as missing:
        print(missing)
        return 2
    result = score(functools.partial(ear_of, spec), options.half, wanted, options.jobs)
    if options.dump:
        dump(result, options.dump)
    grammar = None
    if options.recogniser != GRAMMAR and "phrase" in options.kinds and "clean" in options.conditions:
        clean = work(options.half, ["phrase"], ["clean"], options.every * GRAMMAR_EVERY, 0)
        grammar = score(functools.partial(ear_of, Spec(GRAMMAR, None)), options.half, clean, options.jobs)
    print("\n".join([*_table(result), "", *targets(result, grammar)]))
    print(_measured("main and children listening, PSS", listening_mb(), MEMORY_LIMIT_MB, " MB"))
    everything = result.people + result.noise
    return int(everything.cores > CPU_LIMIT)


def _options(argv: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    parser.add_argument("--half", choices=HALVES, default="report")
    parser.add_argument("--every", type=int, default=5)
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS, metavar="KIND", help=", ".join(KINDS))
    parser.add_argument("--conditions", nargs="+", choices=CONDITIONS, default=CONDITIONS, metavar="CONDITION")
    parser.add_argument("--minutes", type=float, help="of noise alone, instead of its part of 30")
    parser.add_argument("--recogniser", choices=("moonshine", "pocketsphinx", "vosk"), default="moonshine")
    stages = [f"{name}={value}" for name, values in STAGES.items() for value in values]
    parser.add_argument("--stage", action="append", default=[], choices=stages, metavar="STAGE=WHICH")
    # Each listens in two processes; with more than the cores bear the reaction would be told too long.
    parser.add_argument("--jobs", type=int, default=max(1, (os.cpu_count() or 2) // 2))
    parser.add_argument("--dump", type=Path)
    return parser.parse_args(argv)


def dump(result: Score, path: Path) -> None:
    """One JSON object a line: the fields of `evaluate.Line`."""
    lines = [json.dumps(dataclasses.asdict(line)) for line in result.heard]
    path.write_text("\n".join(lines) + "\n", "utf-8")


def share(part: int, whole: int) -> str:
    """Per cent and its interval."""
    low, high = wilson(part, whole)
    return f"{100 * part / whole:5.1f} % ({100 * low:.1f}-{100 * high:.1f})" if whole else "-"


HEAD = ("", "", "n", "", "share (95 %)", "wrong", "strict", "answer p50/p95 s", "by CPU time")


def _table(result: Score) -> list[str]:
    """A row for each kind in each condition, the formant voices' last."""
    cells = [result.cells[kind, where] for kind in KINDS for where in CONDITIONS if (kind, where) in result.cells]
    cells.sort(key=lambda cell: cell.kind.startswith("formant"))
    rows = [HEAD, *map(_row, cells)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def _row(cell: Cell) -> tuple[str, ...]:
    wanted = cell.kind in WANTED
    count = cell.hits if wanted else cell.taken
    about = (cell.kind, cell.condition, str(cell.clips), f"{count} {'hits' if wanted else 'taken'}")
    times = ["/".join(f"{seconds:.2f}" for seconds in pair) for pair in (cell.reaction, cell.unloaded)]
    rest = (str(cell.taken), str(cell.strict), *times) if wanted else ("", str(cell.strict), "", "")
    return (*about, share(count, cell.clips), *rest)


def _verdict(name: str, value: str, bound: str, met: bool) -> str:
    return f"{name:42s} {value:34s} {bound:20s} {'met' if met else 'NOT MET'}"


def _counted(name: str, part: int, whole: int, limit: float, least: bool = False) -> str:
    """limit: %."""
    met = 100 * part >= limit * whole if least else 100 * part <= limit * whole
    value = f"{part} of {whole}, {share(part, whole).strip()}"
    return _verdict(name, value, f"at {'least' if least else 'most'} {limit:g} %", met)


def _measured(name: str, value: float, limit: float, unit: str) -> str:
    return _verdict(name, f"{value:.2f}{unit}", f"at most {limit:g}{unit}", value <= limit)


def targets(result: Score, grammar: Score | None) -> Iterator[str]:
    """Only natural voices and people are judged, and only what was played."""
    cells = result.cells
    for condition, least in HITS.items():
        if cell := cells.get(("phrase", condition)):
            yield _counted(f"hits, {condition}", cell.hits, cell.clips, least, True)
    judged = [cell for (kind, where), cell in cells.items() if kind == "phrase" and where != NOT_JUDGED]
    if judged:
        yield _counted("wrong phrases, but for 0 dB", *_total(judged), 0)
    for kind, most in TAKEN.items():
        for where in NEGATIVE:
            if cell := cells.get((kind, where)):
                yield _counted(f"{kind} taken, {where}", cell.taken, cell.clips, most)
    denials = [cell for (kind, _), cell in cells.items() if kind in ("opposite", "question", "short denied")]
    if denials:
        yield _counted("opposites and questions taken, all", *_total(denials), 0)
    if hours := result.talk.audio_s / 3600:
        talk = [cell for (kind, _), cell in cells.items() if kind in ("talk", "human")]
        strict, clips = sum(cell.strict for cell in talk), sum(cell.clips for cell in talk)
        yield _counted("talk taken, strict", strict, clips, 0)
        eager = sum(cell.eager for cell in talk)
        name = f"talk taken, all others, in {hours:.2f} h"
        yield _verdict(name, f"{eager}", f"at most {EAGER_AN_HOUR:g} an hour", eager <= EAGER_AN_HOUR * max(1, hours))
    for condition, most in ANSWER_S.items():
        if cell := cells.get(("phrase", condition)):
            yield _measured(f"last sound to answer, p95, {condition}", cell.reaction[1], most, " s")
            yield _measured("  the same by CPU time", cell.unloaded[1], most, " s")
    if grammar:
        floor = grammar.cells["phrase", "clean"].reaction[1]
        value = cells["phrase", "clean"].reaction[1] / floor
        yield _verdict("  against the grammar path's, clean", f"{value:.2f}", f"(its p95: {floor:.2f} s)", value <= 1)
    if result.people.audio_s:
        name = f"CPU while people talk, {result.people.audio_s:.0f} s"
        yield _measured(name, result.people.cores, CORES["people"], " cores")
    if minutes := result.noise.audio_s / 60:
        yield _measured(f"taken in {minutes:.0f} min of noise alone", result.noise_taken, 0, "")
        yield _measured("CPU in noise alone", result.noise.cores, CORES["noise"], " cores")


def _total(cells: Sequence[Cell]) -> tuple[int, int]:
    return sum(cell.taken for cell in cells), sum(cell.clips for cell in cells)


def listening_mb() -> float:
    """Proportional set size, MB, of a bare program that listens and of its children, after ten seconds of sound."""
    done = subprocess.run([sys.executable, "-c", LISTENING], capture_output=True, text=True, check=True)
    return float(done.stdout.split()[-1])


LISTENING = """
import psutil
from assistant.hearing.listener import FileListener
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.model import VoiceSettings
from assistant.runner.clock import SetClock

if __name__ == "__main__":
    ear = FileListener(SetClock(), lambda event: None, VoiceSettings(), DEFAULT_CHECKS)
    for _ in range(100):
        ear.feed(bytes(3200))
    every = [psutil.Process(), *psutil.Process().children(recursive=True)]
    sizes = [one.memory_full_info().pss for one in every]
    ear.close()
    print(sum(sizes) / 1e6)
"""


if __name__ == "__main__":
    sys.exit(main())
