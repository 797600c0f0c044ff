"""Benjamini–Hochberg against the paper and statsmodels."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from models.history.multiplicity import adjusted, adjusted_at, believed, largest_believed

BH = json.loads((Path(__file__).parent / "published" / "proportions_fdr_eb.json").read_text(encoding="utf-8"))["bh"]


def test_four_of_the_fifteen_are_believed() -> None:
    """Benjamini & Hochberg (1995), 15 p-values; rejections as in the statsmodels tests (seen in a secondary copy)."""
    assert believed(np.array(BH["p"]), BH["alpha"]).sum() == BH["published"]["bh"]


@given(st.lists(st.floats(0, 1), min_size=1, max_size=40))
def test_adjusted_values_are_those_of_statsmodels(p: list[float]) -> None:
    values = np.array(p)
    np.testing.assert_allclose(adjusted(values), multipletests(values, method="fdr_bh")[1], atol=1e-12)


def test_what_was_not_tested_counts_in_nothing() -> None:
    p = np.array([0.01, np.nan, 0.2, np.nan])
    np.testing.assert_allclose(adjusted(p)[[0, 2]], adjusted(np.array([0.01, 0.2])))
    assert np.isnan(adjusted(p)[[1, 3]]).all()
    assert not believed(np.full(3, np.nan)).any()


@given(
    st.lists(st.sampled_from([0.0, 0.001, 0.01, 0.02, 0.1, 0.1000001, 0.3, 1.0, float("nan")]), max_size=40),
    st.sampled_from([0.01, 0.05, 0.1, 0.5, 1.0]),
)
def test_what_is_believed_needs_no_order_of_all(p: list[float], rate: float) -> None:
    values = np.array(p, dtype=np.float64)
    q = adjusted(values)
    assert ((values <= largest_believed(values, rate)) == (q <= rate)).all()
    rows = np.arange(len(values))[::-1]
    assert np.array_equal(adjusted_at(values, rows), q[rows], equal_nan=True)
