"""Recurrence: whether returns come closer together, for one asset and for a class."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.distributions import normal_cdf
from models.history.late import Late
from models.history.runs import SHORTEST_LOOK

FEWEST_RETURNS = 4
"""Events that a trend of one asset needs: from there on Laplace's test of known times keeps its size, and so does that of
looks, which also needs one that showed none (of constant rates at most 5.5 % have p up to 0.05, test)."""

STEPS = 60
"""Steps of Newton's to the common rate of an asset's looks; three to six are usual."""

FULLY = 500.0
"""Returns expected in a look from which on one is certain to any digit; keeps the exponential finite."""


@dataclass(frozen=True, slots=True)
class Recurrence(Late):
    """One row a unit: the z of a trend (above 0 is faster of late) and its two-sided p; NaN under the fewest events."""

    n: IntArray
    z: FloatArray
    p: FloatArray


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

    Returns
    -------
    Recurrence
        NaN also where every look ended over limit: then no rate is too large.

    Notes
    -----
    A look of length t shows a return with probability p = 1 − exp(−λ t), however many there were in it: long looks say
    yes nearly always and short ones seldom, at the same rate.  The test is the score test of θ in λ exp(θ age) at θ = 0,
    with λ its likeliest value: each look is held against its own p, at the age of its middle.  In the limit of short
    looks it is Laplace's test.  The variance is that of n looks whose rate was estimated from them, n ⁄ (n − 1): for
    looks of one length it is the one that their order has by chance.  The time between looks that could not show a
    return does not count.

    References
    ----------
    Complementary log-log model; score test as in D. R. Cox and D. V. Hinkley (1974), Theoretical Statistics, section 9.3
    [from memory]; held against statsmodels' generalised linear model (test).
    """
    n = np.bincount(asset[returned], minlength=assets).astype(np.int64)
    looks = np.bincount(asset, minlength=assets)
    z = np.full(assets, np.nan)
    enough = (n >= FEWEST_RETURNS) & (n < looks)
    rows = np.flatnonzero(enough[asset])
    if len(rows):
        names, member = np.unique(asset[rows], return_inverse=True)
        age = _age_before(member, years[rows]) + 0.5 * years[rows]
        z[names] = _score(member, np.maximum(years[rows], SHORTEST_LOOK), age, returned[rows], looks[names])
    p = np.where(np.isnan(z), np.nan, 2.0 * normal_cdf(-np.abs(np.where(np.isnan(z), 0.0, z))))
    return Recurrence(n, z, np.minimum(p, 1.0))


def _score(unit: IntArray, years: FloatArray, age: FloatArray, returned: BoolArray, looks: IntArray) -> FloatArray:
    """Give the standardised score of a trend for each unit; each has looks of both kinds. Units are numbered from 0."""
    units = len(looks)

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(unit, values, units), dtype=np.float64)

    # Where looks are equally long this is the likeliest rate already.
    log_rate = np.log(-np.log1p(-total(returned.astype(np.float64)) / looks) * looks / total(years))
    rows = np.arange(len(unit))
    for _ in range(STEPS):
        here, back = unit[rows], returned[rows]
        exposed = np.minimum(np.exp(log_rate[here]) * years[rows], FULLY)
        yes = exposed / np.expm1(exposed)
        slope = np.bincount(here, np.where(back, yes, -exposed), units)
        bend = np.bincount(here, np.where(back, yes * (yes + exposed - 1.0), exposed), units)
        step = np.clip(slope / np.where(bend > 0.0, bend, 1.0), -1.0, 1.0)
        log_rate += step
        # Each unit stops by itself: its last digits must not depend on who else is there.
        rows = rows[np.abs(step[here]) > 1e-9]
        if not len(rows):
            break
    own, information = _parts(log_rate[unit] + np.log(years), returned)
    middle = total(information * age) / total(information)
    gap = age - middle[unit]
    variance = total(information * gap * gap) * looks / (looks - 1.0)
    # Looks without any length have no order in time.
    return np.asarray(total(own * gap) / np.sqrt(np.where(variance > 0.0, variance, np.nan)), dtype=np.float64)


def _parts(log_exposed: FloatArray, returned: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Give what each look adds to the slope of the log-likelihood in the logarithm of its rate, and to the information."""
    exposed = np.exp(log_exposed)
    shown = -np.expm1(-exposed)
    lever = exposed / shown
    return lever * (returned - shown), lever * lever * shown * (1.0 - shown)


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
        at; as ``cumulative.mean_cumulative`` takes them. [year]

    Notes
    -----
    These are no times of events: a look shows one return at most, so that a test of known times would find a trend where
    only the length of the looks has one.
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
