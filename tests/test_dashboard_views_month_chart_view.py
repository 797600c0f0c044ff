"""The control chart of the months: its limits are Laney's, and its words name the months beyond them."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from dashboard.views.month_chart_view import chart_words, month_series
from models.history.counts import Counts
from models.history.intervals import shares

FIRST = 2024 * 12 + 10  # November 2024


def series_of(count: Any, n: Any) -> Any:
    found = shares(np.array(count)[:, None], np.array(n)[:, None])
    months = FIRST + np.arange(len(count))
    return month_series(Counts(months, np.array([-1]), np.array(n)[:, None], found, found))


def test_the_limits_are_the_mean_and_three_sigma_widened_by_how_months_differ() -> None:
    """Laney (2002; memory, see models/history/control.py): p ± 3 σz √(p(1−p)/n), σz = mean moving range of z ÷ 1.128, written out plainly."""
    count, n = [5, 9, 4, 6, 8, 3, 7, 5, 6, 9, 4, 8] * 2, [20, 30, 25] * 8
    series = series_of(count, n)
    p = sum(count) / sum(n)
    z = [(c / m - p) / (p * (1 - p) / m) ** 0.5 for c, m in zip(count, n, strict=True)]
    sigma = sum(abs(b - a) for a, b in pairwise(z)) / (len(z) - 1) / 1.128
    assert series.centre[-1] == pytest.approx(p)
    assert series.sigma_z == pytest.approx(sigma)
    for row, m in enumerate(n):
        half = 3 * sigma * (p * (1 - p) / m) ** 0.5
        assert series.upper[row] == pytest.approx(min(p + half, 1.0))
        assert series.lower[row] == pytest.approx(max(p - half, 0.0))


def test_a_month_beyond_is_named_with_its_share() -> None:
    series = series_of([5, 6] * 11 + [5, 18], [20] * 24)
    assert series.above.tolist() == [False] * 23 + [True]
    text = chart_words(series)
    assert "Above the upper control limit: Oct 2026 (90\u202f%)." in text
    assert "No month lies beyond" not in text


def test_a_quiet_series_says_that_nothing_stands_out() -> None:
    text = chart_words(series_of([5, 6, 4] * 8, [20] * 24))
    assert "No month lies beyond its control limits" in text
    assert "Over these 24 months 25\u202f%" in text
    assert "Oct 2026: 20\u202f%, control limits" in text


def test_eight_months_on_one_side_are_said() -> None:
    text = chart_words(series_of([4, 6] * 4 + [4, 3] * 4 + [7, 8] * 4, [20] * 24))
    assert "8 months or more in a row lay above the mean, up to Oct 2026" in text


def test_fewer_than_twelve_months_have_no_limits_and_fewer_than_twenty_provisional_ones() -> None:
    few = series_of([1, 2, 3], [10, 10, 10])
    assert not few.limited
    assert np.isnan(few.upper).all()
    assert not few.above.any()
    assert chart_words(few) == "Months with readings: 3. That is too few for control limits, which need twelve."
    some = series_of([2, 3] * 7 + [0] * 10, [10] * 14 + [0] * 10)
    assert "provisional: 14 months have readings" in chart_words(some)
    assert np.isnan(some.upper[14:]).all()


@pytest.mark.parametrize("count", [0, 10], ids=["never over", "always over"])
def test_shares_without_any_spread_set_no_limits(count: int) -> None:
    series = series_of([count] * 24, [10] * 24)
    assert not series.limited
    assert "too few" in chart_words(series)


def test_no_reading_at_all_is_said() -> None:
    assert chart_words(series_of([0] * 24, [0] * 24)) == "No month of the 24 has an as-found reading that was judged."
