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
"""Points of the quadrature over one axis: errors below 2 in ten million for standard deviations of 0.0001 to 1 limit, however
unequal (measured; a test holds them below 1 in a million)."""

REACH = 6.5
"""Standard deviations of an axis that are integrated over: 8 in 10¹¹ lie beyond, and a wider reach thins out the points."""

SURELY = 6.0
"""Standard deviations inside the limit from which a position is not over it: the chance is below 2 in 100 million."""

SCALE_NODES = 5
"""Points of the quadrature over a variance of 5 degrees of freedom or more: errors below 5 in ten thousand (test)."""

LOW_DF = 5.0
"""Below so many degrees of freedom the variance is so uncertain that it takes more points."""

LOW_SCALE_NODES = 11
"""Points there: errors below 1 in a thousand at one degree of freedom, 5 in ten thousand from 2 on (test)."""

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

    The axis is the one over which what Φ is taken of changes the less: where the other is known sharply, or the edge lies
    straight ahead of it, the bracket is a step between two points.
    """
    if len(mean) <= AT_ONCE:
        return _outside_circle(mean, variance)
    # A few at a time: every array below is thirty-two times as long, and one that leaves the cache takes twice as long.
    return np.concatenate(
        [_outside_circle(mean[at : at + AT_ONCE], variance[at : at + AT_ONCE]) for at in range(0, len(mean), AT_ONCE)]
    )


def _outside_circle(mean: FloatArray, variance: FloatArray) -> FloatArray:
    spread = np.sqrt(np.maximum(variance, 1e-12))
    low = np.arcsin(np.clip(mean - REACH * spread, -1.0, 1.0))
    high = np.arcsin(np.clip(mean + REACH * spread, -1.0, 1.0))
    ends = np.cos(low), np.cos(high)
    top = np.where(low * high < 0.0, 1.0, np.maximum(*ends))
    change = (top - np.minimum(*ends)) / spread[:, ::-1]
    swap = (change[:, 1] < change[:, 0])[:, None]
    first, second = np.where(swap, mean[:, ::-1], mean).T
    own, other = np.where(swap, spread[:, ::-1], spread).T
    begin, end = np.where(swap[:, 0], low[:, 1], low[:, 0]), np.where(swap[:, 0], high[:, 1], high[:, 0])
    nodes, weights = _rule(NODES)
    angle = 0.5 * (end - begin)[:, None] * nodes + 0.5 * (end + begin)[:, None]
    x, half = np.sin(angle), np.cos(angle)
    z = (x - first[:, None]) / own[:, None]
    density = np.exp(-0.5 * z * z) / (own[:, None] * np.sqrt(2.0 * np.pi)) * half
    across = normal_cdf((half - second[:, None]) / other[:, None]) - normal_cdf(
        (-half - second[:, None]) / other[:, None]
    )
    inside = 0.5 * (end - begin) * np.sum(weights * density * across, axis=1)
    return np.asarray(np.minimum(np.maximum(1.0 - inside, 0.0), 1.0), dtype=np.float64)


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
    distribution at five points, set by the normal quantile so that the rare large variances are not lost; below five
    degrees of freedom at eleven, even in u where the chi-square's share is u² (3 − 2 u).
    """
    finite = np.isfinite(df) & (df < 200.0)
    total = np.full(len(mean), np.nan)
    sure = np.flatnonzero(~finite)
    if len(sure):
        total[sure] = _either(mean[sure], variance[sure], each_axis[sure])
    for rows, low in ((np.flatnonzero(finite & (df >= LOW_DF)), False), (np.flatnonzero(finite & (df < LOW_DF)), True)):
        if not len(rows):
            continue
        levels, shares = _scales(low=low)
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


@lru_cache(maxsize=2)
def _scales(*, low: bool) -> tuple[list[float], list[float]]:
    if low:
        nodes, weights = np.polynomial.legendre.leggauss(LOW_SCALE_NODES)
        u = 0.5 * (nodes + 1.0)
        return (u * u * (3.0 - 2.0 * u)).tolist(), (weights * 3.0 * u * (1.0 - u)).tolist()
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
