"""`kerfcall models list|get|verify`: which speech models are there, fetched, whole, and which is used."""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any, TextIO

from assistant.commands.hear import voice_and_checks
from assistant.errors import BadInput, Fault, KerfcallError
from assistant.hearing.child import Spec
from assistant.hearing.download import KnownModel, fetch, is_whole, known_models, pick
from assistant.hearing.models import Found, choose, find_models, search_folders
from assistant.hearing.process import ChildDied, ChildProcess
from assistant.plans.model import VoiceSettings

BAR_CELLS = 30
LINES = 10  # of progress, where there is no terminal


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """action, NAME, --shop, --json."""
    actions = "list what is found, get (fetch) a model, or verify the files of those found"
    parser.add_argument("action", choices=("list", "get", "verify"), help=actions)
    parser.add_argument("name", nargs="?", metavar="NAME", help="with get: which (default: one of the shop's language)")
    parser.add_argument("--shop", metavar="FILE", type=Path, help="the shop file (default: your own shop.toml, if any)")
    parser.add_argument("--json", action="store_true", help="for other programs")


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 3 when `verify` finds a broken model or `get` could not bring one; 2 for an unknown name."""
    if args.name is not None and args.action != "get":
        raise BadInput([Fault("takes no name", args.name, f"models {args.action}", "leave it out")])
    voice, _ = voice_and_checks(args.shop)
    return _get(args, voice) if args.action == "get" else _list(args, voice)


def _list(args: argparse.Namespace, voice: VoiceSettings) -> int:
    found = find_models(voice)
    rows = [_row(model) for model in found]
    if args.action == "verify":
        for row, model in zip(rows, found, strict=True):
            row["faults"] = row["faults"] or _trial(model)
    used = _used(voice)
    searched = [str(folder) for _, folder in search_folders()]
    print(
        json.dumps({"used": used, "models": rows, "searched": searched}, indent=1) if args.json else _text(used, rows)
    )
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
    into = next(folder for where, folder in search_folders() if where == "user data")
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
        print(_used_words(used))
    return 0


def _fetch(model: KnownModel, into: Path, out: TextIO) -> None:
    print(f"Fetching {model.name}: {model.bytes / 1e6:.1f} MB, licence {model.licence}", file=out)
    print(f"  from {model.url}\n  to   {into / model.name}", file=out, flush=True)
    bar = Bar(out)

    def tell(line: str) -> None:
        bar.end()
        print(line, file=out, flush=True)

    try:
        folder = fetch(model, into, tell, bar.show)
    finally:
        bar.end()
    print(f"{folder} is in place.", file=out)


def _used_words(used: dict[str, Any]) -> str:
    """What listens from now on."""
    words = str(used["why"])
    if importlib.util.find_spec("vosk") is None:
        words += '\nThe model needs vosk: pip install "kerfcall[vosk]"'
    return words


class Bar:
    """Progress on one line of a terminal; elsewhere a plain line at every tenth."""

    def __init__(self, out: TextIO):
        self._out = out
        self._terminal = out.isatty()
        self._tenth = -1
        self._drawn_at = 0.0
        self._open = False

    def show(self, done: int, total: int) -> None:
        """done, total: bytes; total over 0."""
        if self._terminal:
            self._draw(done, total)
        elif (tenth := LINES * done // total) > self._tenth:
            self._tenth = tenth
            print(_figures(done, total), file=self._out, flush=True)

    def _draw(self, done: int, total: int) -> None:
        now = time.monotonic()
        if done < total and now - self._drawn_at < 0.1:
            return
        self._drawn_at = now
        full = BAR_CELLS * done // total
        line = f"\r[{'#' * full}{'.' * (BAR_CELLS - full)}] {_figures(done, total)}"
        print(line, end="", file=self._out, flush=True)
        self._open = True

    def end(self) -> None:
        """The next words start on a line of their own."""
        if self._open:
            print(file=self._out, flush=True)
        self._open = False


def _figures(done: int, total: int) -> str:
    return f"{done / 1e6:5.1f} of {total / 1e6:.1f} MB, {100 * done // total:3d} %"


def _row(model: Found) -> dict[str, Any]:
    return {
        "folder": str(model.folder),
        "where": model.where,
        "fits_language": model.fits,
        "faults": [str(fault) for fault in model.faults],
    }


def _trial(model: Found) -> list[str]:
    """Load it once in a child, since a broken one may end the process."""
    child = ChildProcess(replace(Spec("vosk"), model=str(model.folder)))
    try:
        answer = child.ready()
        return [] if answer[0] == "ready" else [str(answer[1])]
    except ChildDied:
        return ["the recogniser ended while loading it"]
    finally:
        child.close()


def _text(used: dict[str, Any], rows: list[dict[str, Any]]) -> str:
    lines = [used["why"], ""]
    for row in rows:
        state = "; ".join(row["faults"]) or ("whole" if row["fits_language"] else "whole, of another language")
        lines.append(f"{row['folder']} ({row['where']}): {state}")
    if not rows:
        lines.append("No vosk model was found. Looked in:")
        lines += [f"  {folder}" for _, folder in search_folders()]
        lines += ["", known_models_text()]
    return "\n".join(lines)


def known_models_text() -> str:
    """What models.toml names, and the command that fetches it."""
    names = ", ".join(f"{model.name} ({model.licence}, {model.bytes / 1e6:.0f} MB)" for model in known_models())
    return f"A vosk model is optional: pocketsphinx needs none. To fetch: `kerfcall models get`, NAME one of: {names}."
