"""`kerfcall models list|verify`: which speech models are there, whether they are whole, and which is used."""

from __future__ import annotations

import argparse
import json
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

from assistant.commands.hear import voice_and_checks
from assistant.errors import KerfcallError
from assistant.hearing.child import Spec
from assistant.hearing.models import Found, choose, find_models, search_folders
from assistant.hearing.process import READY_S, ChildDied, ChildProcess


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """action, --shop, --json."""
    parser.add_argument("action", choices=("list", "verify"), help="list what is found, or verify its files")
    parser.add_argument("--shop", metavar="FILE", type=Path, help="the shop file (default: your own shop.toml, if any)")
    parser.add_argument("--json", action="store_true", help="for other programs")


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 3 when `verify` finds a broken model."""
    voice, _ = voice_and_checks(args.shop)
    found = find_models(voice)
    rows = [_row(model) for model in found]
    if args.action == "verify":
        for row, model in zip(rows, found, strict=True):
            row["faults"] = row["faults"] or _trial(model)
    try:
        choice = choose(voice)
        used: dict[str, Any] = {"recogniser": choice.recogniser, "why": choice.why}
        used["model"] = str(choice.model) if choice.model else None
    except KerfcallError as error:
        used = {"recogniser": None, "why": str(error), "model": None}
    searched = [str(folder) for _, folder in search_folders()]
    print(
        json.dumps({"used": used, "models": rows, "searched": searched}, indent=1) if args.json else _text(used, rows)
    )
    return 3 if args.action == "verify" and any(row["faults"] for row in rows) else 0


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
        answer = child.receive(READY_S)
        if answer is None:
            return ["took too long to load"]
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
    """What models.toml of the checkout says can be put there, or "" where it isn't at hand."""
    listed = next(
        (folder / "models.toml" for _, folder in search_folders() if (folder / "models.toml").is_file()), None
    )
    if listed is None:
        return "A vosk model is optional: pocketsphinx needs none."
    models = tomllib.loads(listed.read_text(encoding="utf-8")).get("models", [])
    names = ", ".join(f"{model['name']} ({model['licence']}, {model['bytes'] / 1e6:.0f} MB)" for model in models)
    return f"A vosk model is optional: pocketsphinx needs none. Known to fit: {names}."
