"""Recurrence: whether returns come closer together, for one asset and for a class."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.distributions import chi2_quantile, normal_cdf
from models.history.late import Late

FEWEST_RETURNS = 4
"""Returns that a trend of one asset needs: from there on the test keeps its size."""


@dataclass(frozen=True, slots=True)
class Recurrence(Late):
    """One row a unit: Laplace's z (above 0 is faster of late) and its two-sided p; NaN under the fewest events."""

    n: IntArray
    z: FloatArray
    p: FloatArray


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """Shape of the rate of a class: above 1 it speeds up.

    ``shape`` is unbiased, with its interval; ``shape_ml`` and ``scale`` are the
    maximum-likelihood pair of rate(t) = scale · shape · t^(shape − 1).
    """

    shape: float
    low: float
    high: float
    shape_ml: float
    scale: float
    n: int
    confidence: float


def laplace(
    event: FloatArray, unit: IntArray, end: FloatArray, *, at_event: bool = False, fewest: int = FEWEST_RETURNS
) -> Recurrence:
    """Test each unit for a rate that rises or falls.

    Parameters
    ----------
    event : (n,) float array
        Times of the events, counted from the beginning of observation. [time]
    unit : (n,) int array
        Unit of each. [unitless]
    end : (units,) float array
        How long each unit was observed. [time]
    at_event : bool
        True when the observation ended with the last event: that one is then left out. [unitless]
    fewest : int
        Events that a result needs. [unitless]

    References
    ----------
    z = √(12 n) (mean of t / T − 1/2), as in NIST Dataplot, RELIABILITY TRENDS TEST, and the reliability documentation.
    """
    units = len(end)
    n = np.bincount(unit, minlength=units)
    total = np.bincount(unit, event, units).astype(np.float64)
    used = n - 1 if at_event else n
    if at_event:
        total = total - end * (n > 0)
    enough = (n >= fewest) & (used > 0) & (end > 0.0)
    safe_n, safe_end = np.where(enough, used, 1), np.where(enough, end, 1.0)
    z = np.sqrt(12.0 * safe_n) * (total / (safe_n * safe_end) - 0.5)
    z = np.where(enough, z, np.nan)
    p = 2.0 * normal_cdf(-np.abs(np.where(enough, z, 0.0)))
    return Recurrence(n.astype(np.int64), z, np.where(enough, np.minimum(p, 1.0), np.nan))


def recurrence_of(asset: IntArray, years: FloatArray, returned: BoolArray, assets: int) -> Recurrence:
    """Test each asset for returns that come faster or slower, on the time over which it was looked at.

    Parameters
    ----------
    asset : (n,) int array
        Asset of each look, in order of asset, then time. [unitless]
    years : (n,) float array
        Length of each look in service. [year]
    returned : (n,) bool array
        Whether it ended over limit. [unitless]
    assets : int
        Number of assets. [unitless]

    Notes
    -----
    The true time of a return lies somewhere in its look, so the middle of it is taken; the time between looks
    that could not show a return does not count.
    """
    event, unit, end = look_ages(asset, years, returned, assets)
    return laplace(event, unit, end)


def look_ages(
    asset: IntArray, years: FloatArray, returned: BoolArray, assets: int
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Give the age of each asset at its returns, counted over the looks alone.

    Parameters
    ----------
    asset : (n,) int array
        Asset of each look, in order of asset, then time. [unitless]
    years : (n,) float array
        Length of each look in service. [year]
    returned : (n,) bool array
        Whether it ended over limit. [unitless]
    assets : int
        Number of assets. [unitless]

    Returns
    -------
    event, unit, end : float, int and float arrays
        Age at each return (the middle of its look), its asset, and for each asset the time over which it was looked
        at; as ``laplace``, ``power_law`` and ``cumulative.mean_cumulative`` take them. [year]
    """
    whole = np.bincount(asset, years, assets).astype(np.float64)
    middle = _age_before(asset, years) + 0.5 * years
    return middle[returned], asset[returned], whole


def _age_before(asset: IntArray, years: FloatArray) -> FloatArray:
    """Give for each look the time of its asset's earlier looks.

    One step for each place among an asset's looks: a running sum over all of them would carry the rounding of one
    asset into the next.
    """
    age = np.zeros(len(years))
    begins = np.flatnonzero(np.diff(asset, prepend=-1))
    lengths = np.diff(np.append(begins, len(asset)))
    for place in range(1, int(lengths.max(initial=0))):
        rows = begins[lengths > place] + place
        age[rows] = age[rows - 1] + years[rows - 1]
    return age


def power_law(
    event: FloatArray, unit: IntArray, end: FloatArray, confidence: float = 0.90, *, at_event: bool = False
) -> PowerLaw:
    """Fit the shape of the rate that the units of a class share.

    Parameters
    ----------
    event : (n,) float array
        Times of the events, each counted from its unit's own beginning; above 0. [time]
    unit : (n,) int array
        Unit of each. [unitless]
    end : (units,) float array
        How long each unit was observed. [time]
    confidence : float
        Confidence of the interval. [unitless]
    at_event : bool
        True when the observation of a single unit ended with its last event. [unitless]

    Returns
    -------
    PowerLaw
        NaN with fewer than three events.

    References
    ----------
    MIL-HDBK-189 (1981), Appendix C, time-truncated; 2 n β / β̂ is chi-square on 2 n degrees of freedom.
    """
    n = len(event)
    if n < 3:
        nan = float("nan")
        return PowerLaw(nan, nan, nan, nan, nan, n, confidence)
    logs = float(np.sum(np.log(end[unit] / event)))
    ml = n / logs
    unbiased = (n - (2 if at_event else 1)) / logs
    df = 2.0 * (n - 1 if at_event else n)
    tail = (1.0 - confidence) / 2.0
    low, high = (float(chi2_quantile(p, df)) * ml / (2.0 * n) for p in (tail, 1.0 - tail))
    scale = n / float(np.sum(end**ml))
    return PowerLaw(unbiased, low, high, ml, scale, n, confidence)
