"""Ever over: the probability of having been over limit at some time before a date.

It is larger than the probability of being over on that date, because a machine
that wandered out can wander back.  It is found by drawing many courses; between
two steps a course can touch the limit unseen, and that chance is added.
"""

from __future__ import annotations

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.limit_space import PLACES
from models.history.runs import DAYS_PER_YEAR
from models.history.standing import Standing

COURSES = 4000
STEPS = 60


def ever_over(
    standing: Standing, assets: IntArray, days: FloatArray, seed: int = 0, courses: int = COURSES
) -> FloatArray:
    """Give the probability of having been over limit at some time before a date, for a few assets.

    Parameters
    ----------
    standing : Standing
        Where each asset stands. [unitless]
    assets : (k,) int array
        Which assets. [unitless]
    days : (k,) float array
        Calendar days after the last as-left. [d]
    seed : int
        Seed of the draws: the same seed gives the same figure. [unitless]
    courses : int
        Courses for each asset. [unitless]

    Returns
    -------
    (k,) float array
        Probability, to about 0.01; NaN where there is no forecast. [unitless]

    Notes
    -----
    Within a step the limit is taken as straight: a course at distances g₁ and g₂ inside it touches it with
    probability exp(−2 g₁ g₂ / (σ² Δt)), exact for one axis (Brownian bridge).
    """
    result = np.full(len(assets), np.nan)
    for k, (asset, span) in enumerate(zip(assets.tolist(), days.tolist(), strict=True)):
        if standing.can[asset]:
            result[k] = _one(
                standing, asset, span / DAYS_PER_YEAR * standing.duty[asset], np.random.default_rng(seed), courses
            )
    return result


def _one(standing: Standing, asset: int, years: float, rng: np.random.Generator, courses: int) -> float:
    df = standing.df[asset]
    scale = df / rng.chisquare(df, courses) if np.isfinite(df) else np.ones(courses)
    spread = np.sqrt(scale)[:, None]
    judged = np.nan_to_num(standing.left[asset], nan=0.0)
    place = judged + spread * np.sqrt(standing.reading[asset]) * rng.standard_normal((courses, 4))
    rate = standing.rate[asset] + spread * np.sqrt(standing.rate_variance[asset]) * rng.standard_normal((courses, 4))
    step = years / STEPS
    touched = np.zeros(courses, dtype=np.bool_)
    unseen = np.ones(courses)
    gaps = _gaps(standing, asset, place)
    touched |= (gaps <= 0.0).any(axis=1)
    noise = spread * np.sqrt(standing.walk[asset] * step)
    for _ in range(STEPS if step > 0.0 else 0):
        place = place + rate * step + noise * rng.standard_normal((courses, 4))
        new = _gaps(standing, asset, place)
        touched |= (new <= 0.0).any(axis=1)
        unseen *= np.prod(1.0 - _bridge(gaps, new, noise), axis=1)
        gaps = new
    return float(np.mean(np.where(touched, 1.0, 1.0 - unseen)))


def _gaps(standing: Standing, asset: int, place: FloatArray) -> FloatArray:
    """Give the distance from the limit at each judged place, or at each axis of it."""
    gaps = []
    for columns in PLACES:
        here = place[:, columns]
        if np.isnan(standing.left[asset, list(columns)]).any():
            gaps.append(np.full((len(place), 2), np.inf))
        elif standing.each_axis[asset]:
            gaps.append(1.0 - np.abs(here))
        else:
            gap = 1.0 - np.hypot(here[:, 0], here[:, 1])
            gaps.append(np.stack([gap, np.full(len(place), np.inf)], axis=1))
    return np.concatenate(gaps, axis=1)


def _bridge(before: FloatArray, after: FloatArray, noise: FloatArray) -> FloatArray:
    # Columns of gaps are place 1 V, place 1 H, place 2 V, place 2 H; those of the noise are V 1, V 2, H 1, H 2.
    variance = np.maximum(noise[:, (0, 2, 1, 3)] ** 2, 1e-300)
    inside: BoolArray = np.isfinite(before) & np.isfinite(after) & (before > 0.0) & (after > 0.0)
    product = np.where(inside, before, 0.0) * np.where(inside, after, 0.0)
    return np.where(inside, np.exp(-2.0 * np.minimum(product / variance, 350.0)), 0.0)
