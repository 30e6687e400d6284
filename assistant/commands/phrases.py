"""`kerfcall phrases`: lists what you can say, and when."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from assistant.hearing.vocabulary import doubts
from assistant.plans.shop_file import shop_if_any, voice_and_checks
from assistant.wording.phrases import listing, low_note, whole_table


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Adds --shop and --json."""
    parser.add_argument("--shop", metavar="FILE", type=Path, help="the shop file (default: your own shop.toml, if any)")
    parser.add_argument("--json", action="store_true", help="print one JSON object per wording, for other programs")


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 2 for a bad shop file or a phrase with a word that the recogniser doesn't know."""
    voice, checks = voice_and_checks(args.shop)
    shop = shop_if_any(args.shop)
    driven = shop is not None and shop.carriage.drive is not None
    phrases = whole_table(checks, voice, 1)  # one pass number is listed as an example for all
    if args.json:
        for phrase in phrases:
            found = {
                "intent": phrase.intent,
                "argument": phrase.argument,
                "phrase": phrase.wording,  # without the lead-in word; "say" includes it where it is needed
                "lead_in": phrase.lead_in,
                "strict": phrase.strict,
                "short": phrase.short,  # heard by the neural recogniser only
                "say": phrase.text,
            }
            print(json.dumps(found))
    else:
        print(f"{listing(phrases, voice.language, driven)}\n\n{low_note(voice)}")
    for line in doubts(phrases, voice):
        print(f"kerfcall: {line}", file=sys.stderr)
    return 0
