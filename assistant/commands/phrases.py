"""`kerfcall phrases`: what can be said, and when."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from assistant.commands.hear import voice_and_checks
from assistant.errors import NoSuchPart
from assistant.wording.phrases import EXPLAINED, SAID_WHEN, Phrase, whole_table


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """--shop, --json."""
    parser.add_argument("--shop", metavar="FILE", type=Path, help="the shop file (default: your own shop.toml, if any)")
    parser.add_argument("--json", action="store_true", help="one JSON object a wording")


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 2 for a bad shop file or a phrase with a word the recogniser lacks."""
    voice, checks = voice_and_checks(args.shop)
    phrases = whole_table(checks, voice, 1)
    if args.json:
        for phrase in phrases:
            print(json.dumps(_object(phrase)))
    else:
        print(as_text(phrases))
    for line in warnings(phrases):
        print(f"kerfcall: {line}", file=sys.stderr)
    return 0


def warnings(phrases: tuple[Phrase, ...]) -> list[str]:
    """What is doubtful about them; raises BadInput for words that the embedded recogniser lacks."""
    from assistant.hearing.sphinx import pronouncer
    from assistant.hearing.vocabulary import check_words, too_alike

    try:
        pronounce = pronouncer()
    except NoSuchPart as error:
        return [f"the words could not be checked: {error}"]
    check_words(phrases, pronounce)
    return [
        f'"{one.text}" and "{other.text}" sound alike; change one of them'
        for one, other, _ in too_alike(phrases, pronounce)
    ]


def _object(phrase: Phrase) -> dict[str, object]:
    """phrase: without the lead-in word; say: with it where it is due."""
    return {
        "intent": phrase.intent,
        "argument": phrase.argument,
        "phrase": phrase.wording,
        "lead_in": phrase.lead_in,
        "strict": phrase.strict,
        "say": phrase.text,
    }


def as_text(phrases: tuple[Phrase, ...]) -> str:
    """A paragraph for each state of a session."""
    width = max(len(phrase.text) for phrase in phrases)
    lines: list[str] = []
    for state, intents in SAID_WHEN.items():
        lines += ["", f"{state}:"]
        for phrase in phrases:
            if phrase.intent in intents:
                lines.append(f"  {phrase.text:<{width}}  {_meaning(phrase)}")
    return "\n".join(lines[1:])


def _meaning(phrase: Phrase) -> str:
    return EXPLAINED[phrase.intent].format(argument=phrase.argument)
