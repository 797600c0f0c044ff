"""The funnel as a picture: all machines are in it, and what lies beyond is named and has a shape of its own."""

import numpy as np
import pytest

from dashboard.figures import funnel as drawn_funnel
from dashboard.theme import SCHEMES
from dashboard.views.funnel_view import funnel_of
from tests.checked_pictures import checked
from tests.test_dashboard_views_funnel_view import funnel

funnel_figure = checked(drawn_funnel.funnel_figure)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_points_and_limits_are_the_views(scheme: str) -> None:
    made = funnel([1] * 10 + [9] * 40 + [9], [1] * 5 + [0] * 5 + [2] * 40 + [8])
    figure = funnel_figure(made, scheme)
    outer = next(one for one in figure.data if one.name == "99.8\u202f% limit")
    np.testing.assert_allclose(outer.y, made.outer_high * 100)
    beyond = next(one for one in figure.data if one.name.startswith("beyond"))
    assert (beyond.marker.symbol, list(beyond.text)) == ("diamond", ["<b>P-50</b>"])
    inside = next(one for one in figure.data if one.name.startswith("within the 99.8"))
    assert inside.marker.symbol == "circle"
    assert sorted(inside.text) == ["40", "5", "5"]
    assert "40 machines" in " ".join(inside.customdata)


def test_a_tag_cannot_write_markup_into_the_picture() -> None:
    made = funnel_of(np.array([9] * 41), np.array([2] * 40 + [9]), np.array(["<b>x</b>"] * 41, dtype=object))
    assert made is not None
    assert all(
        "<b>x" not in str(text)
        for one in funnel_figure(made, "light").data
        for text in (one.customdata if one.customdata is not None else [])
    )
