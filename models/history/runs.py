"""Runs: what happened to an alignment between one visit and the next.

A run lasts from the as-left of one job to the as-found of the next job of the
same asset.  Its drift is as-found − as-left, in all four components.  It says
nothing where one of the two was not measured, and nothing where a machine, the
base or the coupling was replaced in between.  Nor does it between two jobs of
one moment: the machine did not run in between, and which of them came first is
not known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import REASONS, BoolArray, BreakColumns, FloatArray, IntArray, JobColumns
from models.history.late import Late, rows_in

US_PER_DAY = 86_400_000_000
"""Microseconds in a day of 24 hours."""

DAYS_PER_YEAR = 365.25
"""Days in the year that rates are given by."""

SHORTEST_LOOK = 1.0 / DAYS_PER_YEAR
"""A day: a shorter look is taken for one of this length.  One of no length that shows a return says only that the rate is large. [year]"""

NOTICED = np.array([reason in {"condition", "failure"} for reason in REASONS])
"""For each reason, whether the visit was called for because something was noticed."""


@dataclass(frozen=True, slots=True)
class Runs(Late):
    """One row for each pair of neighbouring jobs of an asset, in order of asset, then time.

    ``start_row`` and ``end_row`` are rows of the jobs: the job that left the
    alignment and the job that found it.  ``drift`` is (n, 4) in the order of the
    job's components [mm, mm/m, mm, mm/m], NaN where not ``known``.  ``hours`` is
    NaN unless both counters are known and did not run backwards.  ``broken``
    marks a pair with a replacement in between: it has no drift and no return.
    A pair of one moment has neither, and its ratios are NaN, but it cuts nothing.
    ``returned`` began within limit and ended over it.  ``noticed`` ended with a
    visit that was called for because something was noticed.
    """

    asset: IntArray
    start_row: IntArray
    end_row: IntArray
    days: FloatArray
    hours: FloatArray
    drift: FloatArray
    start_ratio: FloatArray
    end_ratio: FloatArray
    known: BoolArray
    returned: BoolArray
    broken: BoolArray
    noticed: BoolArray

    def __len__(self) -> int:
        """Give the number of runs."""
        return rows_in(self, "asset")

    def take(self, rows: BoolArray | IntArray) -> Runs:
        """Give the same columns for some of the runs, in their order.

        Parameters
        ----------
        rows : (n,) bool array or (k,) int array
            Mask or indices of the runs to keep. [unitless]
        """
        return Runs(**{name: getattr(self, name)[rows] for name in self.__slots__})

    @property
    def looked(self) -> BoolArray:
        """Tell which runs began within limit and whose end was judged: only these can show a return."""
        return (self.start_ratio <= 1.0) & ~np.isnan(self.end_ratio)


def runs_of(jobs: JobColumns, breaks: BreakColumns) -> Runs:
    """Pair each job with the next one of the same asset.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand, in order of asset, then time. [unitless]
    breaks : BreakColumns
        Replacements. One in (start, end] of a pair breaks it; an installation at its end does too. [unitless]

    Returns
    -------
    Runs
        One row a pair of neighbours.

    Notes
    -----
    A missing as-found is unknown, never zero: the run that it should have ended
    is not known, and the next run begins at that job's own as-left.  So it is
    with two jobs of one moment: what lies between them is no run, be it one
    visit that was recorded twice or two visits of one day that nobody timed.
    """
    start = np.flatnonzero(jobs.asset[:-1] == jobs.asset[1:]) if len(jobs) else np.zeros(0, dtype=np.int64)
    end = start + 1
    broken = _break_between(jobs, breaks, start) | (jobs.reason[end] == REASONS.index("installation"))
    days = (jobs.performed_us[end] - jobs.performed_us[start]) / US_PER_DAY
    silent = broken | (days == 0.0)
    drift = jobs.found[end] - jobs.left[start]
    known = ~np.isnan(drift).any(axis=1) & ~silent
    hours = jobs.hours_run[end] - jobs.hours_run[start]
    # A counter that runs backwards was changed or misread: it says nothing about this run.
    hours = np.where((hours >= 0.0) & ~silent, hours, np.nan)
    start_ratio = np.where(silent, np.nan, jobs.left_ratio[start])
    end_ratio = np.where(silent, np.nan, jobs.found_ratio[end])
    reason = jobs.reason[end]
    return Runs(
        asset=jobs.asset[start],
        start_row=start,
        end_row=end,
        days=days,
        hours=hours,
        drift=np.where(known[:, None], drift, np.nan),
        start_ratio=start_ratio,
        end_ratio=end_ratio,
        known=known,
        returned=(start_ratio <= 1.0) & (end_ratio > 1.0),
        broken=broken,
        noticed=(reason >= 0) & NOTICED[np.maximum(reason, 0)],
    )


def _break_between(jobs: JobColumns, breaks: BreakColumns, start: IntArray) -> BoolArray:
    """Tell which pairs have a break of their asset after their start and not after their end."""
    if not len(breaks.asset) or not len(start):
        return np.zeros(len(start), dtype=np.bool_)
    # One sort of jobs and breaks together; a break at the very time of a job sorts before it: the job comes after it.
    asset = np.concatenate([breaks.asset, jobs.asset])
    at = np.concatenate([breaks.at_us, jobs.performed_us])
    is_job = np.concatenate([np.zeros(len(breaks.asset), dtype=np.int64), np.ones(len(jobs), dtype=np.int64)])
    order = np.lexsort((np.arange(len(asset)), is_job, at, asset))
    breaks_before = np.cumsum(is_job[order] == 0)
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    seen = breaks_before[place[len(breaks.asset) :]]
    # Breaks of other assets cannot stand between two jobs of one asset in this order.
    return np.asarray(seen[start + 1] > seen[start], dtype=np.bool_)


def standing_since(jobs: JobColumns, breaks: BreakColumns) -> BoolArray:
    """Tell which jobs have no break or later installation of their asset after them.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand, in order of asset, then time. [unitless]
    breaks : BreakColumns
        Replacements. [unitless]

    Returns
    -------
    (n,) bool array
        True where what the job measured is still the machine that stands there. [unitless]
    """
    assets = 1 + int(max(jobs.asset.max(initial=-1), breaks.asset.max(initial=-1)))
    last_break = np.full(assets, np.iinfo(np.int64).min)
    np.maximum.at(last_break, breaks.asset, breaks.at_us)
    last_installed = np.full(assets, -1)
    installed = np.flatnonzero(jobs.reason == REASONS.index("installation"))
    np.maximum.at(last_installed, jobs.asset[installed], installed)
    rows = np.arange(len(jobs))
    return np.asarray(
        (jobs.performed_us >= last_break[jobs.asset]) & (rows >= last_installed[jobs.asset]), dtype=np.bool_
    )
