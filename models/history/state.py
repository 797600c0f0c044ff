"""State at a later date: mean and variance of each component, and the probability of being over limit, with and without a step.

Without a step a machine moves from where it was left in proportion to time; with
one it is a step away as soon as it runs again.  Mean and variance are those of
the mixture of both; the probability is the mean of the two probabilities, for a
mixture of two places is not a bell.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.moderation import effective_df
from models.history.runs import DAYS_PER_YEAR
from models.history.standing import Standing
from models.history.steps import Moments, mixed, over_of


def moments_at(standing: Standing, days: FloatArray, *, as_read: bool, step: bool) -> Moments:
    """Give mean and variance some days after the last as-left, for the case that a step comes or for the other one.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    days : (assets,) float array
        Calendar days after the last as-left; with a step day 0 is when it runs again. [d]
    as_read : bool
        True for what a reading would show. [unitless]
    step : bool
        Which case. [unitless]
    """
    years = (days / DAYS_PER_YEAR * standing.duty)[:, None]
    chance = standing.walk * years + standing.reading * (2.0 if as_read else 1.0)
    if not step:
        variance = chance + standing.rate_variance * years**2
        return standing.left + standing.rate * years, np.maximum(variance, 1e-12), chance
    chance = chance * standing.step_factor[:, None]
    known = standing.step_variance + 2.0 * years * standing.step_both + years**2 * standing.step_rate_variance
    mean = standing.left + standing.step + standing.step_rate * years
    return mean, np.maximum(chance + np.maximum(known, 0.0), 1e-12), chance


def state_at(standing: Standing, days: FloatArray, *, as_read: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give mean, variance and degrees of freedom some days after the last as-left.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    days : (assets,) float array
        Calendar days after the last as-left. [d]
    as_read : bool
        True for what a reading would show. [unitless]
    """
    mean, variance, chance = moments_at(standing, days, as_read=as_read, step=False)
    rows = np.flatnonzero(standing.step_chance > 0.0)
    if len(rows):
        some = rows_of(standing, rows)
        stepped = moments_at(some, days[rows], as_read=as_read, step=True)
        both = mixed((mean[rows], variance[rows], chance[rows]), stepped, some.step_chance)
        for column, part in zip((mean, variance, chance), both, strict=True):
            column[rows] = part
    return mean, variance, effective_df(standing.df, chance, variance)


def over_at(standing: Standing, days: FloatArray, *, as_read: bool = False) -> FloatArray:
    """Give the probability of being over limit some days after the last as-left, for assets that have a forecast.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    days : (assets,) float array
        Calendar days after the last as-left. [d]
    as_read : bool
        True for what a reading would show. [unitless]
    """
    rows = np.flatnonzero(standing.step_chance > 0.0)
    some = rows_of(standing, rows)
    return over_of(
        moments_at(standing, days, as_read=as_read, step=False),
        moments_at(some, days[rows], as_read=as_read, step=True),
        standing.step_chance,
        standing.each_axis,
        standing.df,
    )


def no_step_yet(standing: Standing, here: BoolArray) -> Standing:
    """Take the step away where it has not come yet; what was left is still read with the scatter of either case.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    here : (n,) bool array
        Rows whose day is that of the last as-left. [unitless]
    """
    gone = here[:, None]
    return replace(
        standing,
        step=np.where(gone, 0.0, standing.step),
        step_variance=np.where(gone, 0.0, standing.step_variance),
    )


def rows_of(standing: Standing, rows: IntArray | BoolArray) -> Standing:
    """Give some rows.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    rows : (k,) int array or (n,) bool array
        Which rows, in which order. [unitless]
    """
    return Standing(**{name: getattr(standing, name)[rows] for name in Standing.__slots__})
