"""Intervals for a share: how well a percentage from few visits is known.

Every percentage that driftbook shows carries one of these.  Wilson's is the
one on the screens; the exact binomial one is for an auditor who wants no
approximation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray, IntArray
from models.history.distributions import normal_quantile


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares with their intervals; all arrays have one shape.

    ``count`` of ``n`` had the property.  Where ``n`` is 0 the share is NaN and
    the interval is all of 0 to 1: nothing is known.
    """

    count: IntArray
    n: IntArray
    share: FloatArray
    low: FloatArray
    high: FloatArray
    confidence: float


def shares(count: IntArray, n: IntArray, confidence: float = 0.95) -> Shares:
    """Give shares with their Wilson intervals.

    Parameters
    ----------
    count : int array of any shape
        How many had the property. [unitless]
    n : int array of the same shape
        Of how many. [unitless]
    confidence : float
        Confidence of the two-sided interval. [unitless]

    Returns
    -------
    Shares
        Share, lower and upper limit. [unitless]
    """
    low, high = wilson(count, n, confidence)
    known = n > 0
    return Shares(count, n, np.where(known, count / np.where(known, n, 1), np.nan), low, high, confidence)


def wilson(
    count: IntArray | FloatArray, n: IntArray | FloatArray, confidence: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Give the Wilson score interval of a share, without continuity correction.

    Parameters
    ----------
    count : (k,) array
        How many had the property. [unitless]
    n : (k,) array
        Of how many; 0 gives the interval from 0 to 1. May be an effective number, not whole. [unitless]
    confidence : float
        Confidence of the two-sided interval. [unitless]

    Returns
    -------
    low, high : (k,) float arrays
        Limits of the share. [unitless]

    References
    ----------
    E. B. Wilson (1927), Journal of the American Statistical Association 22:209; method 3 of R. G. Newcombe
    (1998), Statistics in Medicine 17:857.
    """
    z = float(normal_quantile(0.5 + confidence / 2.0))
    of = np.asarray(n, dtype=np.float64)
    known = of > 0
    safe = np.where(known, of, 1.0)
    share = np.asarray(count, dtype=np.float64) / safe
    centre = (share + z * z / (2.0 * safe)) / (1.0 + z * z / safe)
    half = (
        z / (1.0 + z * z / safe) * np.sqrt(np.maximum(share * (1.0 - share), 0.0) / safe + z * z / (4.0 * safe * safe))
    )
    # At 0 of n and n of n the limit is exactly 0 or 1; rounding must not leave 1e-18 there.
    low = np.where(share <= 0.0, 0.0, np.maximum(centre - half, 0.0))
    high = np.where(share >= 1.0, 1.0, np.minimum(centre + half, 1.0))
    return np.where(known, low, 0.0), np.where(known, high, 1.0)
