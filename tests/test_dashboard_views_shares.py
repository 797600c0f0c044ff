"""What can be said of a change of a share."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import confint_proportions_2indep

from dashboard.views.shares import Change, Share, cell, change, difference
from models.history.intervals import shares, wilson


def share(count: int, n: int) -> Any:
    low, high = wilson(np.array([count]), np.array([n]))
    return Share(count, n, count / n if n else float("nan"), float(low[0]), float(high[0]))


@pytest.mark.parametrize(
    ("count", "n", "count_before", "n_before"), [(8, 32, 72, 323), (0, 10, 30, 60), (56, 70, 48, 80), (9, 10, 3, 10)]
)
def test_the_interval_of_a_difference_agrees_with_another_library(
    count: int, n: int, count_before: int, n_before: int
) -> None:
    """Twin: statsmodels, method 'newcomb'."""
    low, high = difference(share(count, n), share(count_before, n_before))
    expected = confint_proportions_2indep(count, n, count_before, n_before, method="newcomb", compare="diff")
    assert (low, high) == pytest.approx(expected, abs=1e-9)


def test_a_published_difference_is_met() -> None:
    """56 of 70 against 48 of 80: 0.0524 to 0.3339. Source: Newcombe (1998), Statistics in Medicine 17:873, Table II,
    value from memory, not verified against a copy."""
    low, high = difference(share(56, 70), share(48, 80))
    assert (low, high) == pytest.approx((0.0524, 0.3339), abs=5e-5)


@given(st.integers(1, 80), st.integers(1, 80), st.data())
def test_more_one_way_is_fewer_the_other_way(n: int, m: int, data: Any) -> None:
    one, other = share(data.draw(st.integers(0, n)), n), share(data.draw(st.integers(0, m)), m)
    opposite = {Change.MORE: Change.FEWER, Change.FEWER: Change.MORE, Change.NO_SIGN: Change.NO_SIGN}
    assert change(other, one) is opposite[change(one, other)]
    assert change(one, one) is Change.NO_SIGN


def test_nothing_can_be_said_without_readings() -> None:
    assert change(share(0, 0), share(3, 9)) is change(share(3, 9), share(0, 0)) is Change.UNKNOWN
    assert not share(0, 0).known


def test_a_cell_carries_its_count_and_interval() -> None:
    table = shares(np.array([[1, 2]]), np.array([[4, 8]]))
    one = cell(table, 0, 1)
    assert (one.count, one.n, one.share) == (2, 8, 0.25)
    assert one.low < 0.25 < one.high
