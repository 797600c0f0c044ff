"""Trend of recurrences against a generalised linear model, and the size that its test keeps."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.families.links import CLogLog
from statsmodels.genmod.generalized_linear_model import GLM

from models.history.recurrence import look_ages, recurrence_of


def test_returns_that_come_faster_give_a_positive_z_and_three_are_too_few() -> None:
    years = np.ones(12)
    returned = np.array([0, 0, 0, 0, 1, 0, 1, 1, 1, 1, 1, 1], bool)
    got = recurrence_of(np.array([0] * 12), years, returned, 2)
    assert got.z[0] > 1.5
    assert np.isnan(recurrence_of(np.zeros(3, int), np.ones(3), np.ones(3, bool), 1).z[0])
    assert np.isnan(got.p[1])


@pytest.mark.parametrize(
    ("years", "rate"),
    [([2.0] * 6 + [0.25] * 12, 2.0), ([1.0] * 12, 1.0), ([0.25] * 12 + [2.0] * 6, 1.0), ([0.2] * 40, 0.6)],
)
def test_a_constant_rate_seldom_looks_like_a_trend_whatever_the_looks(years: list[float], rate: float) -> None:
    """Long looks nearly always show a return: by their middles 17 % of the first case speeded up, and 0.3 % of the second moved."""
    units, looks = 4000, len(years)
    length = np.tile(years, units)
    returned = np.random.default_rng(11).random(units * looks) < -np.expm1(-rate * length)
    got = recurrence_of(np.repeat(np.arange(units), looks), length, returned, units)
    p = got.p[~np.isnan(got.p)]
    assert len(p) > 0.6 * units
    assert binom.ppf(0.001, len(p), 0.020) <= np.count_nonzero(p <= 0.05) <= binom.ppf(0.999, len(p), 0.055)
    assert np.count_nonzero(p <= 0.01) <= binom.ppf(0.999, len(p), 0.016)


def test_the_trend_of_looks_is_the_score_test_of_a_generalised_linear_model() -> None:
    rng = np.random.default_rng(12)
    years = np.exp(rng.normal(-0.3, 0.8, 30))
    returned = rng.random(30) < -np.expm1(-0.7 * years)
    got = recurrence_of(np.zeros(30, int), years, returned, 1)
    age = np.cumsum(years) - 0.5 * years
    asked = {"family": Binomial(CLogLog()), "offset": np.log(years)}
    common = GLM(returned.astype(float), np.ones((30, 1)), **asked).fit(tol=1e-12).params
    both = GLM(returned.astype(float), np.column_stack([np.ones(30), age]), **asked)
    at = np.append(common, 0.0)
    slope, information = both.score(at), -both.hessian(at, observed=False)
    assert got.z[0] ** 2 * 30.0 / 29.0 == pytest.approx(float(slope @ np.linalg.solve(information, slope)), rel=1e-6)


def test_where_every_look_showed_a_return_there_is_no_trend() -> None:
    got = recurrence_of(np.repeat([0, 1], 6), np.ones(12), np.append(np.ones(6, bool), np.arange(6) > 1), 2)
    assert np.isnan([got.z[0], got.p[0]]).all()
    assert got.n.tolist() == [6, 4]
    assert got.z[1] > 1.5
    assert np.isnan(recurrence_of(np.zeros(8, int), np.zeros(8), np.arange(8) > 2, 1).z[0])


def test_time_between_looks_does_not_count() -> None:
    asset, years = np.array([0, 0, 0, 0, 1, 1, 1, 1]), np.array([1.0, 2, 1, 3, 9, 9, 9, 9])
    back = np.array([1, 1, 1, 1, 0, 0, 0, 0], bool)
    asset, years, back = np.append([0], asset), np.append([2.5], years), np.append([False], back)
    alone = recurrence_of(asset[:5], years[:5], back[:5], 1)
    assert recurrence_of(asset, years, back, 2).z[0] == alone.z[0]


def test_ages_count_the_looks_alone_and_put_a_return_in_the_middle_of_its_look() -> None:
    event, unit, end = look_ages(np.array([0, 0, 2]), np.array([1.0, 2.0, 4.0]), np.array([False, True, True]), 3)
    assert event.tolist() == [2.0, 2.0]
    assert unit.tolist() == [0, 2]
    assert end.tolist() == [3.0, 0.0, 4.0]
