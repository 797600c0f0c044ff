"""Returns: which assets come back over limit, how often, and how sure that is.

A look is a run that began within limit and whose end was judged; a return is a
look that ended over limit.  One return of one look is little evidence, so the
ranking goes by a lower bound and not by the raw share.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray, JobColumns
from models.history.intervals import wilson
from models.history.late import Late
from models.history.runs import DAYS_PER_YEAR, Runs

NO_TIME = np.iinfo(np.int64).min
"""The time of a return that never was."""


@dataclass(frozen=True, slots=True)
class ReturnCounts(Late):
    """One row an asset, at the index of the assets.

    ``low`` is the lower limit of the share, one-sided at ``confidence``; it is
    what the ranking goes by.  ``first_us`` and ``last_us`` are the first and the
    last return, or :data:`NO_TIME`; ``worst_ratio`` is the largest limit ratio
    at the end of a look, NaN without one.  ``years`` is the time over which the
    asset was looked at.
    """

    looks: IntArray
    returns: IntArray
    share: FloatArray
    low: FloatArray
    first_us: IntArray
    last_us: IntArray
    worst_ratio: FloatArray
    years: FloatArray
    confidence: float

    def ranking(self) -> IntArray:
        """Give the assets with a return, the surest repeat offenders first.

        Equal bounds go by more returns, then by the worse ratio, then by the
        asset's index, so that the order does not depend on the order of rows.
        """
        return rank_by(self.low, self.returns, self.worst_ratio)


def rank_by(bound: FloatArray, returns: IntArray, worst_ratio: FloatArray) -> IntArray:
    """Order assets by a lower bound, largest first; assets without a return are left out.

    Parameters
    ----------
    bound : (assets,) float array
        Lower bound of the share or rate. [unitless or 1/year]
    returns : (assets,) int array
        Number of returns; decides between equal bounds. [unitless]
    worst_ratio : (assets,) float array
        Largest limit ratio; decides between equal counts. [unitless]

    Returns
    -------
    (k,) int array
        Indices of assets. [unitless]
    """
    rows = np.flatnonzero(returns > 0)
    keys = (-np.nan_to_num(worst_ratio[rows], nan=0.0), -returns[rows], -np.nan_to_num(bound[rows], nan=0.0))
    return np.asarray(rows[np.lexsort((rows, *keys))], dtype=np.int64)


def window(jobs: JobColumns, runs: Runs, from_us: int | None, to_us: int | None) -> BoolArray:
    """Tell which runs ended in a window of time, from ``from_us`` on and before ``to_us``.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    runs : Runs
        Their runs. [unitless]
    from_us, to_us : int or None
        Half-open window, UTC; ``None`` is open. [µs]
    """
    ended = jobs.performed_us[runs.end_row]
    inside = np.ones(len(runs), dtype=np.bool_)
    if from_us is not None:
        inside &= ended >= from_us
    if to_us is not None:
        inside &= ended < to_us
    return inside


def returns_of(
    jobs: JobColumns,
    runs: Runs,
    assets: int,
    *,
    from_us: int | None = None,
    to_us: int | None = None,
    keep: BoolArray | None = None,
    confidence: float = 0.90,
) -> ReturnCounts:
    """Count looks and returns of each asset.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    runs : Runs
        Their runs. [unitless]
    assets : int
        Number of assets. [unitless]
    from_us, to_us : int or None
        Window of the ends of runs, UTC; ``None`` is open. [µs]
    keep : (runs,) bool array or None
        Which runs to count, e.g. those that ended with a planned visit. [unitless]
    confidence : float
        One-sided confidence of the lower limit. [unitless]

    Returns
    -------
    ReturnCounts
        One row an asset.

    References
    ----------
    Lower limit: Wilson (1927); that it ranks nearly as well as an empirical Bayes bound on short histories was found by
    simulation for this project (tests/fleet_report.py shows the figures).
    """
    looked = runs.looked & window(jobs, runs, from_us, to_us)
    if keep is not None:
        looked &= keep
    asset, ended = runs.asset[looked], jobs.performed_us[runs.end_row[looked]]
    back, ratio = runs.returned[looked], runs.end_ratio[looked]
    looks = np.bincount(asset, minlength=assets).astype(np.int64)
    returns = np.bincount(asset[back], minlength=assets).astype(np.int64)
    first = np.full(assets, np.iinfo(np.int64).max)
    last = np.full(assets, NO_TIME)
    np.minimum.at(first, asset[back], ended[back])
    np.maximum.at(last, asset[back], ended[back])
    worst = np.full(assets, -np.inf)
    np.maximum.at(worst, asset, ratio)
    low, _ = wilson(returns, looks, 2.0 * confidence - 1.0)
    return ReturnCounts(
        looks=looks,
        returns=returns,
        share=np.where(looks > 0, returns / np.maximum(looks, 1), np.nan),
        low=low,
        first_us=np.where(returns > 0, first, NO_TIME),
        last_us=last,
        worst_ratio=np.where(looks > 0, worst, np.nan),
        years=np.bincount(asset, weights=runs.days[looked], minlength=assets) / DAYS_PER_YEAR,
        confidence=confidence,
    )
