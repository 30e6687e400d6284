"""The program with a Ctrl-C at a moment that is named, run by the tests.

python -m tests.process_child import N WORDS..           as it looks for its Nth module
python -m tests.process_child call MODULE NAME.. WORDS   as this function is called, which then goes on
python -m tests.process_child dropped WORDS..            in a destructor, where Python drops it
python -m tests.process_child mistaken WORDS..           as a library takes it for a failing import
python -m tests.process_child model URL BYTES SHA256 FOLDER    while this model is fetched: sent from outside
"""

from __future__ import annotations

import contextlib
import importlib
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

from assistant.__main__ import main


def ctrl_c() -> None:
    os.kill(os.getpid(), signal.SIGINT)


class AtImport:
    """A finder that finds nothing."""

    def __init__(self, number: int) -> None:
        self.left = number

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> None:
        self.left -= 1
        if self.left == 0:
            ctrl_c()


def at_call(module: str, name: str) -> None:
    *outer, last = name.split(".")
    owner = importlib.import_module(module)
    for part in outer:
        owner = getattr(owner, part)
    wrapped = getattr(owner, last)

    def interrupted(*args: Any, **more: Any) -> Any:
        ctrl_c()
        return wrapped(*args, **more)

    setattr(owner, last, interrupted)


class Dropping:
    def __del__(self) -> None:
        ctrl_c()


def drop(_: object) -> int:
    made = Dropping()
    del made
    time.sleep(60)
    return 0


def mistake(_: object) -> int:
    with contextlib.suppress(KeyboardInterrupt):
        ctrl_c()
    raise ImportError('could not import module "datetime"')


def model(url: str, size: str, digest: str, folder: str) -> list[str]:
    from assistant.commands import models
    from assistant.hearing.download import KnownModel

    models.known_models = lambda: [KnownModel("vosk-model-tiny-en-0", "vosk", "en", "none", url, int(size), digest)]  # type: ignore[assignment]
    models.search_folders = lambda: [("user data", Path(folder))]  # type: ignore[assignment]
    return ["models", "get"]


if __name__ == "__main__":
    moment, *words = sys.argv[1:]
    if moment == "import":
        number, *words = words
        sys.meta_path.insert(0, AtImport(int(number)))  # type: ignore[arg-type]
    elif moment == "call":
        where, what, *words = words
        at_call(where, what)
    elif moment in ("dropped", "mistaken"):
        importlib.import_module("assistant.commands.layout").run = drop if moment == "dropped" else mistake  # type: ignore[attr-defined]
    else:
        words = model(*words)
    sys.argv[1:] = words
    sys.exit(main())
