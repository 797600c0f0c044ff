"""False alarms over a fleet: of many tests, which ones to believe."""

from __future__ import annotations

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray


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
    return adjusted_in(p, order_of(p))


def order_of(p: FloatArray) -> IntArray:
    """Give the places of p-values from the smallest on; those that were not tested come last.

    Parameters
    ----------
    p : (n,) float array
        p-values; NaN was not tested. [unitless]
    """
    # Equal p-values have one adjusted value in whatever order they stand: the least step is that of the last of them.
    return np.argsort(p).astype(np.int64)


def reordered(order: IntArray, p: FloatArray, changed: IntArray) -> IntArray:
    """Give the order of p-values of which a few have changed since an earlier order, or are new.

    Parameters
    ----------
    order : (m,) int array
        The order before; m is at most n. [unitless]
    p : (n,) float array
        p-values as they are now. [unitless]
    changed : (k,) int array
        Those that have another value than before; all new ones among them. [unitless]
    """
    stays = np.ones(len(p), dtype=np.bool_)
    stays[changed] = False
    kept = order[stays[order]]
    values, fresh = p[kept], p[changed]
    tested = len(values) - int(np.count_nonzero(np.isnan(values)))
    places = np.where(np.isnan(fresh), len(kept), np.searchsorted(values[:tested], fresh))
    # Several that go to one place are put there in the order in which they are given.
    by_value = np.argsort(fresh)
    return np.insert(kept, places[by_value], changed[by_value])


def adjusted_in(p: FloatArray, order: IntArray) -> FloatArray:
    """Give the same as :func:`adjusted` where the order is known.

    Parameters
    ----------
    p : (n,) float array
        p-values; NaN was not tested. [unitless]
    order : (n,) int array
        Their order; see :func:`order_of`. [unitless]
    """
    result = np.full(p.shape, np.nan)
    values = p[order]
    count = len(values) - int(np.count_nonzero(np.isnan(values)))
    steps = values[:count] * count / np.arange(1, count + 1)
    result[order[:count]] = np.minimum(np.minimum.accumulate(steps[::-1])[::-1], 1.0)
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
