"""Pictures of runs: the data are the view's, nothing is added."""

import json
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboard.figures import runs
from dashboard.theme import SCHEMES, template_of
from dashboard.views.asset_view import build
from models.units import Display
from models.values.asset import Asset, MachineBreak
from models.values.kinds import Part
from tests.history_maker import Misalignment, job, line, story_of

PUMP = Asset("P-1", speed_rpm=1480.0, feet_movable_mm=(300.0,))
GOOD, BAD = Misalignment(0.02, 0.1, 0.01, 0.0), Misalignment(0.2, 0.3, 0.0, 0.0)
JOBS = [
    line(job("P-1", "2024-01-05T09:00", None, GOOD), PUMP, 5),
    line(job("P-1", "2025-01-05T09:00", BAD, GOOD, people=("A <a href='x'>B</a>",)), PUMP, 6),
    line(job("P-1", "2026-01-05T09:00", GOOD, GOOD), PUMP, 7),
]
VIEW = build(story_of(PUMP, JOBS, (MachineBreak("P-1", date(2025, 6, 1), Part.BASE, "worn <b>out</b>"),)), Display())


def ratio_figure(*given: Any) -> Any:
    """Draw, and hand the picture to Plotly, which refuses what it does not know."""
    return go.Figure(runs.ratio_figure(*given))


def panel_figure(*given: Any) -> Any:
    return go.Figure(runs.panel_figure(*given))


def trace(figure: Any, name: str) -> Any:
    return next(one for one in figure.data if one.name == name)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_points_are_the_readings_and_lines_the_runs(scheme: str) -> None:
    figure = ratio_figure(VIEW.ratio, VIEW.who, VIEW.marks, scheme)
    np.testing.assert_allclose(trace(figure, "as found").y, [JOBS[1].found_ratio, JOBS[2].found_ratio])
    np.testing.assert_allclose(trace(figure, "as left").y, [one.left_ratio for one in JOBS])
    np.testing.assert_allclose(trace(figure, "runs").y[:2], [JOBS[0].left_ratio, JOBS[1].found_ratio])
    assert trace(figure, "as found").marker.symbol == "circle"
    assert trace(figure, "as left").marker.symbol == "square"
    assert figure.layout.template == template_of(scheme)


def test_the_limit_and_the_break_are_named() -> None:
    figure = ratio_figure(VIEW.ratio, VIEW.who, VIEW.marks, "light")
    texts = [one.text for one in figure.layout.annotations]
    assert "limit: ratio 1" in texts
    assert "base replaced" in texts
    assert [shape.y0 for shape in figure.layout.shapes if shape.y0 == shape.y1] == [1.0]
    low, high = figure.layout.yaxis.range
    assert low == 0
    assert high > JOBS[1].found_ratio


def test_a_panel_draws_target_and_limits_as_steps() -> None:
    figure = panel_figure(VIEW.components[0], VIEW.who, VIEW.marks, "light")
    assert [one.name for one in figure.data][:3] == ["target", "limit", "limit"]
    np.testing.assert_allclose(figure.data[1].y, [120 / 1480] * 4)
    assert figure.data[1].line.shape == "hv"


def test_a_panel_without_limits_has_none() -> None:
    figure = panel_figure(VIEW.feet[0], VIEW.who, VIEW.marks, "light")
    assert "limit" not in [one.name for one in figure.data]


def test_what_people_typed_does_not_become_part_of_the_picture() -> None:
    figure = ratio_figure(VIEW.ratio, VIEW.who, VIEW.marks, "light")
    assert "<a" not in "".join(trace(figure, "as found").text)
    assert all("<b>" not in str(one.hovertext) for one in figure.layout.annotations)


def test_the_picture_is_plain_data_and_the_view_is_not_touched() -> None:
    before = VIEW.ratio.solid.copy()
    picture = runs.ratio_figure(VIEW.ratio, VIEW.who, VIEW.marks, "light")
    assert json.loads(json.dumps(picture, allow_nan=False)) == picture
    np.testing.assert_array_equal(VIEW.ratio.solid, before)


def test_all_pictures_of_a_machine_share_one_time_axis() -> None:
    spans = {
        tuple(panel_figure(one, VIEW.who, VIEW.marks, "light").layout.xaxis.range)
        for one in (*VIEW.components, *VIEW.feet)
    }
    assert len(spans) == 1


def test_a_single_reading_is_a_picture_too() -> None:
    one = build(story_of(PUMP, JOBS[:1]), Display())
    figure = ratio_figure(replace(one.ratio), one.who, one.marks, "dark")
    assert [trace.name for trace in figure.data] == ["as left"]


def test_an_amended_job_is_marked_below_its_visit_and_says_by_whom() -> None:
    new = replace(
        JOBS[1], entry=9, supersedes=6, why_amended="sides <i>were</i> swapped", author="R. Almeida (invented)"
    )
    view = build(story_of(PUMP, [JOBS[0], replace(JOBS[1], superseded_by=9), new, JOBS[2]]), Display())
    mark = trace(ratio_figure(view.ratio, view.who, view.marks, "light", view.amended), "amended")
    assert (mark.marker.symbol, list(mark.y)) == ("diamond-open", [0.0])
    assert str(mark.x[0]).startswith("2025-01-05")
    assert "entry 9" in mark.text[0]
    assert "R. Almeida" in mark.text[0]
    assert "<i>" not in mark.text[0]
    assert "amended" not in [one.name for one in ratio_figure(VIEW.ratio, VIEW.who, VIEW.marks, "light").data]


def test_the_hover_names_job_day_and_person() -> None:
    found = trace(ratio_figure(VIEW.ratio, VIEW.who, VIEW.marks, "light"), "as found")
    assert "P-1/2026-01-05T09:00" in found.text[-1]
    assert "R. Almeida" in found.text[-1]
    assert "%{x|%d %b %Y}" in found.hovertemplate
