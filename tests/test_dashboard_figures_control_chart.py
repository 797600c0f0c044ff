"""The control chart as a picture: points, limits and counts are the view's."""

from datetime import date
from typing import Any

import numpy as np
import pytest

from dashboard.figures import control_chart as drawn_control_chart
from dashboard.theme import SCHEMES
from dashboard.views.month_chart_view import MonthSeries
from tests.checked_pictures import checked
from tests.history_maker import columns_of, made_book
from tests.test_dashboard_figures_shares import month_of
from tests.test_dashboard_views_month_chart_view import series_of

control_figure = checked(drawn_control_chart.control_figure)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_each_month_is_a_point_with_its_count_below(scheme: str) -> None:
    series: MonthSeries = month_of(made_book().history(1), date(2026, 10, 1)).series
    figure = control_figure(series, scheme)
    points = np.concatenate([one.y for one in figure.data if one.mode == "markers"])
    np.testing.assert_allclose(np.sort(points), np.sort(series.found_share[series.found_n > 0] * 100))
    texts = next(one.text for one in figure.data if one.mode == "text")
    assert list(texts) == [
        f"{k}<br>{n}" if n else "·<br>0" for k, n in zip(series.found_count, series.found_n, strict=True)
    ]


def named(figure: Any, name: str) -> Any:
    return [one for one in figure.data if one.name == name]


def test_limits_are_drawn_named_and_a_month_beyond_has_a_shape_of_its_own() -> None:
    series = series_of([5, 6] * 11 + [18, 5], [20] * 24)
    figure = control_figure(series, "light")
    upper, lower = named(figure, "control limits")
    np.testing.assert_allclose(upper.y, series.upper * 100)
    np.testing.assert_allclose(lower.y, series.lower * 100)
    (beyond,) = named(figure, "beyond the control limits")
    assert (beyond.marker.symbol, len(beyond.x)) == ("diamond", 1)
    assert len(named(figure, "this month")[0].x) == 1
    assert [one.text.split("<br>")[0] for one in figure.layout.annotations] == ["upper", "mean", "lower"]


def test_without_limits_nothing_is_drawn_that_looks_like_one() -> None:
    figure = control_figure(series_of([1, 2, 3], [10, 10, 10]), "dark")
    assert not named(figure, "control limits")
    assert not figure.layout.annotations
    empty = control_figure(month_of(columns_of([])).series, "dark")
    assert [one.mode for one in empty.data] == ["lines", "text"]
