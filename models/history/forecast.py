"""Forecast: the probability of being over limit at a later date, and when to look again for a chosen risk.

The figure is that of the true position on one date.  Having been over at some
time before is another question, and has another figure (``passage``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.outside import outside_limit
from models.history.runs import DAYS_PER_YEAR
from models.history.standing import Standing

MONTHS_TRIED = (1, 2, 3, 4, 6, 8, 12, 16, 24, 36, 60, 120)
"""Months at which the risk is first looked at; between two of them it is then found to the month."""

BY_RISK, BY_CLASS, BY_SITE, NONE = range(4)
"""Codes of what set the re-check date."""

BASIS_WORDS = (
    "the month in which the chosen risk is reached",
    "one and a half times the longest interval that its class has seen",
    "the longest interval that the site allows",
    "no forecast",
)
"""What each code says to a person."""

CLASS_CAP = 1.5


@dataclass(frozen=True, slots=True)
class Forecast:
    """One row an asset, for one date each.

    ``mean`` and ``sd`` (n, 4) are the predicted true deviation [limit];
    ``over`` is the probability of being over limit then.  NaN where ``reason``
    is not 0 (an index into ``standing.REASON_WORDS``).
    """

    days: FloatArray
    mean: FloatArray
    sd: FloatArray
    over: FloatArray
    n: IntArray
    reason: IntArray


@dataclass(frozen=True, slots=True)
class Recheck:
    """One row an asset: when to look again.

    ``months`` are calendar months after the last as-left, at least 1, 0 where
    there is no forecast; ``over`` is the probability of being over limit then;
    ``basis`` is an index into :data:`BASIS_WORDS`; ``over_now`` is the
    probability that it was left over limit.
    """

    months: IntArray
    over: FloatArray
    over_left: FloatArray
    basis: IntArray
    risk: float
    reason: IntArray


def forecast_at(standing: Standing, days: FloatArray | float, *, as_read: bool = False) -> Forecast:
    """Give the probability of being over limit some days after the last as-left.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    days : (assets,) float array or float
        Calendar days after the last as-left. [d]
    as_read : bool
        True for what a reading would show, with its own error; False for the true position. [unitless]

    Returns
    -------
    Forecast
        One row an asset.

    Notes
    -----
    Mean a + μ t; variance σ_w² t + t² Var(μ) + σ_m² of the as-left reading, and once more σ_m² for a new reading
    (statistics of the project, section 3(b)). Here with a variance of its own in each component.
    """
    span = np.broadcast_to(np.asarray(days, dtype=np.float64), standing.n.shape)
    mean, variance = _state(standing, span, as_read=as_read)
    over = np.full(len(span), np.nan)
    rows = np.flatnonzero(standing.can)
    over[rows] = outside_limit(mean[rows], variance[rows], standing.each_axis[rows], standing.df[rows])
    shown = standing.can[:, None]
    return Forecast(
        days=np.array(span),
        mean=np.where(shown, mean, np.nan),
        sd=np.where(shown, np.sqrt(variance), np.nan),
        over=over,
        n=standing.n,
        reason=standing.reason,
    )


def recheck_of(standing: Standing, risk: FloatArray | float = 0.10, site_months: int = 36) -> Recheck:
    """Give the first month in which the probability of being over limit reaches a chosen risk.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    risk : (assets,) float array or float
        Accepted probability of being found over limit, e.g. by criticality. [unitless]
    site_months : int
        The longest interval that the site allows. [month]

    Returns
    -------
    Recheck
        One row an asset.

    Notes
    -----
    Capped at 1.5 × the longest interval of the class and at the site's own. A risk that is reached before the
    first month gives 1.
    """
    target = np.broadcast_to(np.asarray(risk, dtype=np.float64), standing.n.shape)
    count = len(target)
    class_months = np.maximum(np.floor(CLASS_CAP * standing.longest_days / DAYS_PER_YEAR * 12.0), 1.0).astype(np.int64)
    cap = np.minimum(class_months, site_months)
    # Between ``before`` (risk not reached) and ``after`` (reached, or beyond the cap) lies the month that is asked for.
    before, after = np.zeros(count, np.int64), cap + 1
    open_rows = standing.can.copy()
    for month in MONTHS_TRIED:
        rows = np.flatnonzero(open_rows & (cap >= month))
        reached = _risk(standing, rows, np.full(len(rows), month)) >= target[rows]
        after[rows[reached]] = month
        open_rows[rows[reached]] = False
        before[rows[~reached]] = month
    while (rows := np.flatnonzero(standing.can & (after - before > 1))).size:
        middle = (before[rows] + after[rows]) // 2
        reached = _risk(standing, rows, middle) >= target[rows]
        after[rows] = np.where(reached, middle, after[rows])
        before[rows] = np.where(reached, before[rows], middle)
    months = np.where(standing.can, np.minimum(after, cap), 0)
    by_cap = np.where(class_months < site_months, BY_CLASS, BY_SITE)
    over, left = np.full(count, np.nan), np.full(count, np.nan)
    rows = np.flatnonzero(standing.can)
    over[rows], left[rows] = _risk(standing, rows, months[rows]), _risk(standing, rows, np.zeros(len(rows), np.int64))
    basis = np.select([~standing.can, after <= cap], [NONE, BY_RISK], by_cap)
    return Recheck(months, over, left, basis.astype(np.int64), float(np.mean(target)), standing.reason)


def _state(standing: Standing, days: FloatArray, *, as_read: bool) -> tuple[FloatArray, FloatArray]:
    years = (days / DAYS_PER_YEAR * standing.duty)[:, None]
    readings = standing.reading * (2.0 if as_read else 1.0)
    variance = standing.walk * years + standing.rate_variance * years**2 + readings
    return standing.left + standing.rate * years, np.maximum(variance, 1e-12)


def _risk(standing: Standing, rows: IntArray, months: IntArray) -> FloatArray:
    part = _rows(standing, rows)
    mean, variance = _state(part, months / 12.0 * DAYS_PER_YEAR, as_read=False)
    return outside_limit(mean, variance, part.each_axis, part.df)


def _rows(standing: Standing, rows: IntArray | BoolArray) -> Standing:
    return Standing(**{name: getattr(standing, name)[rows] for name in Standing.__slots__})
