"""The chance that a run's end is read over limit, by a forecast of the run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.steps import Moments, over_of

MOST = 5_000
"""Of so many of the runs after one origin at most the chance is worked out: every second, third … one of more."""


@dataclass(frozen=True, slots=True)
class Begun:
    """Where runs began: the deviation as left (n, 4) [limit], and whether each axis is judged by itself (n,)."""

    left: FloatArray
    each_axis: BoolArray


def over_when_found(
    begun: Begun,
    plain: Moments,
    stepped: Moments,
    step_chance: FloatArray,
    df: FloatArray,
    stretch: FloatArray,
) -> FloatArray:
    """Give the chance of each run that its end would be read over limit; NaN where it is not worked out.

    Parameters
    ----------
    begun : Begun
        Where the runs began; NaN not judged. [limit]
    plain : tuple of (n, 4) float arrays
        Moments of the drifts without a step. [limit, limit², limit²]
    stepped : tuple of (k, 4) float arrays
        With one, for the rows whose chance of it is above 0. [limit, limit², limit²]
    step_chance : (n,) float array
        Chance of the step. [unitless]
    df : (n,) float array
        Degrees of freedom of the variance factor. [unitless]
    stretch : (n,) float array
        By what variances are multiplied, as intervals of the kind were told. [unitless]
    """
    count = len(step_chance)
    result, some = np.full(count, np.nan), np.arange(0, count, -(-count // MOST) or 1)
    stepping = np.flatnonzero(step_chance > 0.0)
    also = np.isin(stepping, some)

    def found(drift: Moments, part: IntArray | BoolArray, rows: IntArray) -> Moments:
        wide = stretch[rows][:, None]
        mean, variance, chance = (column[part] for column in drift)
        return begun.left[rows] + mean, np.maximum(variance * wide, 1e-12), chance * wide

    result[some] = over_of(
        found(plain, some, some),
        found(stepped, also, stepping[also]),
        step_chance[some],
        begun.each_axis[some],
        df[some],
    )
    return result
