"""The exact distribution of Kendall's S, by counting orders.

Of the n! orders of n different values, the number with k inversions is a
Mahonian number; S = n(n − 1)/2 − 2k.  They follow from one another by sums.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from models.history.columns import FloatArray, IntArray
from models.history.distributions import normal_cdf

LARGEST_EXACT = 40
"""Series up to this length have an exact p-value; longer ones are normal to four digits."""


@lru_cache(maxsize=LARGEST_EXACT + 1)
def inversion_shares(n: int) -> FloatArray:
    """Give the share of orders of n different values with 0, 1, 2 … inversions.

    Parameters
    ----------
    n : int
        Number of values. [unitless]

    Returns
    -------
    (n (n − 1) / 2 + 1,) float array
        Shares that add up to 1. [unitless]
    """
    shares = np.ones(1)
    for size in range(2, n + 1):
        # A new largest value can be put in at any of ``size`` places: 0 … size − 1 inversions more, all as likely.
        shares = np.convolve(shares, np.full(size, 1.0 / size))
    shares.setflags(write=False)
    return shares


@lru_cache(maxsize=LARGEST_EXACT + 1)
def tail_table(n: int) -> FloatArray:
    """Give the probability of S ≥ s among n different values in random order, for s = 0, 1 … n (n − 1) / 2.

    Parameters
    ----------
    n : int
        Number of values. [unitless]

    Notes
    -----
    An s of the wrong parity, which only ties can give, stands for the reachable one below it: the safe side.
    """
    most = n * (n - 1) // 2
    at_most = np.minimum(np.cumsum(inversion_shares(n)), 1.0)
    table = at_most[(most - np.arange(most + 1) + 1) // 2]
    table.setflags(write=False)
    return table


def two_sided_p(s: IntArray, n: int, variance: FloatArray, *, exact: bool = True) -> FloatArray:
    """Give two-sided p-values for series of one length.

    Parameters
    ----------
    s : (k,) int array
        Kendall's S. [unitless]
    n : int
        Length of each series. [unitless]
    variance : (k,) float array
        Variance of S, corrected for ties. [unitless]
    exact : bool
        Whether to count orders up to :data:`LARGEST_EXACT`; else the normal with continuity correction. [unitless]

    Notes
    -----
    With ties the count is that of a series without them, which is the safe side: ties draw S towards 0.
    """
    size = np.abs(s)
    if exact and n <= LARGEST_EXACT:
        return np.minimum(2.0 * tail_table(n)[size], 1.0)
    z = np.where(variance > 0.0, (size - 1.0) / np.sqrt(np.where(variance > 0.0, variance, 1.0)), 0.0)
    return np.where(size > 0, np.minimum(2.0 * normal_cdf(-z), 1.0), 1.0)


def critical_s(n: int, tail: float) -> int:
    """Give the smallest S with P(S ≥ s) at most ``tail``; one more than can be where there is none.

    Parameters
    ----------
    n : int
        Number of different values. [unitless]
    tail : float
        One-sided probability. [unitless]
    """
    most = n * (n - 1) // 2
    reachable = np.cumsum(inversion_shares(n))
    allowed = np.flatnonzero(reachable <= tail * (1.0 + 1e-12))
    return most - 2 * int(allowed[-1]) if len(allowed) else most + 1
