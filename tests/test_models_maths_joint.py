"""Two pairs within their limits at the same time: a million draws, products, and bounds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from models.maths.joint import joint_probability
from models.maths.resultant import resultant_probability, square_probability

DRAWS = 1_000_000


def covariance(rng: np.random.Generator) -> np.ndarray:
    root = rng.normal(size=(4, 4))
    cov = root @ root.T
    sd = rng.uniform(0.05, 0.4, 4) / np.sqrt(np.diag(cov))
    return cov * np.outer(sd, sd)


@pytest.mark.parametrize("each_axis", [False, True])
@pytest.mark.parametrize("seed", range(5))
def test_a_million_draws_agree_within_their_error(seed: int, each_axis: bool) -> None:
    rng = np.random.default_rng(seed)
    cov, mean = covariance(rng), rng.uniform(-0.7, 0.7, 4)
    limits = (1.0, 1.3)
    got = joint_probability(mean, cov, limits, each_axis=each_axis)
    z = rng.multivariate_normal(mean, cov, DRAWS) / np.repeat(limits, 2)
    hits = (
        (np.abs(z) <= 1).all(axis=1)
        if each_axis
        else (z[:, 0] ** 2 + z[:, 1] ** 2 <= 1) & (z[:, 2] ** 2 + z[:, 3] ** 2 <= 1)
    )
    assert got.error < 1e-5
    assert hits.mean() == pytest.approx(got.value, abs=4 * np.sqrt(got.value * (1 - got.value) / DRAWS) + got.error)


@pytest.mark.parametrize("seed", range(4))
def test_four_axes_agree_with_an_independent_library(seed: int) -> None:
    rng = np.random.default_rng(50 + seed)
    cov, mean = covariance(rng), rng.uniform(-0.7, 0.7, 4)
    law = stats.multivariate_normal(mean, cov, seed=1, maxpts=2_000_000, abseps=1e-6, releps=1e-6)
    wanted = law.cdf(np.ones(4), lower_limit=-np.ones(4))
    assert joint_probability(mean, cov, (1.0, 1.0), each_axis=True).value == pytest.approx(wanted, abs=2e-5)


@pytest.mark.parametrize(("each_axis", "single"), [(False, resultant_probability), (True, square_probability)])
def test_independent_pairs_are_a_product_and_weak_dependence_changes_little(each_axis: bool, single: object) -> None:
    cov, mean = np.diag([0.04, 0.05, 0.03, 0.06]), np.array([0.6, -0.4, 0.5, 0.5])
    assert callable(single)
    product = float(
        single(mean[None, :2], cov[None, :2, :2], np.ones(1))[0]
        * single(mean[None, 2:], cov[None, 2:, 2:], np.ones(1))[0]
    )
    assert joint_probability(mean, cov, (1.0, 1.0), each_axis=each_axis).value == pytest.approx(product, abs=1e-12)
    weak = cov.copy()
    weak[0, 2] = weak[2, 0] = 1e-7
    assert joint_probability(mean, weak, (1.0, 1.0), each_axis=each_axis).value == pytest.approx(product, abs=1e-5)


@pytest.mark.parametrize("each_axis", [False, True])
@pytest.mark.parametrize("correlation", [0.9, 0.99, 0.999, 1.0])
def test_pairs_that_go_together_are_within_together(each_axis: bool, correlation: float) -> None:
    """Two pairs that are the same pair: both within is as probable as one within; almost so when they are almost the same."""
    sd, mean = 0.3, np.array([0.5, 0.5])
    block = np.eye(2) * sd**2
    cov = np.block([[block, correlation * block], [correlation * block, block]])
    single = square_probability if each_axis else resultant_probability
    one = float(single(mean[None], block[None], np.ones(1))[0])
    got = joint_probability(np.tile(mean, 2), cov, (1.0, 1.0), each_axis=each_axis)
    assert one**2 < got.value <= one + got.error + 1e-9
    if correlation == 1.0:
        assert got.value == pytest.approx(one, abs=max(got.error, 1e-3))


def test_the_order_of_the_pairs_and_the_units_do_not_matter() -> None:
    rng = np.random.default_rng(9)
    cov, mean, order = covariance(rng), rng.uniform(-0.7, 0.7, 4), [2, 3, 0, 1]
    here = joint_probability(mean, cov, (0.9, 1.2), each_axis=False)
    there = joint_probability(mean[order], cov[np.ix_(order, order)], (1.2, 0.9), each_axis=False)
    scaled = joint_probability(mean * 39.37, cov * 39.37**2, (0.9 * 39.37, 1.2 * 39.37), each_axis=False)
    assert [there.value, scaled.value] == pytest.approx([here.value] * 2, abs=1e-6)


@pytest.mark.parametrize("between", [0.02, 0.01, 1e-4, 0.0])
def test_a_thin_ridge_across_the_square_is_not_missed(between: float) -> None:
    """Four axes that follow one number g: by hand the probability that |g| is small enough for all, without their own scatter."""
    direction, mean = np.array([0.3, 0.3, 0.25, 0.25]), np.array([0.9, 0.9, 0.75, 0.75])
    cov = np.outer(direction, direction) + np.diag((between * direction) ** 2)
    got = joint_probability(mean, cov, (1.0, 1.0), each_axis=True)
    ends = (np.array([-1.0, 1.0])[:, None] - mean) / direction
    wanted = stats.norm.cdf(ends[1].min()) - stats.norm.cdf(ends[0].max())
    assert got.error < 1e-6
    # With own scatter: the largest of two equal normal ones lies 1/√π of it higher, and shifts the end by so much.
    assert got.value == pytest.approx(wanted - stats.norm.pdf(1 / 3) * between / np.sqrt(np.pi), abs=2e-4)


def test_axes_that_follow_one_or_two_numbers_agree_with_draws() -> None:
    for seed in range(8):
        rng = np.random.default_rng(seed)
        root = rng.normal(size=(4, 1 + seed % 2)) * rng.uniform(0.03, 0.6, (4, 1))
        mean, cov = rng.uniform(-0.9, 0.9, 4), root @ root.T + np.eye(4) * (0.0, 1e-7)[seed // 4]
        got = joint_probability(mean, cov, (1.0, 1.0), each_axis=True)
        hits = (np.abs(mean + rng.normal(size=(200_000, root.shape[1])) @ root.T) <= 1).all(axis=1).mean()
        assert got.value == pytest.approx(
            hits, abs=4.5 * np.sqrt(hits * (1 - hits) / 200_000) + 1e-3 * (seed >= 4) + 1e-5
        )


def test_what_was_worked_out_once_is_not_again_and_any_other_digit_is() -> None:
    cov, mean, limits = covariance(np.random.default_rng(99)), np.array([0.3, -0.2, 0.1, 0.4]), (1.0, 1.3)
    first = joint_probability(mean, cov, limits, each_axis=False)
    assert joint_probability(mean.copy(), cov.copy(), limits, each_axis=False) is first
    assert joint_probability(mean, cov, limits, each_axis=True).value != first.value
    assert joint_probability(mean, cov, (1.0, np.nextafter(1.3, 2.0)), each_axis=False) is not first
    assert joint_probability(mean + 0.01, cov, limits, each_axis=False).value != first.value
