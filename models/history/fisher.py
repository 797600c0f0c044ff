"""Whether two shares differ by more than chance explains: Fisher's exact test."""

from __future__ import annotations

from typing import Final

import numpy as np

ALIKE: Final = 1e-7
"""Two tables whose probabilities differ by less than this share count as equally likely: it is only rounding."""


def fisher_exact(count: int, n: int, count_before: int, n_before: int) -> float:
    """Give the two-sided p value of two independent shares.

    Parameters
    ----------
    count, n : int
        How many had the property, of how many. [unitless]
    count_before, n_before : int
        The same of the other group. [unitless]

    Returns
    -------
    float
        Probability of a table that is no likelier than this one, if both groups have one share; 1 where a group is
        empty, or where all or none had the property. [unitless]

    Notes
    -----
    Given all four sums, the count is hypergeometric.  The ratio of one probability to the next is a plain fraction, so
    their logarithms are running sums: no factorial, and 100,000 readings take a millisecond.

    References
    ----------
    R. A. Fisher (1935), The Design of Experiments, chapter 2 (title from memory, not verified against a copy; the
    numbers are checked against scipy in tests/test_models_history_fisher.py).
    """
    had, every = count + count_before, n + n_before
    first, last = max(0, had - n_before), min(n, had)
    if first == last:
        return 1.0
    k = np.arange(first, last, dtype=np.float64)
    steps = np.log((had - k) / (k + 1.0)) + np.log((n - k) / (every - had - n + k + 1.0))
    logs = np.concatenate(([0.0], np.cumsum(steps)))
    likely = np.exp(logs - logs.max())
    return float(likely[likely <= likely[count - first] * (1.0 + ALIKE)].sum() / likely.sum())
