"""What is not known of the prior of a class: a few priors, each with how likely it is after all that was seen.

One prior alone, the best, says that the mean of a class is known; after few
returns, or none, it is not.  Means and intervals of a machine are taken over
these priors, so that what the class leaves open is in them.  They lie on a grid
over two numbers that hardly depend on each other: the logarithm of how alike
machines are (u), and of the mean (v).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.history.columns import FloatArray
from models.history.distributions import log_gamma

Height = Callable[[FloatArray, FloatArray], FloatArray]
"""Log of the density of u and v after what was seen, up to a constant, for many pairs at once."""

ALIKE_POINTS, MEAN_POINTS = 6, 10
"""Points of the grid along u and along v."""

FAINT_SHARE = 3e-3
"""Priors less likely than this share of the likeliest are left out: their number is what costs."""

CLOSE = 0.2
"""Below these standard deviations of u and v a normal distribution, at three points in each direction, will do."""

SURE_ALIKE, SURE_MEAN = 0.05, 0.02
"""Below both of these standard deviations the best prior alone will do: it changes no interval by a hundredth of its width."""


DEEP = 8.0
"""So far below the top of the log-density nothing counts any more."""

SIZES = (float(np.log(0.05)), float(np.log(1e4)))
"""Between these logarithms of a b ⁄ (a + b) the prior of a share is looked for."""


def nodes_on(
    height: Height, alike: tuple[float, float], mean: tuple[float, float], points: int = ALIKE_POINTS
) -> tuple[FloatArray, ...]:
    """Weigh the priors of a grid.

    Parameters
    ----------
    height : callable
        Log-density for many pairs. [unitless]
    alike, mean : tuple of two float
        Ends of the grid along u and v; beyond them there is next to nothing, or nothing is allowed. [unitless]
    points : int
        Points along u. [unitless]

    Returns
    -------
    u, v, weight : (k,) float arrays
        The priors that count; the weights sum to 1. [unitless]

    References
    ----------
    Summing over a grid around the mode: H. Rue, S. Martino and N. Chopin (2009), J. R. Statist. Soc. B 71:319,
    section 3.1 [from memory].
    """
    us, vs = np.linspace(*alike, points), np.linspace(*mean, MEAN_POINTS)
    u, v = (one.ravel() for one in np.meshgrid(us, vs, indexing="ij"))
    log = height(u, v)
    weight = np.exp(log - log.max())
    # By the trapezoidal rule the ends count half; that matters where the grid ends at a bound.
    ends = np.where((u == us[0]) | (u == us[-1]), 0.5, 1.0) * np.where((v == vs[0]) | (v == vs[-1]), 0.5, 1.0)
    weight *= ends
    kept = weight > FAINT_SHARE * weight.max()
    return u[kept], v[kept], weight[kept] / weight[kept].sum()


def nodes_near(u: float, v: float, covariance: FloatArray) -> tuple[FloatArray, ...]:
    """Give the same around a sharp maximum: three points of a normal distribution in each direction.

    Parameters
    ----------
    u, v : float
        The maximum. [unitless]
    covariance : (2, 2) float array
        Of u and v. [unitless]
    """
    values, axes = np.linalg.eigh(covariance)
    nodes, shares = np.polynomial.hermite_e.hermegauss(3)
    one, two = (axis.ravel() for axis in np.meshgrid(nodes, nodes, indexing="ij"))
    place = axes @ (np.sqrt(values)[:, None] * np.stack([one, two]))
    weight = np.outer(shares, shares).ravel()
    return u + place[0], v + place[1], weight / weight.sum()


def share_nodes(count: FloatArray, n: FloatArray, weight: FloatArray) -> tuple[tuple[float, float, float], ...]:
    """Give the beta priors that are about as likely after counts of some of some.

    Parameters
    ----------
    count, n : (k,) float array
        How many of how many. [unitless]
    weight : (k,) float array
        How many assets have that pair. [unitless]

    Returns
    -------
    tuple of (a, b, weight)
        The weights sum to 1.

    Notes
    -----
    The class's mean share is as likely to be any before anything is seen, and so is κ ⁄ (κ + 1) for κ = a b ⁄ (a + b):
    where shares are small κ is the shape of a gamma prior of rates, so that shares and rates are thought of alike.
    """

    def height(u: FloatArray, v: FloatArray) -> FloatArray:
        a, b = (one[:, None] for one in _beta(u, v))
        part = log_gamma(count + a) - log_gamma(a) + log_gamma(n - count + b) - log_gamma(b)
        seen = (part + log_gamma(a + b) - log_gamma(n + a + b)) @ weight
        return np.asarray(seen - u - 2.0 * np.log1p(np.exp(-u)) - v - 2.0 * np.log1p(np.exp(-v)))

    logit = float(np.log((weight @ count + 1.0) / (weight @ (n - count) + 1.0)))
    alike = _where(lambda u: height(u, np.full_like(u, logit)), *SIZES)
    middle = 0.5 * (alike[0] + alike[1])
    mean = _where(lambda v: height(np.full_like(v, middle), v), logit - 8.0, logit + 8.0)
    u, v, share = nodes_on(height, alike, mean, 2 * ALIKE_POINTS)
    a, b = _beta(u, v)
    return tuple(zip(a.tolist(), b.tolist(), share.tolist(), strict=True))


def _beta(u: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give a and b where u is the logarithm of a b ⁄ (a + b) and v that of a ⁄ b."""
    a = np.exp(u) * (1.0 + np.exp(v))
    return a, a * np.exp(-v)


def _where(height: Callable[[FloatArray], FloatArray], low: float, high: float) -> tuple[float, float]:
    """Give the ends of the stretch on which a log-density counts, closing in on it."""
    for _ in range(4):
        at = np.linspace(low, high, 21)
        log = height(at)
        kept = np.flatnonzero(log > log.max() - DEEP)
        low, high = float(at[max(kept[0] - 1, 0)]), float(at[min(kept[-1] + 1, 20)])
    return low, high
