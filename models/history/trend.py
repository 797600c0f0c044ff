"""Trends: does something rise or fall over the years, on its true dates, for all assets at once.

Series of one length lie in one block; all pairs of a block are taken by one
index, their slopes are sorted, and S, the median slope and its limits are read
off.  Nothing is assumed about the shape of the errors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray, IntArray
from models.history.distributions import normal_quantile
from models.history.kendall import critical_s, two_sided_p
from models.history.late import Late

FEWEST = 5
"""Values that a trend needs: with 4 the smallest two-sided p is 1/12."""

PAIRS_AT_ONCE = 30_000
"""Pairs in one block: each array then stays in the cache, which halves the time of blocks ten times as large."""


@dataclass(frozen=True, slots=True)
class Trends(Late):
    """One row a series; NaN where it has fewer than :data:`FEWEST` values or no two dates.

    ``s`` is Kendall's S, ``tau`` S over the number of pairs, ``p`` two-sided
    (exact up to forty values), ``slope`` the median of all slopes [unit/time],
    ``low`` and ``high`` its limits at ``confidence``, ``intercept`` the median
    value minus slope times the median time.
    """

    n: IntArray
    s: IntArray
    tau: FloatArray
    z: FloatArray
    p: FloatArray
    slope: FloatArray
    low: FloatArray
    high: FloatArray
    intercept: FloatArray
    confidence: float


def trends_of(
    value: FloatArray,
    time: FloatArray,
    series: IntArray,
    count: int,
    *,
    confidence: float = 0.95,
    fewest: int = FEWEST,
    exact: bool = True,
) -> Trends:
    """Test each series for a trend and give its slope.

    Parameters
    ----------
    value : (n,) float array
        Values; NaN is left out. [unit]
    time : (n,) float array
        When each was measured. [time]
    series : (n,) int array
        Which series each belongs to. [unitless]
    count : int
        Number of series. [unitless]
    confidence : float
        Confidence of the slope's limits. [unitless]
    fewest : int
        Values that a result needs. [unitless]
    exact : bool
        Exact p-values and ranks for short series; else the normal approximation of the textbooks. [unitless]

    Returns
    -------
    Trends
        One row a series.

    References
    ----------
    Mann–Kendall and Theil–Sen with Gilbert's limits by interpolation between ordered slopes, as in US EPA (2009),
    Unified Guidance, chapter 17; exact p by counting orders.
    """
    known = ~(np.isnan(value) | np.isnan(time))
    if not known.all():
        value, time, series = value[known], time[known], series[known]
    follows = (series[1:] > series[:-1]) | ((series[1:] == series[:-1]) & (time[1:] >= time[:-1]))
    if not follows.all():  # the columns are in this order as a rule, and a sort costs more than all the rest
        order = np.lexsort((time, series))
        value, time, series = value[order], time[order], series[order]
    length = np.bincount(series, minlength=count)
    first = np.cumsum(length) - length
    out = {name: np.full(count, np.nan) for name in ("tau", "z", "p", "slope", "low", "high", "intercept")}
    s = np.zeros(count, dtype=np.int64)
    for n in np.unique(length[length >= fewest]).tolist():
        members = np.flatnonzero(length == n)
        step = max(PAIRS_AT_ONCE // (n * (n - 1) // 2), 1)
        for begin in range(0, len(members), step):
            block = members[begin : begin + step]
            at = first[block][:, None] + np.arange(n)
            s[block] = _block(value[at], time[at], out, block, confidence, exact=exact)
    return Trends(n=length.astype(np.int64), s=s, confidence=confidence, **out)


def _block(
    value: FloatArray, time: FloatArray, out: dict[str, FloatArray], rows: IntArray, confidence: float, *, exact: bool
) -> IntArray:
    """Fill the results of series of one length; give their S."""
    n = value.shape[1]
    early, late = np.triu_indices(n, 1)
    rise, run = value[:, late] - value[:, early], time[:, late] - time[:, early]
    timed = run > 0.0
    pairs = np.count_nonzero(timed, axis=1)
    if not timed.all():  # visits at one and the same time are no pair
        rise, run = np.where(timed, rise, 0.0), np.where(timed, run, 1.0)
    s = np.asarray(np.count_nonzero(rise > 0.0, axis=1) - np.count_nonzero(rise < 0.0, axis=1), dtype=np.int64)
    slopes = np.divide(rise, run, out=run)
    slopes[~timed] = np.inf
    slopes.sort(axis=1)
    ordered = np.sort(value, axis=1)
    variance = _variance(ordered, time)
    some = pairs > 0
    slope = np.where(some, _median_of_sorted(slopes, pairs), np.nan)
    out["tau"][rows] = s / (n * (n - 1) / 2.0)
    out["z"][rows] = np.where(variance > 0.0, (s - np.sign(s)) / np.sqrt(np.where(variance > 0.0, variance, 1.0)), 0.0)
    out["p"][rows] = two_sided_p(s, n, variance, exact=exact)
    out["slope"][rows] = slope
    out["intercept"][rows] = _middle(ordered) - slope * _middle(time)
    tail = (1.0 - confidence) / 2.0
    if exact and n < 10:
        # The limits leave out as many slopes at each end as S can differ by without being remarkable.
        reach = np.full(len(value), float(critical_s(n, tail) - 2))
        low, high = (pairs - reach) / 2.0, (pairs + reach) / 2.0 + 1.0
    else:
        reach = float(normal_quantile(1.0 - tail)) * np.sqrt(variance)
        low, high = (pairs - reach) / 2.0, (pairs + reach) / 2.0 + 1.0
    out["low"][rows] = np.where(some & (low >= 1.0), _nth(slopes, low - 1.0), np.where(some, -np.inf, np.nan))
    out["high"][rows] = np.where(some & (high <= pairs), _nth(slopes, high - 1.0), np.where(some, np.inf, np.nan))
    return s


def _median_of_sorted(ordered: FloatArray, pairs: IntArray) -> FloatArray:
    middle = np.maximum(pairs - 1, 0)
    rows = np.arange(len(ordered))
    return np.asarray(0.5 * (ordered[rows, middle // 2] + ordered[rows, (middle + 1) // 2]), dtype=np.float64)


def _nth(ordered: FloatArray, place: FloatArray) -> FloatArray:
    """Read sorted rows at a place counted from 0, between two neighbours by interpolation."""
    rows = np.arange(len(ordered))
    below = np.clip(np.floor(place), 0, ordered.shape[1] - 1).astype(np.int64)
    above = np.minimum(below + 1, ordered.shape[1] - 1)
    part = np.clip(place - below, 0.0, 1.0)
    left, right = ordered[rows, below], ordered[rows, above]
    # Pairs on one date stand at the end as infinite: they are never read, but must not be multiplied either.
    between = np.isfinite(left) & np.isfinite(right)
    rise = np.where(between, right, 0.0) - np.where(between, left, 0.0)
    return np.asarray(left + part * rise, dtype=np.float64)


def _middle(ordered: FloatArray) -> FloatArray:
    """Give the median of sorted rows."""
    n = ordered.shape[1]
    return np.asarray(0.5 * (ordered[:, (n - 1) // 2] + ordered[:, n // 2]), dtype=np.float64)


def _variance(value: FloatArray, time: FloatArray) -> FloatArray:
    """Give the variance of S, corrected for ties in sorted values and in dates."""
    n = value.shape[1]
    full = float(n * (n - 1) * (2 * n + 5))
    first_v, second_v, third_v = _tie_sums(value)
    first_t, second_t, third_t = _tie_sums(time)
    variance = (full - first_v - first_t) / 18.0
    variance += second_v * second_t / (2.0 * n * (n - 1))
    return np.asarray(variance + third_v * third_t / (9.0 * n * (n - 1) * (n - 2)), dtype=np.float64)


def _tie_sums(ordered: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give, over runs of t equal values, the sums of t(t−1)(2t+5), t(t−1) and t(t−1)(t−2)."""
    rows, n = ordered.shape
    begins = np.ones((rows, n), dtype=np.bool_)
    begins[:, 1:] = ordered[:, 1:] != ordered[:, :-1]
    if begins.all():  # as a rule there are no ties
        none = np.zeros(rows)
        return none, none, none
    at = np.flatnonzero(begins)
    t = np.diff(np.append(at, rows * n)).astype(np.float64)
    row = at // n
    kinds = (t * (t - 1) * (2 * t + 5), t * (t - 1), t * (t - 1) * (t - 2))
    first, second, third = (np.bincount(row, kind, rows).astype(np.float64) for kind in kinds)
    return first, second, third
