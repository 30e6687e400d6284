"""How soon `kerfcall --help` is there, against a bare interpreter.

Run: python -m tests.bench.startup. Prints absolutes; exits 1 only when the ratio is over its limit.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

RUNS = 21
LIMIT_S = 0.2
MOST_TIMES_BARE = 4.0


def help_command() -> list[str]:
    """The installed script where there is one beside this interpreter, else the module."""
    script = Path(sys.executable).with_name("kerfcall.exe" if sys.platform == "win32" else "kerfcall")
    return [str(script), "--help"] if script.exists() else [sys.executable, "-m", "assistant", "--help"]


def took(command: list[str], shows: str) -> float:
    """Seconds from the start of a process to its end. It must have shown what is looked for."""
    begun = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    taken = time.perf_counter() - begun
    if shows not in done.stdout:
        raise RuntimeError(f"{command} did not show {shows!r}")
    return taken


def main() -> int:
    ours, floor = help_command(), [sys.executable, "-c", "pass"]
    took(ours, "journal")  # from a warm disk, as every later start is
    helps, bare = [], []
    for _ in range(RUNS):  # in turn, so that the machine's other work falls on both
        helps.append(took(ours, "journal"))
        bare.append(took(floor, ""))
    middle, least = statistics.median(helps), statistics.median(bare)
    ratio = middle / least
    print(f"kerfcall --help        median {middle:.3f} s, best {min(helps):.3f} s (to hold: {LIMIT_S} s)")
    print(f"python -c pass         median {least:.3f} s, best {min(bare):.3f} s")
    print(f"ratio to the floor     {ratio:.2f} (at most {MOST_TIMES_BARE:g})")
    return int(ratio > MOST_TIMES_BARE)


if __name__ == "__main__":
    sys.exit(main())
