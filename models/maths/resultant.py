"""The probability that an uncertain pair (vertical, horizontal) lies within a limit.

A resultant is within its limit inside a circle, two axes judged each by itself
inside a square.  The pair is normal around what was measured, with any
covariance; the probability is an integral over the circle or square.  It is not
the product of two probabilities per axis, and not that of one axis along the
reading: at a reading exactly on the circle it is below one half.

One direction is integrated by Gauss-Legendre quadrature, the other is known.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.maths.normal import SIGMAS, normal_cdf

FloatArray = NDArray[np.float64]

_PANELS: Final = 12
_POINTS: Final = 16
_DENSITY: Final = 1.0 / np.sqrt(2.0 * np.pi)

NARROW: Final = 1e-9
"""A standard deviation below this share of the limit is computed as this share: it decides like none."""


def composite_nodes(panels: int, points: int) -> tuple[FloatArray, FloatArray]:
    """Give nodes and weights of a composite Gauss-Legendre rule on 0 to 1.

    Parameters
    ----------
    panels : int
        Equal panels. [unitless]
    points : int
        Nodes in each. [unitless]

    Returns
    -------
    tuple of two (panels·points,) float arrays
        Nodes and weights. [unitless]
    """
    x, w = np.polynomial.legendre.leggauss(points)
    starts = np.arange(panels)[:, None] / panels
    return (starts + (x + 1.0) / (2.0 * panels)).ravel(), np.tile(w / (2.0 * panels), panels)


_NODES, _WEIGHTS = composite_nodes(_PANELS, _POINTS)


def interval_probability(mean: FloatArray, sd: FloatArray, limit: FloatArray) -> FloatArray:
    """Give the probability that one value lies within a limit on both sides.

    Parameters
    ----------
    mean : (n,) float array
        What was measured. [as used]
    sd : (n,) float array
        Its standard uncertainty, 0 or more. [as used]
    limit : (n,) float array
        The limit, above 0. [as used]

    Returns
    -------
    (n,) float array
        Φ((L − y)/u) − Φ((−L − y)/u); 1 or 0 where u is 0. [unitless]

    References
    ----------
    JCGM 106:2012, clause 7 [from memory, no copy read].
    """
    mean, sd, limit = np.broadcast_arrays(*(np.asarray(x, dtype=np.float64) for x in (mean, sd, limit)))
    safe = np.where(sd > 0, sd, 1.0)
    spread = normal_cdf((limit - mean) / safe) - normal_cdf((-limit - mean) / safe)
    return np.where(sd > 0, spread, (np.abs(mean) <= limit).astype(np.float64))


def resultant_probability(mean: FloatArray, covariance: FloatArray, limit: FloatArray) -> FloatArray:
    """Give the probability that the resultant of vertical and horizontal lies within a limit.

    Parameters
    ----------
    mean : (n, 2) float array
        What was measured, vertical and horizontal. [as used]
    covariance : (n, 2, 2) float array
        Its covariance. [as used, squared]
    limit : (n,) float array
        The limit, above 0. [as used]

    Returns
    -------
    (n,) float array
        Probability that √(V² + H²) is at most the limit. [unitless]

    Notes
    -----
    The pair is turned to its principal axes.  Along the axis of the smaller
    standard deviation, x = L·sin t is integrated over the circle and nine
    standard deviations; along the other the probability between ±√(L² − x²) is
    known.  For equal standard deviations this is the noncentral chi-square
    distribution with two degrees of freedom, at (L/u)² with noncentrality (r/u)².
    """
    centre, sd = _principal(mean, covariance, limit)
    low = np.clip(centre[:, 0] - SIGMAS * sd[:, 0], -limit, limit)
    high = np.clip(centre[:, 0] + SIGMAS * sd[:, 0], -limit, limit)
    start, end = np.arcsin(low / limit), np.arcsin(high / limit)
    angle = start[:, None] + (end - start)[:, None] * _NODES
    x, half = limit[:, None] * np.sin(angle), limit[:, None] * np.cos(angle)
    density = _DENSITY / sd[:, :1] * np.exp(-0.5 * ((x - centre[:, :1]) / sd[:, :1]) ** 2)
    inside = interval_probability(centre[:, 1:], sd[:, 1:], half)
    # dx = L·cos t dt, which is the half height once more.
    whole = (density * inside * half) @ _WEIGHTS * (end - start)
    return np.asarray(np.clip(whole, 0.0, 1.0), dtype=np.float64)


def square_probability(mean: FloatArray, covariance: FloatArray, limit: FloatArray) -> FloatArray:
    """Give the probability that vertical and horizontal lie each within a limit.

    Parameters
    ----------
    mean : (n, 2) float array
        What was measured, vertical and horizontal. [as used]
    covariance : (n, 2, 2) float array
        Its covariance. [as used, squared]
    limit : (n,) float array
        The limit of each, above 0. [as used]

    Returns
    -------
    (n,) float array
        Probability that neither V nor H is larger than the limit, whatever its sign. [unitless]
    """
    floor = (NARROW * limit) ** 2
    variance = np.maximum(np.diagonal(covariance, axis1=1, axis2=2), floor[:, None])
    first, second = np.sqrt(variance[:, 0]), np.sqrt(variance[:, 1])
    slope = covariance[:, 0, 1] / variance[:, 0]
    rest = np.sqrt(np.maximum(variance[:, 1] - slope * covariance[:, 0, 1], floor))
    low = np.clip(mean[:, 0] - SIGMAS * first, -limit, limit)
    high = np.clip(mean[:, 0] + SIGMAS * first, -limit, limit)
    # Where both go together the second axis cuts the range sharply: cut it there first.
    sharp = rest < 1e-3 * second
    safe = np.where(sharp & (np.abs(slope) > 0), slope, 1.0)
    cuts = np.sort(np.stack([(-limit - mean[:, 1]) / safe, (limit - mean[:, 1]) / safe]), axis=0) + mean[:, 0]
    cut = sharp & (np.abs(slope) > 0)
    low, high = np.where(cut, np.maximum(low, cuts[0]), low), np.where(cut, np.minimum(high, cuts[1]), high)
    width = np.maximum(high - low, 0.0)
    x = low[:, None] + width[:, None] * _NODES
    density = _DENSITY / first[:, None] * np.exp(-0.5 * ((x - mean[:, :1]) / first[:, None]) ** 2)
    at = mean[:, 1:] + slope[:, None] * (x - mean[:, :1])
    inside = np.where(cut[:, None], 1.0, interval_probability(at, rest[:, None], limit[:, None]))
    return np.asarray(np.clip((density * inside) @ _WEIGHTS * width, 0.0, 1.0), dtype=np.float64)


def _principal(mean: FloatArray, covariance: FloatArray, limit: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Turn pairs to their principal axes, the smaller standard deviation first."""
    values, axes = np.linalg.eigh(covariance)
    centre = np.einsum("nji,nj->ni", axes, mean)
    # Equal standard deviations leave the axes open: lay the second one through the mean, where the integrand is widest.
    round_ = values[:, 1] - values[:, 0] <= 1e-12 * np.abs(values[:, 1])
    along = np.stack([np.zeros(mean.shape[0]), np.hypot(mean[:, 0], mean[:, 1])], axis=1)
    centre = np.where(round_[:, None], along, centre)
    return centre, np.sqrt(np.maximum(values, (NARROW * limit[:, None]) ** 2))
