"""Drift rates: twins, planted truth, and what must not change them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.regression.linear_model import WLS

from models.history.classes import Grouping, group_series
from models.history.columns import History
from models.history.direction import ONE_WAY, directions_of
from models.history.drift import NO_RUN, NO_TIME, ClassFits, Rates, fit_classes, rates_of
from models.history.forecast import recheck_of
from models.history.material import Material, material_of
from models.history.runs import runs_of
from models.history.standing import standing_of
from models.history.sums import sums_of
from tests.fleet import Plan, Truth, make_fleet, shuffled


def everything(history: History) -> tuple[Material, Grouping, ClassFits, Rates]:
    runs = runs_of(history.jobs, history.breaks)
    material = material_of(history.jobs, history.breaks, runs, history.assets)
    grouping = group_series(history.assets.speed_class[material.series_asset], np.unique(material.series))
    fits = fit_classes(material, grouping)
    sums = sums_of(material, fits.variance, grouping.fit, np.ones(len(material), bool), len(material.series_asset))
    return material, grouping, fits, rates_of(sums, fits, grouping.fit)


@pytest.fixture(scope="module")
def planted() -> tuple[History, Truth]:
    return make_fleet(21, Plan(assets=1500))


def test_the_raw_rate_is_weighted_least_squares(planted: tuple[History, Truth]) -> None:
    material, grouping, fits, rates = everything(planted[0])
    for series in np.flatnonzero(rates.n >= 3)[:25].tolist():
        rows = material.series == series
        years = material.years[rows]
        variance = fits.variance.of(years, np.full(len(years), grouping.fit[series]))
        for c in range(4):
            model = WLS(material.drift[rows, c], years, weights=1.0 / variance[:, c]).fit()
            assert rates.raw[series, c] == pytest.approx(float(model.params[0]), rel=1e-9)


def test_shrinking_brings_rates_nearer_to_the_truth_and_intervals_hold(planted: tuple[History, Truth]) -> None:
    history, truth = planted
    material, _, fits, rates = everything(history)
    true = truth.rate[material.series_asset]
    known = np.isfinite(rates.raw)

    def error(value: np.ndarray) -> float:
        return float(np.sqrt(np.mean((value - true)[known] ** 2)))

    assert error(rates.shrunk) < 0.8 * error(rates.raw)
    held = (rates.low <= true) & (true <= rates.high)
    assert np.mean(held[known]) == pytest.approx(0.90, abs=0.02)
    np.testing.assert_allclose(np.sqrt(fits.between[:-1]), 0.25, atol=0.04)
    assert fits.usable.sum() >= 4


def test_weights_beat_the_mean_of_rates(planted: tuple[History, Truth]) -> None:
    history, truth = planted
    material, _, _, rates = everything(history)
    naive = material.drift[:, 0] / material.years
    n = np.bincount(material.series, minlength=len(rates.n))
    mean = np.bincount(material.series, naive, len(rates.n)) / np.maximum(n, 1)
    use = n >= 2
    true = truth.rate[material.series_asset, 0]
    assert np.mean((rates.raw[use, 0] - true[use]) ** 2) < 0.7 * np.mean((mean[use] - true[use]) ** 2)


def test_renumbering_assets_and_doubling_the_unit_change_nothing(planted: tuple[History, Truth]) -> None:
    history, _ = planted
    material, _, _, rates = everything(history)
    other, order = shuffled(history, 3)
    moved, _, _, again = everything(other)
    for new, old in enumerate(order[:200].tolist()):
        a, b = material.series_now[old], moved.series_now[new]
        if a >= 0:
            np.testing.assert_allclose(again.shrunk[b], rates.shrunk[a], rtol=1e-7, atol=1e-10)
    jobs = history.jobs
    in_other_unit = replace(jobs, found=jobs.found * 2, left=jobs.left * 2, limits=jobs.limits * 2)
    np.testing.assert_allclose(everything(replace(history, jobs=in_other_unit))[3].raw, rates.raw, rtol=1e-9)


def test_a_new_job_of_one_asset_changes_the_raw_rates_of_no_other(planted: tuple[History, Truth]) -> None:
    history, _ = planted
    material, grouping, fits, rates = everything(history)
    last = int(np.flatnonzero(history.jobs.asset == 7)[-1])
    fewer = replace(history, jobs=history.jobs.take(np.delete(np.arange(len(history.jobs)), last)))
    runs = runs_of(fewer.jobs, fewer.breaks)
    less = material_of(fewer.jobs, fewer.breaks, runs, fewer.assets)
    sums = sums_of(less, fits.variance, grouping.fit, np.ones(len(less), bool), len(less.series_asset))
    before = rates_of(sums, fits, grouping.fit)
    changed = ~np.isclose(before.raw, rates.raw, equal_nan=True).all(axis=1)
    assert set(material.series_asset[changed].tolist()) <= {7}


def test_no_time_and_no_run_give_reasons() -> None:
    history, _ = make_fleet(22, Plan(assets=60, jobs_low=1, jobs_high=4))
    jobs = history.jobs
    first = np.flatnonzero(np.diff(jobs.asset, prepend=-1))
    same = np.repeat(jobs.performed_us[first], np.diff(np.append(first, len(jobs))))
    stuck = np.where(jobs.asset == jobs.asset[-1], same, jobs.performed_us)
    material, _, _, rates = everything(replace(history, jobs=replace(jobs, performed_us=stuck)))
    single = np.bincount(jobs.asset, minlength=60) == 1
    assert (rates.reason[material.series_now[single]] == NO_RUN).all()
    last = material.series_now[jobs.asset[-1]]
    if rates.n[last]:
        assert rates.reason[last] == NO_TIME
        assert np.isnan(rates.shrunk[last]).all()


def test_one_machine_that_drifts_among_fifty_nine_that_stand_still_is_not_taken_for_one_of_them() -> None:
    """Its interval holds the planted rate, and it is looked at before it has gone over, as often as both say."""
    plan = Plan(
        assets=60, jobs_low=9, jobs_high=16, rate_sd=0.0, sigma_w=0.12, sigma_m=0.05, dt_median=0.5, break_share=0.0, drifters=1
    )  # fmt: skip
    fleets, held, over, one_way = 24, 0, 0, 0
    for seed in range(fleets):
        history, truth = make_fleet(7000 + seed, plan)
        material, grouping, fits, rates = everything(history)
        one = material.series_now[0]
        held += bool(rates.low[one, 0] <= truth.rate[0, 0] <= rates.high[one, 0])
        one_way += bool(directions_of(rates, fits, grouping.fit).verdict[one] == ONE_WAY)
        standing = standing_of(history.jobs, history.assets, material, rates=rates, fits=fits, grouping=grouping)
        years = recheck_of(standing, 0.10).days[0] / 365.25
        walk = np.random.default_rng(seed).normal(0.0, plan.sigma_w, 4) * np.sqrt(years)
        place = truth.left[0] + truth.rate[0] * years + walk
        over += bool(max(np.hypot(place[0], place[2]), np.hypot(place[1], place[3])) > 1.0)
    assert one_way == fleets
    assert held >= binom.ppf(0.001, fleets, 0.90)
    assert over <= binom.ppf(0.999, fleets, 0.10)
