"""The share found over limit month by month as a control chart, and what the chart says in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from dashboard.words import say
from dashboard.writing import interval, month_short, percent
from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.control import PROVISIONAL, RUN_LENGTH, TOO_FEW, p_prime_chart
from models.history.counts import Counts


@dataclass(frozen=True, slots=True)
class MonthSeries:
    """One row a month, the chosen one last; arrays of one length.

    ``lower`` and ``upper`` are the control limits of the share found over limit and
    ``centre`` its mean, NaN where the months are too few for limits.  ``above`` and
    ``below`` mark months outside them, ``run`` months that end or go on with a row of
    eight or more on one side of the mean.
    """

    months: np.ndarray[tuple[int], np.dtype[np.datetime64]]
    jobs: IntArray
    found_count: IntArray
    found_n: IntArray
    found_share: FloatArray
    found_low: FloatArray
    found_high: FloatArray
    left_count: IntArray
    left_n: IntArray
    centre: float
    lower: FloatArray
    upper: FloatArray
    above: BoolArray
    below: BoolArray
    run: BoolArray
    sigma_z: float
    provisional: bool

    @property
    def limited(self) -> bool:
        """Tell whether there are months enough for control limits."""
        return bool(np.isfinite(self.centre))

    def day(self, row: int) -> date:
        """Give the first day of the month of a row."""
        return date.fromisoformat(f"{self.months[row]}-01")


def month_series(counts: Counts) -> MonthSeries:
    """Lay counts out month by month, with their control limits.

    Parameters
    ----------
    counts : Counts
        Counts by month, all speed classes together. [unitless]

    Notes
    -----
    The limits are Laney's p′ limits over these very months, so they allow for months that differ more, or less,
    than chance alone would make them.
    """
    count, n = counts.found.count[:, 0], counts.found.n[:, 0]
    # A share that never was over, or always, has no spread to set limits by.
    spread = 0 < int(count.sum()) < int(n.sum())
    chart = p_prime_chart(count, n, laney=spread)
    limited = spread and chart.standing != TOO_FEW
    nothing, never = np.full(len(n), np.nan), np.zeros(len(n), dtype=np.bool_)
    return MonthSeries(
        months=(counts.months - 1970 * 12).astype("datetime64[M]"),
        jobs=counts.jobs[:, 0],
        found_count=count,
        found_n=n,
        found_share=counts.found.share[:, 0],
        found_low=counts.found.low[:, 0],
        found_high=counts.found.high[:, 0],
        left_count=counts.left.count[:, 0],
        left_n=counts.left.n[:, 0],
        centre=chart.centre if limited else float("nan"),
        lower=np.where(n > 0, chart.lower, np.nan) if limited else nothing,
        upper=np.where(n > 0, chart.upper, np.nan) if limited else nothing,
        above=chart.value > chart.upper if limited else never,
        below=chart.value < chart.lower if limited else never,
        run=chart.run if limited else never,
        sigma_z=chart.sigma_z,
        provisional=chart.standing == PROVISIONAL,
    )


def chart_words(series: MonthSeries) -> str:
    """Say what the control chart shows: which months lie beyond it, and whether they go on with a row on one side."""
    if not (series.found_n > 0).any():
        return say("figure.months.none")
    if not series.limited:
        return say("month.chart.too_few", n=int((series.found_n > 0).sum()))
    parts = [say("month.chart.centre", n=len(series.months), centre=percent(series.centre))]
    for marked, key in ((series.above, "month.chart.above"), (series.below, "month.chart.below")):
        rows = np.flatnonzero(marked).tolist()
        if rows:
            names = ", ".join(
                f"{month_short(series.day(row))} ({percent(float(series.found_share[row]))})" for row in rows
            )
            parts.append(say(key, months=names))
    if not (series.above.any() or series.below.any()):
        parts.append(say("month.chart.inside"))
    if series.run.any():
        last = int(np.flatnonzero(series.run)[-1])
        key = "month.chart.run_above" if series.found_share[last] > series.centre else "month.chart.run_below"
        parts.append(say(key, n=RUN_LENGTH, month=month_short(series.day(last))))
    if series.found_n[-1]:
        parts.append(
            say(
                "month.chart.here",
                month=month_short(series.day(-1)),
                share=percent(float(series.found_share[-1])),
                limits=interval(float(series.lower[-1]), float(series.upper[-1])),
            )
        )
    if series.provisional:
        parts.append(say("month.chart.provisional", n=int((series.found_n > 0).sum())))
    return " ".join(parts)
