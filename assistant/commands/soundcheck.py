"""`kerfcall soundcheck`: finds out which phrases can be relied on with this microphone, voice and saw noise."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

import numpy as np

from assistant.commands import soundcheck_live
from assistant.commands.soundcheck_text import as_json, as_text
from assistant.errors import BadInput, CouldNotRun, Fault, NoSuchPart
from assistant.hearing import soundcheck
from assistant.hearing.child import Spec, spec_of
from assistant.hearing.contract import RATE
from assistant.hearing.levels import Noise, floats, noise_of
from assistant.hearing.models import choose, must_have
from assistant.hearing.offline import hear_all
from assistant.hearing.own_scores import FILE, OwnScores, voice_folder, voices_folder
from assistant.hearing.soundcheck import Outcome, Saying, SoundcheckReport, Taken
from assistant.hearing.wav import read_wav
from assistant.plans.shop_file import voice_and_checks
from assistant.wording.phrases import Phrase

MOST_ROUNDS = 10
NOISE_S = 4.0  # of noise synthesised from the level and spectrum that an earlier check kept
RECORDING = "recording"  # used as the microphone's name when the sound comes from files


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Adds its options."""
    parser.add_argument("--shop", metavar="FILE", type=Path, help="the shop file (default: your own shop.toml, if any)")
    parser.add_argument(
        "--rounds", metavar="N", type=int, default=3, help="how many times you say each phrase, 1 to 10 (default: 3)"
    )
    parser.add_argument(
        "--phrases",
        metavar="PHRASE",
        nargs="+",
        default=[],
        help="check only these: phrases, intents, or names of checks or mishaps",
    )
    parser.add_argument("--no-saw", action="store_true", help="skip the part with the saw running")
    parser.add_argument(
        "--quiet", metavar="WAV", type=Path, help="instead of the microphone: a recording of the room, saw off"
    )
    parser.add_argument(
        "--saw", metavar="WAV", type=Path, help="instead of the microphone: the saw running, nothing being cut"
    )
    parser.add_argument(
        "--said",
        metavar="WAV",
        type=Path,
        help="instead of the microphone: you saying the phrases with the saw off, in the order that --order prints",
    )
    parser.add_argument("--order", action="store_true", help="print the phrases to say, one per line, and stop")
    parser.add_argument("--microphone", metavar="NAME", help="the name to store your scores and the noise under")
    parser.add_argument("--forget", action="store_true", help="delete all stored scores and noise, and stop")
    parser.add_argument("--json", action="store_true", help="print one JSON object, for other programs")


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 1 if the advice is pedal only; 2 for bad input; 3 with no microphone or no recogniser."""
    if args.forget:
        return forget(args.json)
    refuse_bad(args)
    voice, checks = voice_and_checks(args.shop)
    phrases = soundcheck.prompts(checks, voice, args.phrases)
    prompted = soundcheck.order(phrases, args.rounds)
    if args.order:
        print("\n".join(phrase.text for phrase in prompted))
        return 0
    # With --json, standard output is for the one object: the conversation goes to standard error.
    out = sys.stderr if args.json else sys.stdout
    spec = spec_of(voice, must_have(choose(voice)))
    try:
        taken = _from_files(args, prompted) if args.said else soundcheck_live.take(prompted, not args.no_saw, out)
        taken.microphone = args.microphone or taken.microphone
        report = _check(taken, phrases, soundcheck.grammar(checks, voice), spec, out)
    except KeyboardInterrupt:  # true: everything is stored at the very end
        raise KeyboardInterrupt("nothing was kept") from None
    print(json.dumps(as_json(report), indent=1) if args.json else as_text(report))
    return 1 if report.advice == soundcheck.PEDAL else 0


def refuse_bad(args: argparse.Namespace) -> None:
    """Raises BadInput with everything that is wrong with the options."""
    faults = []
    files = {name: getattr(args, name.strip("-")) for name in ("--quiet", "--saw", "--said")}
    given = [name for name, path in files.items() if path]
    if not 1 <= args.rounds <= MOST_ROUNDS:
        faults.append(Fault("out of range", str(args.rounds), "--rounds", f"give 1 to {MOST_ROUNDS}"))
    if given and not args.order:
        faults += [
            Fault("is missing", "", name, "give all the recordings: --quiet, --said, and --saw or --no-saw")
            for name in ("--quiet", "--said")
            if name not in given
        ]
        if not args.saw and not args.no_saw:
            faults.append(Fault("is missing", "", "--saw", "give it, or skip that part with --no-saw"))
    if args.saw and args.no_saw:
        faults.append(Fault("can't be combined with --saw", "", "--no-saw", "leave one of them out"))
    if faults:
        raise BadInput(faults)


def _from_files(args: argparse.Namespace, prompted: Sequence[Phrase]) -> Taken:
    """The recordings named in the options. Raises BadInput with every file that can't be used."""
    sound: dict[str, bytes] = {}
    faults: list[Fault] = []
    for name in ("quiet", "saw", "said"):
        path = getattr(args, name)
        try:
            if path:
                sound[name] = read_wav(path)
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(faults)
    sayings = soundcheck.sayings_in(sound["said"], prompted, str(args.said))
    return Taken(RECORDING, sound["quiet"], sound.get("saw"), sound["said"], sayings)


def _check(
    taken: Taken, phrases: Sequence[Phrase], table: Sequence[Phrase], spec: Spec, out: TextIO
) -> SoundcheckReport:
    """Listens to the sound, judges the phrases and stores scores and noise. table: the phrases listened for."""
    folder = voice_folder(taken.microphone)
    own = earlier_scores(folder, out)
    saw, learned = saw_noise(taken, folder, out)
    room = floats(taken.quiet)
    print("Listening to your phrases as in a session, with the saw off ..", file=out, flush=True)
    off = _outcomes(soundcheck.in_noise(taken.said, room), taken.sayings, table, spec, out)
    on: list[Outcome] | None = None
    if saw is not None:
        print(".. and mixed with the saw's noise ..", file=out, flush=True)
        on = _outcomes(soundcheck.in_noise(taken.said, saw, room), taken.sayings, table, spec, out)
    lines = soundcheck.carried(phrases, taken.sayings, off, on, table)
    own_worst = soundcheck.learn(own, taken.sayings, off, on)
    # A file that has lost its last phrase, or was broken, must be replaced too.
    kept = [own.save(folder)] if own.texts or (folder / FILE).exists() else []
    if taken.saw is not None or learned is None:  # otherwise the saw noise of an earlier check would be lost
        kept.append(soundcheck.keep_noise(folder, noise_of(taken.quiet), noise_of(taken.saw) if taken.saw else None))
    return SoundcheckReport.made(taken, lines, spec.recogniser, learned, own_worst, kept)


def earlier_scores(folder: Path, out: TextIO) -> OwnScores:
    """The scores stored so far. Starts again from none, with a line that says so, if the file can't be read."""
    try:
        return OwnScores.load(folder)
    except NoSuchPart as error:
        print(f"{str(error).partition(';')[0]}: starting again without them.", file=out, flush=True)
        return OwnScores()


def saw_noise(taken: Taken, folder: Path, out: TextIO) -> tuple[np.ndarray | None, Noise | None]:
    """The saw's noise to mix in, and what an earlier check learned about it if the noise is made from that.

    A recording of this check comes first. The noise is None where there is neither.
    """
    if taken.saw is not None:
        return floats(taken.saw), None
    try:
        _, learned = soundcheck.kept_noise(folder)
    except NoSuchPart as error:
        print(f"{str(error).partition(';')[0]}: going on without the saw's noise.", file=out, flush=True)
        return None, None
    if learned is None:
        return None, None
    return learned.made(round(NOISE_S * RATE)), learned


def _outcomes(
    stream: bytes, sayings: Sequence[Saying], table: Sequence[Phrase], spec: Spec, out: TextIO
) -> list[Outcome]:
    """What the recogniser made of each saying. Shows the progress on a terminal."""
    terminal = out.isatty()

    def show(share: float) -> None:
        if terminal:
            print(f"\r  {100 * share:3.0f} %", end="" if share < 1 else "\n", file=out, flush=True)

    return soundcheck.outcomes(hear_all(stream, table, spec, show), sayings)


def forget(as_object: bool) -> int:
    """Deletes all scores and noise stored for this user, and prints what was deleted."""
    root = voices_folder()
    try:
        deleted = soundcheck.forget()
    except OSError as error:
        raise CouldNotRun(f"{error.filename or root} can't be deleted: {error.strerror}") from error
    if as_object:
        print(json.dumps({"deleted": [str(path) for path in deleted]}))
    else:
        print(
            "\n".join(f"Deleted {path}" for path in deleted)
            or f"There was nothing to delete: {root} holds no voice data."
        )
    return 0
