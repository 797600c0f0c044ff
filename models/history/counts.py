"""Counts: how many jobs were over limit, as found and as left, by speed class and month."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import UNKNOWN, BoolArray, IntArray, JobColumns, speed_class_names
from models.history.intervals import Shares, shares


@dataclass(frozen=True, slots=True)
class Counts:
    """Counts in cells; each row is a month or all months, each column a speed class or all classes.

    ``months`` are year × 12 + month − 1 in the site's zone, one for each row;
    ``classes`` are indices of speed classes, one for each column, −1 for unknown
    speed.  ``found.n`` jobs had a judged as-found, of which ``found.count`` were
    over; the same for ``left``.  ``jobs`` counts every visit, judged or not.
    """

    months: IntArray
    classes: IntArray
    jobs: IntArray
    found: Shares
    left: Shares

    def window(self, first_month: int, last_month: int) -> Counts:
        """Give the same counts for some months, both ends included; a month beyond the ends is there and empty.

        Parameters
        ----------
        first_month, last_month : int
            Year × 12 + month − 1. [month]
        """
        months = np.arange(first_month, last_month + 1)
        inside = np.isin(months, self.months)
        rows = months[inside] - self.months[:1]

        def cut(cells: IntArray) -> IntArray:
            part = np.zeros((len(months), len(self.classes)), dtype=np.int64)
            part[inside] = cells[rows]
            return part

        def cut_shares(given: Shares) -> Shares:
            return shares(cut(given.count), cut(given.n), given.confidence)

        return Counts(months, self.classes, cut(self.jobs), cut_shares(self.found), cut_shares(self.left))

    def by_month(self) -> Counts:
        """Give the same counts with all speed classes in one column."""
        return self._sum(axis=1, months=self.months, classes=np.array([UNKNOWN]))

    def by_class(self) -> Counts:
        """Give the same counts with all months in one row."""
        return self._sum(axis=0, months=self.months[-1:], classes=self.classes)

    def total(self) -> Counts:
        """Give one cell: all months, all classes."""
        return self.by_month().by_class()

    def _sum(self, axis: int, months: IntArray, classes: IntArray) -> Counts:
        def summed(given: Shares) -> Shares:
            return shares(
                given.count.sum(axis=axis, keepdims=True), given.n.sum(axis=axis, keepdims=True), given.confidence
            )

        return Counts(months, classes, self.jobs.sum(axis=axis, keepdims=True), summed(self.found), summed(self.left))


def count_over(
    jobs: JobColumns,
    *,
    first_month: int | None = None,
    last_month: int | None = None,
    keep: BoolArray | None = None,
    confidence: float = 0.95,
) -> Counts:
    """Count jobs over limit by month and speed class.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    first_month, last_month : int or None
        Window, both ends included, as year × 12 + month − 1; open ends reach to the first and last job. [month]
    keep : (n,) bool array or None
        Which jobs to count, e.g. planned visits only. [unitless]
    confidence : float
        Confidence of the Wilson intervals. [unitless]

    Returns
    -------
    Counts
        Cells (months, 7): the six speed classes and unknown speed. Every month of the window has a row, empty or not.
    """
    chosen = np.ones(len(jobs), dtype=np.bool_) if keep is None else keep.copy()
    month = jobs.month[chosen]
    first = first_month if first_month is not None else int(month.min(initial=np.iinfo(np.int64).max))
    last = last_month if last_month is not None else int(month.max(initial=-1))
    months = np.arange(first, last + 1) if first <= last else np.zeros(0, dtype=np.int64)
    columns = len(speed_class_names()) + 1
    classes = np.append(np.arange(columns - 1), UNKNOWN)
    chosen &= (jobs.month >= first) & (jobs.month <= last)
    column = np.where(jobs.speed_class == UNKNOWN, columns - 1, jobs.speed_class)
    cell = (jobs.month - first) * columns + column

    def cells(mask: BoolArray) -> IntArray:
        tally = np.bincount(cell[chosen & mask], minlength=len(months) * columns)
        return tally.reshape(len(months), columns).astype(np.int64)

    def judged(ratio: BoolArray, over: BoolArray) -> Shares:
        return shares(cells(over), cells(ratio), confidence)

    return Counts(
        months=months,
        classes=classes,
        jobs=cells(np.ones(len(jobs), dtype=np.bool_)),
        found=judged(~np.isnan(jobs.found_ratio), jobs.found_ratio > 1.0),
        left=judged(~np.isnan(jobs.left_ratio), jobs.left_ratio > 1.0),
    )
