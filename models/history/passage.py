"""Ever over: the probability of having been over limit at some time before a date.

It is larger than the probability of being over on that date, because a machine
that wandered out can wander back.  It is found by drawing many courses; between
two steps a course can touch the limit unseen, and that chance is added.
"""

from __future__ import annotations

from collections.abc import Iterator

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
    noise = spread * np.sqrt(standing.walk[asset] * (years / STEPS))
    if standing.step_chance[asset] > 0.0:
        place, rate, noise = _some_stepped(standing, asset, rng, spread, (place, rate, noise), judged)
    course = _course(place, rate * (years / STEPS), noise, rng, STEPS if years > 0.0 else 0)
    touched, unseen = np.zeros(courses, dtype=np.bool_), np.ones((len(course) - 1, courses))
    for gaps, axis in _gaps(standing, asset, course):
        touched |= (gaps <= 0.0).any(axis=0)
        unseen *= 1.0 - _bridge(gaps, np.maximum(noise[:, axis] ** 2, 1e-300))
    return float(np.mean(np.where(touched, 1.0, 1.0 - np.prod(unseen, axis=0))))


def _some_stepped(
    standing: Standing,
    asset: int,
    rng: np.random.Generator,
    spread: FloatArray,
    plain: tuple[FloatArray, FloatArray, FloatArray],
    left: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Let a step come at the beginning of as many courses as its chance says."""
    place, rate, noise = plain
    with_it = rng.random(len(spread))[:, None] < standing.step_chance[asset]
    other = np.sqrt(standing.step_factor[asset])
    step_sd = np.sqrt(np.maximum(standing.step_variance[asset], 1e-300))
    first = rng.standard_normal(place.shape)
    slope = standing.step_both[asset] / step_sd
    rest = np.sqrt(np.maximum(standing.step_rate_variance[asset] - slope**2, 0.0))
    stepped = left + (place - left) * other + standing.step[asset] + spread * step_sd * first
    own = standing.step_rate[asset] + spread * (slope * first + rest * rng.standard_normal(place.shape))
    return np.where(with_it, stepped, place), np.where(with_it, own, rate), noise * np.where(with_it, other, 1.0)


def _course(
    place: FloatArray, drift: FloatArray, noise: FloatArray, rng: np.random.Generator, steps: int
) -> FloatArray:
    """Give where each course is after each step, (steps + 1, courses, 4)."""
    course = np.empty((steps + 1, *place.shape))
    course[0] = place
    moved = rng.standard_normal((steps, *place.shape))
    moved *= noise
    for step in range(steps):
        np.add(course[step], drift, out=course[step + 1])
        course[step + 1] += moved[step]
    return course


def _gaps(standing: Standing, asset: int, course: FloatArray) -> Iterator[tuple[FloatArray, int]]:
    """Give the distance from the limit at each judged place, or at each axis of it, with the column whose noise it has."""
    for columns in PLACES:
        if np.isnan(standing.left[asset, list(columns)]).any():
            continue
        vertical, horizontal = (course[:, :, column] for column in columns)
        if standing.each_axis[asset]:
            yield 1.0 - np.abs(vertical), columns[0]
            yield 1.0 - np.abs(horizontal), columns[1]
        else:
            # In limits: no square is too large or too small, so the root will do for the slower hypot.
            yield 1.0 - np.sqrt(vertical * vertical + horizontal * horizontal), columns[0]


def _bridge(gaps: FloatArray, variance: FloatArray) -> FloatArray:
    """Give the chance that a course touched the limit between two steps after both of which it was inside."""
    before, after = gaps[:-1], gaps[1:]
    inside: BoolArray = (before > 0.0) & (after > 0.0)
    product = np.where(inside, before, 0.0) * np.where(inside, after, 0.0)
    return np.where(inside, np.exp(-2.0 * np.minimum(product / variance, 350.0)), 0.0)
