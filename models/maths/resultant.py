"""The probability that an uncertain pair (vertical, horizontal) lies within a limit.

A resultant is within its limit inside a circle, two axes judged each by itself
inside a square.  The pair is normal around what was measured, with any
covariance; the probability is an integral over the circle or square.  It is not
the product of two probabilities per axis, and not that of one axis along the
reading: at a reading exactly on the circle it is below one half.

Over a circle one direction is integrated by Gauss-Legendre quadrature, the other is
known; a square is a box (:mod:`models.maths.box`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.maths.box import NARROW, box_probability
from models.maths.normal import SIGMAS, normal_cdf

FloatArray = NDArray[np.float64]

_PANELS: Final = 12
_POINTS: Final = 16
_DENSITY: Final = 1.0 / np.sqrt(2.0 * np.pi)


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
    scaled = zip(mean / limit[:, None], covariance / limit[:, None, None] ** 2, strict=True)
    return np.array([box_probability(one, cov).value for one, cov in scaled], dtype=np.float64)


def _principal(mean: FloatArray, covariance: FloatArray, limit: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Turn pairs to their principal axes, the smaller standard deviation first."""
    values, axes = np.linalg.eigh(covariance)
    centre = np.einsum("nji,nj->ni", axes, mean)
    # Equal standard deviations leave the axes open: lay the second one through the mean, where the integrand is widest.
    round_ = values[:, 1] - values[:, 0] <= 1e-12 * np.abs(values[:, 1])
    along = np.stack([np.zeros(mean.shape[0]), np.hypot(mean[:, 0], mean[:, 1])], axis=1)
    centre = np.where(round_[:, None], along, centre)
    return centre, np.sqrt(np.maximum(values, (NARROW * limit[:, None]) ** 2))
