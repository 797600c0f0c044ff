"""A change of limits within a window: by which limit set each month was judged, and the same counts by one set.

A verdict stands with its job and is never changed, so months from before and after a
change of limits are judged by two yardsticks.  Which of the adopted sets judged a job is
told by the limits that stand with it; what another set would have said of it is worked
out from its stored readings, as the trial of other limits does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, IntArray, JobColumns
from models.history.counts import Counts, count_over
from models.history.late import put_together, some_of
from models.history.whatif import judge_again, limits_of_jobs
from models.values.limits import LimitSet

SHAFTS = slice(0, 3)
"""Columns of limits that the limit ratio rests on; soft foot has a ratio of its own."""

_NEEDED = (
    "entry", "month", "found", "left", "target", "limits", "each_axis", "found_ratio", "left_ratio", "speed_rpm",
    "speed_class", "spacer", "span_mm",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stretch:
    """Months in a row that one set judged, ``first`` to ``last`` [month]; ``places`` are the sets that could have, rising."""

    first: int
    last: int
    places: tuple[int, ...]


def some_jobs(jobs: JobColumns, rows: IntArray) -> JobColumns:
    """Take what judging again needs of some jobs; columns that are late are not put together for a few of them.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    rows : (k,) int array
        Which of them. [unitless]
    """
    return put_together(JobColumns, {name: some_of(jobs, name, rows) for name in _NEEDED}, {})


def judged_by(jobs: JobColumns, sets: Sequence[LimitSet]) -> BoolArray:
    """Tell which sets give a job the very limits that stand with it.

    Parameters
    ----------
    jobs : JobColumns
        Jobs. [unitless]
    sets : sequence of LimitSet
        Sets that were adopted. [mm, mm/m]

    Returns
    -------
    (n, sets) bool array
        All True for a job of which nothing was judged, or that all sets judge alike. [unitless]
    """
    silent = np.isnan(jobs.found_ratio) & np.isnan(jobs.left_ratio)
    same = np.ones((len(silent), len(sets)), dtype=np.bool_)
    for place, one in enumerate(sets):
        limits, each_axis = limits_of_jobs(jobs, one)
        alike = np.isclose(limits[:, SHAFTS], jobs.limits[:, SHAFTS], rtol=1e-9, atol=0.0, equal_nan=True).all(axis=1)
        same[:, place] = silent | (alike & (each_axis == jobs.each_axis))
    # What none of them gives says nothing of a change from one to another.
    same[~same.any(axis=1)] = True
    return same


def stretches_of(month: IntArray, same: BoolArray, first: int, last: int) -> tuple[Stretch, ...]:
    """Cut months where the set changes by which most of their jobs were judged.

    Parameters
    ----------
    month : (n,) int array
        Month of each job, as year × 12 + month − 1. [month]
    same : (n, sets) bool array
        Which sets judged it, as :func:`judged_by` gives it. [unitless]
    first, last : int
        The months, both ends included. [month]

    Returns
    -------
    tuple of Stretch
        In order of time; one where nothing changes. A month that two sets judge alike goes on with the one before.
    """
    sets = same.shape[1]
    tally = np.zeros((last - first + 1, sets), dtype=np.int64)
    np.add.at(tally, month - first, same.astype(np.int64))
    most = tally == tally.max(axis=1, keepdims=True)
    found: list[Stretch] = []
    begin, fits = first, np.ones(sets, dtype=np.bool_)
    for at, here in enumerate(most):
        if (fits & here).any():
            fits = fits & here
            continue
        found.append(_stretch(begin, first + at - 1, fits))
        begin, fits = first + at, here
    return (*found, _stretch(begin, last, fits))


def _stretch(first: int, last: int, fits: BoolArray) -> Stretch:
    return Stretch(first, last, tuple(np.flatnonzero(fits).tolist()))


def counted_by(jobs: JobColumns, limit_set: LimitSet, first: int, last: int) -> Counts:
    """Count jobs over limit by month and speed class as one set judges them, from their stored readings.

    Parameters
    ----------
    jobs : JobColumns
        Jobs. [unitless]
    limit_set : LimitSet
        The set. [mm, mm/m]
    first, last : int
        The months, both ends included. [month]
    """
    again = judge_again(jobs, limit_set)
    judged = {
        "entry": jobs.entry,
        "month": jobs.month,
        "speed_class": jobs.speed_class,
        "found_ratio": again.found_ratio,
        "left_ratio": again.left_ratio,
    }
    return count_over(put_together(JobColumns, judged, {}), first_month=first, last_month=last)
