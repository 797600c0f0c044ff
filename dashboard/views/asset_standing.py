"""One machine's forecast in other hands: its row repeated, its band as a limit ratio, its movement under other limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dashboard.views.asset_choices import limits_row
from models.history.columns import FloatArray, History
from models.history.forecast import reading_interval
from models.history.limit_space import ratio_in_limit_units
from models.history.standing import COARSE, NOT_JUDGED, Standing
from models.values.limits import LimitsGiven

LEVEL = 0.8
"""Confidence of the band that is shown: a level that is back-tested."""

OTHER_PLACES = 100
"""Reason code of a limit set that judges other places than the limits behind the study."""

DRAWS = 1000
_NORMAL_80 = 1.2815515655446004
"""Standard normal quantile of 0.9: half of an 80 % interval in standard deviations."""


def row_of(history: History, asset_id: int) -> int:
    """Give the index of an asset in the columns; −1 where they do not hold it.

    Parameters
    ----------
    history : History
        The columns. [unitless]
    asset_id : int
        Its number in the book. [unitless]
    """
    rows = np.flatnonzero(history.assets.asset == asset_id)
    return int(rows[0]) if len(rows) else -1


def rows_of(standing: Standing, asset: int, times: int) -> Standing:
    """Give the row of one asset, repeated.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    asset : int
        Which one. [unitless]
    times : int
        How often. [unitless]
    """
    rows = np.full(times, asset)
    return Standing(**{name: getattr(standing, name)[rows] for name in Standing.__slots__})


def ratio_band(standing: Standing, days: FloatArray, seed: int = 5) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give the 80 % band of the limit ratio that would be read, and its median, on some days.

    Parameters
    ----------
    standing : Standing
        One row a day. [unitless]
    days : (k,) float array
        Days after the last as-left. [d]
    seed : int
        Seed of the draws, which are the same for every day: the band is then smooth. [unitless]

    Returns
    -------
    low, middle, high : (k,) float arrays
        10 %, 50 % and 90 % quantile of the ratio. [unitless]

    Notes
    -----
    The components are drawn normal and independent, each as wide as the 80 % interval that is back-tested.
    """
    below, above = reading_interval(standing, days, LEVEL)
    mean, sd = (below + above) / 2.0, (above - below) / 2.0 / _NORMAL_80
    draws = np.random.default_rng(seed).standard_normal((DRAWS, 4))
    size = sd[:, None, :] * draws
    size += mean[:, None, :]
    each_axis = np.repeat(standing.each_axis, DRAWS)
    ratio = ratio_in_limit_units(size.reshape(-1, 4), each_axis).reshape(len(days), DRAWS)
    ratio.sort(axis=1)
    low, middle, high = (ratio[:, round(q * (DRAWS - 1))] for q in (0.1, 0.5, 0.9))
    return low, middle, high


def under_other_limits(
    standing: Standing, limits: FloatArray, span_mm: float, given: LimitsGiven
) -> tuple[Standing, int, FloatArray]:
    """Carry the forecast of one machine over to other limits: it moves the same, only the limit is another.

    Parameters
    ----------
    standing : Standing
        Its row, in units of the limits behind the study. [limit]
    limits : (4,) float array
        Those limits. [mm, mm/m, mm/m, mm]
    span_mm : float
        Distance between the flex planes; NaN for a short coupling. [mm]
    given : LimitsGiven
        The other limits. [mm, mm/m]

    Returns
    -------
    standing, reason, limits : Standing, int, (4,) float array
        The row in the other units, and a reason where it cannot be carried over. [limit]
    """
    other = np.array(limits_row(given))
    flex, other_flex = (bool(one[2] > 0.0 and span_mm > 0.0) for one in (limits, other))
    if not (other[2] > 0.0 if other_flex else (other[:2] > 0.0).any()):
        return standing, NOT_JUDGED, other
    if flex != other_flex:
        return standing, OTHER_PLACES, other
    scale = (limits / other)[[2, 2, 2, 2] if flex else [0, 1, 0, 1]]
    square = scale**2
    moved = replace(
        standing,
        left=standing.left * scale,
        rate=standing.rate * scale,
        rate_variance=standing.rate_variance * square,
        step=standing.step * scale,
        step_rate=standing.step_rate * scale,
        step_variance=standing.step_variance * square,
        step_both=standing.step_both * square,
        step_rate_variance=standing.step_rate_variance * square,
        walk=standing.walk * square,
        reading=standing.reading * square,
        each_axis=np.array([given.each_axis]),
    )
    judged = ~np.isnan(moved.left)
    # The same rule as in models.history.standing: twice what a visit scatters by itself is more than the limit.
    coarse = bool((judged & (moved.reading > 0.25)).any())
    return moved, COARSE if coarse else 0, other
