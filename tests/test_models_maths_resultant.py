"""Probability of a pair within a circle or a square: tables, independent libraries, and a million draws."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad

from models.maths.resultant import interval_probability, resultant_probability, square_probability

PUBLISHED = Path(__file__).parent / "published"
DRAWS = 1_000_000


def pair(v: float, h: float) -> np.ndarray:
    return np.array([[v, h]])


def equal(u: float) -> np.ndarray:
    return np.eye(2)[None] * u * u


def test_one_value_within_its_limit_as_in_jcgm_106() -> None:
    """JCGM 106:2012, clause 7 examples [from memory, no copy read; the formula is elementary]: 0.92, 0.99 and 0.66.

    A tolerance from a to b is a limit (b − a)/2 around its middle; one with one end is far open at the other.
    """
    cases = json.loads((PUBLISHED / "uncertainty_decision.json").read_text())["jcgm106"]
    far = 1e3
    for case in (cases["upper"], cases["lower"], cases["two_sided"]):
        low, high = case.get("TL", case["y"] - far), case.get("TU", case["y"] + far)
        got = interval_probability(
            np.array([case["y"] - (low + high) / 2]), np.array([case["u"]]), np.array([(high - low) / 2])
        )
        assert got[0] == pytest.approx(case["published_pc"], abs=0.005)


def test_the_table_computed_for_this_project_is_recomputed() -> None:
    """own_reference_values.json, conformity_2d; computed for this project, recomputed here in two ways."""
    rows = json.loads((PUBLISHED / "own_reference_values.json").read_text())["conformity_2d"]["rows"]
    for row in rows:
        u, r = row["u_over_L"], row["mhat_over_L"]
        assert stats.ncx2.cdf(u**-2, 2, (r / u) ** 2) == pytest.approx(row["p"], abs=1e-9)
        assert resultant_probability(pair(r, 0), equal(u), np.ones(1))[0] == pytest.approx(row["p"], abs=1e-9)


@pytest.mark.parametrize("u", [1e-4, 1e-3, 0.01, 0.05, 0.1, 0.3, 1.0, 5.0])
def test_equal_uncertainties_give_the_noncentral_chi_square_of_an_independent_library(u: float) -> None:
    angle = np.linspace(0.1, 6.2, 7)
    for r in (0.0, 0.3, 0.8, 0.95, 1 - u, 1.0, 1 + u, 1.1, 1.5):
        mean = r * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        got = resultant_probability(mean, np.repeat(equal(u), 7, axis=0), np.ones(7))
        assert got == pytest.approx(np.full(7, stats.ncx2.cdf(u**-2, 2, (r / u) ** 2)), abs=1e-10)


def by_adaptive_quadrature(mean: np.ndarray, s1: float, s2: float) -> float:
    def inside(t: float) -> float:
        half = np.cos(t)
        across = stats.norm.cdf(half, mean[1], s2) - stats.norm.cdf(-half, mean[1], s2)
        return float(stats.norm.pdf(np.sin(t), mean[0], s1) * across * half)

    steps = np.linspace(-9, 9, 19)
    cuts = np.arcsin(np.clip(mean[0] + steps * s1, -1, 1))
    bends = np.arccos(np.clip(np.abs(mean[1]) + steps * s2, 0, 1))
    ends = np.unique(np.concatenate([cuts, bends, -bends]))
    return sum(quad(inside, a, b, epsabs=1e-13)[0] for a, b in pairwise(ends))


@pytest.mark.parametrize("seed", range(12))
def test_unequal_and_correlated_uncertainties_agree_with_adaptive_quadrature(seed: int) -> None:
    rng = np.random.default_rng(seed)
    s1, s2 = 10 ** rng.uniform(-2, 0.2, 2)
    r, direction, turn = rng.uniform(0.4, 1.3), *rng.uniform(0, 6.28, 2)
    mean = r * np.array([np.cos(direction), np.sin(direction)])
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    got = resultant_probability((spin @ mean)[None], (spin @ np.diag([s1**2, s2**2]) @ spin.T)[None], np.ones(1))[0]
    assert got == pytest.approx(by_adaptive_quadrature(mean, s1, s2), abs=1e-8)


@pytest.mark.parametrize("seed", range(6))
def test_a_million_draws_agree_within_their_error(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    root = rng.normal(size=(2, 2)) * 0.25
    cov, mean = root @ root.T, rng.uniform(-0.8, 0.8, 2)
    drawn = rng.multivariate_normal(mean, cov, DRAWS)
    for got, hits in (
        (resultant_probability, np.hypot(drawn[:, 0], drawn[:, 1]) <= 1),
        (square_probability, (np.abs(drawn) <= 1).all(axis=1)),
    ):
        p = float(got(mean[None], cov[None], np.ones(1))[0])
        assert hits.mean() == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / DRAWS) + 1e-6)


@pytest.mark.parametrize("correlation", [0.0, 0.3, -0.7, 0.95, 0.999, 1.0, -1.0])
def test_a_square_agrees_with_an_independent_library(correlation: float) -> None:
    s = np.array([0.3, 0.2])
    cov = np.array([[1, correlation], [correlation, 1]]) * np.outer(s, s)
    mean = np.array([0.7, -0.6])
    law = stats.multivariate_normal(mean, cov, allow_singular=True, seed=1, maxpts=2_000_000, abseps=1e-7, releps=1e-7)
    wanted = law.cdf(np.ones(2), lower_limit=-np.ones(2))
    assert square_probability(mean[None], cov[None], np.ones(1))[0] == pytest.approx(wanted, abs=2e-5)


@given(st.floats(0.02, 2), st.floats(0.02, 2), st.floats(-0.95, 0.95), st.floats(-1.5, 1.5), st.floats(-1.5, 1.5))
def test_the_circle_lies_in_the_square_and_units_do_not_matter(
    s1: float, s2: float, r: float, v: float, h: float
) -> None:
    cov = np.array([[[s1 * s1, r * s1 * s2], [r * s1 * s2, s2 * s2]]])
    circle = resultant_probability(pair(v, h), cov, np.ones(1))[0]
    square = square_probability(pair(v, h), cov, np.ones(1))[0]
    assert 0 <= circle <= square + 1e-9
    assert square <= 1
    mil = 1 / 0.0254
    scaled = resultant_probability(pair(v, h) * mil, cov * mil**2, np.ones(1) * mil)[0]
    assert scaled == pytest.approx(circle, abs=1e-9)
    swapped = resultant_probability(pair(h, v), cov[:, ::-1, ::-1], np.ones(1))[0]
    assert swapped == pytest.approx(circle, abs=1e-9)


def test_a_reading_exactly_on_the_circle_is_within_less_often_than_half() -> None:
    """Statistics reference, 3(e): 0.44 to 0.49 for u/L of 0.3 to 0.05 [computed for this project]."""
    on = [float(resultant_probability(pair(1, 0), equal(u), np.ones(1))[0]) for u in (0.05, 0.1, 0.2, 0.3)]
    assert on == sorted(on, reverse=True)
    assert 0.43 < on[-1] < on[0] < 0.5


def test_no_uncertainty_decides_by_the_reading() -> None:
    zero = np.zeros((2, 2, 2))
    at = np.array([[0.6, 0.7], [0.8, 0.7]])
    assert resultant_probability(at, zero, np.ones(2)) == pytest.approx([1, 0])
    assert square_probability(np.array([[0.6, 0.7], [1.1, 0.7]]), zero, np.ones(2)) == pytest.approx([1, 0])
    assert interval_probability(np.array([1.0, 1.1]), np.zeros(2), np.ones(2)).tolist() == [1, 0]
    one_axis = np.array([[[0.01, 0.0], [0.0, 0.0]]])
    assert resultant_probability(pair(0.6, 0.8), one_axis, np.ones(1))[0] == pytest.approx(0.5, abs=1e-6)


def test_many_pairs_are_computed_at_once() -> None:
    rng = np.random.default_rng(1)
    mean, limit = rng.normal(0, 0.5, (50, 2)), rng.uniform(0.2, 2, 50)
    cov = np.repeat(equal(0.2), 50, axis=0)
    together = resultant_probability(mean, cov, limit)
    alone = [resultant_probability(mean[i : i + 1], cov[:1], limit[i : i + 1])[0] for i in range(50)]
    assert together == pytest.approx(alone)
    assert resultant_probability(mean[:0], cov[:0], limit[:0]).shape == (0,)
