"""The share found over limit month by month as a control chart, and what the chart says in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from dashboard.words import say
from dashboard.writing import counted, interval, month_short, percent
from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.control import PROVISIONAL, RUN_LENGTH, TOO_FEW, p_prime_chart
from models.history.counts import Counts
from models.values.limits import LimitSet


@dataclass(frozen=True, slots=True)
class MonthSeries:
    """One row a month, the chosen one last; arrays of one length.

    ``lower`` and ``upper`` are the control limits of the share found over limit and
    ``centre`` its mean, NaN where the months are too few for limits.  ``above`` and
    ``below`` mark months outside them, ``run`` months that end or go on with a row of
    eight or more on one side of the mean.  Where months were judged by another limit set,
    all of these start anew; ``since`` are the rows with which that begins, and the sets.
    ``sigma_z``, ``provisional`` and ``limited`` speak of the months up to the chosen one.
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
    centre: FloatArray
    lower: FloatArray
    upper: FloatArray
    above: BoolArray
    below: BoolArray
    run: BoolArray
    sigma_z: float
    provisional: bool
    since: tuple[tuple[int, LimitSet], ...] = ()

    @property
    def limited(self) -> bool:
        """Tell whether the months up to the chosen one are enough for control limits."""
        return bool(np.isfinite(self.centre[-1:]).any())

    @property
    def drawn(self) -> bool:
        """Tell whether any months have control limits."""
        return bool(np.isfinite(self.centre).any())

    @property
    def begins(self) -> int:
        """Give the first row that was judged as the chosen month was."""
        return self.since[-1][0] if self.since else 0

    def day(self, row: int) -> date:
        """Give the first day of the month of a row."""
        return date.fromisoformat(f"{self.months[row]}-01")


def month_series(counts: Counts, since: Sequence[tuple[int, LimitSet]] = ()) -> MonthSeries:
    """Lay counts out month by month, with their control limits.

    Parameters
    ----------
    counts : Counts
        Counts by month, all speed classes together. [unitless]
    since : sequence of tuple of int and LimitSet
        Months with which another limit set begins to judge, and that set; in order of time. [month]

    Notes
    -----
    The limits are Laney's p′ limits over these very months, so they allow for months that differ more, or less,
    than chance alone would make them.  Where the limits that judge are changed, the share changes though the plant may
    not: mean, control limits and rows of months start anew there.
    """
    count, n = counts.found.count[:, 0], counts.found.n[:, 0]
    rows = [month - int(counts.months[0]) for month, _ in since]
    parts = [
        _limits(count[begin:end], n[begin:end]) for begin, end in zip((0, *rows), (*rows, len(count)), strict=True)
    ]
    centre, lower, upper, above, below, run = (
        np.concatenate(column) for column in zip(*(one.columns for one in parts), strict=True)
    )
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
        centre=centre,
        lower=lower,
        upper=upper,
        above=above,
        below=below,
        run=run,
        sigma_z=parts[-1].sigma_z,
        provisional=parts[-1].provisional,
        since=tuple((row, given) for row, (_, given) in zip(rows, since, strict=True)),
    )


@dataclass(frozen=True, slots=True)
class _Limits:
    """Centre, lower, upper, above, below and run of months that were judged alike."""

    columns: tuple[FloatArray, FloatArray, FloatArray, BoolArray, BoolArray, BoolArray]
    sigma_z: float
    provisional: bool


def _limits(count: IntArray, n: IntArray) -> _Limits:
    # A share that never was over, or always, has no spread to set limits by.
    spread = 0 < int(count.sum()) < int(n.sum())
    chart = p_prime_chart(count, n, laney=spread)
    provisional = chart.standing == PROVISIONAL
    if not spread or chart.standing == TOO_FEW:
        nothing, never = np.full(len(n), np.nan), np.zeros(len(n), dtype=np.bool_)
        return _Limits((nothing, nothing, nothing, never, never, never), chart.sigma_z, provisional)
    lower, upper = (np.where(n > 0, bound, np.nan) for bound in (chart.lower, chart.upper))
    above, below = chart.value > chart.upper, chart.value < chart.lower
    return _Limits((np.full(len(n), chart.centre), lower, upper, above, below, chart.run), chart.sigma_z, provisional)


def chart_words(series: MonthSeries) -> str:
    """Say what the control chart shows: which months lie beyond it, and whether they go on with a row on one side."""
    if not (series.found_n > 0).any():
        return say("figure.months.none")
    parts = _since_words(series)
    known = int((series.found_n[series.begins :] > 0).sum())
    if not series.limited:
        parts.append(say("month.chart.too_few.since" if series.since else "month.chart.too_few", n=known))
    else:
        key = "month.chart.centre.since" if series.since else "month.chart.centre"
        n = len(series.months) - series.begins
        parts.append(say(key, n=counted(n, "month") if series.since else n, centre=percent(float(series.centre[-1]))))
    if series.drawn:
        parts += _beyond_words(series)
    if series.limited and series.found_n[-1]:
        parts.append(
            say(
                "month.chart.here",
                month=month_short(series.day(-1)),
                share=percent(float(series.found_share[-1])),
                limits=interval(float(series.lower[-1]), float(series.upper[-1])),
            )
        )
    if series.limited and series.provisional:
        parts.append(say("month.chart.provisional", n=known))
    return " ".join(parts)


def _since_words(series: MonthSeries) -> list[str]:
    if not series.since:
        return []
    changes = [
        say("month.chart.change", month=month_short(series.day(row)), name=one.name, version=one.version)
        for row, one in series.since
    ]
    return [say("month.chart.changed", changes="; ".join(changes))]


def _beyond_words(series: MonthSeries) -> list[str]:
    parts = []
    for marked, key in ((series.above, "month.chart.above"), (series.below, "month.chart.below")):
        rows = np.flatnonzero(marked).tolist()
        if rows:
            names = ", ".join(
                f"{month_short(series.day(row))} ({percent(float(series.found_share[row]))})" for row in rows
            )
            parts.append(say(key, months=names))
    if series.limited and not (series.above.any() or series.below.any()):
        parts.append(say("month.chart.inside"))
    if series.run.any():
        last = int(np.flatnonzero(series.run)[-1])
        key = "month.chart.run_above" if series.found_share[last] > series.centre[last] else "month.chart.run_below"
        parts.append(say(key, n=RUN_LENGTH, month=month_short(series.day(last))))
    return parts


def chart_about(series: MonthSeries) -> str:
    """Say how the chart is made."""
    parts = [say("month.chart.about", factor=f"{series.sigma_z:.2f}")]
    return " ".join([*parts, say("month.chart.about.since")] if series.since else parts)
