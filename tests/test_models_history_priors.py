"""Priors of shares and rates against the rats, the pumps, and general optimisers."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import betabinom, nbinom

from models.history.priors import (
    Prior,
    beta_moments,
    fit_beta,
    fit_gamma,
    posterior_rate,
    posterior_share,
    shares_after,
)

PUBLISHED = Path(__file__).parent / "published"
DATA = json.loads((PUBLISHED / "proportions_fdr_eb.json").read_text(encoding="utf-8"))
OWN = json.loads((PUBLISHED / "own_reference_values.json").read_text(encoding="utf-8"))


def test_the_rats_by_moments() -> None:
    """Tarone (1982), as in Bayesian Data Analysis ch. 5 (values from memory): 1.4 and 8.6, one decimal; 70 groups."""
    rats = DATA["beta_binomial_rats"]
    prior = beta_moments(np.array(rats["y"])[:70], np.array(rats["n"])[:70])
    assert (round(prior.a, 1), round(prior.b, 1)) == (rats["published"]["alpha"], rats["published"]["beta"])


def test_the_rats_by_maximum_likelihood() -> None:
    """own_reference_values.json (computed for this project), to its own convergence of five digits."""
    rats = DATA["beta_binomial_rats"]
    prior = fit_beta(np.array(rats["y"])[:70], np.array(rats["n"])[:70])
    assert [prior.a, prior.b] == pytest.approx(OWN["rats_beta_binomial_mle_70_groups"], rel=1e-5)
    assert prior.how == "likelihood"


def test_the_pumps() -> None:
    """Gaver & O'Muircheartaigh (1987): .8237675, 1.2634812, about 3 digits meaningful; exact pair computed here."""
    pumps, own = DATA["gamma_poisson_pumps"], OWN["pumps_exact_marginal_mle"]
    x, t = np.array(pumps["x"]), np.array(pumps["t"], dtype=float)
    prior = fit_gamma(x, t)
    assert [prior.a, prior.b] == pytest.approx([pumps["published"]["alpha"], pumps["published"]["beta"]], abs=5e-3)
    assert [prior.a, prior.b] == pytest.approx([own["alpha"], own["beta"]], rel=1e-5)
    posterior = posterior_rate(x, t, np.full(10, own["alpha"]), np.full(10, own["beta"]))
    rows = np.array(own["rows"])
    np.testing.assert_allclose(
        np.stack([posterior.mean, posterior.low, posterior.high], axis=1), rows[:, 3:6], atol=1e-5
    )


def test_both_fits_agree_with_a_general_optimiser() -> None:
    rng = np.random.default_rng(1)
    n = rng.integers(1, 16, 800)
    x = rng.binomial(n, rng.beta(1.2, 6.0, 800))
    best = minimize(
        lambda p: -betabinom.logpmf(x, n, *np.exp(p)).sum(),
        [0.0, 1.0],
        method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-9},
    )
    prior = fit_beta(x, n)
    assert [prior.a, prior.b] == pytest.approx(np.exp(best.x), rel=1e-4)
    years = rng.uniform(0.5, 8.0, 800)
    events = rng.poisson(years * rng.gamma(0.8, 0.5, 800))
    best = minimize(
        lambda p: -nbinom.logpmf(events, np.exp(p[0]), np.exp(p[1]) / (np.exp(p[1]) + years)).sum(), [0.0, 0.0],
        method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9},
    )  # fmt: skip
    prior = fit_gamma(events, years)
    assert [prior.a, prior.b] == pytest.approx(np.exp(best.x), rel=1e-4)


def test_assets_that_are_all_alike_have_no_inner_maximum_and_say_so() -> None:
    n = np.full(200, 10)
    prior = fit_beta(np.full(200, 3), n)
    assert prior.how == "moments"
    assert prior.a / (prior.a + prior.b) == pytest.approx(0.3)
    rate = fit_gamma(np.full(200, 3), np.full(200, 2.0))
    assert rate.a / rate.b == pytest.approx(1.5, rel=1e-3)


@pytest.mark.parametrize("x", [[0, 0, 0], [5, 5, 5], [0, 5, 0], [0, 0, 5]])
def test_edges_give_finite_figures_without_a_warning(x: list[int]) -> None:
    prior = fit_beta(np.array(x), np.full(3, 5))
    share = posterior_share(np.array(x), np.full(3, 5), np.full(3, prior.a), np.full(3, prior.b))
    assert np.isfinite([share.mean, share.low, share.high]).all()
    rate = fit_gamma(np.array(x), np.full(3, 5.0))
    assert np.isfinite([rate.a, rate.b]).all()
    assert fit_beta(np.zeros(2, int), np.zeros(2, int)).n == 0
    assert fit_gamma(np.zeros(2, int), np.zeros(2)).how == "none"


@pytest.mark.parametrize(("x", "a", "b"), [(0, 0.5, 36.5), (3, 36.5, 0.5)])
def test_shares_that_are_all_none_or_all_have_no_maximum_and_leave_room(x: int, a: float, b: float) -> None:
    """None of 36: shares up to 0.080 are left at 95 % (binomial); likelihood alone said 0 to seven digits."""
    prior = fit_beta(np.full(12, x), np.full(12, 3))
    assert (prior.a, prior.b, prior.how) == (a, b, "moments")
    assert sum(share for *_, share in prior.nodes) == pytest.approx(1.0)
    share = shares_after(np.array([x]), np.array([3]), [prior], np.zeros(1, int))
    far = share.high[0] if x == 0 else 1.0 - share.low[0]
    assert 0.9 < far / (1.0 - 0.05 ** (1.0 / 36.0)) < 1.5


def test_a_share_is_averaged_over_what_is_not_known_of_its_class() -> None:
    """Against a sum over a fine grid of the class's mean and likeness, and of shares; the interval is a beta's with its moments."""
    x, n = np.array([0, 1, 0, 2, 0, 0, 1, 0]), np.array([4, 6, 2, 5, 9, 3, 3, 7])
    got = shares_after(x, n, [fit_beta(x, n)], np.zeros(8, int))
    alike, mean = np.meshgrid(np.linspace(-3.0, 9.0, 121), np.linspace(-7.0, 3.0, 101), indexing="ij")
    a = np.exp(alike) * (1.0 + np.exp(mean))
    b = a * np.exp(-mean)
    log = np.sum([betabinom.logpmf(one, of, a, b) for one, of in zip(x, n, strict=True)], axis=0)
    log += -alike - 2.0 * np.log1p(np.exp(-alike)) - mean - 2.0 * np.log1p(np.exp(-mean))
    weight = np.exp(log - log.max())
    exact = [np.sum(weight * (a + one) / (a + b + of)) / weight.sum() for one, of in zip(x, n, strict=True)]
    np.testing.assert_allclose(got.mean, exact, rtol=0.02)
    known = posterior_share(x, n, np.full(8, 2.0), np.full(8, 9.0))
    same = shares_after(x, n, [Prior(2.0, 9.0, 8, "")], np.zeros(8, int))
    np.testing.assert_allclose([same.mean, same.low, same.high], [known.mean, known.low, known.high], rtol=1e-9)


def test_one_of_one_is_drawn_towards_the_class_more_than_ten_of_ten() -> None:
    share = posterior_share(np.array([1, 10, 0]), np.array([1, 10, 0]), np.full(3, 1.0), np.full(3, 5.0))
    assert share.mean[0] < share.mean[1]
    assert share.bound[0] < share.bound[1]
    assert share.mean[2] == pytest.approx(1 / 6)
