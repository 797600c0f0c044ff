"""Shrinkage: many uncertain figures of one kind, each drawn towards what they have in common."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray


@dataclass(frozen=True, slots=True)
class Common:
    """What a set of figures has in common.

    ``mean`` with variance ``mean_variance``, variance ``between`` of the true
    figures about it, and Cochran's ``q``; ``n`` figures went in.
    """

    mean: float
    mean_variance: float
    between: float
    q: float
    n: int


NOTHING_IN_COMMON = Common(0.0, 0.0, 0.0, 0.0, 0)


def dersimonian_laird(estimate: FloatArray, variance: FloatArray, between: float | None = None) -> Common:
    """Fit the mean and the spread of the true values behind some estimates.

    Parameters
    ----------
    estimate : (k,) float array
        The estimates. [unit]
    variance : (k,) float array
        Their variances, above 0. [unit²]
    between : float or None
        Variance of the true values, where it is given; 0 gives the fixed-effect mean. [unit²]

    Returns
    -------
    Common
        Mean, its variance, the variance of the true values, and Q.

    References
    ----------
    R. DerSimonian, N. Laird (1986), Controlled Clinical Trials 7:177; checked against the BCG trials as in the tests of
    the R package metafor.
    """
    if not len(estimate):
        return NOTHING_IN_COMMON
    weight = 1.0 / variance
    total = float(np.sum(weight))
    fixed = float(np.sum(weight * estimate)) / total
    q = float(np.sum(weight * (estimate - fixed) ** 2))
    if between is None:
        scale = total - float(np.sum(weight**2)) / total
        between = max((q - (len(estimate) - 1)) / scale, 0.0) if scale > 0.0 else 0.0
    weight = 1.0 / (variance + between)
    total = float(np.sum(weight))
    return Common(float(np.sum(weight * estimate)) / total, 1.0 / total, between, q, len(estimate))


def shrink(
    estimate: FloatArray, variance: FloatArray, mean: FloatArray, mean_variance: FloatArray, between: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Draw estimates towards a common mean, as much as their own variance asks for.

    Parameters
    ----------
    estimate, variance : float arrays
        The estimates; an infinite variance gives the common mean. [unit, unit²]
    mean, mean_variance, between : float arrays that broadcast
        What they have in common. [unit, unit², unit²]

    Returns
    -------
    value, variance : float arrays
        Posterior mean and variance; the variance includes that of the common mean. [unit, unit²]
    """
    known = np.isfinite(variance)
    own = np.where(known, variance, 1.0)
    keep = np.where(known, between / np.maximum(between + own, 1e-300), 0.0)
    value = mean + keep * (np.where(known, estimate, 0.0) - mean)
    spread = np.where(known, keep * own, between)
    return value, spread + (1.0 - keep) ** 2 * mean_variance
