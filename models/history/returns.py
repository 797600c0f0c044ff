"""Returns: which assets come back over limit, how often, and how sure that is.

A look is a run that began within limit and whose end was judged; a return is a
look that ended over limit.  What a machine did before something of it was replaced
says little of the machine that stands there now: ranks and rates rest on the looks of
its present series.  One return of one look is little evidence, so the
ranking goes by a lower bound and not by the raw share.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, BreakColumns, FloatArray, IntArray, JobColumns
from models.history.intervals import wilson
from models.history.late import Late
from models.history.runs import DAYS_PER_YEAR, Runs, standing_since

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


def present_looks(jobs: JobColumns, breaks: BreakColumns, runs: Runs) -> BoolArray:
    """Tell which runs are looks at the machine as it stands now: nothing of it was replaced since they began.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    breaks : BreakColumns
        Replacements. [unitless]
    runs : Runs
        Their runs. [unitless]
    """
    return np.asarray(runs.looked & standing_since(jobs, breaks)[runs.start_row], dtype=np.bool_)


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
    back = runs.returned[looked]
    ended = jobs.performed_us[runs.end_row[looked][back]]
    return counted(runs.asset[looked], back, ended, runs.end_ratio[looked], runs.days[looked], assets, confidence)


def counted(
    asset: IntArray,
    back: BoolArray,
    ended_us: IntArray,
    ratio: FloatArray,
    days: FloatArray,
    assets: int,
    confidence: float,
) -> ReturnCounts:
    """Count looks that are given one by one; see :func:`returns_of`.

    Parameters
    ----------
    asset : (k,) int array
        Asset of each look; those of one asset stand together. [unitless]
    back : (k,) bool array
        Whether it shows a return. [unitless]
    ended_us : (returns,) int array
        When those that do ended, UTC. [µs]
    ratio : (k,) float array
        Limit ratio at its end. [unitless]
    days : (k,) float array
        Its length. [d]
    assets : int
        Number of assets. [unitless]
    confidence : float
        One-sided confidence of the lower limit. [unitless]
    """
    looks = np.bincount(asset, minlength=assets).astype(np.int64)
    came = asset[back]
    returns = np.bincount(came, minlength=assets).astype(np.int64)
    first, last = np.full(assets, np.iinfo(np.int64).max), np.full(assets, NO_TIME)
    np.minimum.at(first, came, ended_us)
    np.maximum.at(last, came, ended_us)
    worst = np.full(assets, np.nan)
    if len(asset):
        # One pass over looks that stand together: a maximum at each place costs five times as much.
        begins = np.flatnonzero(np.diff(asset, prepend=-1))
        worst[asset[begins]] = np.maximum.reduceat(ratio, begins)
    low, _ = wilson(returns, looks, 2.0 * confidence - 1.0)
    return ReturnCounts(
        looks=looks,
        returns=returns,
        share=np.where(looks > 0, returns / np.maximum(looks, 1), np.nan),
        low=low,
        first_us=np.where(returns > 0, first, NO_TIME),
        last_us=last,
        worst_ratio=worst,
        years=np.bincount(asset, weights=days, minlength=assets) / DAYS_PER_YEAR,
        confidence=confidence,
    )
