"""Drift in the plane and at the feet as pictures."""

import json
from dataclasses import replace

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboard.figures.drift_plane import beyond, feet_rate_figure, plane_figure
from dashboard.theme import SCHEMES
from dashboard.views.asset_drift_view import build_drift
from models.history.engine import study_of
from models.units import Display
from models.values.limits import LimitsGiven
from tests.history_maker import made_book

HISTORY = made_book().history(1)
STUDY = study_of(HISTORY)
WHO = dict.fromkeys(HISTORY.jobs.entry.tolist(), "J1 · planned · <b>A. Bell</b> (invented)")
VIEW = build_drift(STUDY, HISTORY, 1, display=Display(), who=WHO, feet_mm=(350.0, 900.0))


@pytest.mark.parametrize("scheme", SCHEMES)
def test_each_run_is_an_arrow_from_left_to_found(scheme: str) -> None:
    plane = VIEW.planes[0]
    figure = go.Figure(plane_figure(plane, VIEW.moves, scheme))
    arrows = [one for one in figure.layout.annotations if one.showarrow]
    np.testing.assert_allclose([(one.ax, one.ay) for one in arrows[:-1]], plane.left)
    np.testing.assert_allclose([(one.x, one.y) for one in arrows[:-1]], plane.found)
    mean = arrows[-1]
    assert ((mean.ax, mean.ay), (mean.x, mean.y)) == ((0.0, 0.0), plane.mean)
    assert "mean drift in a year" in [one.text for one in figure.layout.annotations]


def test_the_limit_is_a_circle_of_its_size_or_a_square() -> None:
    plane = VIEW.planes[0]
    circle = go.Figure(plane_figure(plane, VIEW.moves, "light")).layout.shapes[0]
    assert (circle.type, circle.x1, circle.y0) == ("circle", plane.limit, -plane.limit)
    each = build_drift(
        STUDY, HISTORY, 1, display=Display(), who={}, feet_mm=(), given=LimitsGiven(0.05, None, each_axis=True)
    )
    assert go.Figure(plane_figure(each.planes[0], each.moves, "light")).layout.shapes[0].type == "rect"
    assert go.Figure(plane_figure(each.planes[1], each.moves, "light")).layout.shapes == ()


def test_both_axes_have_one_scale_and_everything_is_in_sight() -> None:
    plane = VIEW.planes[0]
    figure = go.Figure(plane_figure(plane, VIEW.moves, "light"))
    assert (figure.layout.yaxis.scaleanchor, figure.layout.yaxis.scaleratio) == ("x", 1)
    reach = figure.layout.xaxis.range[1]
    assert reach >= np.abs(np.concatenate([plane.left, plane.found, plane.outline])).max()


def test_limit_and_runs_keep_their_place_beside_a_mean_far_beyond_them() -> None:
    """Runs of minutes give a mean in a year of metres: the axes stay within three times what limit and runs need."""
    plane = VIEW.planes[0]
    assert not beyond(plane)
    far = replace(plane, mean=(-40.0, 30.0), outline=plane.outline * 900.0)
    assert beyond(far)
    figure = go.Figure(plane_figure(far, VIEW.moves, "light"))
    need = max(float(np.abs(points).max()) for points in (far.left, far.found, np.array([far.limit])))
    reach = figure.layout.xaxis.range[1]
    assert reach == pytest.approx(3 * 1.12 * need)
    mean = [one for one in figure.layout.annotations if one.showarrow][-1]
    assert mean.y / mean.x == pytest.approx(-0.75)
    assert max(abs(mean.x), abs(mean.y)) < reach
    word = next(one for one in figure.layout.annotations if one.text == "mean drift in a year: goes on")
    assert abs(word.y) < reach


def test_without_a_mean_there_is_neither_thick_arrow_nor_region() -> None:
    bare = replace(VIEW.planes[0], mean=None, outline=np.zeros((0, 2)))
    figure = go.Figure(plane_figure(bare, VIEW.moves, "light"))
    assert sum(one.showarrow for one in figure.layout.annotations) == len(VIEW.moves)
    assert figure.layout.xaxis.range[1] == pytest.approx(
        1.12 * max(np.abs(bare.left).max(), np.abs(bare.found).max(), bare.limit)
    )


def test_the_hover_says_job_days_and_person_and_no_markup_of_theirs() -> None:
    found = next(
        one for one in go.Figure(plane_figure(VIEW.planes[0], VIEW.moves, "light")).data if one.name == "as found"
    )
    assert "A. Bell" in found.text[0]
    assert "<b>" not in found.text[0]
    assert "→" in found.text[0]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_feet_stand_with_their_intervals_beside_no_movement(scheme: str) -> None:
    figure = go.Figure(feet_rate_figure(VIEW.feet, "mm", 3, scheme))
    drawn = {name: (x, x - lower, x + upper) for one in figure.data for name, x, lower, upper in zip(
        one.text, one.x, one.error_x.arrayminus, one.error_x.array, strict=True
    )}  # fmt: skip
    for row in VIEW.feet:
        name = f"Row {row.row}, {'vertical' if row.axis == 'v' else 'horizontal'}"
        assert drawn[name] == pytest.approx((row.rate, row.low, row.high))
    assert "no movement" in [one.text for one in figure.layout.annotations]
    symbols = {one.marker.symbol for one in figure.data}
    assert len(symbols) == len(figure.data)


def test_the_pictures_are_plain_data() -> None:
    json.dumps(plane_figure(VIEW.planes[1], VIEW.moves, "dark"), allow_nan=False)
    json.dumps(feet_rate_figure(VIEW.feet, "mm", 3, "dark"), allow_nan=False)
