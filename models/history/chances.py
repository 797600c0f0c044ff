"""Chances: how often machines were found over limit that past forecasts had given a chance of it.

That intervals of readings held says little of the chance of being over: one
component may fit and the other be over limit.  So each past run is also given
the chance that its end would be read over limit, with nothing but what was in
the book on its day, and bands of chances are held against what was found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.backtest import clustered_share
from models.history.columns import BoolArray, FloatArray, IntArray, JobColumns
from models.history.found_over import Begun
from models.history.limit_space import in_limit_units, ratio_in_limit_units
from models.history.material import Material
from models.history.predictions import Predictions
from models.history.runs import Runs

BANDS = (0.0, 0.05, 0.10, 0.20, 0.50, 1.0)
"""Edges of the bands of chances."""


@dataclass(frozen=True, slots=True)
class Chances:
    """One row a fit, the last the fleet's, one column a band of :data:`BANDS`.

    ``claimed`` is the mean chance, ``found`` the share that was read over limit, with its 95 % limits ``low`` and
    ``high``, which allow for several runs of one machine; NaN, 0 and 1 without a run.  ``n`` counts the runs.
    """

    claimed: FloatArray
    found: FloatArray
    low: FloatArray
    high: FloatArray
    n: IntArray


def begun_of(jobs: JobColumns, runs: Runs, material: Material) -> Begun:
    """Give where each known run began.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    runs : Runs
        Their runs. [unitless]
    material : Material
        Known runs in limit units. [unitless]
    """
    row = runs.start_row[material.run]
    judged = material.scale_row[material.asset] >= 0
    scale = np.where(judged, material.scale_row[material.asset], 0)
    left = in_limit_units(jobs.left[row] - jobs.target[row], jobs.limits[scale], jobs.span_mm[scale])
    left[~judged] = np.nan
    return Begun(left, jobs.each_axis[scale] & judged)


def chances_of(predictions: Predictions, material: Material, begun: Begun, fits: int) -> Chances:
    """Hold the chances of past forecasts against what was found.

    Parameters
    ----------
    predictions : Predictions
        Made with the data of their own day. [unitless]
    material : Material
        The runs that they are held against. [unitless]
    begun : Begun
        Where each known run began. [limit]
    fits : int
        Number of fits; the last is the fleet's, which takes every run. [unitless]
    """
    scored = np.flatnonzero(np.isfinite(predictions.over))
    row, over, fit = predictions.row[scored], predictions.over[scored], predictions.fit[scored]
    found = ratio_in_limit_units(begun.left[row] + material.drift[row], begun.each_axis[row]) > 1.0
    band = np.clip(np.searchsorted(np.array(BANDS), over, side="right") - 1, 0, len(BANDS) - 2)
    shape = (fits, len(BANDS) - 1)
    claimed, share = np.full(shape, np.nan), np.full(shape, np.nan)
    low, high, n = np.zeros(shape), np.ones(shape), np.zeros(shape, np.int64)
    for index in range(fits):
        own: BoolArray = np.ones(len(row), np.bool_) if index == fits - 1 else fit == index
        for place in range(shape[1]):
            here = np.flatnonzero(own & (band == place))
            n[index, place] = len(here)
            if len(here):
                claimed[index, place] = float(np.mean(over[here]))
                held, every = found[here][:, None], np.ones((len(here), 1), np.bool_)
                share[index, place], low[index, place], high[index, place] = clustered_share(
                    held, every, material.asset[row[here]]
                )
    return Chances(claimed, share, low, high, n)
