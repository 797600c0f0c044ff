"""Shrinkage against the BCG trials, and what it must never do."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.history.shrinkage import dersimonian_laird, shrink

BCG = json.loads((Path(__file__).parent / "published" / "proportions_fdr_eb.json").read_text(encoding="utf-8"))[
    "dersimonian_laird_bcg"
]


def test_the_bcg_trials_come_out_as_published() -> None:
    """Colditz et al. (1994); results in the tests of the R package metafor, to 4 decimals; counts and tau2 from memory."""
    a, b, c, d = (np.array(BCG[name], dtype=float) for name in ("tpos", "tneg", "cpos", "cneg"))
    effect = np.log((a / (a + b)) / (c / (c + d)))
    variance = 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)
    published = BCG["published"]
    common = dersimonian_laird(effect, variance)
    assert common.mean == pytest.approx(published["dl"], abs=5e-5)
    assert common.between == pytest.approx(published["tau2"], abs=5e-5)
    assert common.q == pytest.approx(published["Q"], abs=5e-4)
    half = 1.959964 * np.sqrt(common.mean_variance)
    assert [common.mean - half, common.mean + half] == pytest.approx(published["dl_ci"], abs=5e-5)
    fixed = dersimonian_laird(effect, variance, between=0.0)
    half = 1.959964 * np.sqrt(fixed.mean_variance)
    assert fixed.mean == pytest.approx(published["fe"], abs=5e-5)
    assert [fixed.mean - half, fixed.mean + half] == pytest.approx(published["fe_ci"], abs=5e-5)


@given(st.floats(-5, 5), st.floats(1e-6, 10), st.floats(-5, 5), st.floats(0, 10))
def test_a_shrunk_figure_lies_between_its_own_and_the_common(
    own: float, variance: float, mean: float, between: float
) -> None:
    value, spread = shrink(
        np.array([own]), np.array([variance]), np.array([mean]), np.array([0.0]), np.array([between])
    )
    assert min(own, mean) - 1e-9 <= value[0] <= max(own, mean) + 1e-9
    assert 0.0 <= spread[0] <= min(variance, between) + 1e-12


def test_no_knowledge_of_ones_own_is_the_common_figure() -> None:
    value, spread = shrink(np.array([np.nan]), np.array([np.inf]), np.array([2.0]), np.array([0.5]), np.array([3.0]))
    assert (value[0], spread[0]) == (2.0, 3.5)
    assert dersimonian_laird(np.zeros(0), np.zeros(0)).n == 0
