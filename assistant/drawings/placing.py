"""Where labels go so that no two overlap: spread along a row with leaders, or only every so many of them."""

from __future__ import annotations

from collections.abc import Sequence

GAP = 1.2
"""Least distance between neighbouring labels, mm."""


def spread(wanted: Sequence[float], widths: Sequence[float], left: float, right: float) -> list[float] | None:
    """Middles for labels `widths` wide, ascending as `wanted`, within left to right, as near as can be.

    None when they can't all stand in the row. Least squares, by pooling neighbours that would overlap.
    """
    if sum(widths) + GAP * (len(widths) - 1) > right - left:
        return None
    # In the coordinate less everything that stands before it, "no overlap" is "ascending".
    before = _before(widths)
    pools: list[list[float]] = []
    for want, offset in zip(wanted, before, strict=True):
        pools.append([want - offset, 1])
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            mean, count = pools.pop()
            pools[-1] = [(pools[-1][0] * pools[-1][1] + mean * count) / (pools[-1][1] + count), pools[-1][1] + count]
    free = [mean for mean, count in pools for _ in range(int(count))]
    low = left + widths[0] / 2 if widths else left
    high = right - widths[-1] / 2 - before[-1] if widths else right
    return [min(max(x, low), high) + offset for x, offset in zip(free, before, strict=True)]


def _before(widths: Sequence[float]) -> list[float]:
    """How far each label's middle is from the first one's when they stand as close as they may."""
    found, x = [], 0.0
    for n, width in enumerate(widths):
        if n:
            x += widths[n - 1] / 2 + GAP + width / 2
        found.append(x)
    return found


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
    return all(
        middles[b] - middles[a] >= (widths[a] + widths[b]) / 2 + GAP for a, b in zip(ordered, ordered[1:], strict=False)
    )
