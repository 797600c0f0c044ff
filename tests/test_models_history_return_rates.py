"""Return rates from yes and no over lengths."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.special import gammaln, logsumexp
from scipy.stats import binom, gamma
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.families.links import CLogLog
from statsmodels.genmod.generalized_linear_model import GLM

from models.history import return_rates as return_rates_module
from models.history.priors import Prior, fit_gamma, posterior_rate
from models.history.return_prior import GRID, MOST_ALIKE, _priors, nodes_of
from models.history.return_rates import _log_likelihood, _posterior, rates_alone, return_rates


def fleet(seed: int, assets: int, length: float = 0.75) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    rate = rng.gamma(0.8, 0.5, assets)
    asset = np.repeat(np.arange(assets), rng.integers(1, 16, assets))
    years = np.exp(rng.normal(np.log(length), 0.6, len(asset)))
    return asset, years, rng.random(len(asset)) < -np.expm1(-rate[asset] * years), rate


def test_the_posterior_is_the_integral() -> None:
    years, returned = np.array([0.5, 1.5, 0.9]), np.array([True, False, True])
    prior = Prior(0.9, 1.8, 1, "")

    def weight(x: float) -> float:
        seen = np.where(returned, -np.expm1(-x * years), np.exp(-x * years)).prod()
        return float(seen * gamma.pdf(x, prior.a, scale=1.0 / prior.b))

    mass = quad(weight, 0, 60, limit=300)[0]
    mean = quad(lambda x: x * weight(x), 0, 60, limit=300)[0] / mass
    got = _posterior(_log_likelihood(np.zeros(3, int), years, returned, 1), [prior], np.array([0]))
    assert got.mean[0] == pytest.approx(mean, rel=2e-3)
    assert quad(weight, 0, got.bound[0], limit=300)[0] / mass == pytest.approx(0.10, abs=2e-3)
    assert quad(weight, 0, got.high[0], limit=300)[0] / mass == pytest.approx(0.95, abs=2e-3)


def test_a_planted_prior_comes_back_and_intervals_hold() -> None:
    asset, years, returned, rate = fleet(1, 5000)
    got = return_rates(asset, years, returned, np.zeros(5000, int))
    assert got.rate_priors[0].a == pytest.approx(0.8, rel=0.1)
    assert got.rate_priors[0].b == pytest.approx(2.0, rel=0.1)
    assert np.mean((got.rate.low <= rate) & (rate <= got.rate.high)) == pytest.approx(0.90, abs=0.015)


def test_one_common_rate_is_the_complementary_log_log_model() -> None:
    rng = np.random.default_rng(4)
    years = np.exp(rng.normal(0, 0.5, 4000))
    returned = rng.random(4000) < -np.expm1(-0.4 * years)
    model = GLM(returned.astype(float), np.ones((4000, 1)), family=Binomial(CLogLog()), offset=np.log(years)).fit()
    log = _log_likelihood(np.zeros(4000, int), years, returned, 1)[0]
    assert GRID[np.argmax(log)] == pytest.approx(float(np.exp(model.params[0])), rel=0.08)


def test_short_looks_are_the_gamma_poisson_model() -> None:
    asset, years, returned, _ = fleet(2, 2000, length=0.02)
    total = np.bincount(asset, years, 2000)
    counts = np.bincount(asset[returned], minlength=2000)
    got = return_rates(asset, years, returned, np.zeros(2000, int))
    prior, n = fit_gamma(counts, total), np.full(2000, 1.0)
    best = got.rate_priors[0]
    assert best.a / best.b == pytest.approx(prior.a / prior.b, rel=0.03)
    plain = sum(share * posterior_rate(counts, total, a * n, b * n).mean for a, b, share in best.nodes)
    # One look shows one return at most, so a count of them is a little lower where they are many.
    np.testing.assert_allclose(got.rate.mean, plain, rtol=0.05)


def test_small_classes_borrow_and_assets_without_a_look_say_so() -> None:
    asset, years, returned, _ = fleet(3, 100)
    classes = np.array([0] * 60 + [1] * 40 + [5, 0])
    got = return_rates(asset, years, returned, classes)
    assert got.labels.tolist() == [0, 1, -1]
    assert got.class_based[100:].tolist() == [True, True]
    assert got.rate.mean[100] == pytest.approx(got.rate_priors[2].a / got.rate_priors[2].b, rel=0.02)
    assert (got.share.bound <= got.share.mean).all()


def test_a_look_of_no_length_that_shows_a_return_is_one_of_a_day() -> None:
    asset, years, returned, _ = fleet(8, 40)
    years[np.flatnonzero(returned)[:3]] = 0.0
    days = np.where(years > 0.0, years, 1.0 / 365.25)
    got, expected = (return_rates(asset, length, returned, np.zeros(40, int)).rate for length in (years, days))
    for name in ("mean", "bound", "low", "high"):
        np.testing.assert_allclose(getattr(got, name), getattr(expected, name), rtol=1e-4)
    one, other = (
        _log_likelihood(np.zeros(1, int), np.array([length]), np.ones(1, bool), 1) for length in (0.0, 1.0 / 365.25)
    )
    np.testing.assert_allclose(one, other, rtol=1e-12)


def test_narrow_priors_on_a_wide_grid_of_means_do_not_stand_apart() -> None:
    """Machines as alike as can be, means a third of a unit of their logarithm apart or twice that: against a grid fifty times as fine."""
    rates = np.exp(np.linspace(-5.0, 5.0, 300))

    def below(v: np.ndarray, step: float) -> np.ndarray:
        weight = np.exp(-0.5 * v**2)
        nodes = _priors((np.full(len(v), np.log(MOST_ALIKE)), v, weight / weight.sum()), step)
        return np.asarray(sum(share * gamma.cdf(rates, a, scale=1.0 / b) for a, b, share in nodes))

    fine = np.linspace(-4.2, 3.6, 500)
    for points in (10, 20):
        coarse = np.linspace(-4.2, 3.6, points)
        assert np.abs(below(coarse, coarse[1] - coarse[0]) - below(fine, 0.0)).max() < 0.03


def test_nobody_ever_looked() -> None:
    got = return_rates(np.zeros(0, int), np.zeros(0), np.zeros(0, bool), np.zeros(3, int))
    assert np.isnan(got.rate.mean).all()
    assert got.ranking().tolist() == []


def test_renumbering_the_assets_changes_nothing() -> None:
    asset, years, returned, _ = fleet(6, 200)
    order = np.random.default_rng(0).permutation(200)
    one = return_rates(asset, years, returned, np.zeros(200, int))
    two = return_rates(order[asset], years, returned, np.zeros(200, int))
    np.testing.assert_allclose(two.rate.bound[order], one.rate.bound, rtol=1e-6)


@pytest.mark.parametrize("returned", [True, False])
def test_all_or_none_returned_is_finite(returned: bool) -> None:
    got = return_rates(np.arange(40), np.zeros(40), np.full(40, returned), np.zeros(40, int))
    assert np.isfinite(got.rate.mean).all()
    assert np.isfinite(got.share.high).all()


def test_a_few_times_stand_for_all_that_never_came_back() -> None:
    rng = np.random.default_rng(7)
    for quiet in (rng.gamma(2.0, 4.0, 5000), np.append(rng.uniform(0.0, 30.0, 3000), [0.0, 0.0]), np.full(400, 3.0)):
        nodes, weights = nodes_of(quiet)
        assert weights.sum() == pytest.approx(len(quiet), rel=1e-13)
        for smooth in (lambda q: 1.0 / (1.3 + q), lambda q: np.log(0.7 + q) ** 2, lambda q: np.exp(-0.4 * q)):
            assert float(weights @ smooth(nodes)) == pytest.approx(float(smooth(quiet).sum()), rel=1e-11)


def test_many_machines_give_the_prior_that_each_row_of_its_own_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    asset, years, returned, _ = fleet(3, 3000)
    returned = returned & (np.arange(len(returned)) % 3 == 0)
    classes = np.arange(3000) % 3 - 1
    quick = return_rates(asset, years, returned, classes)
    monkeypatch.setattr(return_rates_module, "MANY", 10**9)
    plain = return_rates(asset, years, returned, classes)
    for one, other in zip(quick.rate_priors, plain.rate_priors, strict=True):
        assert (one.a, one.b, one.n) == (pytest.approx(other.a, rel=1e-11), pytest.approx(other.b, rel=1e-11), other.n)
    for name in ("mean", "bound", "low", "high"):
        assert np.allclose(getattr(quick.rate, name), getattr(plain.rate, name), rtol=1e-11, atol=0.0)


@pytest.mark.parametrize("assets", [40, 3000])
def test_the_ranking_alone_is_that_of_the_whole(assets: int) -> None:
    asset, years, returned, _ = fleet(5, assets)
    classes = np.arange(assets) % 2
    whole, brief = (return_rates(asset, years, returned, classes, full=full) for full in (True, False))
    assert brief.ranking().tolist() == whole.ranking().tolist()
    back = whole.returns > 0
    for name in ("mean", "bound", "low", "high"):
        assert np.allclose(getattr(brief.rate, name)[back], getattr(whole.rate, name)[back], rtol=1e-11, atol=0.0)
        assert np.isnan(getattr(brief.rate, name)[~back]).all()
    assert np.isnan(brief.share.mean).all()


class Tried:
    """The marginal likelihood of a gamma prior with any share alike likely, also of mean looks, by a sum over a fine grid of rates.

    Its top is found by scipy's search.
    """

    def __init__(self, asset: np.ndarray, years: np.ndarray, returned: np.ndarray) -> None:
        self.log_rate = np.linspace(np.log(1e-6), np.log(500.0), 420)
        exposed = np.exp(self.log_rate) * np.maximum(years, 1.0 / 365.25)[:, None]
        looks = np.where(returned[:, None], np.log(-np.expm1(-exposed)), -exposed)
        self.likelihood = np.zeros((int(asset.max()) + 1, len(self.log_rate)))
        np.add.at(self.likelihood, asset, looks)
        self.about, self.look = float(np.log(returned.sum() / years.sum())), float(years.mean())

    def height(self, shape: float, log_mean: float) -> float:
        density = shape * (self.log_rate + np.log(shape) - log_mean) - shape * np.exp(self.log_rate - log_mean)
        width = float(self.log_rate[1] - self.log_rate[0])
        seen = float(logsumexp(self.likelihood + density - gammaln(shape) + np.log(width), axis=1).sum())
        return seen + float(np.log(shape / (1.0 + shape) ** 2)) + log_mean - self.look * float(np.exp(log_mean))

    def top(self, shape: float) -> float:
        bounds = (self.about - 2.0, self.about + 2.0)
        found = minimize_scalar(lambda mean: -self.height(shape, mean), bounds=bounds, method="bounded")
        return -float(found.fun)


@pytest.mark.parametrize("shape", [0.8, 4.0, 1e6])
@pytest.mark.parametrize(("seed", "looks"), [(1, 1), (2, 2), (3, 4)])
def test_the_prior_is_the_best_one_also_where_machines_hardly_differ(shape: float, seed: int, looks: int) -> None:
    rng = np.random.default_rng(100 * seed + looks)
    assets = 260
    rate = rng.gamma(shape, 0.3 / shape, assets)
    asset = np.repeat(np.arange(assets), looks)
    years = np.exp(rng.normal(-0.2, 0.5, len(asset)))
    returned = rng.random(len(asset)) < -np.expm1(-rate[asset] * years)
    got = return_rates(asset, years, returned, np.zeros(assets, int)).rate_priors[0]
    tried = Tried(asset, years, returned)
    shapes = np.exp(np.linspace(np.log(0.2), np.log(MOST_ALIKE), 24)).tolist()
    # The grid of the prior begins at one return in 100,000 years: that may cost a thousandth of a unit of likelihood.
    assert tried.height(got.a, float(np.log(got.a / got.b))) > max(tried.top(one) for one in shapes) - 2e-3
    assert (got.how == "moments") == (got.a == MOST_ALIKE)
    assert got.a <= MOST_ALIKE


def test_few_looks_do_not_make_machines_alike() -> None:
    """Of many fleets in which machines differ, with two looks each: the likelihood alone calls every second fleet all alike."""
    shapes = []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        rate = rng.gamma(1.5, 0.1 / 1.5, 120)
        asset = np.repeat(np.arange(120), 2)
        returned = rng.random(240) < -np.expm1(-rate[asset])
        shapes.append(return_rates(asset, np.ones(240), returned, np.zeros(120, int)).rate_priors[0].a)
    assert max(shapes) < 10.0
    assert 0.75 < float(np.median(shapes)) < 3.0


def test_a_rate_that_all_have_in_common_ends_at_the_narrowest_prior_and_on_the_common_rate() -> None:
    asset, years = np.repeat(np.arange(3000), 3), np.full(9000, 0.8)
    returned = np.arange(9000) % 9 == 0  # every third machine once: less unlike each other than chance makes them
    got = return_rates(asset, years, returned, np.zeros(3000, int)).rate_priors[0]
    assert (got.a, got.how) == (MOST_ALIKE, "moments")
    assert got.a / got.b == pytest.approx(-np.log(1.0 - 1.0 / 9.0) / 0.8, rel=0.02)


def test_the_rate_of_an_asset_alone_has_the_largest_likelihood() -> None:
    """Looks of one length have a closed form, −log(1 − returns ⁄ looks) ⁄ t; others are held against a fine grid."""
    years = np.array([0.5, 0.5, 0.5, 0.5, 1.0, 2.0, 0.3, 1.0, 1.0, 2.0])
    asset = np.array([0, 0, 0, 0, 1, 1, 1, 2, 3, 3])
    returned = np.array([True, False, False, True, True, False, True, True, False, False])
    got = rates_alone(asset, years, returned, 5)
    assert got[0] == pytest.approx(-np.log(0.5) / 0.5, rel=1e-9)
    grid = np.linspace(0.01, 5.0, 200_001)
    likelihood = np.log(-np.expm1(-grid)) + np.log(-np.expm1(-0.3 * grid)) - 2.0 * grid
    assert got[1] == pytest.approx(grid[np.argmax(likelihood)], abs=5e-5)
    assert got[2] == np.inf
    assert got[3] == 0.0
    assert np.isnan(got[4])
    assert got[1] > 2 / 3.3, "above returns ÷ time"


@pytest.mark.parametrize(("machines", "looks"), [(4, 2), (12, 2), (100, 1), (300, 10)])
def test_without_a_return_the_interval_ends_where_that_of_a_count_does(machines: int, looks: int) -> None:
    """No event in T years leaves rates up to 3.0 / T at 95 % (Poisson); machines that may differ leave a little more."""
    asset, n = np.repeat(np.arange(machines), looks), machines * looks
    got = return_rates(asset, np.ones(n), np.zeros(n, bool), np.zeros(machines, int))
    exact = -np.log(0.05) / n
    assert exact * 0.85 < got.rate.high[0] < exact * 1.45
    assert -np.expm1(-exact) * 0.85 < got.share.high[0] < exact * 1.8
    assert got.rate.low[0] < max(0.05 / n, 1e-4)
    assert 0.0 < got.share.mean[0] < got.rate.mean[0]


def test_where_every_look_showed_a_return_the_rate_does_not_run_off() -> None:
    got = return_rates(np.arange(10), np.ones(10), np.ones(10, bool), np.zeros(10, int))
    least = -np.log(1.0 - 0.05 ** (1.0 / 10.0))  # ten of ten leave shares from 0.741 up at 95 % (binomial)
    assert 0.5 * least < got.rate.low[0] < least
    assert got.rate.high[0] < 10.0
    assert got.share.low[0] < 0.05 ** (1.0 / 10.0) < got.share.mean[0]


def test_intervals_hold_where_returns_are_rare() -> None:
    """Of each fleet one machine, so that the trials are independent and the bound is the binomial law's."""
    held = np.zeros((2, 60), bool)
    asset = np.repeat(np.arange(30), 2)
    for fleet_number in range(60):
        rng = np.random.default_rng([38, fleet_number])
        rate = rng.gamma(2.0, (0.01, 0.02, 0.05)[fleet_number % 3] / 2.0, 30)
        returned = rng.random(60) < -np.expm1(-rate[asset])
        got = return_rates(asset, np.ones(60), returned, np.zeros(30, int))
        held[0, fleet_number] = got.rate.low[0] <= rate[0] <= got.rate.high[0]
        held[1, fleet_number] = got.share.low[0] <= -np.expm1(-rate[0]) <= got.share.high[0]
    assert held.sum(axis=1).min() >= binom.ppf(0.001, 60, 0.90)


def test_figures_are_averaged_over_what_is_not_known_of_the_class() -> None:
    """Against a sum over a fine grid of shapes, means and rates, which takes nothing from the program but the class's priors."""
    asset, years = np.repeat(np.arange(8), 3), np.tile([0.5, 1.0, 2.0], 8)
    returned = np.isin(np.arange(24), [1, 2, 11])
    got = return_rates(asset, years, returned, np.zeros(8, int))
    tried = Tried(asset, years, returned)
    shapes, means = np.linspace(np.log(0.05), np.log(MOST_ALIKE), 25), np.linspace(-7.0, 3.0, 50)
    log = np.array([[tried.height(float(np.exp(u)), v) for v in means.tolist()] for u in shapes.tolist()])
    share = np.exp(log - log.max())
    share /= share.sum()
    weight = np.zeros((8, len(tried.log_rate)))
    for u, row in zip(np.exp(shapes).tolist(), share, strict=True):
        for v, part in zip(means.tolist(), row.tolist(), strict=True):
            one = np.exp(tried.likelihood + u * (tried.log_rate + np.log(u) - v) - u * np.exp(tried.log_rate - v))
            weight += part * one / one.sum(axis=1, keepdims=True)
    np.testing.assert_allclose(got.rate.mean, weight @ np.exp(tried.log_rate), rtol=0.05)
    reached = np.cumsum(weight, axis=1)
    low, high = (np.exp([np.interp(p, row, tried.log_rate) for row in reached]) for p in (0.05, 0.95))
    np.testing.assert_allclose(got.rate.high, high, rtol=0.06)
    np.testing.assert_allclose(got.rate.low, low, rtol=0.06, atol=5e-4)  # far down: a return in 2,000 years, or 9,000
