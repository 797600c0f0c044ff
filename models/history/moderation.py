"""Moderated variance: an asset's own scatter, held by what its class shows.

Three drifts say little about the scatter of one machine.  Its variance factor
(1 is the class's) is therefore mixed with a prior that is fitted to the factors
of all assets of the class.
"""

from __future__ import annotations

import numpy as np

from models.history.columns import FloatArray
from models.history.distributions import digamma, trigamma

LEAST_FACTOR = 1e-6
"""Identical readings do not make a machine certain: no variance factor is smaller."""

LARGEST_DF = 1e6
"""A prior with more degrees of freedom than this is one common variance."""

CAREFUL = 1.0
"""Standard errors that are added to the spread of the variance factors."""


def variance_prior(factor: FloatArray, df: FloatArray) -> tuple[float, float]:
    """Fit a scaled inverse chi-square prior to variance factors by the moments of their logarithm.

    Parameters
    ----------
    factor : (n,) float array
        Mean squared standardised residual of each asset. [unitless]
    df : (n,) float array
        Its degrees of freedom, above 0. [unitless]

    Returns
    -------
    df0, factor0 : float
        Degrees of freedom and value of the prior; ``df0`` is infinite when the factors differ no more than by chance. [unitless]

    References
    ----------
    G. K. Smyth (2004), Statistical Applications in Genetics and Molecular Biology 3:3, section 6.2 (memory: not
    verified against a copy); tests/test_models_history_moderation.py recovers planted priors.
    """
    if len(factor) < 3:
        return float("inf"), max(float(np.average(factor, weights=df)), LEAST_FACTOR) if len(factor) else 1.0
    # A factor of exactly 0 comes from identical readings; its logarithm must not rule the class.
    usable = np.maximum(factor, 1e-5 * max(float(np.median(factor)), 1e-12))
    centred = np.log(usable) - digamma(df / 2.0) + np.log(df / 2.0)
    total = float(np.var(centred, ddof=1))
    spread = total - float(np.mean(trigamma(df / 2.0)))
    common = max(float(np.average(factor, weights=df)), LEAST_FACTOR)
    level = common
    if spread > 1e-6:
        fitted = 2.0 * inverse_trigamma(spread)
        level = float(np.exp(np.mean(centred) + float(digamma(fitted / 2.0)) - np.log(fitted / 2.0)))
    # The spread of a few dozen factors is itself uncertain, and too many degrees of freedom raise false alarms:
    # they are taken from a spread that is larger by its own standard errors.
    careful = max(spread, 0.0) + CAREFUL * total * float(np.sqrt(2.0 / (len(factor) - 1)))
    df0 = 2.0 * inverse_trigamma(max(careful, 1e-12))
    return (df0, max(level, LEAST_FACTOR)) if df0 <= LARGEST_DF else (float("inf"), common)


def inverse_trigamma(value: float) -> float:
    """Give x with trigamma(x) = value, by Newton's method on 1 / trigamma.

    Parameters
    ----------
    value : float
        Above 0. [unitless]
    """
    x = 0.5 + 1.0 / value
    for _ in range(50):
        here = float(trigamma(x))
        slope = _tetragamma(x)
        step = here * (1.0 - here / value) / slope
        x += step
        if abs(step) < 1e-10 * x:
            break
    return x


def _tetragamma(x: float) -> float:
    # A central difference is exact enough for the slope of a Newton step.
    h = 1e-4 * x
    return float((trigamma(x + h) - trigamma(x - h)) / (2.0 * h))


def moderate(
    squares: FloatArray, df: FloatArray, df0: FloatArray, factor0: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mix an asset's own squared residuals with the prior of its class.

    Parameters
    ----------
    squares : (n,) float array
        Sum of squared standardised residuals. [unitless]
    df : (n,) float array
        Their degrees of freedom; 0 where the asset has none. [unitless]
    df0, factor0 : (n,) float array
        Prior of the class. [unitless]

    Returns
    -------
    factor, df : (n,) float arrays
        Moderated variance factor and its degrees of freedom. [unitless]
    """
    finite = np.isfinite(df0)
    prior = np.where(finite, df0, 0.0)
    total = prior + df
    mixed = (prior * factor0 + squares) / np.where(total > 0.0, total, 1.0)
    return np.where(finite & (total > 0.0), np.maximum(mixed, LEAST_FACTOR), factor0), np.where(finite, total, np.inf)


def effective_df(df: FloatArray, chance: FloatArray, variance: FloatArray) -> FloatArray:
    """Give the degrees of freedom of a variance of which only a part has a factor that is not well known.

    Parameters
    ----------
    df : (n,) float array
        Degrees of freedom of the factor. [unitless]
    chance, variance : (n, 4) float array
        The part that the factor scales, and the whole; NaN not judged. [limit²]

    References
    ----------
    Welch–Satterthwaite formula, JCGM 100:2008, G.4.1 (memory: not verified against a copy).
    """
    judged = ~np.isnan(variance)
    whole = np.where(judged, variance, 0.0).sum(axis=1)
    part = np.where(judged, chance, 0.0).sum(axis=1)
    share = np.where(part > 0.0, whole / np.where(part > 0.0, part, 1.0), 1.0)
    return np.asarray(np.maximum(df, 1.0) * share**2, dtype=np.float64)
