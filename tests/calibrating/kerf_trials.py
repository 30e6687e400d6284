"""Calibrates the kerf of simulated saws, with the program's own board and its own evaluation of the readings.

`python -m tests.calibrating.kerf_trials 5000` prints shares for that many trials of each kind.

What is simulated is what the program states uncertainties of: cuts that stand off their settings, a screw that is
long or short, hands, a caliper's steps and its own error within its limit. A slip is 0.1 to 1 mm, either way, in one
reading.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np

from assistant.calibrating.blunders import Caliper
from assistant.calibrating.board import Place, board_text, read_places
from assistant.calibrating.change import computed
from assistant.calibrating.readings import ReadingCollector, from_options
from assistant.calibrating.values import Value
from assistant.errors import BadInput
from assistant.plans.job import build_job
from assistant.plans.model import Shop
from assistant.plans.plan_file import read_both
from assistant.plans.shop_file import read_shop
from tests.plans.files import write

HANDWHEEL = '[carriage]\nkind = "handwheel"\nthreads_per_inch = 16\ndivisions = 125\n'
MM = 'unit = "mm"\n[blade]\nkerf = 3.2\n' + HANDWHEEL
INCH = 'unit = "in"\n[blade]\nkerf = 0.125\n' + HANDWHEEL
READOUT = 'unit = "mm"\n[blade]\nkerf = 3.2\n'
# A board from before there were five long fingers: eight spacings of 10 mm, two of 32 mm.
EIGHT_AND_TWO = """\
# A test board; cut it as any plan, out and back, with the strokes in use.
# calibrates: kerf
# carriage step: 1/100 mm
title = "Test board: kerf"
unit = "mm"

[stock]
width = 176
thickness = 12

[joint]
layout = "listed"
widths = [8.8, 3.2, 6.8, 3.2, 6.8, 3.2, 6.8, 3.2, 6.8, 3.2, 6.8, 3.2, 6.8, 3.2, 6.8, 3.2, 6.8, 3.2,
  28.8, 3.2, 28.8, 3.2, 20]
clearance = 0
sand_allowance = 0

[[boards]]
name = "test board"
part = "A"
"""
CALIPERS = {
    "mm": Caliper(Fraction("0.01"), Fraction(150), Fraction("0.01"), "mm"),
    "in": Caliper(Fraction("0.0127"), Fraction("152.4"), Fraction("0.0127"), "in"),
}
MM_PER = {"mm": 1.0, "in": 25.4}
# Standard deviations, mm: where a cut is, and what a hand adds to a reading.
CUT, HAND = 0.01, 0.008
LEAST_SLIP, MOST_SLIP = 0.1, 1.0
OFF_FROM_STATED = 0.25  # how far the true kerf may be from the shop file's, mm


@dataclass(frozen=True)
class Board:
    """A test board, cut: settings of its cuts, mm, and the places that its readings name."""

    shop: Shop
    settings: tuple[float, ...]
    places: list[Place]


def board(folder: Path, shop_text: str = MM, plan_text: str = "") -> Board:
    """The board that the program writes for this shop, or another one."""
    path = write(folder, shop_text, "shop.toml")
    shop = read_shop(path)
    plan = write(folder, plan_text or board_text("kerf", shop, CALIPERS[shop.unit]), "kerf.toml")
    passes = build_job(*read_both(plan, path)).patterns[0].passes
    return Board(shop, tuple(float(p.setting) for p in passes), read_places(plan, "kerf", shop))


@dataclass(frozen=True)
class Kind:
    """How a trial goes. screw: the greatest share it is off, either way. rounds: how often every place is read.

    slip: whether one reading is misread; cut_slip: whether one cut was set wrong, as far off as a slip. cut: standard
    deviation of a cut, mm.
    """

    screw: float = 0.004
    rounds: int = 1
    slip: bool = False
    cut_slip: bool = False
    cut: float = CUT


def trial(of: Board, kind: Kind, seed: int) -> tuple[Value | None, float]:
    """(the program's result from the readings, or None if it refuses; the true kerf, mm)."""
    rng = np.random.default_rng(seed)
    unit = of.shop.unit
    caliper = CALIPERS[unit]
    kerf = float(of.shop.blade.kerf) + rng.uniform(-OFF_FROM_STATED, OFF_FROM_STATED)
    settings = np.array(of.settings)
    cuts = settings * (1 + rng.uniform(-kind.screw, kind.screw)) + rng.normal(0, kind.cut, len(settings))
    if kind.cut_slip:
        cuts[rng.integers(len(cuts))] += slip(rng)
    own = rng.uniform(-1, 1) * float(caliper.error)
    wood = np.tile(np.diff(cuts) - kerf + own, kind.rounds)
    wood += rng.normal(0, HAND, len(wood))
    if kind.slip:
        wood[rng.integers(len(wood))] += slip(rng)
    step = float(caliper.step)
    shown = np.round(wood / step) * step / MM_PER[unit]
    labels = [place.label for place in of.places] * kind.rounds
    collector = ReadingCollector(of.places, unit)
    from_options(collector, [f"{label}={value:.4f}" for label, value in zip(labels, shown, strict=True)])
    try:
        return computed("kerf", collector.checked(), caliper, of.shop, []), kerf
    except BadInput:
        return None, kerf


def slip(rng: np.random.Generator) -> float:
    return float(rng.choice((-1, 1)) * rng.uniform(LEAST_SLIP, MOST_SLIP))


@dataclass
class Tally:
    """Counts of trials.

    over, double: accepted, and off by more than U, than 2 U. lost: sound readings that went, a refused set's all.
    expanded: U of those accepted, mm.
    """

    trials: int = 0
    refused: int = 0
    over: int = 0
    double: int = 0
    lost: int = 0
    readings: int = 0
    expanded: list[float] = field(default_factory=list)

    def __str__(self) -> str:
        n = self.trials
        accepted = self.over / max(1, n - self.refused)
        return (
            f"{n} trials: refused {self.refused / n:.2%}, off by over U {self.over / n:.2%} ({accepted:.2%} of those "
            f"accepted), over 2 U {self.double}, readings left out or "
            f"refused {self.lost / self.readings:.2%}, mean U {np.mean(self.expanded or [0]):.4f} mm"
        )


def tally(of: Board, kind: Kind, seeds: Sequence[int]) -> Tally:
    found = Tally(trials=len(seeds))
    size = len(of.places) * kind.rounds
    for seed in seeds:
        value, kerf = trial(of, kind, seed)
        found.readings += size
        if value is None:
            found.refused += 1
            found.lost += size
            continue
        off = abs(value.value - kerf)
        found.over += off > value.expanded
        found.double += off > 2 * value.expanded
        found.lost += len(value.left_out)
        found.expanded.append(value.expanded)
    return found


def main(trials: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for name, text in (("mm", MM), ("in", INCH)):
            of = board(Path(folder), text)
            for rounds in (1, 2):
                for kind in (
                    Kind(rounds=rounds),
                    Kind(rounds=rounds, slip=True),
                    Kind(0.01, rounds, slip=True),
                    Kind(0.01, rounds, cut_slip=True),
                    Kind(0.01, rounds, slip=True, cut=3 * CUT),
                ):
                    print(name, kind, tally(of, kind, range(trials)), sep="\n  ", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]))
