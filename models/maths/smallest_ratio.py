"""The smallest limit ratio that feet can reach where they do not reach the target.

What can remain along one axis is a convex set of the plane: what the rows of
feet allow is one strip each, and for two machines the sum of two such sets,
whose edges are parallel to theirs.  The limit ratio is the larger of two sizes,
each over both axes.  For any share λ the least λ·first² + (1 − λ)·second² within
strips is found exactly, by trying every edge and corner; where the largest such
least value lies, both sizes are equal or only one counts, and that is the
smallest ratio (both squares are convex, so the two problems have one value).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

Point = tuple[float, float]

_TOLERANCE: Final = 1e-9
_LEAST_SHARE: Final = 1e-12
_STEPS: Final = 60
"""Halvings of the share: as many as a number has digits."""


@dataclass(frozen=True, slots=True)
class Strip:
    """Points between two parallel lines: low ≤ normal · point ≤ high, the normal of length 1; an end may be infinite."""

    normal: Point
    low: float
    high: float


def strip(normal: Point, low: float, high: float) -> Strip | None:
    """Make a strip with a normal of length 1; ``None`` where it bounds nothing.

    Parameters
    ----------
    normal : tuple of two float
        Direction across the strip, of any length. [as used]
    low, high : float
        Bounds of normal · point. [as used]
    """
    length = math.hypot(*normal)
    if length == 0 or not (math.isfinite(low) or math.isfinite(high)):
        return None
    return Strip((normal[0] / length, normal[1] / length), low / length, high / length)


def summed(first: Sequence[Strip], second: Sequence[Strip]) -> list[Strip]:
    """Give the strips of the sum of two sets that both hold the origin: their edges lie along those of either.

    Parameters
    ----------
    first, second : sequence of Strip
        Strips of each set. [as used]
    """
    found = []
    for one in (*first, *second):
        n, back = one.normal, (-one.normal[0], -one.normal[1])
        made = strip(n, -(_support(first, back) + _support(second, back)), _support(first, n) + _support(second, n))
        if made is not None:
            found.append(made)
    return found


def _support(strips: Sequence[Strip], n: Point) -> float:
    """Give how far a set reaches in a direction: of all ways to put it together from two of its edges, the least (duality)."""
    if n == (0.0, 0.0):
        return 0.0
    edges = [(one.normal, one.high) for one in strips] + [
        ((-one.normal[0], -one.normal[1]), -one.low) for one in strips
    ]
    edges = [(at, bound) for at, bound in edges if math.isfinite(bound)]
    best = math.inf
    for at, bound in edges:
        along = at[0] * n[0] + at[1] * n[1]
        if along > 0 and abs(at[0] * n[1] - at[1] * n[0]) <= _TOLERANCE:
            best = min(best, along * bound)
    for (a, bound_a), (b, bound_b) in combinations(edges, 2):
        across = a[0] * b[1] - a[1] * b[0]
        if abs(across) <= _TOLERANCE:
            continue
        one, other = (n[0] * b[1] - n[1] * b[0]) / across, (a[0] * n[1] - a[1] * n[0]) / across
        if one >= -_TOLERANCE and other >= -_TOLERANCE:
            best = min(best, max(one, 0.0) * bound_a + max(other, 0.0) * bound_b)
    return best


def least_within(strips: Sequence[Strip], share: float) -> Point:
    """Give the point within strips at which share·x² + (1 − share)·y² is least.

    Parameters
    ----------
    strips : sequence of Strip
        The strips; some point lies in all of them. [as used]
    share : float
        Between 0 and 1, neither of them. [unitless]
    """

    def within(p: Point) -> bool:
        for one in strips:
            at = one.normal[0] * p[0] + one.normal[1] * p[1]
            slack = _TOLERANCE * max(1.0, abs(p[0]), abs(p[1]))
            if at < one.low - slack or at > one.high + slack:
                return False
        return True

    if within((0.0, 0.0)):
        return (0.0, 0.0)
    lines = [(one.normal, end) for one in strips for end in {one.low, one.high} if math.isfinite(end)]
    tried: list[Point] = []
    for (x, y), end in lines:
        of = (x / share, y / (1.0 - share))
        size = x * of[0] + y * of[1]
        tried.append((end * of[0] / size, end * of[1] / size))
    for (a, end_a), (b, end_b) in combinations(lines, 2):
        across = a[0] * b[1] - a[1] * b[0]
        if abs(across) > _TOLERANCE:
            tried.append(((end_a * b[1] - end_b * a[1]) / across, (a[0] * end_b - b[0] * end_a) / across))
    kept = [p for p in tried if within(p)]
    assert kept  # noqa: S101 - no move at all keeps every bound
    return min(kept, key=lambda p: share * p[0] ** 2 + (1.0 - share) * p[1] ** 2)


def smallest(axes: Sequence[Sequence[Strip]], judged: tuple[bool, bool] = (True, True)) -> list[Point]:
    """Give the points, one an axis, at which the larger of two sizes is least: that of all first and of all second coordinates.

    Parameters
    ----------
    axes : sequence of sequence of Strip
        For each axis what can remain, in parts of the two limits. [unitless]
    judged : tuple of two bool
        Which of both sizes has a limit.  Where only one has, it comes first, and the other is as small as that leaves it. [unitless]

    Returns
    -------
    list of tuple of two float
        One point an axis; a size is the root of the sum of squares over the axes. [unitless]
    """
    if judged[0] != judged[1]:
        share = 1.0 - _LEAST_SHARE if judged[0] else _LEAST_SHARE
        return [least_within(strips, share) for strips in axes]

    def at(share: float) -> tuple[list[Point], float]:
        points = [least_within(strips, share) for strips in axes]
        return points, sum(x * x for x, _ in points) - sum(y * y for _, y in points)

    return _balanced(at)


def _balanced(at: Callable[[float], tuple[list[Point], float]]) -> list[Point]:
    """Find the share at which both sizes are equal, or the end beyond which only one counts."""
    low, high = _LEAST_SHARE, 1.0 - _LEAST_SHARE
    points, more = at(low)
    if more <= 0:
        return points
    points, more = at(high)
    if more >= 0:
        return points
    for _ in range(_STEPS):
        middle = (low + high) / 2.0
        points, more = at(middle)
        if more > 0:
            low = middle
        else:
            high = middle
    return points
