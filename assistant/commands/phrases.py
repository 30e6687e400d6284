"""`kerfcall phrases`: what can be said, and when."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from assistant.commands.hear import voice_and_checks
from assistant.errors import NoSuchPart
from assistant.plans.intents import Intent
from assistant.plans.languages import language_of
from assistant.plans.model import VoiceSettings
from assistant.plans.own_phrases import HEARD_BY_PHONES
from assistant.wording.phrases import EXPLAINED, HOLDS, SAID_WHEN, Phrase, spoken_pass, whole_table


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
        print(as_text(phrases, voice.language))
        print(f"\n{of_the_notes(voice)}")
    for line in warnings(phrases, voice):
        print(f"kerfcall: {line}", file=sys.stderr)
    return 0


def warnings(phrases: tuple[Phrase, ...], voice: VoiceSettings) -> list[str]:
    """What is doubtful about them; raises BadInput for words that the embedded recogniser lacks."""
    if voice.language != HEARD_BY_PHONES:
        return ["the words are checked when a session begins: the embedded recogniser hears English only"]
    from assistant.hearing.sphinx import pronouncer
    from assistant.hearing.vocabulary import ALIKE, check_words, too_alike

    try:
        pronounce = pronouncer(voice.pronunciations)
    except NoSuchPart as error:
        return [f"the words could not be checked: {error}"]
    check_words(phrases, pronounce)
    return [
        f'"{one.text}" and "{other.text}" sound alike (distance {apart:.2f}, at least {ALIKE} is safer); change one'
        for one, other, apart in too_alike(phrases, pronounce)
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


def as_text(phrases: tuple[Phrase, ...], language: str = "en") -> str:
    """A paragraph for each state of a session."""
    said = [(_said(phrase, language), phrase) for phrase in phrases]
    width = max(len(text) for text, _ in said)
    lines: list[str] = []
    for state, intents in SAID_WHEN.items():
        lines += ["", f"{state}:"]
        for text, phrase in said:
            if phrase.intent in intents:
                lines.append(f"  {text:<{width}}  {_meaning(phrase, state, language)}")
    return "\n".join(lines[1:])


def of_the_notes(voice: VoiceSettings) -> str:
    """What the low double note means, or that there is none."""
    if not voice.tone:
        return "[voice] tone = false: no notes sound, so what was not understood is on the screen only."
    return (
        "A short low double note: what you said was not understood, or means nothing now; say it again.\n"
        f'While a pass is called it sounds only when "{voice.lead_in}" was heard. [voice] tone = false turns it off.'
    )


def _said(phrase: Phrase, name: str) -> str:
    """The first of the numbered phrases stands for all of them."""
    if phrase.intent != Intent.GO_TO:
        return phrase.text
    language = language_of(name)
    number = language.numbers(int(phrase.argument or 0))[0]
    return " N".join(phrase.text.rsplit(f" {number}", 2 if language.again else 1))


def _meaning(phrase: Phrase, state: str, language: str) -> str:
    twice = " and twice" if language_of(language).again else ""
    twelve = spoken_pass(12, language)
    meaning = EXPLAINED[phrase.intent].format(argument=phrase.argument, twelve=twelve, twice=twice)
    holds = HOLDS.get((phrase.intent, state))
    return f"{meaning}; {holds}" if holds else meaning
