"""`kerfcall models list|get|verify`: which speech models are there, fetched, whole, and which is used."""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
from pathlib import Path
from typing import Any, TextIO

from assistant.errors import KerfcallError
from assistant.hearing.download import KnownModel, fetch, is_whole, known_models, pick
from assistant.hearing.models import ModelPlace, choose, find_models, search_folders
from assistant.hearing.process import why_not_loaded
from assistant.plans.model import VoiceSettings
from assistant.plans.shop_file import voice_and_checks
from assistant.screens.download_bar import DownloadBar


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """list, get and verify, each with its own options."""
    actions = parser.add_subparsers(dest="action", required=True)
    for action, what in (
        ("list", "which models are found, and which is used"),
        ("get", "fetch a model, and check that it is complete"),
        ("verify", "check the files of the models that are found"),
    ):
        own = actions.add_parser(action, help=what, description=f"Speech models: {what}.", epilog=parser.epilog)
        if action == "get":
            own.add_argument("name", nargs="?", metavar="NAME", help="the model (default: one for the shop's language)")
        shop = "the shop file (default: your own shop.toml, if any)"
        own.add_argument("--shop", metavar="FILE", type=Path, help=shop)
        own.add_argument("--json", action="store_true", help="print JSON, for other programs")


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 3 when `verify` finds a broken model or `get` could not bring one; 2 for an unknown name."""
    voice, _ = voice_and_checks(args.shop)
    return _get(args, voice) if args.action == "get" else _list(args, voice)


def _list(args: argparse.Namespace, voice: VoiceSettings) -> int:
    found = find_models(voice)
    rows: list[dict[str, Any]] = [
        {
            "folder": str(model.folder),
            "where": model.where,
            "fits_language": model.fits,
            "faults": [str(fault) for fault in model.faults],
        }
        for model in found
    ]
    if args.action == "verify":
        for row, model in zip(rows, found, strict=True):
            if not row["faults"] and (why := why_not_loaded(model.folder)):
                row["faults"] = [why]
    used = _used(voice)
    searched = [str(folder) for _, folder in search_folders()]
    if args.json:
        print(json.dumps({"used": used, "models": rows, "searched": searched}, indent=1))
    else:
        print(_text(used, rows, searched))
    return 3 if args.action == "verify" and any(row["faults"] for row in rows) else 0


def _used(voice: VoiceSettings) -> dict[str, Any]:
    try:
        choice = choose(voice)
    except KerfcallError as error:
        return {"recogniser": None, "why": str(error), "model": None}
    model = str(choice.model) if choice.model else None
    return {"recogniser": choice.recogniser, "why": choice.why, "model": model}


def _get(args: argparse.Namespace, voice: VoiceSettings) -> int:
    model = pick(known_models(), args.name, voice.language)
    into = next(folder for where, folder in search_folders() if where == ModelPlace.USER_DATA)
    # With --json the words go to stderr, so that stdout is one object.
    out = sys.stderr if args.json else sys.stdout
    there = is_whole(model, into)
    if there:
        print(f"{into / model.name} is there already, and whole.", file=out)
    else:
        _fetch(model, into, out)
    used = _used(voice)
    if args.json:
        print(json.dumps({"folder": str(into / model.name), "fetched": not there, "used": used}, indent=1))
    else:
        print(used["why"])
        if used["model"] != str(into / model.name):
            print('To listen with this model instead: [voice] recogniser = "vosk" in the shop file.')
        if importlib.util.find_spec("vosk") is None:
            print('The model needs vosk: pip install "kerfcall[vosk]"')
    return 0


def _fetch(model: KnownModel, into: Path, out: TextIO) -> None:
    print(f"Fetching {model.name}: {model.bytes / 1e6:.1f} MB, licence {model.licence}", file=out)
    print(f"  from {model.url}\n  to   {into / model.name}", file=out, flush=True)
    bar = DownloadBar(out)

    def tell(line: str) -> None:
        bar.end()
        print(line, file=out, flush=True)

    try:
        folder = fetch(model, into, tell, bar.show)
    finally:
        bar.end()
    print(f"{folder} is in place.", file=out)


def _text(used: dict[str, Any], rows: list[dict[str, Any]], searched: list[str]) -> str:
    lines = [used["why"], ""]
    for row in rows:
        state = "; ".join(row["faults"]) or ("whole" if row["fits_language"] else "whole, of another language")
        lines.append(f"{row['folder']} ({row['where']}): {state}")
    if not rows:
        names = ", ".join(f"{one.name} ({one.licence}, {one.bytes / 1e6:.0f} MB)" for one in known_models())
        fetched_by = f"To fetch: `kerfcall models get`, NAME one of: {names}."
        lines += ["No vosk model was found. Looked in:", *(f"  {folder}" for folder in searched)]
        lines += ["", f"A vosk model is optional: pocketsphinx needs none. {fetched_by}"]
    return "\n".join(lines)
