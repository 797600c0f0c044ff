"""A sheet holds what Plotly would hold, as plain data."""

import json

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboard.figures.sheet import Sheet, plain
from dashboard.theme import SCHEMES, template_of


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_sheet_is_the_figure_that_plotly_makes_of_the_same_words(scheme: str) -> None:
    sheet = Sheet(scheme)
    sheet.scatter(x=[1, 2], y=np.array([0.5, 1.5]), mode="lines", name="one")
    sheet.shape(type="line", x0=0, x1=1, y0=1, y1=1)
    sheet.word("limit", x=1, y=1)
    sheet.x(range=[0, 3])
    sheet.y(title={"text": "ratio"})
    sheet.lay(margin={"t": 4})
    twin = go.Figure(layout={"template": template_of(scheme)})
    twin.add_scatter(x=[1, 2], y=[0.5, 1.5], mode="lines", name="one")
    twin.add_shape(type="line", x0=0, x1=1, y0=1, y1=1)
    twin.add_annotation(text="limit", x=1, y=1, showarrow=False, font={"size": 12, "color": sheet.palette.ink})
    twin.update_xaxes(range=[0, 3])
    twin.update_yaxes(title={"text": "ratio"})
    twin.update_layout(margin={"t": 4})
    made = go.Figure(sheet.picture).to_plotly_json()
    made["data"][0]["y"] = list(made["data"][0]["y"])
    assert made == twin.to_plotly_json()


def test_an_arrow_leads_from_its_first_point_to_its_second() -> None:
    sheet = Sheet("light")
    sheet.arrow((1.0, 2.0), (3.0, 4.0), "#000000")
    arrow = go.Figure(sheet.picture).layout.annotations[0]
    assert (arrow.ax, arrow.ay, arrow.x, arrow.y, arrow.showarrow) == (1.0, 2.0, 3.0, 4.0, True)


def test_arrays_become_lists_without_numbers_that_are_none() -> None:
    assert plain(np.array([1.0, np.nan])) == [1.0, None]
    assert plain(np.array(["2026-01-02T03:04:05"], dtype="datetime64[us]")) == ["2026-01-02T03:04:05"]
    assert plain(np.array([1, 2])) == [1, 2]
    assert plain([1.0]) == [1.0]
    json.dumps(Sheet("dark").picture, allow_nan=False)
