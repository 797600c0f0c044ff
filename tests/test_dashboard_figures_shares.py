"""Pictures of shares: point, interval and count are the view's."""

from datetime import date
from typing import Any

import numpy as np
import pytest

from dashboard.figures.shares import class_figure, month_figure, month_text, offender_figure
from dashboard.theme import SCHEMES
from dashboard.views import month_view, offenders_view
from models.history.runs import runs_of
from tests.history_maker import NOW, STARTER, columns_of, made_book, site

TODAY = date(2026, 11, 18)


def month_of(history: Any, chosen: Any = None) -> Any:
    return month_view.build(
        history, runs_of(history.jobs, history.breaks), chosen, TODAY, site=site(), instruments=(), limit_set=STARTER,
        today_us=int(NOW.timestamp() * 1e6),
    )  # fmt: skip


@pytest.fixture(scope="module")
def history() -> Any:
    return made_book().history(1)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("stage", ["found", "left"])
def test_each_speed_class_has_its_share_interval_and_count(history: Any, stage: str, scheme: str) -> None:
    view = month_of(history, date(2026, 10, 1))
    figure = class_figure(view.classes, stage, scheme)
    known = [getattr(one, stage) for one in view.classes if getattr(one, stage).known]
    month = next(one for one in figure.data if one.name == "this month")
    np.testing.assert_allclose(month.x, [one.share * 100 for one in known])
    np.testing.assert_allclose(month.x + month.error_x.array, [one.high * 100 for one in known])
    np.testing.assert_allclose(month.x - month.error_x.arrayminus, [one.low * 100 for one in known])
    texts = list(figure.data[0].text)
    for one in known:
        assert f"{one.count} / {one.n}" in texts


def test_each_month_has_its_count_below_it(history: Any) -> None:
    series = month_of(history, date(2026, 10, 1)).series
    figure = month_figure(series, "light")
    texts = list(figure.data[-1].text)
    assert texts == [f"{k}<br>{n}" if n else "·<br>0" for k, n in zip(series.found_count, series.found_n, strict=True)]
    points = np.concatenate([one.y for one in figure.data[:-1]])
    np.testing.assert_allclose(np.sort(points), np.sort(series.found_share[series.found_n > 0] * 100))
    assert len(figure.data[-2].y) == 1
    assert "lay between" in month_text(series)


def test_an_empty_site_is_an_empty_picture_that_says_so() -> None:
    series = month_of(columns_of([])).series
    assert [one.mode for one in month_figure(series, "dark").data] == ["text"]
    assert month_text(series).startswith("No month of the 24")
    assert [one.mode for one in class_figure(month_of(columns_of([])).classes, "found", "dark").data] == ["text"]


def test_each_offender_has_its_bound_marked(history: Any) -> None:
    view = offenders_view.build(
        history, runs_of(history.jobs, history.breaks), None, None, TODAY, site=site(), limit_set=STARTER
    )
    figure = offender_figure(view.lines, "light")
    np.testing.assert_allclose(figure.data[1].x, [one.low * 100 for one in view.lines])
    np.testing.assert_allclose(figure.data[0].x - figure.data[0].error_x.arrayminus, figure.data[1].x)
    assert list(figure.layout.yaxis.ticktext) == [one.tag for one in view.lines]
    assert np.all(np.diff(figure.data[1].x) <= 1e-9)
