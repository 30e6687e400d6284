"""`kerfcall hear WAV`: prints what the recogniser makes of a recording, as JSON Lines, one line per utterance."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

from assistant.hearing.child import spec_of
from assistant.hearing.contract import RATE
from assistant.hearing.ear import Found
from assistant.hearing.models import choose, must_have
from assistant.hearing.offline import hear_all
from assistant.hearing.wav import read_sound
from assistant.plans.model import RecogniserName
from assistant.plans.shop_file import voice_and_checks
from assistant.wording.phrases import MOST_FIGURE, whole_table

PASSES = 40  # how many pass numbers are listened for: more than most setups have


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Adds WAV, --recogniser and --shop."""
    parser.add_argument("wav", metavar="WAV", type=Path, help="a PCM WAV file, 8 to 96 kHz")
    parser.add_argument(
        "--recogniser",
        metavar="NAME",
        choices=("auto", "moonshine", "vosk", "pocketsphinx"),
        help="the recogniser to use: auto, moonshine, vosk or pocketsphinx (default: the shop file's)",
    )
    parser.add_argument("--shop", metavar="FILE", type=Path, help="the shop file (default: your own shop.toml, if any)")


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 2 for a bad file or an unknown word; 3 when the recogniser asked for is not available.

    A recording without an utterance, or a file that was cut short, is reported on standard error.
    """
    voice, checks = voice_and_checks(args.shop)
    if args.recogniser:
        voice = replace(voice, recogniser=RecogniserName(args.recogniser))
    sound = read_sound(args.wav)
    choice = must_have(choose(voice))
    phrases = whole_table(checks, voice, PASSES, MOST_FIGURE)
    all_found = hear_all(sound.pcm, phrases, spec_of(voice, choice))
    for found in all_found:
        print(json.dumps(as_json(found)))
    # Otherwise a user could wait for lines that never come.
    if sound.cut_short:
        have = f"its header promises {sound.promised_s:.1f} s of sound, but it has {sound.seconds:.1f} s"
        print(f"kerfcall: {args.wav}: the file is cut short: {have}", file=sys.stderr)
    if not all_found:
        print(f"kerfcall: {args.wav}: nobody speaks in its {sound.seconds:.1f} s of sound", file=sys.stderr)
    return 0


def as_json(found: Found) -> dict[str, Any]:
    """One utterance for JSON: times in seconds. phrase (without lead-in), intent and argument are null if refused."""
    phrase = found.phrase
    return {
        "from_s": round(found.first / RATE, 3),
        "to_s": round(found.end / RATE, 3),
        "phrase": phrase.wording if phrase else None,
        "intent": phrase.intent if phrase else None,
        "argument": phrase.argument if phrase else None,
        "reason": found.reason,
        "heard": found.heard,
        "measures": {name: round(value, 2) for name, value in found.measures.items()},
    }
