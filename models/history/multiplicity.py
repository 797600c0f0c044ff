"""False alarms over a fleet: of many tests, which ones to believe."""

from __future__ import annotations

import numpy as np

from models.history.columns import BoolArray, FloatArray


def adjusted(p: FloatArray) -> FloatArray:
    """Give the Benjamini–Hochberg adjusted p-value of each test.

    Parameters
    ----------
    p : (n,) float array
        p-values; NaN was not tested and stays NaN. [unitless]

    Returns
    -------
    (n,) float array
        The smallest rate of false discoveries at which the test would be believed. [unitless]

    References
    ----------
    Y. Benjamini, Y. Hochberg (1995), Journal of the Royal Statistical Society B 57:289.
    """
    result = np.full(p.shape, np.nan)
    tested = np.flatnonzero(~np.isnan(p))
    order = tested[np.argsort(p[tested], kind="stable")]
    count = len(order)
    steps = p[order] * count / np.arange(1, count + 1)
    result[order] = np.minimum(np.minimum.accumulate(steps[::-1])[::-1], 1.0)
    return result


def believed(p: FloatArray, rate: float = 0.10) -> BoolArray:
    """Tell which tests are believed when at most this share of the believed ones may be false.

    Parameters
    ----------
    p : (n,) float array
        p-values; NaN was not tested. [unitless]
    rate : float
        Accepted share of false discoveries. [unitless]
    """
    return np.asarray(adjusted(p) <= rate, dtype=np.bool_)
