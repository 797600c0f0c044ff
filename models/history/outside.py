"""The probability that an uncertain position lies outside its limit.

The position of a place is normal in vertical and horizontal, with a variance of
its own in each.  A limit on the resultant is a circle: the probability is an
integral over one axis of what the other axis gives.  A limit for each axis is a
rectangle: the axes multiply.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from models.history.columns import BoolArray, FloatArray
from models.history.distributions import chi2_quantile, normal_cdf
from models.history.limit_space import PLACES

NODES = 32
"""Points of the quadrature over one axis: errors below 2 in a million from a standard deviation of 0.03 limits up."""

NARROW = 0.03
"""Below this standard deviation the circle is a nearly straight edge to what is uncertain. [limit]"""

REACH = 6.5
"""Standard deviations of an axis that are integrated over: 8 in 10¹¹ lie beyond, and a wider reach thins out the points."""

SURELY = 6.0
"""Standard deviations inside the limit from which a position is not over it: the chance is below 2 in 100 million."""

SCALE_NODES = 5
"""Points of the quadrature over an uncertain variance."""

AT_ONCE = 2_048
"""Positions that are integrated over in one step."""

FEW = 1_000
"""So many positions are taken at all of these points in one step."""


@lru_cache(maxsize=8)
def _rule(points: int) -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(points)
    return np.asarray(nodes, dtype=np.float64), np.asarray(weights, dtype=np.float64)


def outside_circle(mean: FloatArray, variance: FloatArray) -> FloatArray:
    """Give the probability that a two-dimensional normal position lies outside the unit circle.

    Parameters
    ----------
    mean : (n, 2) float array
        Mean of vertical and horizontal. [limit]
    variance : (n, 2) float array
        Variance of each, above 0. [limit²]

    Returns
    -------
    (n,) float array
        Probability. [unitless]

    Notes
    -----
    P(inside) = ∫ φ(x) [Φ((√(1 − x²) − m₂) / s₂) − Φ((−√(1 − x²) − m₂) / s₂)] dx over |x| ≤ 1, with x = sin θ so
    that the ends are smooth.  With equal variances it is the non-central chi-square (tests).
    """
    if len(mean) <= AT_ONCE:
        return _outside_circle(mean, variance)
    # A few at a time: every array below is thirty-two times as long, and one that leaves the cache takes twice as long.
    return np.concatenate(
        [_outside_circle(mean[at : at + AT_ONCE], variance[at : at + AT_ONCE]) for at in range(0, len(mean), AT_ONCE)]
    )


def _outside_circle(mean: FloatArray, variance: FloatArray) -> FloatArray:
    spread = np.sqrt(np.maximum(variance, 1e-12))
    # Integrate over the axis of the larger spread: there the inner bracket changes slowest.
    swap = spread[:, 1] > spread[:, 0]
    first, second = np.where(swap[:, None], mean[:, ::-1], mean).T
    wide, narrow = np.where(swap[:, None], spread[:, ::-1], spread).T
    edge = wide < NARROW
    if edge.all():
        return _outside_edge(mean, variance)
    low = np.arcsin(np.clip(first - REACH * wide, -1.0, 1.0))
    high = np.arcsin(np.clip(first + REACH * wide, -1.0, 1.0))
    nodes, weights = _rule(NODES)
    angle = 0.5 * (high - low)[:, None] * nodes + 0.5 * (high + low)[:, None]
    x, half = np.sin(angle), np.cos(angle)
    z = (x - first[:, None]) / wide[:, None]
    density = np.exp(-0.5 * z * z) / (wide[:, None] * np.sqrt(2.0 * np.pi)) * half
    across = normal_cdf((half - second[:, None]) / narrow[:, None]) - normal_cdf(
        (-half - second[:, None]) / narrow[:, None]
    )
    inside = 0.5 * (high - low) * np.sum(weights * density * across, axis=1)
    outside = np.minimum(np.maximum(1.0 - inside, 0.0), 1.0)
    return np.where(edge, _outside_edge(mean, variance), outside) if edge.any() else outside


def _outside_edge(mean: FloatArray, variance: FloatArray) -> FloatArray:
    """Give the same for a small spread: the limit is an edge that bends by half the squared sideways distance."""
    radius = np.hypot(mean[:, 0], mean[:, 1])
    across = np.where(radius > 0.0, mean[:, 0] / np.where(radius > 0.0, radius, 1.0), 1.0) ** 2
    radial = np.sqrt(np.maximum(across * variance[:, 0] + (1.0 - across) * variance[:, 1], 1e-12))
    sideways = (1.0 - across) * variance[:, 0] + across * variance[:, 1]
    return normal_cdf((radius + 0.5 * sideways - 1.0) / radial)


def outside_each(mean: FloatArray, variance: FloatArray) -> FloatArray:
    """Give the probability that vertical or horizontal lies outside ±1.

    Parameters
    ----------
    mean, variance : (n, 2) float array
        As in :func:`outside_circle`. [limit, limit²]

    Returns
    -------
    (n,) float array
        Probability. [unitless]
    """
    spread: FloatArray = np.sqrt(np.maximum(variance, 1e-12))
    inside = normal_cdf((1.0 - mean) / spread) - normal_cdf((-1.0 - mean) / spread)
    return np.asarray(np.clip(1.0 - inside[:, 0] * inside[:, 1], 0.0, 1.0), dtype=np.float64)


def outside_limit(mean: FloatArray, variance: FloatArray, each_axis: BoolArray, df: FloatArray) -> FloatArray:
    """Give the probability that a machine is over its limit at either of its two places.

    Parameters
    ----------
    mean, variance : (n, 4) float array
        Place 1 V, place 2 V, place 1 H, place 2 H; NaN not judged. [limit, limit²]
    each_axis : (n,) bool array
        True where vertical and horizontal are judged each by itself. [unitless]
    df : (n,) float array
        Degrees of freedom behind the variance: few make large moves likelier. Infinite is exactly known. [unitless]

    Returns
    -------
    (n,) float array
        Probability; NaN where no place is judged. [unitless]

    Notes
    -----
    The two places are taken as independent given the variance.  Where they move together the true probability
    is lower: the figure errs to the safe side.  The variance is averaged over its scaled inverse chi-square
    distribution at five points, set by the normal quantile so that the rare large variances are not lost.
    """
    finite = np.isfinite(df) & (df < 200.0)
    total = np.full(len(mean), np.nan)
    sure, rows = np.flatnonzero(~finite), np.flatnonzero(finite)
    if len(sure):
        total[sure] = _either(mean[sure], variance[sure], each_axis[sure])
    if len(rows):
        levels, shares = _scales()
        total[rows] = 0.0
        # A few positions are taken at all points at once: what costs is then the number of steps.
        together = len(levels) if len(rows) <= FEW else 1
        for begin in range(0, len(levels), together):
            part = levels[begin : begin + together]
            scale = (df[rows] / chi2_quantile(np.array(part)[:, None], df[rows])).ravel()
            where = np.tile(rows, len(part))
            each = _either(mean[where], variance[where] * scale[:, None], each_axis[where])
            for share, here in zip(shares[begin : begin + together], each.reshape(len(part), -1), strict=True):
                total[rows] += share * here
    return total


@lru_cache(maxsize=1)
def _scales() -> tuple[list[float], list[float]]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(SCALE_NODES)
    return normal_cdf(nodes).tolist(), (weights / np.sum(weights)).tolist()


def _either(mean: FloatArray, variance: FloatArray, each_axis: BoolArray) -> FloatArray:
    inside, judged = np.ones(len(mean)), np.zeros(len(mean), dtype=np.bool_)
    for place in PLACES:
        m, v = mean[:, place], variance[:, place]
        here = ~np.isnan(m).any(axis=1)
        judged |= here
        reach = SURELY * np.sqrt(np.maximum(v, 1e-12)).max(axis=1)
        near = here & (np.hypot(m[:, 0], m[:, 1]) + reach > 1.0)
        for mask, outside in ((near & ~each_axis, outside_circle), (near & each_axis, outside_each)):
            rows = np.flatnonzero(mask)
            if len(rows):
                inside[rows] *= 1.0 - outside(m[rows], v[rows])
    return np.where(judged, 1.0 - inside, np.nan)
