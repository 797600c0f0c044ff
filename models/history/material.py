"""Material: the known runs in limit units and years of service, sorted into series that no break cuts.

A series is what stands between two breaks of one asset.  Everything about an
asset rests on its present series; the older ones still tell something about the
class.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import AssetColumns, BoolArray, BreakColumns, FloatArray, IntArray, JobColumns
from models.history.late import BOTH, Late, places_in, row_of, some_of
from models.history.limit_space import in_limit_units, judged_rows
from models.history.runs import DAYS_PER_YEAR, Runs, standing_since

HOURS_PER_DAY = 24.0


@dataclass(frozen=True, slots=True)
class Material(Late):
    """Known runs, in order of asset, then time, and what is known about each asset now.

    Columns of runs: ``series`` (from 0), ``asset``, ``run`` (row of the runs),
    ``years`` in service, ``drift`` (n, 4) [limit], ``start_us``, ``end_us``.
    Columns of series: ``series_asset``.  Columns of assets: ``series_now`` is the
    present series or −1; ``by_hours`` tells whether its time is counted in hours
    run, else in calendar time; ``duty`` is years of service in a calendar year;
    ``scale_row`` is the job whose limits give the unit, or −1; ``at_row`` is the
    last job of the present series, or −1.
    """

    series: IntArray
    asset: IntArray
    run: IntArray
    years: FloatArray
    drift: FloatArray
    start_us: IntArray
    end_us: IntArray
    series_asset: IntArray
    series_now: IntArray
    by_hours: BoolArray
    duty: FloatArray
    scale_row: IntArray
    at_row: IntArray

    def __len__(self) -> int:
        """Give the number of known runs."""
        return int(self.series.shape[0])


def material_of(jobs: JobColumns, breaks: BreakColumns, runs: Runs, assets: AssetColumns) -> Material:
    """Prepare the runs for everything that pools them.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    breaks : BreakColumns
        Replacements. [unitless]
    runs : Runs
        The runs of these jobs. [unitless]
    assets : AssetColumns
        The assets as they stand today. [unitless]

    Returns
    -------
    Material
        Known runs in limit units.

    Notes
    -----
    Hours run are used for an asset when every known run of it has them; mixing
    the two clocks in one asset would bend its rate.  An asset without limits
    keeps its runs, with NaN for the components that nothing judges.
    """
    count = len(assets)
    job_series = _series_of_jobs(jobs, runs)
    series_asset = jobs.asset[np.flatnonzero(np.diff(job_series, prepend=-1))] if len(jobs) else np.zeros(0, np.int64)
    at_row = np.full(count, -1, dtype=np.int64)
    stands = np.flatnonzero(standing_since(jobs, breaks))
    at_row[jobs.asset[stands]] = stands
    rows = np.flatnonzero(runs.known)
    asset = runs.asset[rows]
    by_hours, years, duty = service_of(runs, rows, count)
    scale_row = judged_rows(jobs, count)
    scale = np.where(scale_row[asset] >= 0, scale_row[asset], 0)
    drift = in_limit_units(runs.drift[rows], jobs.limits[scale], jobs.span_mm[scale])
    drift[scale_row[asset] < 0] = np.nan
    return Material(
        series=job_series[runs.start_row[rows]],
        asset=asset,
        run=rows,
        years=years,
        drift=drift,
        start_us=jobs.performed_us[runs.start_row[rows]],
        end_us=jobs.performed_us[runs.end_row[rows]],
        series_asset=series_asset,
        series_now=np.where(at_row >= 0, job_series[np.maximum(at_row, 0)] if len(jobs) else -1, -1),
        by_hours=by_hours,
        duty=duty,
        scale_row=scale_row,
        at_row=at_row,
    )


def present_runs(material: Material, asset: int) -> IntArray:
    """Give the known runs of the present series of an asset, as rows of the runs.

    Parameters
    ----------
    material : Material
        Known runs. [unitless]
    asset : int
        Index of the asset. [unitless]
    """
    series = row_of(material, "series_now", asset)
    if series < 0:
        return np.zeros(0, dtype=np.int64)
    begin, end = (int(places_in(material, "asset", np.array([asset]), side)[0]) for side in BOTH)
    own = np.arange(begin, end)
    run: IntArray = some_of(material, "run", own[some_of(material, "series", own) == series])
    return run


def _series_of_jobs(jobs: JobColumns, runs: Runs) -> IntArray:
    begins = np.ones(len(jobs), dtype=np.bool_)
    begins[runs.end_row[~runs.broken]] = False
    return np.asarray(np.cumsum(begins) - 1, dtype=np.int64)


def service_of(runs: Runs, rows: IntArray, assets: int) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Give the time in service of some runs, and by which clock it goes for each asset.

    Parameters
    ----------
    runs : Runs
        The runs. [unitless]
    rows : (n,) int array
        Which of them. [unitless]
    assets : int
        Number of assets. [unitless]

    Returns
    -------
    by_hours, years, duty : (assets,) bool array, (n,) and (assets,) float arrays
        Whether the hours run are used; service of each run; years of service in a calendar year. [unitless, year, unitless]
    """
    asset, days, hours = (some_of(runs, name, rows) for name in ("asset", "days", "hours"))
    known = np.bincount(asset, minlength=assets)
    counted = np.bincount(asset[~np.isnan(hours)], minlength=assets)
    by_hours = (known > 0) & (counted == known)
    ran = np.where(by_hours[asset], hours / HOURS_PER_DAY, days)
    total, service = np.bincount(asset, days, assets), np.bincount(asset, ran, assets)
    duty = np.where(by_hours & (total > 0.0), service / np.where(total > 0.0, total, 1.0), 1.0)
    # A counter that hardly moves gives no forecast in calendar time; a hundredth keeps the arithmetic finite.
    return by_hours, ran / DAYS_PER_YEAR, np.maximum(duty, 0.01)
