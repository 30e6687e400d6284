"""The example shop files to start from: where they are, and how to copy them."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

# Each file and the carriage it is for.
SHOPS = {
    "shop-readout.toml": "a digital readout, mm",
    "shop-handwheel-inch.toml": "a handwheel, inches",
    "shop-stepper.toml": "a stepper",
}


def examples_folder() -> Path | None:
    """The folder `demo_plans`: that of the checkout, else the installed one; None if neither exists."""
    here = Path(__file__).parents[2] / "demo_plans"
    if here.is_dir():
        return here
    from importlib.metadata import PackageNotFoundError, files

    try:
        installed = [Path(str(file.locate())) for file in files("kerfcall") or () if file.name in SHOPS]
    except PackageNotFoundError:
        return None
    return next((file.parent.resolve() for file in installed if file.exists()), None)


def how_to_copy(path: Path) -> str:
    """How to make a shop file at `path`, as the mend of a fault."""
    folder = examples_folder()
    if folder is None:
        return "write one with at least [blade] and the measured kerf"
    first, *_ = SHOPS
    kinds = ", ".join(f"{name} ({carriage})" for name, carriage in SHOPS.items())
    if sys.platform == "win32":
        command = f'copy "{folder / first}" "{path}"'
        made = f'mkdir "{path.parent}" & '
    else:
        command = shlex.join(["cp", str(folder / first), str(path)])
        made = f"{shlex.join(['mkdir', '-p', str(path.parent)])} && "
    made = "" if path.parent.is_dir() else made
    return f"copy the example for your carriage and put in your own figures: {made}{command}; the examples are {kinds}"
