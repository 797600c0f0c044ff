"""Probability outside a limit against the non-central chi-square, the project's table, and drawing."""

from __future__ import annotations

import json
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ndtr
from scipy.stats import chi2, ncx2, norm

from models.history import outside
from models.history.outside import outside_circle, outside_each, outside_limit

OWN = json.loads((Path(__file__).parent / "published" / "own_reference_values.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("row", OWN["conformity_2d"]["rows"])
def test_the_projects_table_comes_out(row: dict[str, float]) -> None:
    """own_reference_values.json, conformity_2d (computed for this project)."""
    p = outside_circle(np.array([[row["mhat_over_L"], 0.0]]), np.full((1, 2), row["u_over_L"] ** 2))
    assert 1.0 - p[0] == pytest.approx(row["p"], abs=2e-6)


@pytest.mark.parametrize("sd", [0.002, 0.02, 0.031, 0.05, 0.3, 1.0, 4.0])
def test_equal_variances_are_the_non_central_chi_square(sd: float) -> None:
    rng = np.random.default_rng(1)
    angle, radius = rng.uniform(0, 2 * np.pi, 400), np.abs(1.0 + rng.normal(0.0, 2.0 * sd, 400))
    mean = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    expected = ncx2.sf(1.0 / sd**2, 2, radius**2 / sd**2)
    np.testing.assert_allclose(outside_circle(mean, np.full((400, 2), sd**2)), expected, atol=1e-6)


@pytest.mark.parametrize(
    ("one", "other"), [(1e-4, 0.1), (0.005, 0.3), (0.025, 0.3), (0.002, 0.02), (0.03, 1.0), (0.16, 0.9)]
)
def test_unequal_spreads_agree_with_scipys_integral(one: float, other: float) -> None:
    """Over the axis that is known more sharply, split where its density lies and where the circle ends; either axis."""
    rng = np.random.default_rng(3)
    angle = np.concatenate([[0.0, np.pi / 2.0, np.arctan2(0.8, 0.6)], rng.uniform(0.0, 2.0 * np.pi, 5)])
    radius = 1.0 + rng.normal(0.0, 1.5, 8) * np.hypot(one * np.cos(angle), other * np.sin(angle))
    mean = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)

    def exact(m: float, across: float) -> float:
        def inside(t: float) -> float:
            half, z = math.cos(t), (math.sin(t) - m) / one
            bracket = ndtr((half - across) / other) - ndtr((-half - across) / other)
            return float(math.exp(-0.5 * z * z) / (one * math.sqrt(2.0 * math.pi)) * half * bracket)

        ends = np.arcsin(np.clip(m + one * np.array([-9.0, -3.0, 0.0, 3.0, 9.0]), -1.0, 1.0)).tolist()
        parts = [quad(inside, *pair, epsabs=1e-10, limit=200)[0] for pair in pairwise(ends)]
        return 1.0 - sum(parts)

    expected = [exact(*row) for row in mean.tolist()]
    spread = np.tile([one, other], (8, 1))
    np.testing.assert_allclose(outside_circle(mean, spread**2), expected, atol=1e-6)
    np.testing.assert_allclose(outside_circle(mean[:, ::-1], spread[:, ::-1] ** 2), expected, atol=1e-6)


@given(st.floats(-2, 2), st.floats(-2, 2), st.floats(0.05, 2), st.floats(0.05, 2))
def test_unequal_variances_agree_with_drawing(m1: float, m2: float, s1: float, s2: float) -> None:
    rng = np.random.default_rng(7)
    draws = rng.standard_normal((40_000, 2)) * [s1, s2] + [m1, m2]
    got = outside_circle(np.array([[m1, m2]]), np.array([[s1**2, s2**2]]))[0]
    assert got == pytest.approx(np.mean(np.hypot(*draws.T) > 1.0), abs=0.015)


def test_each_axis_is_a_product_of_normals() -> None:
    got = outside_each(np.array([[0.3, -0.8]]), np.array([[0.04, 0.25]]))[0]
    inside = (norm.cdf(0.7 / 0.2) - norm.cdf(-1.3 / 0.2)) * (norm.cdf(1.8 / 0.5) - norm.cdf(-0.2 / 0.5))
    assert got == pytest.approx(1.0 - inside, rel=1e-12)


def test_a_place_that_is_not_judged_counts_for_nothing() -> None:
    mean, variance = np.array([[0.2, np.nan, 0.1, np.nan], [np.nan] * 4]), np.full((2, 4), 0.1)
    p = outside_limit(mean, variance, np.zeros(2, bool), np.full(2, np.inf))
    assert p[0] == pytest.approx(outside_circle(mean[:1, [0, 2]], variance[:1, [0, 2]])[0])
    assert np.isnan(p[1])


def test_few_degrees_of_freedom_agree_with_drawing() -> None:
    rng = np.random.default_rng(2)
    scale = 6.0 / rng.chisquare(6.0, 400_000)
    draws = rng.standard_normal((400_000, 4)) * np.sqrt(scale * 0.09)[:, None] + [0.4, 0.1, 0.2, 0.0]
    true = np.mean(np.maximum(np.hypot(draws[:, 0], draws[:, 2]), np.hypot(draws[:, 1], draws[:, 3])) > 1.0)
    got = outside_limit(np.array([[0.4, 0.1, 0.2, 0.0]]), np.full((1, 4), 0.09), np.zeros(1, bool), np.array([6.0]))
    assert got[0] == pytest.approx(true, abs=0.002)


@pytest.mark.parametrize(
    ("df", "error"), [(1.0, 1e-3), (2.0, 5e-4), (3.0, 5e-4), (4.9, 5e-4), (5.0, 5e-4), (8.0, 5e-4), (30.0, 5e-4)]
)
def test_a_variance_of_few_degrees_of_freedom_is_averaged_as_closely_as_it_says(df: float, error: float) -> None:
    """Against many points in the logarithm of the variance, each an integral of its own; one degree is Cauchy's tails."""
    rng = np.random.default_rng(5)
    n = 60
    angle, radius, sd = (
        rng.uniform(0.0, 6.3, n),
        rng.uniform(0.0, 1.3, n),
        np.exp(rng.uniform(np.log(0.03), 0.0, (n, 2))),
    )
    mean, spread = np.full((n, 4), np.nan), np.full((n, 4), 0.01)
    mean[:, [0, 2]], spread[:, [0, 2]] = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1), sd
    got = outside_limit(mean, spread**2, np.zeros(n, bool), np.full(n, df))
    logs = np.linspace(*np.log(chi2.ppf([1e-7, 1.0 - 1e-12], df)), 160)
    share = chi2.pdf(np.exp(logs), df) * np.exp(logs)
    at = [outside_circle(mean[:, [0, 2]], sd**2 * df / float(np.exp(one))) for one in logs]
    np.testing.assert_allclose(got, share @ np.array(at) / share.sum(), atol=error)


@given(st.floats(0.0, 1.5), st.floats(0.0, 1.5), st.floats(0.02, 1.0))
def test_further_out_is_likelier_out(a: float, b: float, sd: float) -> None:
    near, far = sorted((a, b))
    p = outside_circle(np.array([[near, 0.0], [far, 0.0]]), np.full((2, 2), sd**2))
    assert p[0] <= p[1] + 1e-5


def test_a_few_positions_at_once_come_out_as_one_point_after_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(4)
    mean, variance = rng.normal(0.0, 0.7, (40, 4)), rng.uniform(0.001, 0.3, (40, 4))
    mean[3], mean[7, ::2] = np.nan, np.nan
    df = np.where(rng.random(40) < 0.2, np.inf, rng.uniform(1.0, 30.0, 40))
    each_axis = rng.random(40) < 0.4
    together = outside_limit(mean, variance, each_axis, df)
    monkeypatch.setattr(outside, "FEW", 0)
    assert np.array_equal(together, outside_limit(mean, variance, each_axis, df), equal_nan=True)
