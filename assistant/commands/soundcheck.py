"""`kerfcall soundcheck`: finds out which phrases can be relied on with this microphone, voice and saw noise."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from assistant.commands.soundcheck_text import as_json, as_text
from assistant.errors import BadInput, CouldNotRun, Fault
from assistant.hearing import soundcheck, soundcheck_live
from assistant.hearing.child import spec_of
from assistant.hearing.models import choose, must_have
from assistant.hearing.own_scores import voices_folder
from assistant.hearing.soundcheck import Taken
from assistant.hearing.soundcheck_run import check
from assistant.hearing.wav import read_wav
from assistant.plans.shop_file import voice_and_checks
from assistant.wording.phrases import Phrase

MOST_ROUNDS = 10
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
        report = check(taken, phrases, soundcheck.grammar(checks, voice), spec, out)
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
