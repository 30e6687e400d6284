"""Calibrates the backlash of simulated saws, with the program's own board and its own evaluation of the readings.

`python -m tests.calibrating.backlash_trials 2000` prints shares for that many trials of each kind.

What is simulated is as in `kerf_trials`, and a play of up to 0.3 mm: the middle one of three cuts is come down to and
lies further by it.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assistant.calibrating.board import DOWN, board_text, read_places
from assistant.calibrating.change import change_for, computed
from assistant.calibrating.readings import ReadingCollector, from_options
from assistant.errors import BadInput
from assistant.plans.job import build_job
from assistant.plans.plan_file import read_both
from assistant.plans.shop_file import read_shop
from tests.calibrating.kerf_trials import CALIPERS, CUT, HAND, INCH, MM, MM_PER, OFF_FROM_STATED, Board
from tests.plans.files import write

MOST_PLAY, SCREW = 0.3, 0.004


def board(folder: Path, shop_text: str = MM) -> Board:
    path = write(folder, shop_text, "shop.toml")
    shop = read_shop(path)
    plan = write(folder, board_text("backlash", shop, CALIPERS[shop.unit]), "backlash.toml")
    passes = build_job(*read_both(plan, path)).patterns[0].passes
    return Board(shop, tuple(float(p.setting) for p in passes), read_places(plan, "backlash", shop))


@dataclass(frozen=True)
class Kind:
    """How a trial goes. slip: how far one reading, any of them, is misread, mm. cut, hand: standard deviations, mm."""

    slip: float = 0.0
    cut: float = CUT
    hand: float = HAND


@dataclass
class Tally:
    """Counts of trials.

    left_out: those with a value that leave out the misread reading, or of sound ones any; wrong: a value that leaves
    out another reading than the misread one; over: a value off by more than U.
    """

    trials: int = 0
    refused: int = 0
    left_out: int = 0
    wrong: int = 0
    over: int = 0

    @property
    def caught(self) -> int:
        return self.refused + self.left_out

    def __str__(self) -> str:
        n = self.trials
        return (
            f"{n} trials: refused {self.refused / n:.2%}, reading left out {self.left_out / n:.2%}, "
            f"another one left out {self.wrong / n:.2%}, off by over U {self.over / n:.2%}"
        )


def tally(of: Board, kind: Kind, seeds: Sequence[int]) -> Tally:
    found = Tally(len(seeds))
    for seed in seeds:
        rng = np.random.default_rng(seed)
        caliper, unit = CALIPERS[of.shop.unit], of.shop.unit
        kerf = float(of.shop.blade.kerf) + rng.uniform(-OFF_FROM_STATED, OFF_FROM_STATED)
        play = rng.uniform(0, MOST_PLAY)
        settings = np.array(of.settings)
        cuts = settings * (1 + rng.uniform(-SCREW, SCREW)) + rng.normal(0, kind.cut, len(settings))
        cuts[[n - 1 for n in DOWN]] += play
        wood = np.diff(cuts) - kerf + rng.uniform(-1, 1) * float(caliper.error)
        wood = np.array([length for n, length in enumerate(wood) if n % 3 != 2])
        wood += rng.normal(0, kind.hand, len(wood))
        misread = int(rng.integers(len(wood)))
        wood[misread] += rng.choice((-1, 1)) * kind.slip
        step = float(caliper.step)
        shown = np.round(wood / step) * step / MM_PER[unit]
        collector = ReadingCollector(of.places, unit)
        from_options(collector, [f"{p.label}={v:.4f}" for p, v in zip(of.places, shown, strict=True)])
        try:
            value = computed("backlash", collector.checked(), caliper, of.shop, [])
            change_for(value, of.shop)
        except BadInput:
            found.refused += 1
            continue
        gone = {each.reading.label for each in value.left_out}
        if kind.slip and gone and of.places[misread].label not in gone:
            found.wrong += 1
        elif gone:
            found.left_out += 1
        found.over += abs(value.value - play) > value.expanded
    return found


def main(trials: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for name, text in (("mm", MM), ("in", INCH)):
            of = board(Path(folder), text)
            for cut, hand in ((CUT, HAND), (0.02, 0.015), (0.03, 0.02)):
                for slip in (0.0, 0.2, 0.3, 0.5, 1.0):
                    kind = Kind(slip, cut, hand)
                    print(name, kind, tally(of, kind, range(trials)), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]))
