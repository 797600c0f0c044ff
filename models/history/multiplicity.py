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


def adjusted_at(p: FloatArray, rows: IntArray) -> FloatArray:
    """Give the same as :func:`adjusted` for some of the p-values, without their order.

    Parameters
    ----------
    p : (n,) float array
        p-values; NaN was not tested. [unitless]
    rows : (k,) int array
        Which of them. [unitless]
    """
    values = np.sort(p)
    count = len(values) - int(np.count_nonzero(np.isnan(values)))
    steps = values[:count] * count / np.arange(1, count + 1)
    least = np.append(np.minimum(np.minimum.accumulate(steps[::-1])[::-1], 1.0), np.nan)
    # Of equal p-values any will do: the least step from there on is that of the last of them.
    return np.asarray(least[np.searchsorted(values[:count], p[rows])], dtype=np.float64)


def largest_believed(p: FloatArray, rate: float) -> float:
    """Give the largest p-value that is believed: exactly those up to it have an adjusted value of at most ``rate``.

    Parameters
    ----------
    p : (n,) float array
        p-values; NaN was not tested. [unitless]
    rate : float
        Accepted share of false discoveries. [unitless]

    Returns
    -------
    float
        −1 where none is believed. [unitless]
    """
    # An adjusted p-value is never smaller than the p-value, so nothing above the rate needs to be put in order.
    values = np.sort(p[p <= rate])
    count = len(p) - int(np.count_nonzero(np.isnan(p)))
    reached = np.flatnonzero(values * count / np.arange(1, len(values) + 1) <= rate)
    return float(values[reached[-1]]) if len(reached) else -1.0


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
