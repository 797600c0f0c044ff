"""The variance model: planted figures come back, and one typing error does not move them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import nnls
from scipy.stats import norm

from models.history.classes import Grouping, group_series
from models.history.drift import fit_classes
from models.history.limit_space import limit_sizes
from models.history.material import Material, material_of
from models.history.moderation import inverse_trigamma, moderate, variance_prior
from models.history.runs import runs_of
from models.history.variance import CAP_KEEPS, _fit_one, _regress, fit_variance
from tests.fleet import Plan, make_fleet


def drawn(seed: int, plan: Plan) -> tuple[Material, Grouping]:
    history, _ = make_fleet(seed, plan)
    runs = runs_of(history.jobs, history.breaks)
    material = material_of(history.jobs, history.breaks, runs, history.assets)
    return material, group_series(np.zeros(len(material.series_asset), np.int64), np.unique(material.series))


PLAN = Plan(assets=3000, heavy=False, scatter_df=np.inf, dt_sigma=0.9)


def test_planted_figures_come_back() -> None:
    material, grouping = drawn(11, PLAN)
    model = fit_variance(material, grouping, np.ones(len(material), bool))
    np.testing.assert_allclose(np.sqrt(model.walk[0]), 0.25, rtol=0.06)
    np.testing.assert_allclose(np.sqrt(model.readings[0] / 2.0), 0.08, rtol=0.12)
    assert model.residuals[0] > 5000


def test_a_jump_of_25_4_from_a_wrong_unit_hardly_moves_them() -> None:
    material, grouping = drawn(11, PLAN)
    wrong = material.drift.copy()
    wrong[5] *= 25.4 * 10
    rows = np.ones(len(material), bool)
    clean, dirty = fit_variance(material, grouping, rows), fit_variance(replace(material, drift=wrong), grouping, rows)
    np.testing.assert_allclose(dirty.walk + dirty.readings, clean.walk + clean.readings, rtol=0.02)


def test_one_wild_drift_counts_as_sixteen_variances_and_no_more() -> None:
    """Written out: v K (n + 1) = Σ r² + 16 v, with K the share of a normal variance within four standard deviations, from scipy."""
    n = 200
    drift = np.sqrt(0.04) * norm.ppf((np.arange(n) + 0.5) / n)
    keeps = norm.expect(lambda z: np.minimum(z * z, 16.0))
    assert keeps == pytest.approx(CAP_KEEPS, abs=5e-6)
    expected = np.sum(drift**2) / (keeps * (n + 1) - 16.0)
    for wild in (5.0, 500.0):
        walk, readings, *_ = _fit_one(np.append(drift, wild), np.ones(n + 1), np.arange(n + 1), None, None)
        assert walk + readings == pytest.approx(expected, rel=2e-3)


def test_a_given_reading_error_is_taken_as_it_is() -> None:
    material, grouping = drawn(11, PLAN)
    given = np.full((len(material), 4), 2 * 0.08**2)
    model = fit_variance(material, grouping, np.ones(len(material), bool), given)
    np.testing.assert_allclose(model.readings[0], 0.0128)
    np.testing.assert_allclose(np.sqrt(model.walk[0]), 0.25, rtol=0.05)


def test_where_all_speeds_are_pooled_the_error_of_reading_is_one_in_millimetres() -> None:
    """Planted 0.015 mm and 0.06 mm/m; limits go from 0.034 to 0.122 mm."""
    plan = replace(PLAN, assets=800, sigma_m=0.0, reading_mm=(0.015, 0.06), spacer_share=0.0)
    history, _ = make_fleet(14, plan)
    material, grouping = drawn(14, plan)
    sizes = limit_sizes(history.jobs, material.scale_row)
    every = np.ones(len(material), bool)
    model = fit_variance(material, grouping, every, sizes=sizes)
    assets = np.arange(800)
    fleet = np.full(800, grouping.fleet)
    in_mm = np.sqrt(0.5 * model.readings[fleet] * model.finer(fleet, sizes, assets)) * sizes.size
    np.testing.assert_allclose(in_mm, np.tile([0.015, 0.06], (800, 2)), rtol=0.12)
    np.testing.assert_allclose(np.sqrt(model.walk[-1]), 0.25, rtol=0.1)
    # The error that repeats give, in each machine's own limits, comes out the same.
    given = 2.0 * (np.array([0.015, 0.06] * 2) / sizes.size[material.asset]) ** 2
    known = fit_variance(material, grouping, every, given, sizes=sizes)
    again = np.sqrt(0.5 * known.readings[fleet] * known.finer(fleet, sizes, assets)) * sizes.size
    np.testing.assert_allclose(again, np.tile([0.015, 0.06], (800, 2)))
    # A class of its own keeps an error in limits, and so does what is in millimetres already.
    own = group_series(history.assets.speed_class[material.series_asset], np.unique(material.series))
    classes = fit_variance(material, own, every, sizes=sizes)
    assert not classes.pooled[:-1].any()
    assert (classes.finer(own.fit[material.series_now], sizes, assets) == 1.0).all()
    assert not fit_variance(material, grouping, every).pooled.any()


@pytest.mark.parametrize("assets", [40, 300])
def test_where_all_speeds_are_pooled_and_a_visit_scatters_with_the_limit_the_error_is_one_in_limits(
    assets: int,
) -> None:
    """Planted 0.12 limits at every speed: taken for millimetres it would be three times too large at the fastest."""
    plan = replace(PLAN, assets=assets, sigma_m=0.12)
    history, _ = make_fleet(15, plan)
    material, grouping = drawn(15, plan)
    sizes = limit_sizes(history.jobs, material.scale_row)
    every = np.ones(len(material), bool)
    model = fit_variance(material, grouping, every, sizes=sizes)
    assert not model.pooled.any()
    assert (model.finer(np.full(assets, grouping.fleet), sizes, np.arange(assets)) == 1.0).all()
    plain = fit_variance(material, grouping, every)
    np.testing.assert_array_equal([model.walk, model.readings], [plain.walk, plain.readings])
    if assets == 300:
        np.testing.assert_allclose(np.sqrt(0.5 * model.readings[-1]), 0.12, rtol=0.15)


def test_the_regression_is_the_non_negative_least_squares() -> None:
    rng = np.random.default_rng(1)
    for _ in range(50):
        years, squares, weight = rng.uniform(0.1, 3, 12), rng.normal(0.5, 1.0, 12), rng.uniform(0.5, 2, 12)
        design = np.stack([years, np.ones(12)], axis=1) * np.sqrt(weight)[:, None]
        expected, _ = nnls(design, squares * np.sqrt(weight))
        got = _regress(squares, years, weight, None, None)
        np.testing.assert_allclose(np.maximum(got, 0.0), expected, atol=1e-9)


def test_identical_readings_and_nothing_at_all_give_the_finest_variance_and_no_warning() -> None:
    material, grouping = drawn(12, replace(PLAN, assets=40))
    flat = replace(material, drift=np.zeros_like(material.drift))
    model = fit_variance(flat, grouping, np.ones(len(material), bool))
    assert (model.of(np.array([1.0]), np.array([0])) == 1e-8).all()
    nothing = fit_variance(material, grouping, np.zeros(len(material), bool))
    assert nothing.residuals.sum() == 0
    assert not fit_classes(flat, grouping, np.zeros(len(material), bool)).usable.any()


def test_the_prior_of_variance_factors_comes_back() -> None:
    rng = np.random.default_rng(2)
    df = rng.integers(2, 12, 20_000).astype(float)
    true = 1.3 * 10.0 / rng.chisquare(10.0, len(df))
    df0, factor0 = variance_prior(true * rng.chisquare(df) / df, df)
    assert df0 == pytest.approx(10.0, rel=0.08)
    assert factor0 == pytest.approx(1.3, rel=0.02)


def test_equal_variances_give_a_prior_that_is_nearly_certain() -> None:
    rng = np.random.default_rng(3)
    df = np.full(5000, 6.0)
    df0, factor0 = variance_prior(rng.chisquare(df) / df, df)
    assert df0 > 60.0
    assert factor0 == pytest.approx(1.0, rel=0.03)


@pytest.mark.parametrize("x", [0.05, 0.7, 3.0, 50.0, 4e4])
def test_inverse_trigamma_is_the_inverse(x: float) -> None:
    from scipy.special import polygamma

    assert inverse_trigamma(float(polygamma(1, x))) == pytest.approx(x, rel=1e-6)


def test_an_asset_without_residuals_has_its_classes_factor() -> None:
    factor, df = moderate(np.array([0.0, 20.0]), np.array([0.0, 5.0]), np.array([5.0, 5.0]), np.array([1.2, 1.2]))
    assert factor.tolist() == [1.2, 2.6]
    assert df.tolist() == [5.0, 10.0]
    assert moderate(np.array([9.0]), np.array([3.0]), np.array([np.inf]), np.array([1.0]))[0].tolist() == [1.0]
