"""The pictures of the forecast: the data are the view's; limit, risk, today and the next check are named."""

import json
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboard.figures.forecast import chance_figure, fan_figure
from dashboard.theme import SCHEMES
from dashboard.views.asset_forecast_view import build_forecast
from dashboard.views.asset_view import build
from models.history.engine import study_of
from models.units import Display
from tests.history_maker import NOW, made_book

BOOK = made_book()
HISTORY = BOOK.history(1)
STUDY = study_of(HISTORY)
ROW = int(np.flatnonzero(STUDY.standing.can)[0])
VIEW = build_forecast(STUDY, HISTORY, ROW, risk=0.1, now_us=round(NOW.timestamp() * 1e6), display=Display())
MACHINE = build(BOOK.stories[ROW], Display())


def texts(figure: Any) -> list[str]:
    return [one.text for one in figure.layout.annotations]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_the_band_is_the_views_and_the_limit_is_named(scheme: str) -> None:
    figure = go.Figure(fan_figure(VIEW, MACHINE.ratio, MACHINE.who, scheme))
    low, high = (one.y for one in figure.data if one.name == "80\u202f% band" and one.fill is None)
    np.testing.assert_allclose(low, VIEW.low)
    np.testing.assert_allclose(high, VIEW.high)
    assert {"limit: ratio 1", "today", "next check", "80\u202f% band"} <= set(texts(figure))
    names = [one.name for one in figure.data]
    assert "as found" in names
    assert "as left" in names
    assert figure.layout.yaxis.range[1] >= VIEW.high.max()


def test_the_fan_begins_where_the_last_visit_left_the_machine() -> None:
    figure = go.Figure(fan_figure(VIEW, MACHINE.ratio, MACHINE.who, "light"))
    middle = next(one for one in figure.data if one.name == "middle")
    left = next(one for one in figure.data if one.name == "as left")
    assert middle.x[0] == left.x[-1]
    assert figure.layout.xaxis.range[0] < left.x[-2] < figure.layout.xaxis.range[1]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_the_probability_is_drawn_in_per_cent_with_the_risk_and_the_day(scheme: str) -> None:
    figure = go.Figure(chance_figure(VIEW, scheme))
    np.testing.assert_allclose(figure.data[0].y, 100 * VIEW.over)
    diamond = next(one for one in figure.data if one.name == "next check")
    assert (diamond.marker.symbol, diamond.y[0]) == ("diamond", pytest.approx(100 * VIEW.over_then))
    assert str(diamond.x[0])[:10] == VIEW.recheck.date().isoformat()
    assert "accepted risk 10\u202f%" in texts(figure)
    assert [one.y0 for one in figure.layout.shapes if one.y0 == one.y1] == [pytest.approx(10.0)]


def test_the_pictures_are_plain_data() -> None:
    for picture in (fan_figure(VIEW, MACHINE.ratio, MACHINE.who, "light"), chance_figure(VIEW, "dark")):
        json.dumps(picture, allow_nan=False)
