"""The commented examples: shop files, one for each kind of carriage and one with a motor, and the demo plans."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

# By kind of carriage; "driven" has a motor on its screw.
SHOPS = {
    "readout": "shop-readout.toml",
    "handwheel": "shop-handwheel-inch.toml",
    "steps": "shop-stepper.toml",
    "driven": "shop-driven.toml",
}


def examples_folder() -> Path | None:
    """`demo_plans`: inside the installed package, else beside it in a checkout; None where neither is there."""
    package = Path(__file__).parents[1]
    places = (package / "demo_plans", package.parent / "demo_plans")
    return next((folder for folder in places if folder.is_dir()), None)


def example_plans() -> dict[str, Path]:
    """The demo plans by name, e.g. "tea-trays", sorted; {} where they are missing."""
    folder = examples_folder()
    files = [] if folder is None else sorted(folder.glob("*.toml"))
    return {path.stem: path for path in files if path.name not in SHOPS.values()}


def how_to_make(path: Path, own: bool) -> str:
    """What makes a shop file at `path`, as a mend. own: whether that is the user's own, which needs no option."""
    if own:
        return "`kerfcall init` asks a few questions and writes it"
    quoted = f'"{path}"' if sys.platform == "win32" else shlex.quote(str(path))
    return f"`kerfcall init --to {quoted}` asks a few questions and writes it"
