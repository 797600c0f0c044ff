"""The normal and Student distributions against an independent library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from models.maths.normal import normal_cdf, student_quantile, student_tail


def test_the_normal_distribution_is_right_to_twelve_digits_everywhere() -> None:
    x = np.concatenate([np.linspace(-12, 12, 100_001), [np.inf, -np.inf, 9.0, -9.0]])
    assert np.abs(normal_cdf(x) - stats.norm.cdf(x)).max() < 1e-12


def test_any_shape_goes_in_and_comes_out() -> None:
    assert normal_cdf(np.zeros((2, 0, 3))).shape == (2, 0, 3)
    assert normal_cdf(np.zeros((2, 3))).tolist() == [[0.5] * 3] * 2


@pytest.mark.parametrize("df", [1, 2, 3, 4, 5, 8, 17, 60, 999])
def test_students_tail_is_that_of_an_independent_library(df: int) -> None:
    for t in (-40.0, -2.5, -0.1, 0.0, 0.7, 2.0, 5.0, 60.0):
        assert student_tail(t, df) == pytest.approx(stats.t.sf(t, df), abs=1e-13)
    assert student_tail(np.inf, df) == 0.0
    assert student_tail(-np.inf, df) == 1.0


@pytest.mark.parametrize("df", [1, 2, 3, 7, 16, 200])
def test_students_quantile_is_that_of_an_independent_library(df: int) -> None:
    for p in (0.001, 0.3, 0.5, 0.9, 0.975, 0.9999):
        assert student_quantile(p, df) == pytest.approx(stats.t.ppf(p, df), rel=1e-9, abs=1e-9)
