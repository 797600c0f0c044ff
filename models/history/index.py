"""What every page looks up in a history, worked out once: counts by month and class, the jobs of a month, the run that a job ends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.history.columns import IntArray, JobColumns
from models.history.counts import Counts, count_over
from models.history.follow import Followed
from models.history.intervals import Shares, shares
from models.history.late import Late, depth_of, maker_of, peek, put_together, some_of
from models.history.runs import Runs
from models.history.splice import Splice, Spliced

COUNTED = ("entry", "month", "speed_class", "found_ratio", "left_ratio")
"""Columns of jobs that counts rest on."""


@dataclass(frozen=True, slots=True)
class Index(Late):
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
        ordered = maker_of(self, "order")
        if isinstance(ordered, _Ordered):
            return ordered.rows(first_month, last_month)
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


def index_after(index: Index, before: JobColumns, followed: Followed) -> Index | None:
    """Give the ways into a history that followed a change; ``None`` where they have to be worked out anew.

    Parameters
    ----------
    index : Index
        Those of the history before. [unitless]
    before : JobColumns
        The jobs of the history before. [unitless]
    followed : Followed
        What changed, and how rows moved. [unitless]
    """
    change = followed.change
    old_rows = np.concatenate(
        [np.zeros(0, np.int64), *(np.arange(a, b) for a, b in zip(change.jobs.begins, change.jobs.ends, strict=True))]
    )
    counted = {name: some_of(before, name, old_rows) for name in COUNTED}
    then, now = put_together(JobColumns, counted, {}), change.part.jobs
    counts = _counts_after(index.counts, then, now)
    if counts is None:
        return None
    begins = np.append(0, np.cumsum(counts.jobs.sum(axis=1))).astype(np.int64)
    own_runs = np.full(len(now), -1, dtype=np.int64)
    own_runs[followed.own.runs.end_row] = followed.runs.rows()

    later: dict[str, Callable[[], Any]] = {
        "order": _Ordered(index, then.month, old_rows, change.jobs, now.month),
        "run_at": Spliced(change.jobs, index, "run_at", own_runs, followed.runs),
    }
    return put_together(Index, {"counts": counts, "begins": begins}, later, depth_of(index) + 1)


@dataclass(frozen=True, slots=True)
class _Ordered:
    """The rows month by month, put together when somebody asks for all of them; those of a few months are known before."""

    index: Index
    gone_month: IntArray
    gone: IntArray
    moves: Splice
    new_month: IntArray

    def __call__(self) -> Any:
        return _order_after(self.index, self.gone_month, self.gone, self.moves, self.new_month)

    def rows(self, first_month: int, last_month: int) -> IntArray:
        stay = self.moves.moved(self.index.rows(first_month, last_month))
        own = self.moves.rows()[(self.new_month >= first_month) & (self.new_month <= last_month)]
        return np.sort(np.concatenate([stay, own]))


def _counts_after(counts: Counts, then: JobColumns, now: JobColumns) -> Counts | None:
    """Take the cells of some jobs out and put others in; ``None`` where a month at an end would be left empty."""
    if not len(counts.months) or not len(now):
        return None
    first = min(int(counts.months[0]), int(now.month.min()))
    last = max(int(counts.months[-1]), int(now.month.max()))
    old, gone, new = (
        counts.window(first, last),
        *(count_over(some, first_month=first, last_month=last) for some in (then, now)),
    )
    jobs = old.jobs - gone.jobs + new.jobs
    if not (jobs[0].any() and jobs[-1].any()):
        return None

    def judged(name: str) -> Shares:
        a, b, c = (getattr(one, name) for one in (old, gone, new))
        return shares(a.count - b.count + c.count, a.n - b.n + c.n, a.confidence)

    return Counts(old.months, old.classes, jobs, judged("found"), judged("left"))


def _order_after(index: Index, gone_month: IntArray, gone: IntArray, moves: Splice, new_month: IntArray) -> IntArray:
    """Give the rows month by month: those that go taken out, the others moved, the new ones put in where they belong."""
    begins, months = index.begins, len(index.begins) - 1
    went = gone_month - index.first
    whole = peek(index, "order")
    out = [_place(whole, begins, its, row) for its, row in zip(went.tolist(), gone.tolist(), strict=True)]
    old = np.delete(whole, out)
    begins = begins - np.append(0, np.cumsum(np.bincount(went, minlength=months)))
    order = old.copy()
    for end, grown in zip(moves.ends, np.diff(moves.growth, prepend=0).tolist(), strict=True):
        if grown:
            np.add(order, grown, out=order, where=old >= end)
    rows = moves.rows()
    # Month by month, and by row within one: two that go to one place then stand in their order.
    by_month = np.lexsort((rows, new_month))
    rows, its_month = rows[by_month], np.clip(new_month[by_month] - index.first, -1, months)
    places = [
        0 if its < 0 else len(order) if its >= months else _place(order, begins, its, row)
        for its, row in zip(its_month.tolist(), rows.tolist(), strict=True)
    ]
    return np.insert(order, places, rows)


def _place(order: IntArray, begins: IntArray, month: int, row: int) -> int:
    begin, end = int(begins[month]), int(begins[month + 1])
    return begin + int(np.searchsorted(order[begin:end], row, side="left"))
