"""Chance in a picture: share of looks that were returns against the number of looks, with the limits that chance sets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.history.columns import FloatArray, IntArray, TextArray
from models.history.distributions import binomial_upper_tail

OUTER, INNER = 0.001, 0.025
"""Probability, on each side, of lying beyond the outer and the inner limits by chance: 99.8 and 95 % lie inside."""

MOST_LOOKS = 200
"""Looks up to which the limits are drawn."""

NAMED = 4
"""Tags that are named at one point."""


@dataclass(frozen=True, slots=True)
class Point:
    """All machines with so many returns of so many looks; ``beyond`` is 1 above the outer limit, −1 below it, else 0."""

    looks: int
    returns: int
    machines: int
    beyond: int
    tags: tuple[str, ...]

    @property
    def share(self) -> float:
        """Give the share of the looks that were returns."""
        return self.returns / self.looks


@dataclass(frozen=True, slots=True)
class Funnel:
    """Points and limits.

    ``share`` is that of all machines in the picture.  Row i of the limits belongs to
    i + 1 looks; each stands half a return inside the first count that lies beyond it, NaN
    where no count can.  ``by_chance`` machines would lie above the outer limit if all had the same share.
    """

    share: float
    points: tuple[Point, ...]
    inner_low: FloatArray
    inner_high: FloatArray
    outer_low: FloatArray
    outer_high: FloatArray
    above: int
    below: int
    machines: int
    by_chance: float

    def place(self, point: Point) -> str:
        """Tell where a point lies: ``'above'`` or ``'below'`` the outer limits, ``'between'`` them and the inner ones, or ``'within'``."""
        if point.beyond:
            return "above" if point.beyond > 0 else "below"
        row = point.looks - 1
        if row >= len(self.inner_high):
            return "within"
        # A limit that no count can reach is not a number, and nothing lies beyond it.
        return "between" if point.share > self.inner_high[row] or point.share < self.inner_low[row] else "within"


def funnel_of(looks: IntArray, returns: IntArray, tags: TextArray) -> Funnel | None:
    """Put machines into a picture of chance; ``None`` where nobody looked, or all looks went the same way.

    Parameters
    ----------
    looks, returns : (assets,) int array
        Looks at each machine, and how many of them were returns. [unitless]
    tags : (assets,) object array
        Their tags. [unitless]

    Notes
    -----
    Exact binomial limits about the common share. They are for the comparison of machines with one another; the
    ranking allows for the length of each look as well.

    References
    ----------
    D. J. Spiegelhalter (2005), Statistics in Medicine 24:1185, on funnel plots with exact limits (memory: not verified
    against a copy).
    """
    total, back = int(looks.sum()), int(returns.sum())
    if not total or back in {0, total}:
        return None
    share = back / total
    most = int(min(looks.max(), MOST_LOOKS))
    n = np.arange(1, int(looks.max()) + 1)
    outer_up, outer_down = _first_beyond(n, share, OUTER)
    inner_up, inner_down = _first_beyond(n, share, INNER)
    seen = looks > 0
    place = np.maximum(looks - 1, 0)
    beyond = np.where(seen & (returns >= outer_up[place]), 1, np.where(seen & (returns <= outer_down[place]), -1, 0))
    tail = binomial_upper_tail(outer_up.astype(np.float64), n.astype(np.float64), share)
    tail = np.where(outer_up > n, 0.0, tail)
    rows = np.flatnonzero(seen)
    # One number for each pair, and one sort: a pass for each pair would cost as many passes as there are points.
    pair = looks[rows] * (int(looks.max()) + 1) + returns[rows]
    order = np.argsort(pair, kind="stable")
    begins = np.flatnonzero(np.diff(pair[order], prepend=-1))
    sizes = np.diff(np.append(begins, len(order)))
    points = []
    for begin, size in zip(begins.tolist(), sizes.tolist(), strict=True):
        mine = rows[order[begin : begin + NAMED]][:size]
        first = int(mine[0])
        named = tuple(str(tag) for tag in tags[mine])
        points.append(Point(int(looks[first]), int(returns[first]), size, int(beyond[first]), named))
    return Funnel(
        share=share,
        points=tuple(points),
        inner_low=_line(inner_down[:most] + 0.5, n[:most]),
        inner_high=_line(inner_up[:most] - 0.5, n[:most]),
        outer_low=_line(outer_down[:most] + 0.5, n[:most]),
        outer_high=_line(outer_up[:most] - 0.5, n[:most]),
        above=int((beyond > 0).sum()),
        below=int((beyond < 0).sum()),
        machines=int(seen.sum()),
        by_chance=float(tail[place[seen]].sum()),
    )


def _first_beyond(n: IntArray, share: float, tail: float) -> tuple[IntArray, IntArray]:
    """Give for each n the smallest count above the limit (n + 1 if none) and the largest below it (−1 if none)."""
    up, down = np.empty(len(n), dtype=np.int64), np.empty(len(n), dtype=np.int64)
    for row, of in enumerate(n.tolist()):
        count = np.arange(of + 2, dtype=np.float64)
        at_least = np.append(binomial_upper_tail(count[:-1], float(of), share), 0.0)
        up[row] = int(np.argmax(at_least < tail))
        at_most = 1.0 - at_least[1:]
        down[row] = int(np.count_nonzero(at_most < tail)) - 1
    return up, down


def _line(count: NDArray[np.floating[Any]], n: IntArray) -> FloatArray:
    inside = (count >= 0.0) & (count <= n)
    return np.asarray(np.where(inside, count / n, np.nan), dtype=np.float64)
