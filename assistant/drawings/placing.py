"""Places labels so that no two overlap: spread along a row with leaders, or only every few of them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, pairwise

GAP = 1.2
"""Least distance between neighbouring labels, mm."""


def spread(wanted: Sequence[float], widths: Sequence[float], left: float, right: float) -> list[float] | None:
    """Middles for labels `widths` wide, between left and right, as near to `wanted` (ascending) as possible.

    None if the row can't hold them all. Least squares, by pooling neighbours that would overlap.
    """
    if not widths:
        return []
    if sum(widths) + GAP * (len(widths) - 1) > right - left:
        return None
    # How far each label's middle is from the first label's when they are as close as possible. After subtracting this
    # offset, "no overlap" means "ascending". Pooling finds the nearest ascending row: two neighbours in the wrong order
    # both get their mean.
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
    """Indices of the labels to show in place without overlap: all of them, or every 2nd, 5th, 10th, 20th, 50th ...

    first: the number on the first label, which is also shown if it is clear of the next.
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
