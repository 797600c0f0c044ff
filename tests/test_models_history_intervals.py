"""Intervals of a share against Newcombe, the e-Handbook and statsmodels."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from models.history.intervals import shares, wilson

PUBLISHED = json.loads((Path(__file__).parent / "published" / "proportions_fdr_eb.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize(("count", "n", "low", "high"), PUBLISHED["wilson"]["cases"])
def test_wilson_interval_is_the_published_one(count: int, n: int, low: float, high: float) -> None:
    """Newcombe (1998), Statistics in Medicine 17:857, table I, method 3 (seen in a secondary copy)."""
    got = wilson(np.array([count]), np.array([n]))
    assert got[0][0] == pytest.approx(low, abs=5e-5)
    assert got[1][0] == pytest.approx(high, abs=5e-5)


@given(st.integers(0, 60), st.integers(1, 60), st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99]))
def test_wilson_interval_agrees_with_statsmodels(count: int, n: int, confidence: float) -> None:
    count = min(count, n)
    low, high = wilson(np.array([count]), np.array([n]), confidence)
    assert (low[0], high[0]) == pytest.approx(proportion_confint(count, n, 1 - confidence, method="wilson"), abs=1e-9)


def test_no_jobs_at_all_leave_everything_open() -> None:
    result = shares(np.array([0, 3]), np.array([0, 4]))
    assert np.isnan(result.share[0])
    assert (result.low[0], result.high[0]) == (0.0, 1.0)
    assert result.share[1] == 0.75


@given(st.integers(1, 500))
def test_none_and_all_are_mirror_images_and_reach_the_edge(n: int) -> None:
    low, high = wilson(np.array([0, n]), np.array([n, n]))
    assert low[0] == 0.0
    assert high[1] == 1.0
    assert high[0] == pytest.approx(1.0 - low[1], abs=1e-12)
