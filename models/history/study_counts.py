"""Tables of a study about how many were over limit: by speed class, and month by month with two control charts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from models.errors import InvalidValueError
from models.history.columns import BoolArray, FloatArray, History, IntArray, speed_class_names
from models.history.control import (
    MONTHS_PROVISIONAL,
    STANDING_WORDS,
    Frozen,
    ewma_chart,
    individuals_chart,
    log_median_ratio,
    p_prime_chart,
)
from models.history.counts import Counts, count_over
from models.history.intervals import Shares
from models.history.months import month_name
from models.history.study_table import StudyTable, Value, number

_SHARES: Final = (
    "found over",
    "found judged",
    "share",
    "low",
    "high",
    "left over",
    "left judged",
    "share",
    "low",
    "high",
)

_CHARTS: Final = (
    "chart centre", "chart low", "chart high", "beyond", "middle ratio found", "its running mean", "mean low", "mean high",
    "mean beyond", "note",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Base:
    """Months from which charts take their limits, both ends included, as year × 12 + month − 1; and why these."""

    first: int
    last: int
    why: str


def counts_table(history: History) -> StudyTable:
    """Give how many were over limit in each speed class.

    Parameters
    ----------
    history : History
        The columns that were studied. [unitless]
    """
    counts = count_over(history.jobs).by_class()
    names = speed_class_names()
    rows = tuple(
        (
            names[int(c)] if c >= 0 else "unknown speed",
            int(counts.jobs[0, i]),
            *_share(counts.found, (0, i)),
            *_share(counts.left, (0, i)),
        )
        for i, c in enumerate(counts.classes)
    )
    return StudyTable(
        "counts",
        "Over limit by speed class, all months; Wilson 95 % intervals.",
        ("speed class", "jobs", *_SHARES),
        rows,
    )


def months_table(history: History, base: Base | None = None) -> StudyTable:
    """Give what was found and left over limit month by month, with both charts.

    Parameters
    ----------
    history : History
        The columns that were studied. [unitless]
    base : Base or None
        Months from which the charts take their limits; all of them if not given. [month]

    Raises
    ------
    InvalidValueError
        If fewer than twelve months of the base have judged as-founds: of so few no limits can be taken.
    """
    columns = ("month", "jobs", *_SHARES, *_CHARTS)
    if not len(history.jobs):
        return StudyTable("months", "Share found over limit by month.", columns, ())
    counts: Counts = count_over(history.jobs).by_month()
    over, judged = counts.found.count[:, 0], counts.found.n[:, 0]
    logs = log_median_ratio(history.jobs, counts.months)
    of_shares, of_ratios = (None, None) if base is None else _agreed(counts.months, over, judged, logs, base)
    chart, slow = p_prime_chart(over, judged, of_shares), ewma_chart(logs, frozen=of_ratios)
    # The mean of the logarithms is a ratio again: what the months were like in the middle of their middles.
    ratios = [np.exp(column) for column in (logs, slow.value, slow.lower, slow.upper)]
    rows = tuple(
        (
            month_name(int(month)), int(counts.jobs[i, 0]), *_share(counts.found, (i, 0)), *_share(counts.left, (i, 0)),
            number(chart.centre, 4), number(chart.lower[i], 4), number(chart.upper[i], 4), "yes" if chart.beyond[i] else "no",
            *(number(column[i], 4) for column in ratios), "yes" if slow.beyond[i] else "no", STANDING_WORDS[chart.standing],
        )
        for i, month in enumerate(counts.months)
    )  # fmt: skip
    limits = ""
    if base is not None:
        limits = f" Chart limits are those of {month_name(base.first)} to {month_name(base.last)}: {base.why}"
    meaning = (
        "Share found over limit by month, as a Laney p′ chart; and the median limit ratio found, with its exponentially weighted "
        f"mean (EWMA chart of its logarithm, weight 0.2), which shows slow change.{limits}"
    )
    return StudyTable("months", meaning, columns, rows)


def _agreed(months: IntArray, over: IntArray, judged: IntArray, logs: FloatArray, base: Base) -> tuple[Frozen, Frozen]:
    """Take the limits of both charts from some months only."""
    chosen: BoolArray = (months >= base.first) & (months <= base.last)
    known = int(np.count_nonzero(judged[chosen]))
    if known < MONTHS_PROVISIONAL:
        raise InvalidValueError(
            f"Of the months {month_name(base.first)} to {month_name(base.last)}, {known} have a judged as-found: limits need {MONTHS_PROVISIONAL}.",
            remedy="Name a longer time: --base 2023-01..2024-12.",
        )
    shares, ratios = p_prime_chart(over[chosen], judged[chosen]), individuals_chart(logs[chosen])
    return (
        Frozen(shares.centre, shares.sigma, sigma_z=shares.sigma_z),
        Frozen(ratios.centre, ratios.sigma),
    )


def _share(shares: Shares, at: tuple[int, ...] | int) -> list[Value]:
    n = int(shares.n[at])
    known = [number(x[at], 4) if n else None for x in (shares.share, shares.low, shares.high)]
    return [int(shares.count[at]), n, *known]
