"""Next check by rule: an interval after the last visit, or at once when it was left over limit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from models.history.columns import AssetColumns, BoolArray, BreakColumns, IntArray, JobColumns
from models.history.late import Late
from models.history.months import add_months, local_days, midnights_us

NEVER_MEASURED, BY_INTERVAL, LEFT_OVER, REPLACED, RETIRED = range(5)
"""Reason codes of :class:`Due`."""

REASON_WORDS = (
    "no visit is in the book yet",
    "the interval since the last visit",
    "at once: the last visit left it over limit",
    "at once: something was replaced after the last visit",
    "retired: no check is due",
)
"""What each reason code says to a person."""

NO_TIME = np.iinfo(np.int64).min
"""The due time of an asset that has none."""


@dataclass(frozen=True, slots=True)
class Due(Late):
    """One row an asset, at the index of the assets.

    ``due_us`` is the beginning of the due day in the site's zone, or
    :data:`NO_TIME`.  ``reason`` is an
    index into :data:`REASON_WORDS`.  ``last_us`` is the last visit.
    """

    due_us: IntArray
    reason: IntArray
    last_us: IntArray
    last_row: IntArray
    days_left: IntArray


def due_by_rule(
    jobs: JobColumns,
    breaks: BreakColumns,
    assets: AssetColumns,
    *,
    today: date,
    zone: str,
    interval_months: int | IntArray,
) -> Due:
    """Say when each asset is to be checked next.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    breaks : BreakColumns
        Replacements. [unitless]
    assets : AssetColumns
        The assets as they stand today. [unitless]
    today : date
        The site's day: no instant, for a date is counted from the day that is shown beside it. [d]
    zone : str
        Zone of the site: days are the site's own. [unitless]
    interval_months : int or (assets,) int array
        The site's rule: calendar months between checks. [month]

    Returns
    -------
    Due
        Due day and why; ``days_left`` is negative once it has passed. [µs, d]

    Notes
    -----
    A visit that found the machine over limit and measured nothing afterwards
    counts as left over limit: nothing says that it was put right.
    """
    count = len(assets)
    last_row = np.full(count, -1, dtype=np.int64)
    ends = np.flatnonzero(np.append(jobs.asset[1:] != jobs.asset[:-1], True)) if len(jobs) else np.zeros(0, np.int64)
    ends = ends[jobs.asset[ends] >= 0]
    last_row[jobs.asset[ends]] = ends
    seen = last_row >= 0
    row = np.where(seen, last_row, 0)
    reason = np.full(count, NEVER_MEASURED, dtype=np.int64)
    day = np.zeros(count, dtype=np.int64)
    last_us = np.full(count, NO_TIME, dtype=np.int64)
    if len(jobs):
        over = _left_over(jobs, row)
        # No installation can come after the last visit of an asset: a break alone can.
        broke = np.full(count, NO_TIME, dtype=np.int64)
        np.maximum.at(broke, breaks.asset, breaks.at_us)
        replaced = jobs.performed_us[row] < broke
        last_us = np.where(seen, jobs.performed_us[row], NO_TIME)
        last_day = local_days(np.where(seen, last_us, 0), zone)
        months = np.broadcast_to(np.asarray(interval_months, dtype=np.int64), (count,))
        day = np.where(over | replaced, last_day, add_months(last_day, months))
        reason = np.where(seen, np.select([replaced, over], [REPLACED, LEFT_OVER], BY_INTERVAL), reason)
        if len(breaks.asset):
            day = np.where(seen & replaced, local_days(np.where(seen & replaced, broke, 0), zone), day)
    reason = np.where(assets.retired, RETIRED, reason)
    dated = (reason != NEVER_MEASURED) & (reason != RETIRED)
    left = day - (today - date(1970, 1, 1)).days
    return Due(
        due_us=np.where(dated, midnights_us(np.where(dated, day, 0), zone), NO_TIME),
        reason=reason,
        last_us=last_us,
        last_row=last_row,
        days_left=np.where(dated, left, 0),
    )


def _left_over(jobs: JobColumns, row: IntArray) -> BoolArray:
    unmeasured = np.isnan(jobs.left[row]).any(axis=1)
    left_over = jobs.left_ratio[row] > 1.0
    return np.asarray(left_over | (unmeasured & (jobs.found_ratio[row] > 1.0)), dtype=np.bool_)
