"""Mann–Kendall and Theil–Sen against the EPA's examples and scipy."""

from __future__ import annotations

import json
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import kendalltau, theilslopes

from models.history.trend import trends_of

PUBLISHED = Path(__file__).parent / "published"
EPA = json.loads((PUBLISHED / "epa_mann_kendall_theil_sen.json").read_text(encoding="utf-8"))
ONE = np.zeros(1, dtype=np.int64)


@pytest.mark.parametrize("name", ["ex17_6", "ex17_7"])
def test_the_epas_examples_come_out(name: str) -> None:
    """US EPA Unified Guidance (2009), examples 17-6 and 17-7 (results seen in a secondary copy), 6.9 digits."""
    example, published = EPA[name], EPA[name]["published"]
    t, y = np.array(example["t"]), np.array(example["y"])
    got = trends_of(y, t, np.zeros(len(t), int), 1, exact=False)
    for key in ("tau", "z", "p", "slope", "intercept"):
        assert getattr(got, key)[0] == pytest.approx(published[key], rel=2e-7)
    assert [got.low[0], got.high[0]] == pytest.approx(published["ci95"], rel=2e-7)


def test_the_exact_p_of_17_7_is_the_computed_one() -> None:
    """own_reference_values.json (computed for this project)."""
    own = json.loads((PUBLISHED / "own_reference_values.json").read_text(encoding="utf-8"))[
        "epa_17_7_exact_two_sided_p"
    ]
    t, y = np.array(EPA["ex17_7"]["t"]), np.array(EPA["ex17_7"]["y"])
    got = trends_of(y, t, np.zeros(10, int), 1)
    assert got.s[0] == own["S"]
    assert got.p[0] == pytest.approx(own["exact_p"], rel=1e-9)


def test_the_variance_of_s_with_ties_in_values_and_dates_is_that_of_all_orders() -> None:
    """Every order of six values with ties, over dates with ties: z is (|S| − 1) over the root of what S varies by."""
    values, t = np.array([1.0, 1.0, 1.0, 2.0, 3.0, 3.0]), np.array([0.0, 0.0, 0.0, 1.0, 1.0, 2.0])
    orders = np.array(list(permutations(values)))
    early, late = np.triu_indices(6, 1)
    s = (np.sign(orders[:, late] - orders[:, early]) * np.sign(t[late] - t[early])).sum(axis=1)
    got = trends_of(values, t, np.zeros(6, int), 1, exact=False)
    assert got.s[0] == s[0]
    assert got.z[0] == pytest.approx((s[0] - 1) / np.sqrt(np.mean(s.astype(float) ** 2)), rel=1e-12)


def test_five_points_bound_a_slope_by_its_smallest_and_largest() -> None:
    """Of five points only S = ±10, one order in 120 each, is remarkable at 2.5 %: the limits are the first and last of the ten slopes."""
    t, y = np.array([0.0, 1.0, 2.0, 4.0, 7.0]), np.array([0.3, -0.2, 1.0, 0.4, 2.0])
    early, late = np.triu_indices(5, 1)
    slopes = (y[late] - y[early]) / (t[late] - t[early])
    got = trends_of(y, t, np.zeros(5, int), 1, confidence=0.95)
    assert [got.low[0], got.high[0]] == pytest.approx([slopes.min(), slopes.max()])


def test_reversals_of_the_published_series() -> None:
    """NIST Dataplot, HAHN (215); e-Handbook 8.1.7 case study (33, from memory): reversals are pairs of gaps that grow."""
    trends = json.loads((PUBLISHED / "nist_trend_tests.json").read_text(encoding="utf-8"))
    for name, times, wanted in (("hahn", "times", 215), ("case_study", "times", 33)):
        gaps = np.diff(np.array(trends[name][times], dtype=float), prepend=0.0)
        early, late = np.triu_indices(len(gaps), 1)
        equal = np.count_nonzero(gaps[early] == gaps[late])
        got = trends_of(gaps, np.arange(len(gaps), dtype=float), np.zeros(len(gaps), int), 1)
        assert (len(early) - equal + got.s[0]) / 2 == wanted


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(5, 25), st.booleans())
def test_slope_and_tau_are_scipys(seed: int, n: int, ties: bool) -> None:
    rng = np.random.default_rng(seed)
    t, y = np.sort(rng.random(n)), rng.normal(size=n)
    if ties:
        y = np.round(y, 0)
    order = rng.permutation(n)
    got = trends_of(y[order], t[order], np.zeros(n, int), 1)
    assert got.slope[0] == pytest.approx(theilslopes(y, t)[0], abs=1e-12)
    if not ties:
        theirs = kendalltau(t, y, method="exact")
        assert got.tau[0] == pytest.approx(theirs.statistic, abs=1e-12)
        assert got.p[0] == pytest.approx(theirs.pvalue, rel=1e-7)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_many_series_at_once_are_as_one_by_one_in_any_order(seed: int) -> None:
    rng = np.random.default_rng(seed)
    series = rng.integers(0, 8, 60)
    t, y = rng.integers(0, 30, 60).astype(float), rng.normal(size=60)
    y[rng.random(60) < 0.1] = np.nan
    together = trends_of(y, t, series, 9)
    order = rng.permutation(60)
    mixed = trends_of(y[order], t[order], series[order], 9)
    for name in ("s", "p", "slope", "low", "high", "z", "intercept"):
        np.testing.assert_array_equal(getattr(together, name), getattr(mixed, name))
        for k in range(9):
            alone = trends_of(y[series == k], t[series == k], np.zeros((series == k).sum(), int), 1)
            np.testing.assert_array_equal(getattr(together, name)[k], getattr(alone, name)[0])


def test_four_values_give_no_verdict_and_equal_dates_no_slope() -> None:
    t = np.array([0.0, 1, 2, 3, 5, 5, 5, 5, 5])
    got = trends_of(np.arange(9.0), t, np.array([0] * 4 + [1] * 5), 2)
    assert np.isnan(got.p[0])
    assert np.isnan(got.slope).all()
    assert got.p[1] == 1.0
    assert got.n.tolist() == [4, 5]


def test_identical_values_have_no_trend() -> None:
    got = trends_of(np.ones(6), np.arange(6.0), np.zeros(6, int), 1)
    assert (got.s[0], got.p[0], got.slope[0]) == (0, 1.0, 0.0)


def test_short_series_have_limits_that_hold_and_long_ones_shorter_ones() -> None:
    rng = np.random.default_rng(5)
    for n in (6, 8, 12):
        y = rng.normal(size=(2000, n)) + 2.0 * np.arange(n)
        got = trends_of(y.ravel(), np.tile(np.arange(n), 2000).astype(float), np.repeat(np.arange(2000), n), 2000)
        assert np.mean((got.low <= 2.0) & (got.high >= 2.0)) >= 0.94
