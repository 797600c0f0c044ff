"""Direction: whether an asset drifts one way or scatters.

The mean drift vector is held against the scatter of its class, because three or
four drifts cannot estimate a covariance of their own; false alarms are then
controlled over the whole fleet.  'No steady rate one way' does not mean
stable, nor that the runs disagree: rates are tested, and a step that comes in
each run, however long, is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.distributions import f_sf
from models.history.drift import ClassFits, Rates
from models.history.late import Late
from models.history.multiplicity import adjusted_in, order_of

ONE_WAY, NO_DIRECTION, TOO_FEW = range(3)
"""Verdict codes of :class:`Directions`."""

VERDICT_WORDS = ("drifts one way", "no steady rate one way", "too few intervals")
"""What each verdict code says to a person."""

CAREFUL_DF = 0.6
"""Part of the degrees of freedom that the test counts on: heavy tails and a variance model that is itself fitted take
the rest. Found by simulation, so that fleets of 200 without any drift raise an alarm in one of ten at most."""

FEWEST_RUNS = 3
"""Runs that a verdict needs."""


@dataclass(frozen=True, slots=True)
class Directions(Late):
    """One row a series.

    ``statistic`` is F on ``components`` and ``df`` degrees of freedom with
    p-value ``p``; ``q`` is the p-value adjusted over the fleet.  NaN where
    ``verdict`` is :data:`TOO_FEW`.  ``vertical_p`` tests the vertical components
    alone.  ``order`` is that of the
    p-values, ``rate`` the share of false verdicts that is accepted.
    """

    statistic: FloatArray
    components: IntArray
    df: FloatArray
    p: FloatArray
    q: FloatArray
    vertical_p: FloatArray
    verdict: IntArray
    n: IntArray
    order: IntArray
    rate: float


def directions_of(
    rates: Rates, fits: ClassFits, fit: IntArray, among: BoolArray | None = None, rate: float = 0.10
) -> Directions:
    """Test each series for a direction of its own.

    Parameters
    ----------
    rates : Rates
        Weighted rates of each series. [limit/year]
    fits : ClassFits
        Correlation and scatter of the classes. [unitless]
    fit : (series,) int array
        Which fit each series uses. [unitless]
    among : (series,) bool array or None
        Which series are reported, e.g. the present ones; the false alarms are controlled among these. [unitless]
    rate : float
        Accepted share of false verdicts. [unitless]

    Returns
    -------
    Directions
        One row a series.

    Notes
    -----
    F = z' R⁻¹ z / p with z the raw rates over their standard errors (which carry the asset's moderated variance
    factor) and R the class's correlation of components; its second degrees of freedom are those of the moderated
    factor, times :data:`CAREFUL_DF`, at most those of the class's covariance.

    References
    ----------
    Hotelling's T² with a pooled covariance; moderated as in Smyth (2004), see ``moderation``.
    """
    chosen = np.ones(len(rates.n), dtype=np.bool_) if among is None else among
    enough = chosen & (rates.n >= FEWEST_RUNS)
    z = rates.raw / np.where(rates.raw_se > 0.0, rates.raw_se, np.nan)
    ceiling = np.maximum(fits.residual_df[fit] - 3.0, 1.0)
    df = np.minimum(np.maximum(CAREFUL_DF * rates.df, 1.0), ceiling)
    statistic, components = _quadratic(z, fits.correlation, fit, (0, 1, 2, 3))
    vertical, vertical_df = _quadratic(z, fits.correlation, fit, (0, 1))
    tested = enough & (components > 0)

    def tail(value: FloatArray, top: IntArray) -> FloatArray:
        p = f_sf(np.where(tested, value, 0.0), np.maximum(top, 1), df)
        return np.where(tested & (top > 0), p, np.nan)

    p = tail(statistic, components)
    order = order_of(p)
    q = adjusted_in(p, order)
    return Directions(
        statistic=np.where(tested, statistic, np.nan),
        components=components,
        df=df,
        p=p,
        q=q,
        vertical_p=tail(vertical, vertical_df),
        verdict=_verdicts(tested, q, rate),
        n=rates.n,
        order=order,
        rate=rate,
    )


def verdicts_of(statistic: FloatArray, q: FloatArray, rate: float) -> IntArray:
    """Give the verdict of each series from what was tested.

    Parameters
    ----------
    statistic, q : (series,) float array
        Statistic, NaN where not tested, and p-value adjusted over the fleet. [unitless]
    rate : float
        Accepted share of false verdicts. [unitless]
    """
    return _verdicts(~np.isnan(statistic), q, rate)


def _verdicts(tested: BoolArray, q: FloatArray, rate: float) -> IntArray:
    return np.select([~tested, q <= rate], [TOO_FEW, ONE_WAY], NO_DIRECTION).astype(np.int64)


def _quadratic(
    z: FloatArray, correlation: FloatArray, fit: IntArray, columns: tuple[int, ...]
) -> tuple[FloatArray, IntArray]:
    """Give z' R⁻¹ z / p over the judged ones of some components, and how many those are."""
    part = z[:, columns]
    judged = ~np.isnan(part)
    pattern = judged @ (1 << np.arange(len(columns)))
    value, count = np.full(len(z), np.nan), np.zeros(len(z), dtype=np.int64)
    for code in np.unique(pattern[pattern > 0]).tolist():
        inside = [i for i in range(len(columns)) if code >> i & 1]
        at = [columns[i] for i in inside]
        inverse = np.linalg.inv(correlation[:, at][:, :, at])
        for index in range(len(correlation)):
            rows = np.flatnonzero((pattern == code) & (fit == index))
            here = part[rows][:, inside]
            value[rows] = np.einsum("ni,ij,nj->n", here, inverse[index], here) / len(inside)
            count[rows] = len(inside)
    return value, count


_VERTICAL_WORDS = ("down", "up")
_SIDE_WORDS = ("to the left", "to the right")


def direction_words(vertical: float, horizontal: float) -> str:
    """Say a direction in words, e.g. ``'down and to the right'``.

    Parameters
    ----------
    vertical, horizontal : float
        Drift or rate; vertical + is up, horizontal + is to the right, seen from the movable machine towards the
        stationary one. The lesser of the two is left out below two fifths of the greater. [any one unit]
    """
    if not (np.isfinite(vertical) and np.isfinite(horizontal)) or (vertical == 0.0 and horizontal == 0.0):
        return "nowhere"
    parts = []
    if abs(vertical) >= 0.4 * abs(horizontal):
        parts.append(_VERTICAL_WORDS[vertical > 0.0])
    if abs(horizontal) >= 0.4 * abs(vertical):
        parts.append(_SIDE_WORDS[horizontal > 0.0])
    return " and ".join(parts)
