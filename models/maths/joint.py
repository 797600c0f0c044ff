"""The probability that two uncertain pairs lie within their limits at the same time.

Offset and angularity come from the same readings and go together; so do the
angles at both flex planes.  The probability of both is not the product of two.
Judged each axis by itself, four numbers lie in a box (:mod:`models.maths.box`).
As resultants, one pair is integrated over its circle on fixed nodes; at each node
the other pair, given this one, has a probability of its own.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.maths.box import GOOD_ENOUGH, LEAST_ERROR, NARROW, Probability, box_probability
from models.maths.normal import SIGMAS
from models.maths.resultant import composite_nodes, resultant_probability, square_probability

FloatArray = NDArray[np.float64]

_LEVELS: Final = ((4, 8), (6, 10), (9, 12), (16, 12))
_CHUNK: Final = 2048

_KEPT: Final = 64
"""Results that are kept: the verdict and the chance beside it are asked for one after the other, and each takes as long as a page."""


def joint_probability(
    mean: FloatArray, covariance: FloatArray, limits: tuple[float, float], *, each_axis: bool
) -> Probability:
    """Give the probability that two pairs lie within their limits at the same time.

    Parameters
    ----------
    mean : (4,) float array
        First pair (vertical, horizontal), second pair (vertical, horizontal). [as used]
    covariance : (4, 4) float array
        Their covariance, in the same order. [as used, squared]
    limits : tuple of two float
        Limit of the first and of the second pair. [as used]
    each_axis : bool
        True where vertical and horizontal are judged each by itself. [unitless]

    Returns
    -------
    Probability
        Probability, with the difference of the last two sets of nodes as its error.

    Notes
    -----
    Given the first pair a, the second is normal with mean μb + K·(a − μa), K = Cba·Caa⁻¹, and the covariance
    Cbb − K·Cab, whatever a is.  Where the pairs are independent this is the product, and is computed so.
    """
    scale = np.repeat(np.asarray(limits, dtype=np.float64), 2)
    return _joint((mean / scale).tobytes(), (covariance / np.outer(scale, scale)).tobytes(), each_axis)


@lru_cache(_KEPT)
def _joint(mean: bytes, covariance: bytes, each_axis: bool) -> Probability:
    """Give the same for pairs in parts of their limits, by the very digits of their numbers."""
    mu, cov = np.frombuffer(mean), np.frombuffer(covariance).reshape(4, 4)
    one = np.ones(1)
    pair = square_probability if each_axis else resultant_probability
    sd = np.sqrt(np.maximum(np.diag(cov), 0.0))
    if (np.abs(cov[:2, 2:]) <= 1e-12 * np.outer(sd[:2], sd[2:])).all():
        first = pair(mu[None, :2], cov[None, :2, :2], one)[0]
        return Probability(float(first * pair(mu[None, 2:], cov[None, 2:, 2:], one)[0]), LEAST_ERROR)
    if each_axis:
        return box_probability(mu, cov)
    # The pair that is known better, for its limit, is the inner one: its steps are the sharper ones.
    if np.trace(cov[:2, :2]) < np.trace(cov[2:, 2:]):
        order = [2, 3, 0, 1]
        mu, cov = mu[order], cov[np.ix_(order, order)]
    before = _nested(mu, cov, _LEVELS[0])
    error = 1.0
    for level in _LEVELS[1:]:
        value = _nested(mu, cov, level)
        error, before = abs(value - before), value
        if error < GOOD_ENOUGH:
            break
    return Probability(before, max(error, LEAST_ERROR))


def _nested(mu: FloatArray, cov: FloatArray, level: tuple[int, int]) -> float:
    """Integrate one pair over its circle, limits 1, with the other pair's probability at every node."""
    values, axes = np.linalg.eigh(cov[:2, :2])
    values = np.maximum(values, NARROW**2)
    points, weights = _disc_nodes(mu[:2], axes, np.sqrt(values), level)
    away = points - mu[:2]
    along = away @ axes
    weights = weights * np.exp(-0.5 * (along**2 / values).sum(axis=1)) / (2.0 * np.pi * np.sqrt(values.prod()))
    worth = weights > 1e-18 * weights.max(initial=0.0)
    gain = cov[2:, :2] @ (axes / values) @ axes.T
    rest = cov[2:, 2:] - gain @ cov[:2, 2:]
    rest = (rest + rest.T) / 2.0
    centres, weights = mu[2:] + away[worth] @ gain.T, weights[worth]
    total = 0.0
    for start in range(0, weights.size, _CHUNK):
        part = centres[start : start + _CHUNK]
        inside = resultant_probability(part, np.broadcast_to(rest, (part.shape[0], 2, 2)), np.ones(part.shape[0]))
        total += float(inside @ weights[start : start + _CHUNK])
    return min(max(total, 0.0), 1.0)


def _disc_nodes(
    mu: FloatArray, axes: FloatArray, sd: FloatArray, level: tuple[int, int]
) -> tuple[FloatArray, FloatArray]:
    """Give nodes over the part of the unit circle within nine standard deviations, along the principal axes."""
    nodes, weights = composite_nodes(*level)
    centre = mu @ axes
    start, end = np.arcsin(np.clip([centre[0] - SIGMAS * sd[0], centre[0] + SIGMAS * sd[0]], -1.0, 1.0))
    angle = start + (end - start) * nodes
    x, half = np.sin(angle), np.cos(angle)
    low = np.clip(centre[1] - SIGMAS * sd[1], -half, half)
    width = np.clip(centre[1] + SIGMAS * sd[1], -half, half) - low
    y = low[:, None] + width[:, None] * nodes
    weight = (weights * (end - start) * half * width)[:, None] * weights
    turned = np.stack([np.broadcast_to(x[:, None], y.shape).ravel(), y.ravel()], axis=1)
    return turned @ axes.T, weight.ravel()
