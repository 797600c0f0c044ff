"""What can be said of a change of a share."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.views.shares import Change, Share, cell, change
from models.history.intervals import shares, wilson


def share(count: int, n: int) -> Any:
    low, high = wilson(np.array([count]), np.array([n]))
    return Share(count, n, count / n if n else float("nan"), float(low[0]), float(high[0]))


@pytest.mark.parametrize(
    ("now", "before", "told"),
    [
        ((3, 3), (0, 1), Change.NO_SIGN),  # p = 0.25; two joined Wilson intervals called this more than chance
        ((2, 2), (0, 2), Change.NO_SIGN),  # p = 0.33
        ((1, 1), (0, 12), Change.NO_SIGN),  # p = 0.08
        ((0, 1), (30, 31), Change.NO_SIGN),
        ((4, 4), (0, 3), Change.MORE),  # p = 1/35
        ((30, 40), (0, 40), Change.MORE),
        ((0, 10), (30, 60), Change.FEWER),
    ],
)
def test_a_change_is_claimed_only_where_chance_does_not_explain_it(
    now: tuple[int, int], before: tuple[int, int], told: Change
) -> None:
    assert change(share(*now), share(*before)) is told


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
