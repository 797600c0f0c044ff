"""The probability that normal numbers which go together lie each within its limit.

One number after the other is integrated, the one that is known worst first; the
others, given it, are normal again.  Where they are almost known then, they cut
its range: panels of a Gauss-Legendre rule begin and end where they do, so that
no ridge, however thin, falls between the nodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.maths.normal import SIGMAS, normal_cdf

FloatArray = NDArray[np.float64]

NARROW: Final = 1e-9
"""A standard deviation below this share of the limit is computed as this share: it decides like none."""

GOOD_ENOUGH: Final = 1e-6
"""When two sets of nodes agree this well, no finer one is tried."""

LEAST_ERROR: Final = 1e-11
"""That of the normal distribution itself, with room."""

_LEVELS: Final = (5, 7, 10)
"""Nodes in each panel."""

_SPREAD: Final = np.array([-SIGMAS, -4.0, -2.0, 0.0, 2.0, 4.0, SIGMAS])
_RAMP: Final = np.array([-SIGMAS, -3.0, 0.0, 3.0, SIGMAS])
"""Where panels end: in standard deviations of the number itself, and of another one about where that meets its limit."""

_WORTH: Final = 1e-13
"""Nodes that weigh less than this share of the heaviest are left out."""


@dataclass(frozen=True, slots=True)
class Probability:
    """A probability and how far two sets of nodes differ in it: the error of the computation, not of the measurement."""

    value: float
    error: float


@dataclass(frozen=True, slots=True)
class _Step:
    """A number that is integrated: which one, its standard deviation, what the later ones follow of it, and what theirs is then."""

    at: int
    sd: float
    gains: dict[int, float]
    rests: dict[int, float]


def box_probability(mean: FloatArray, covariance: FloatArray) -> Probability:
    """Give the probability that every number lies between −1 and 1.

    Parameters
    ----------
    mean : (k,) float array
        What was measured, in parts of its limit. [unitless]
    covariance : (k, k) float array
        Its covariance, singular or not. [unitless]

    Returns
    -------
    Probability
        With the difference of the last two sets of nodes as its error.

    Notes
    -----
    The order is that of a Cholesky decomposition with pivots: the largest variance that is left.  The last number has
    its probability from the normal distribution.
    """
    steps = _steps(np.asarray(covariance, dtype=np.float64))
    before, error = _whole(mean, steps, _LEVELS[0]), 1.0
    for points in _LEVELS[1:]:
        value = _whole(mean, steps, points)
        error, before = abs(value - before), value
        if error < GOOD_ENOUGH:
            break
    return Probability(min(max(before, 0.0), 1.0), max(error, LEAST_ERROR))


def _steps(covariance: FloatArray) -> list[_Step]:
    left, rest, steps = list(range(len(covariance))), covariance.copy(), []
    while left:
        at = max(left, key=lambda place: float(rest[place, place]))
        left.remove(at)
        variance = max(float(rest[at, at]), NARROW**2)
        gains = {other: float(rest[other, at]) / variance for other in left}
        rest -= np.outer(rest[:, at], rest[at]) / variance
        known = {other: max(float(rest[other, other]), NARROW**2) ** 0.5 for other in left}
        steps.append(_Step(at, variance**0.5, gains, known))
    return steps


def _whole(mean: FloatArray, steps: list[_Step], points: int) -> float:
    nodes, shares = np.polynomial.legendre.leggauss(points)
    nodes, shares = (nodes + 1.0) / 2.0, shares / 2.0
    means, weights = np.asarray(mean, dtype=np.float64)[None, :], np.ones(1)
    for step in steps[:-1]:
        centre = means[:, step.at]
        edges = _edges(means, step)
        width = np.diff(edges, axis=1)
        row, panel = np.nonzero(width > 0)
        wide = width[row, panel][:, None]
        away = (edges[row, panel][:, None] + wide * nodes - centre[row][:, None]).ravel()
        row = np.repeat(row, points)
        weight = weights[row] * (wide * shares).ravel() * np.exp(-0.5 * (away / step.sd) ** 2)
        worth = weight > _WORTH * weight.max(initial=0.0)
        row, away = row[worth], away[worth]
        means, weights = means[row], weight[worth] / (step.sd * np.sqrt(2.0 * np.pi))
        for other, gain in step.gains.items():
            means[:, other] += gain * away
    last = means[:, steps[-1].at]
    inside = normal_cdf((1.0 - last) / steps[-1].sd) - normal_cdf((-1.0 - last) / steps[-1].sd)
    return float(weights @ inside)


def _edges(means: FloatArray, step: _Step) -> FloatArray:
    """Give the ends of the panels for each row: within both limits, and where the later numbers can be within theirs."""
    centre = means[:, step.at]
    low, high = np.maximum(centre - SIGMAS * step.sd, -1.0), np.minimum(centre + SIGMAS * step.sd, 1.0)
    marks = [centre[:, None] + step.sd * _SPREAD]
    for other, gain in step.gains.items():
        if not gain:
            continue
        ramp = step.rests[other] / abs(gain)
        ends = [centre + (end - means[:, other]) / gain for end in (-1.0, 1.0)]
        marks += [end[:, None] + ramp * _RAMP for end in ends]
        low = np.maximum(low, np.minimum(*ends) - SIGMAS * ramp)
        high = np.minimum(high, np.maximum(*ends) + SIGMAS * ramp)
    high = np.maximum(high, low)
    edges = np.concatenate([low[:, None], *marks, high[:, None]], axis=1)
    return np.asarray(np.sort(np.clip(edges, low[:, None], high[:, None]), axis=1), dtype=np.float64)
