"""Conformal factors: how much wider an interval must be to have held as often as it says.

The factor comes from the scores of past predictions and asks for nothing but
that the next one is drawn like them.  It is taken for runs with about as much
history behind them and from the same class, as long as there are scores enough.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray

LEVELS = (0.5, 0.8, 0.9)
"""Confidence of the intervals that are tested and shown."""

SCORES_NEEDED = 50
"""Scores that the fleet needs for a factor (statistics of the project, section 1: useful from 50)."""

SCORES_FOR_OWN = 400
"""Scores that a class or a depth needs for a factor of its own: the share below it is then right to two points."""

LEAST_FACTOR = 0.01
"""Identical readings do not make an interval a point."""

DEPTHS = (1, 2, 4, 8)
"""Least number of earlier runs of each depth: 1, 2–3, 4–7, 8 and more."""


@dataclass(frozen=True, slots=True)
class Factors:
    """Factor for each fit, depth and level; 1 where there were too few scores. ``n`` counts the scores used."""

    factor: FloatArray
    n: IntArray


def depth_of(earlier_runs: IntArray) -> IntArray:
    """Give the index in :data:`DEPTHS` for a number of earlier runs, at least 1."""
    return np.asarray(np.searchsorted(np.array(DEPTHS), np.maximum(earlier_runs, 1), side="right") - 1, dtype=np.int64)


def conformal_rank(scores: FloatArray, level: float) -> float:
    """Give the score at rank ⌈(n + 1) level⌉, or NaN when n is too small for it.

    Parameters
    ----------
    scores : (n,) float array
        Scores of past predictions. [unitless]
    level : float
        Share of new scores that shall not exceed it. [unitless]

    References
    ----------
    Split-conformal prediction; rank as in the statistics of the project, section 3(b): 9 scores for 90 %, 19 for 95 %.
    """
    rank = int(np.ceil((len(scores) + 1) * level - 1e-9))
    return float(np.partition(scores, rank - 1)[rank - 1]) if 0 < rank <= len(scores) else float("nan")


def conformal_factors(score: FloatArray, depth: IntArray, fit: IntArray, fits: int) -> Factors:
    """Give the factors of each class and depth.

    Parameters
    ----------
    score : (n, 4, levels) float array
        |error| ÷ half-width of the interval of each component; NaN not judged. [unitless]
    depth : (n,) int array
        Depth of the history behind each prediction. [unitless]
    fit : (n,) int array
        Fit that each used. [unitless]
    fits : int
        Number of fits; the last is the fleet's, which takes all scores. [unitless]

    Returns
    -------
    Factors
        (fits, depths, levels); a stratum with too few scores takes its class, then the depth over the fleet, then the fleet.
    """
    factor = np.ones((fits, len(DEPTHS), len(LEVELS)))
    count = np.zeros((fits, len(DEPTHS)), dtype=np.int64)
    everything = np.ones(len(score), dtype=np.bool_)
    for index in range(fits):
        own = everything if index == fits - 1 else fit == index
        for deep in range(len(DEPTHS)):
            here = depth == deep
            for rows in (own & here, own, here, everything):
                found = _enough(score, rows, SCORES_NEEDED if rows is everything else SCORES_FOR_OWN)
                if found is not None:
                    factor[index, deep], count[index, deep] = found
                    break
    return Factors(factor, count)


def _enough(score: FloatArray, rows: BoolArray, needed: int) -> tuple[FloatArray, int] | None:
    # Level by level: the scores are by far the largest of what a back-test holds, and every copy counts.
    judged = ~np.isnan(score[rows, :, 0])
    found = int(np.count_nonzero(judged))
    if found < needed:
        return None
    ranks = np.array([conformal_rank(score[rows, :, k][judged], level) for k, level in enumerate(LEVELS)])
    return np.maximum(ranks, LEAST_FACTOR), found
