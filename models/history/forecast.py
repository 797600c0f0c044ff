"""Forecast: the probability of being over limit at a later date, and when to look again for a chosen risk.

The figure is that of the true position on one date.  Having been over at some
time before is another question, and has another figure (``passage``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.conformal import LEVELS
from models.history.distributions import normal_quantile, t_quantile
from models.history.late import Late
from models.history.runs import DAYS_PER_YEAR
from models.history.standing import Standing
from models.history.state import no_step_yet, over_at, rows_of, state_at

DAYS_TRIED = tuple(DAYS_PER_YEAR / 12.0 * months for months in (1, 2, 4, 6, 9, 12, 18, 24, 36, 60, 120))
"""Days at which the risk is first looked at; between two of them the day is then found by interpolation."""

BY_RISK, BY_CLASS, BY_SITE, NONE = range(4)
"""Codes of what set the re-check date."""

BASIS_WORDS = (
    "the day on which the chosen risk is reached",
    "one and a half times the longest interval that its class has seen",
    "the longest interval that the site allows",
    "no forecast",
)
"""What each code says to a person."""

CLASS_CAP = 1.5

FEW = 16
"""Of so many assets or fewer the risk is worked out on all days at once."""

NEAR = 1.0
"""Within so many days the day is closed in on; within them a line is straight to some hundredths of a day (test). [d]"""

BY_LINE, IN_HALVES = 8, 12
"""Steps by which the day is closed in on: along a line as a rule 2 to 6; what were left would be halved, five years in 11."""


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
class Recheck(Late):
    """One row an asset: when to look again.

    ``days`` are calendar days after the last as-left, 0 where the risk was
    reached when it was left, NaN where there is no forecast; ``over`` is the
    probability of being over limit then; ``over_left`` is the probability that
    it was left over limit; ``basis`` is an index into :data:`BASIS_WORDS`.
    """

    days: FloatArray
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
    mean, variance, _ = state_at(standing, span, as_read=as_read)
    over = np.full(len(span), np.nan)
    rows = np.flatnonzero(standing.can)
    over[rows] = over_at(rows_of(standing, rows), span[rows], as_read=as_read)
    shown = standing.can[:, None]
    return Forecast(
        days=np.array(span),
        mean=np.where(shown, mean, np.nan),
        sd=np.where(shown, np.sqrt(variance), np.nan),
        over=over,
        n=standing.n,
        reason=standing.reason,
    )


def forecast_curve(standing: Standing, asset: int, days: FloatArray, *, as_read: bool = False) -> Forecast:
    """Give the same for one asset on many dates, one row a date.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    asset : int
        Which asset. [unitless]
    days : (k,) float array
        Calendar days after its last as-left. [d]
    as_read : bool
        True for what a reading would show. [unitless]
    """
    return forecast_at(rows_of(standing, np.full(len(days), asset)), days, as_read=as_read)


def reading_interval(standing: Standing, days: FloatArray | float, level: float = 0.8) -> tuple[FloatArray, FloatArray]:
    """Give the interval in which the next as-found will be read, per component.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    days : (assets,) float array or float
        Calendar days after the last as-left. [d]
    level : float
        0.5, 0.8 or 0.9: the levels that are back-tested. [unitless]

    Returns
    -------
    low, high : (assets, 4) float arrays
        Limits of the deviation as read; NaN without a forecast. [limit]

    Notes
    -----
    Student t with the moderated variance, times the conformal factor of the asset's class and depth of history.
    """
    span = np.broadcast_to(np.asarray(days, dtype=np.float64), standing.n.shape)
    mean, variance, df = state_at(standing, span, as_read=True)
    quantile = t_quantile(0.5 + level / 2.0, df) * standing.level_factor[:, LEVELS.index(level)]
    half = np.where(standing.can, quantile, np.nan)[:, None] * np.sqrt(variance)
    return mean - half, mean + half


def recheck_of(
    standing: Standing,
    risk: FloatArray | float = 0.10,
    site_months: int = 36,
    before: tuple[Standing, Recheck] | None = None,
) -> Recheck:
    """Give the day on which the probability of being over limit reaches a chosen risk.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    risk : (assets,) float array or float
        Accepted probability of being found over limit, e.g. by criticality; above 0 and below 1. [unitless]
    site_months : int
        The longest interval that the site allows. [month]
    before : tuple of Standing and Recheck, optional
        An earlier answer for the same risk and site: what stood there as it stands now is not worked out again. [unitless]

    Returns
    -------
    Recheck
        One row an asset.

    Notes
    -----
    Capped at 1.5 × the longest interval of the class and at the site's own.  The day is closed in on from both sides
    until they are a day apart, by false position with the weight of an end halved that stays (the Illinois rule), in the
    logarithm of time: against it the normal quantile of the risk is nearly a straight line.

    References
    ----------
    M. Dowell, P. Jarratt (1971), BIT 11:168 (memory: not verified against a copy).
    """
    count = len(standing.n)
    if before is not None:
        return _only_changed(standing, risk, site_months, before)
    target = np.broadcast_to(np.asarray(risk, dtype=np.float64), (count,))
    site = site_months * DAYS_PER_YEAR / 12.0
    cap = np.minimum(CLASS_CAP * standing.longest_days, site)
    tried = [np.minimum(cap, day) for day in DAYS_TRIED] + [cap]
    search = _Search(standing, target, np.flatnonzero(standing.can), tried)
    for which in range(len(tried)):
        search.step_out(which)
    for step in range(BY_LINE + IN_HALVES):
        if not search.close_in(halve=step >= BY_LINE):
            break
    reached = search.high_p >= target
    days = np.where(reached, search.day(), cap)
    over = np.where(reached, np.where(search.high_t > 0.0, target, search.high_p), search.low_p)
    by_cap = np.where(CLASS_CAP * standing.longest_days < site, BY_CLASS, BY_SITE)
    return Recheck(
        days=np.where(standing.can, days, np.nan),
        over=np.where(standing.can, over, np.nan),
        over_left=np.where(standing.can, search.left_p, np.nan),
        basis=np.select([~standing.can, reached], [NONE, BY_RISK], by_cap).astype(np.int64),
        risk=float(np.mean(target)) if count else 0.0,
        reason=standing.reason,
    )


def recheck_day(left_day: IntArray, days: FloatArray) -> IntArray:
    """Give the calendar day of the site on which to look again: the one rule for pages, tables, papers and programs.

    Parameters
    ----------
    left_day : (n,) int array
        The site's day of the last as-left, since 1970-01-01. [d]
    days : (n,) float array
        Days after it, see :class:`Recheck`. [d]

    Returns
    -------
    (n,) int array
        Calendar day since 1970-01-01; ``left_day`` where ``days`` is NaN. [d]
    """
    # A risk that is reached within a day is reached on that day: round down, never up.
    return np.asarray(left_day + np.floor(np.nan_to_num(days)).astype(np.int64), dtype=np.int64)


def rechecks_of(standing: Standing, risks: Sequence[float], site_months: int = 36) -> list[Recheck]:
    """Give what :func:`recheck_of` gives for each of several risks: of a few assets all of them cost as much as one.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    risks : sequence of float
        Accepted probabilities of being found over limit. [unitless]
    site_months : int
        The longest interval that the site allows. [month]
    """
    count = len(standing.n)
    if len(risks) < 2 or count * len(risks) > FEW:
        return [recheck_of(standing, risk, site_months) for risk in risks]
    several = rows_of(standing, np.tile(np.arange(count), len(risks)))
    found = recheck_of(several, np.repeat(np.asarray(risks, dtype=np.float64), count), site_months)
    names = ("days", "over", "over_left", "basis", "reason")
    parts = {name: getattr(found, name).reshape(len(risks), count) for name in names}
    return [
        Recheck(
            **{name: part[at] for name, part in parts.items()},
            risk=float(np.mean(np.full(count, risk))) if count else 0.0,
        )
        for at, risk in enumerate(risks)
    ]


def _only_changed(
    standing: Standing, risk: FloatArray | float, site_months: int, before: tuple[Standing, Recheck]
) -> Recheck:
    """Work out the assets that stand otherwise than before, and take the answer for the others over."""
    changed = ~unchanged(standing, before[0])
    rows = np.flatnonzero(changed)
    own = risk if np.ndim(risk) == 0 else np.asarray(risk, dtype=np.float64)[rows]
    part = recheck_of(rows_of(standing, rows), own, site_months)
    taken = np.flatnonzero(~changed)
    columns = {}
    for name in ("days", "over", "over_left", "basis", "reason"):
        column = np.empty(len(changed), dtype=getattr(part, name).dtype)
        column[rows], column[taken] = getattr(part, name), getattr(before[1], name)[taken]
        columns[name] = column
    return Recheck(**columns, risk=float(np.mean(np.broadcast_to(risk, changed.shape))) if len(changed) else 0.0)


def unchanged(now: Standing, before: Standing) -> BoolArray:
    """Tell which assets stand to the last bit as they stood before; a new asset does not.

    Parameters
    ----------
    now, before : Standing
        Where each asset stands; assets keep their places. [unitless]
    """
    count, known = len(now.n), min(len(now.n), len(before.n))
    same = np.zeros(count, dtype=np.bool_)
    same[:known] = True
    for name in Standing.__slots__:
        a, b = getattr(now, name)[:known], getattr(before, name)[:known]
        equal = (a == b) | ((a != a) & (b != b))  # noqa: PLR0124 - NaN stands for unknown in both
        same[:known] &= equal if equal.ndim == 1 else equal.all(axis=1)
    return same


class _Search:
    """The bracket of each asset: at ``low_t`` the risk is not reached, at ``high_t`` it is.

    The weights are those of the two ends in the line between them; ``moved`` tells which end the last step moved.
    Of a few assets the risk is worked out on all days that may be tried in one step: it costs as much as on one.
    """

    def __init__(self, standing: Standing, target: FloatArray, rows: IntArray, tried: list[FloatArray]) -> None:
        count = len(target)
        self.standing, self.target, self.tried = standing, target, tried
        self.ahead: FloatArray | None = None
        self.low_t, self.low_p = np.zeros(count), np.zeros(count)
        self.high_t, self.high_p = np.full(count, np.inf), np.full(count, -1.0)
        if 0 < len(rows) <= FEW:
            self.ahead = np.full((len(tried), count), np.nan)
            days = np.concatenate([np.zeros(len(rows)), *(day[rows] for day in tried)])
            first, *ahead = _risk(standing, np.tile(rows, 1 + len(tried)), days).reshape(1 + len(tried), -1)
            self.low_p[rows], self.ahead[:, rows] = first, ahead
        else:
            self.low_p[rows] = _risk(standing, rows, np.zeros(len(rows)))
        self.left_p = self.low_p.copy()
        # A step comes when the machine runs again: it is in the risk from day 0 on, not in what was left.
        some = rows[standing.step_chance[rows] > 0.0]
        if len(some):
            part = no_step_yet(rows_of(standing, some), np.ones(len(some), np.bool_))
            self.left_p[some] = over_at(part, np.zeros(len(some)))
        self.low_weight, self.high_weight, self.moved = np.ones(count), np.ones(count), np.zeros(count, np.int64)
        at_once = self.low_p >= target
        self.high_t[at_once], self.high_p[at_once] = 0.0, self.low_p[at_once]

    def step_out(self, which: int) -> None:
        day = self.tried[which]
        rows = np.flatnonzero(self.standing.can & (self.high_p < 0.0) & (day > self.low_t))
        p = _risk(self.standing, rows, day[rows]) if self.ahead is None else self.ahead[which, rows]
        self._take(rows, day[rows], p)

    def close_in(self, *, halve: bool) -> bool:
        """Go to where a line through the two normal quantiles meets the target, and tell whether any bracket was left to close."""
        rows = np.flatnonzero(self.standing.can & (self.high_p >= 0.0) & (self.high_t - self.low_t > NEAR))
        if not len(rows):
            return False
        low_t, high_t = self.low_t[rows], self.high_t[rows]
        if halve:
            day = 0.5 * (low_t + high_t)
        else:
            # Never nearer to an end than half of what is near enough: a step across the target is then the last one.
            meets = self._meets(rows, self.low_weight[rows], self.high_weight[rows])
            day = np.clip(meets, low_t + 0.5 * NEAR, high_t - 0.5 * NEAR)
        self._take(rows, day, _risk(self.standing, rows, day))
        moved = np.where(self.high_t[rows] == day, 1, -1)
        again = moved == self.moved[rows]
        self.low_weight[rows] = np.where(again & (moved > 0), 0.5 * self.low_weight[rows], 1.0)
        self.high_weight[rows] = np.where(again & (moved < 0), 0.5 * self.high_weight[rows], 1.0)
        self.moved[rows] = moved
        return True

    def day(self) -> FloatArray:
        """Give the day on which the target is reached, within its bracket; infinite where there is none."""
        rows = np.flatnonzero(self.standing.can & (self.high_p >= 0.0))
        result = self.high_t.copy()
        result[rows] = np.clip(self._meets(rows, 1.0, 1.0), self.low_t[rows], self.high_t[rows])
        return result

    def _meets(self, rows: IntArray, low_weight: FloatArray | float, high_weight: FloatArray | float) -> FloatArray:
        edge = np.clip(np.stack([self.low_p[rows], self.high_p[rows], self.target[rows]]), 1e-12, 1.0 - 1e-12)
        low, high, wanted = normal_quantile(edge)
        below, above = (wanted - low) * low_weight, (high - wanted) * high_weight
        begin, end = np.log1p(self.low_t[rows]), np.log1p(self.high_t[rows])
        return np.asarray(np.expm1(begin + below / np.maximum(below + above, 1e-12) * (end - begin)), dtype=np.float64)

    def _take(self, rows: IntArray, day: FloatArray, p: FloatArray) -> None:
        over = p >= self.target[rows] - 1e-4
        self.high_t[rows[over]], self.high_p[rows[over]] = day[over], np.maximum(p[over], self.target[rows[over]])
        self.low_t[rows[~over]], self.low_p[rows[~over]] = day[~over], p[~over]


def _risk(standing: Standing, rows: IntArray, days: FloatArray) -> FloatArray:
    return over_at(rows_of(standing, rows), days)
