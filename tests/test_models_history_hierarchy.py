"""Drawing figures together: against a general integrator, and by how often the intervals hold what was planted."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad, simpson
from scipy.stats import binom, gamma, nbinom, norm

from models.history.hierarchy import MEANS, draw_effects, draw_ratios


def test_effects_equal_a_general_integrator() -> None:
    """scipy's adaptive quadrature over the share that is given up, for four names."""
    estimate, variance = np.array([0.010, 0.0005, -0.001, 0.0]), np.array([0.0027, 0.002, 0.004, 0.0027]) ** 2
    usual = 4.0 / np.sum(1.0 / variance)

    def over(what: object) -> float:
        def at(share: float) -> float:
            between = usual * (1.0 - share) / share
            seen = np.prod(norm.pdf(estimate, 0.0, np.sqrt(variance + between)))
            return float(seen * what(between))  # type: ignore[operator]

        return float(quad(at, 0.0, 1.0, epsabs=0.0, epsrel=1e-9, limit=200)[0])

    drawn, every = draw_effects(estimate, variance), over(lambda _: 1.0)
    for i in range(4):

        def below(between: float, x: float, i: int = i) -> float:
            keep = between / (between + variance[i])
            return float(norm.cdf((x - keep * estimate[i]) / np.sqrt(keep * variance[i])))

        mean = over(lambda between, i=i: between / (between + variance[i]) * estimate[i]) / every
        assert drawn.mean[i] == pytest.approx(mean, rel=2e-4, abs=1e-9)
        for p, end in ((0.05, drawn.low[i]), (0.95, drawn.high[i])):
            assert over(lambda between, end=end, below=below: below(between, end)) / every == pytest.approx(p, abs=3e-4)


def test_ratios_equal_a_general_integrator() -> None:
    """scipy's Simpson rule over the logits of the share and the logarithm of the mean, with scipy's distributions."""
    observed, expected = np.array([9, 3]), np.array([6.0, 5.0])
    logit, log_mean = (
        np.linspace(-14.0, 14.0, 401)[:, None],
        np.linspace(np.log(1.0 / 50.0), np.log(50.0), 201)[None, :],
    )
    share, mean = 1.0 / (1.0 + np.exp(-logit)), np.exp(log_mean)
    years = 2.0 / np.sum(1.0 / expected) * share / (1.0 - share)
    # Uniform in the share, which by its logit is share × (1 − share); Jeffreys' prior of the mean by its logarithm.
    weight = share * (1.0 - share) * np.sqrt(mean)
    for x, e in zip(observed, expected, strict=True):
        weight = weight * nbinom.pmf(x, years * mean, years / (years + e))

    def over(what: np.ndarray) -> float:
        return float(simpson(simpson(what, x=log_mean[0], axis=1), x=logit[:, 0]))

    drawn = draw_ratios(observed, expected)
    for i in range(2):
        shape, rate = years * mean + observed[i], years + expected[i]
        assert drawn.mean[i] == pytest.approx(over(weight * shape / rate) / over(weight), rel=1e-3)
        for p, end in ((0.05, drawn.low[i]), (0.95, drawn.high[i])):
            assert over(weight * gamma.cdf(end * rate, shape)) / over(weight) == pytest.approx(p, abs=2e-3)


@pytest.mark.parametrize("names", [4, 12])
@pytest.mark.parametrize("spread", [0.0, 1.0, 3.0])
def test_intervals_of_effects_hold_as_often_as_they_say(names: int, spread: float) -> None:
    """By the binomial law: fewer than the bound would hold in one of 10,000 if each held with probability 0.9.

    With the spread plugged in, 20 to 60 % less hold: at a spread of one error, 55 % of those of four names.
    """
    rng = np.random.default_rng(int(10 * spread) + names)
    held = tried = 0
    for _ in range(120):
        true = rng.normal(0.0, spread, names) if spread else np.zeros(names)
        drawn = draw_effects(true + rng.normal(size=names), np.ones(names))
        held, tried = held + int(((drawn.low <= true) & (true <= drawn.high)).sum()), tried + names
    # Names of one plant share what is not known of their spread: their number counts for less than it is.
    assert held >= binom.ppf(1e-4, tried // 4, 0.9) * 4, held / tried


@pytest.mark.parametrize("spread", [0.0, 0.3])
def test_intervals_of_ratios_hold_as_often_as_they_say(spread: float) -> None:
    rng = np.random.default_rng(3)
    held = tried = 0
    for _ in range(15):
        true = np.exp(rng.normal(0.0, spread, 4)) if spread else np.ones(4)
        expected = rng.uniform(5.0, 20.0, 4)
        drawn = draw_ratios(rng.poisson(true * expected), expected)
        held, tried = held + int(((drawn.low <= true) & (true <= drawn.high)).sum()), tried + 4
    assert held >= binom.ppf(1e-4, tried // 4, 0.9) * 4, held / tried


def test_where_nobody_differs_the_interval_is_as_wide_as_the_counts_of_all_allow() -> None:
    """51 returns where 56.5 were expected: exact Poisson interval of all together 0.71 to 1.14 (scipy's gamma quantiles)."""
    observed, expected = np.array([15, 17, 15, 4]), np.array([17.0, 18.5, 16.5, 4.5])
    drawn = draw_ratios(observed, expected)
    low, high = gamma.ppf(0.05, 51) / expected.sum(), gamma.ppf(0.95, 52) / expected.sum()
    assert (drawn.low < low + 0.02).all()
    assert (drawn.high > high - 0.02).all()
    assert drawn.high[3] < gamma.ppf(0.95, 5) / 4.5, "what the others left says something of the one with few"


def test_edges_give_finite_figures() -> None:
    nobody = draw_effects(np.zeros(0), np.zeros(0))
    assert len(nobody.mean) == len(draw_ratios(np.zeros(0, np.int64), np.zeros(0)).mean) == 0
    for observed in ([0, 0], [0, 40], [500, 3], [0]):
        drawn = draw_ratios(np.array(observed), np.full(len(observed), 7.0))
        assert np.isfinite([drawn.mean, drawn.low, drawn.high]).all()
        assert (drawn.low <= drawn.mean).all()
        assert (drawn.mean <= drawn.high).all()
    far = draw_effects(np.array([1.0, 0.0, 0.0, 0.0]), np.full(4, 0.01**2))
    assert far.mean[0] == pytest.approx(1.0, rel=1e-3), "what lies far outside its error keeps its own figure"
    assert MEANS[0] * MEANS[-1] == pytest.approx(1.0)
