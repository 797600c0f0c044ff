"""What every page looks up in a history, worked out once: counts by month and class, the jobs of a month, the run that a job ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import IntArray, JobColumns
from models.history.counts import Counts, count_over
from models.history.runs import Runs


@dataclass(frozen=True, slots=True)
class Index:
    """Ways into the jobs of a site that cost as much as is found, not as much as there is.

    ``counts`` holds every month from the first to the last.  ``order`` are the rows of the jobs month by
    month, in their own order within one, and ``begins`` the place in it at which each month begins, with one more
    at the end.  ``run_at`` is the run that each job ends, −1 where it ends none.
    """

    counts: Counts
    order: IntArray
    begins: IntArray
    run_at: IntArray

    @property
    def first(self) -> int:
        """Give the first month with a job."""
        return int(self.counts.months[0]) if len(self.counts.months) else 0

    def rows(self, first_month: int, last_month: int) -> IntArray:
        """Give the rows of the jobs of some months, both ends included, in the order of the jobs.

        Parameters
        ----------
        first_month, last_month : int
            Year × 12 + month − 1. [month]
        """
        last = len(self.begins) - 1
        low, high = np.clip([first_month - self.first, last_month + 1 - self.first], 0, last)
        found = self.order[self.begins[low] : self.begins[max(high, low)]]
        return found if last_month <= first_month else np.sort(found)


def index_of(jobs: JobColumns, runs: Runs) -> Index:
    """Work the ways into a history out.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    runs : Runs
        Their runs. [unitless]
    """
    counts = count_over(jobs)
    first = int(counts.months[0]) if len(counts.months) else 0
    month = jobs.month - first
    order = np.argsort(month.astype(np.int32), kind="stable")
    begins = np.append(0, np.cumsum(np.bincount(month, minlength=len(counts.months)))).astype(np.int64)
    run_at = np.full(len(jobs), -1, dtype=np.int64)
    run_at[runs.end_row] = np.arange(len(runs))
    return Index(counts, order, begins, run_at)
