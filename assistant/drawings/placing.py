"""Where labels go so that no two overlap: spread along a row with leaders, or only every so many of them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, pairwise

GAP = 1.2
"""Least distance between neighbouring labels, mm."""


def spread(wanted: Sequence[float], widths: Sequence[float], left: float, right: float) -> list[float] | None:
    """Middles for labels `widths` wide, ascending as `wanted`, within left to right, as near as can be.

    None when they can't all stand in the row. Least squares, by pooling neighbours that would overlap.
    """
    if not widths:
        return []
    if sum(widths) + GAP * (len(widths) - 1) > right - left:
        return None
    # How far each label's middle is from the first one's when they stand as close as they may. Less this offset,
    # "no overlap" is "ascending", and the nearest ascending row is found by pooling: of two neighbours that stand the
    # wrong way round both get their mean.
    offsets = [0.0, *accumulate(a / 2 + GAP + b / 2 for a, b in pairwise(widths))]
    pools: list[tuple[float, int]] = []  # (mean, how many)
    for want, offset in zip(wanted, offsets, strict=True):
        mean, count = want - offset, 1
        while pools and pools[-1][0] > mean:
            before, many = pools.pop()
            mean, count = (before * many + mean * count) / (many + count), many + count
        pools.append((mean, count))
    free = [mean for mean, count in pools for _ in range(count)]
    low, high = left + widths[0] / 2, right - widths[-1] / 2 - offsets[-1]
    return [min(max(x, low), high) + offset for x, offset in zip(free, offsets, strict=True)]


def thinned(middles: Sequence[float], widths: Sequence[float], first: int = 1) -> list[int]:
    """Indices of the labels to show where they stand, without overlap: all, or one every 2, 5, 10, 20, 50 ...

    first: the number on the first label, which is shown too where it is clear of the next.
    """
    step = 1
    while True:
        for every in (step, 2 * step, 5 * step):
            chosen = [n for n in range(len(middles)) if (n + first) % every == 0]
            if 0 not in chosen and _clear([0, *chosen[:1]], middles, widths):
                chosen.insert(0, 0)
            if _clear(chosen, middles, widths):
                return chosen
        step *= 10


def _clear(chosen: Sequence[int], middles: Sequence[float], widths: Sequence[float]) -> bool:
    ordered = sorted(chosen, key=lambda n: middles[n])
    return all(middles[b] - middles[a] >= (widths[a] + widths[b]) / 2 + GAP for a, b in pairwise(ordered))
