"""Runs the program as a user would, in a folder with a small plan and shop."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests import forked

PLAN = """
title = "Small tray"
unit = "mm"
[stock]
width = 18
thickness = 10
[joint]
layout = "even"
finger = 6
[[boards]]
name = "long side"
part = "A"
ends = 2
"""
SHOP = 'unit = "mm"\nchecks_off = ["zero", "edge and face", "backing"]\n[blade]\nkerf = 3.18\n'
CHECKS = ("all clamps are secure", "safety guard fitted", "blade height is now measured")
FIRST_CALL = "".join(f"{n} heard marigold {answer}\n" for n, answer in enumerate(CHECKS, 1))


@dataclass
class Done:
    code: int
    out: str
    err: str

    @property
    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.out.splitlines()]

    @property
    def facts(self) -> list[tuple[Any, ...]]:
        """(kind, then what it names) of every fact, for comparing."""
        return [
            (line["kind"], *(line[key] for key in ("setup", "pass", "check", "by") if key in line))
            for line in self.lines
            if line["type"] == "fact"
        ]

    @property
    def said(self) -> list[str]:
        return [line["text"] for line in self.lines if line["type"] == "effect" and line["kind"] == "say"]


class Workshop:
    """A folder with plan.toml, shop.toml and a state folder. patience_s: after which a run counts as hung."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.patience_s = 120.0
        self.write("plan.toml", PLAN)
        self.write("shop.toml", SHOP)

    def write(self, name: str, text: str) -> None:
        (self.folder / name).write_text(text, encoding="utf-8")

    def run(self, *words: str, **environ: str) -> Done:
        """environ: further variables. With any of them a new Python is started, since it can read them itself."""
        kept = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")} | environ
        if forked.AVAILABLE and not environ:
            code, out, err = forked.run(words, self.folder, kept, self.patience_s)
            assert "Traceback" not in err, err
            return Done(code, out, err)
        done = subprocess.run(
            [sys.executable, "-m", "assistant", *words],
            cwd=self.folder,
            env=kept,
            capture_output=True,
            text=True,
            stdin=subprocess.DEVNULL,
            timeout=self.patience_s,
            check=False,
        )
        assert "Traceback" not in done.stderr, done.stderr
        return Done(done.returncode, done.stdout, done.stderr)

    def cut(self, script: str, *more: str) -> Done:
        self.write("script.txt", script)
        words = ("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--rehearse", "script.txt")
        return self.run(*words, *more)

    def resume(self, script: str, *more: str) -> Done:
        self.write("script.txt", script)
        return self.run("resume", "--state", "state", "--rehearse", "script.txt", *more)

    def sessions(self) -> list[dict[str, Any]]:
        """What `journal list` shows."""
        done = self.run("journal", "list", "--json", "--state", "state")
        assert done.code == 0, done.err
        return list(json.loads(done.out))

    def export(self) -> dict[str, Any]:
        done = self.run("journal", "export", "--json", "--state", "state")
        assert done.code == 0, done.err
        return dict(json.loads(done.out))
