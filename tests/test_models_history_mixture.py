"""The mixture of rates: closed form against integration, one drifter is told, and none is made up."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, optimize, stats

from models.history.mixture import (
    CAREFUL_DF,
    LEVELS,
    PARTS,
    Mixture,
    _levels,
    _likelihood,
    fit_mixture,
    shrink_mixture,
    spread_of_levels,
)
from models.history.shrinkage import dersimonian_laird

EXACT = np.inf


def drawn_to(
    mixture: Mixture, estimate: object, variance: object, df: float = EXACT
) -> tuple[NDArray[np.float64], ...]:
    value, spread = (np.asarray(one, dtype=float)[:, None] for one in (estimate, variance))
    n = len(value)

    def each(part: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.repeat(part[..., None, :], n, axis=-2)

    parts = {name: each(getattr(mixture, name)) for name in Mixture.__slots__ if name != "levels"}
    return tuple(one[:, 0] for one in shrink_mixture(value, spread, np.full(n, df), **parts))


def fitted(estimate: NDArray[np.float64], variance: NDArray[np.float64], df: float = EXACT) -> Mixture:
    return fit_mixture(estimate[:, None], variance[:, None], np.full(len(estimate), df))


@pytest.mark.parametrize("estimate", [-4.5, -2.0, 0.1, 1.0, 3.0, 9.0])
def test_the_posterior_is_that_of_numerical_integration(estimate: float) -> None:
    """Authority: scipy's adaptive integration of prior times likelihood."""
    share, extra, between, mean, own = (
        np.array([0.9, 0.06, 0.03, 0.01]),
        np.array([0.0, 9.0, 81.0, 729.0]),
        0.3,
        0.2,
        0.8,
    )
    column = (one[:, None] for one in (share, extra))
    mixture = Mixture(np.array([mean]), np.zeros(1), np.array([between]), *column, np.zeros((LEVELS, 4, 1)))
    value, variance, kept = drawn_to(mixture, [estimate], [own])

    def weight(true: float, power: int) -> float:
        prior = float(share @ stats.norm.pdf(true, mean, np.sqrt(between + extra)))
        return (true**power) * prior * float(stats.norm.pdf(estimate, true, np.sqrt(own)))

    whole, first, second = (
        integrate.quad(weight, estimate - 30.0, estimate + 30.0, args=(k,), points=[estimate, mean], limit=200)[0]
        for k in range(3)
    )
    assert value[0] == pytest.approx(first / whole, abs=1e-7)
    assert variance[0] == pytest.approx(second / whole - (first / whole) ** 2, abs=1e-6)
    assert kept[0] == pytest.approx((first / whole - mean) / (estimate - mean), abs=1e-6)


def test_an_estimated_variance_has_the_tails_of_students_t() -> None:
    """Authority: scipy's Student t, for the narrow part alone; its constant is right to one in a hundred from 2 df up."""
    gap, df, spread = np.linspace(-6.0, 6.0, 25), 8.0, np.array([0.0, 1e12])
    chance = _likelihood(gap[:, None], np.full((25, 1), 4.0), np.full((25, 1), df / CAREFUL_DF), spread[:, None, None])
    ratio = chance[0, :, 0] / chance[1, :, 0]
    expected = stats.t.pdf(gap / 2.0, df) / 2.0 / stats.norm.pdf(gap, 0.0, np.sqrt(4.0 + 1e12))
    np.testing.assert_allclose(ratio, expected, rtol=0.01)


def test_without_drifters_it_is_dersimonian_and_laird() -> None:
    rng = np.random.default_rng(1)
    variance = rng.uniform(0.5, 2.0, 400)
    estimate = 0.4 + rng.normal(0.0, np.sqrt(variance + 0.6))
    mixture, plain = fitted(estimate, variance), dersimonian_laird(estimate, variance)
    assert mixture.share[0, 0] > 0.99
    assert mixture.mean[0] == pytest.approx(plain.mean, abs=0.02)
    assert mixture.between[0] == pytest.approx(plain.between, abs=0.06)
    few = fitted(estimate[:2], variance[:2])
    two = dersimonian_laird(estimate[:2], variance[:2])
    assert (few.mean[0], few.mean_variance[0], few.between[0]) == (two.mean, two.mean_variance, two.between)
    assert few.share[:, 0].tolist() == [1.0] + [0.0] * (PARTS - 1)


def test_one_drifter_among_sixty_is_told_and_near_the_others_nothing_changes() -> None:
    """Where one normal distribution draws all sixty to the same rate, the one far away keeps its own."""
    kept = {}
    for z in (1.0, 2.0, 4.5, 6.0, 12.0):
        own = []
        for seed in range(20):
            rng = np.random.default_rng(seed)
            variance = rng.uniform(0.5, 2.0, 60)
            estimate = rng.normal(0.0, np.sqrt(variance))
            estimate[0] = -z * np.sqrt(variance[0])
            mixture = fitted(estimate, variance, 60.0)
            plain = mixture.between[0] / (mixture.between[0] + variance[0])
            own.append(drawn_to(mixture, estimate, variance, 60.0)[2][0] - (plain if z < 4.0 else 0.0))
        kept[z] = float(np.mean(own))
    assert kept[1.0] < 0.02
    assert kept[2.0] < 0.05
    assert kept[4.5] > 0.6
    assert kept[6.0] > 0.85
    assert kept[12.0] > 0.97


def test_the_shares_are_the_likeliest_beside_one_drifter_seen_among_thirty() -> None:
    """Authority: scipy's general optimiser over the logarithms of the shares, and its normal density."""
    rng = np.random.default_rng(4)
    variance = rng.uniform(0.5, 2.0, 40)
    estimate = rng.normal(0.0, np.sqrt(variance))
    estimate[:3] = (-7.0, 9.0, 30.0)
    mixture = fitted(estimate, variance)
    spread = np.sqrt(variance + mixture.between[0] + mixture.extra[:, :1])
    density = stats.norm.pdf(estimate, mixture.mean[0], spread)
    seen = np.array([29.0, 1.0 / 3.0, 1.0 / 3.0, 1.0 / 3.0])

    def against(log: NDArray[np.float64]) -> float:
        share = np.exp(log - np.logaddexp.reduce(log))
        return -float(np.log(share @ density).sum() + seen @ np.log(share))

    best = optimize.minimize(against, np.zeros(PARTS), method="BFGS").x
    np.testing.assert_allclose(mixture.share[:, 0], np.exp(best - np.logaddexp.reduce(best)), rtol=0.05, atol=2e-4)


def test_sixty_that_stand_still_have_no_drifter_made_up() -> None:
    moved, all_of_them = 0, 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        variance = rng.uniform(0.5, 2.0, 60)
        estimate = np.sqrt(variance) * rng.standard_t(20, 60)
        mixture = fitted(estimate, variance, 20.0)
        moved += int(np.count_nonzero(drawn_to(mixture, estimate, variance, 20.0)[2] > 0.5))
        all_of_them += 60
        assert mixture.share[0, 0] > 0.95
    assert moved <= stats.binom.ppf(0.999, all_of_them, 0.002)


def test_unknown_figures_stay_unknown_and_change_nothing() -> None:
    rng = np.random.default_rng(3)
    estimate, variance = rng.normal(0.0, 1.0, 50), np.full(50, 0.5)
    one = fitted(estimate, variance)
    more = fitted(np.append(estimate, np.nan), np.append(variance, np.inf))
    for name in Mixture.__slots__:
        np.testing.assert_allclose(getattr(more, name), getattr(one, name), rtol=1e-12)
    value, spread, kept = drawn_to(one, [np.nan], [np.inf])
    assert (value[0], spread[0], kept[0]) == (one.mean[0], one.between[0] + one.mean_variance[0], 0.0)
    none = fitted(np.full(4, np.nan), np.full(4, np.inf))
    assert (none.mean[0], none.between[0], none.share[0, 0]) == (0.0, 0.0, 1.0)


def test_what_is_possible_of_the_spread_is_that_of_numerical_integration() -> None:
    """Authority: scipy's adaptive integration over mean and standard deviation; the figures are those of D. Rubin (1981),
    Journal of Educational Statistics 6:377, eight schools (memory: not verified against a copy)."""
    value = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
    own = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0]) ** 2
    column = (value[:, None], own[:, None], np.ones((8, 1)))
    levels = _levels(*column, np.array([0.0]), np.array([float(np.median(own))]))[:, :, 0]
    top = np.sqrt(levels[-1, 0]) * LEVELS / (LEVELS - 0.5)

    def density(mean: float, sd: float, power: int) -> float:
        return float(sd**power * np.prod(stats.norm.pdf(value, mean, np.sqrt(own + sd**2))) * 1e14)

    whole, first = (
        integrate.dblquad(density, 0.0, top, -60.0, 80.0, args=(k,), epsabs=1e-10, epsrel=1e-8)[0] for k in (1, 2)
    )
    assert levels[:, 3].sum() == pytest.approx(1.0)
    assert float(np.sqrt(levels[:, 0]) @ levels[:, 3]) == pytest.approx(first / whole, rel=2e-3)


@pytest.mark.parametrize("sd", [0.5, 1.0])
def test_bounds_hold_as_often_as_they_say_where_the_spread_between_few_is_hardly_known(sd: float) -> None:
    """Known truth: 400 classes of 30 machines whose estimates have a variance of 1; the plain bounds of 90 % hold in 77 and 84 %."""
    rng = np.random.default_rng(7)
    true = rng.normal(0.3, sd, (30, 400))
    estimate, own, df = true + rng.normal(0.0, 1.0, true.shape), np.ones_like(true), np.full(30, np.inf)
    mixture = fit_mixture(estimate, own, df)
    each = {name: np.repeat(getattr(mixture, name)[..., None, :], 30, axis=-2) for name in Mixture.__slots__}
    levels, mean_variance = each.pop("levels"), each.pop("mean_variance")
    value, plain, _ = shrink_mixture(estimate, own, df, **each, mean_variance=mean_variance)
    wide = spread_of_levels(value, estimate, own, df, **each, levels=levels)

    def held(variance: NDArray[np.float64]) -> float:
        return float(np.mean(np.abs(true - value) <= 1.645 * np.sqrt(variance)))

    assert held(plain) < 0.86
    assert 0.88 <= held(wide) <= 0.95
