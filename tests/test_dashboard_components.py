"""Charts without an upload, tables with headings, and the grid of jobs."""

import ast
from dataclasses import replace
from pathlib import Path
from typing import Any

import dash_ag_grid as dag
import plotly.graph_objects as go
from dash import dcc

import dashboard
from dashboard.components import elements as html
from dashboard.components.chart import CONFIG, chart, config
from dashboard.components.jobs_grid import jobs_grid
from dashboard.components.pieces import choices, problems
from dashboard.components.tables import Column, table
from dashboard.views.asset_view import build
from models.units import Display
from models.values.asset import Asset
from tests.history_maker import Misalignment, job, line, story_of

PUMP = Asset("P-1", speed_rpm=1480.0)
FOUND, LEFT = Misalignment(0.0508, 0.25, -0.127, 0.1), Misalignment(0.0254, 0.05, 0.0, -0.05)


def parts(component: Any) -> Any:
    """Give a component and everything in it."""
    yield component
    children = getattr(component, "children", None)
    for child in children if isinstance(children, (list, tuple)) else [children]:
        if child is not None:
            yield from parts(child)


def test_no_chart_offers_to_send_itself_anywhere() -> None:
    graph = next(
        one for one in parts(chart(go.Figure(), title="t", says="s", height=100)) if isinstance(one, dcc.Graph)
    )
    assert graph.config == config()
    assert CONFIG.items() <= graph.config.items()
    assert CONFIG["showSendToCloud"] is False
    assert CONFIG["plotlyServerURL"] == ""
    assert CONFIG["displayModeBar"] is False


def test_charts_are_made_in_one_place_only() -> None:
    root = Path(dashboard.__file__).parent
    makers = [
        path.name
        for path in root.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr == "Graph"
    ]
    assert makers == ["chart.py"]


def test_a_chart_has_a_text_for_those_who_do_not_see_it() -> None:
    made = chart(go.Figure(), title="t", says="goes up", height=100, table=html.Table())
    assert any(getattr(one, "aria-label", "") == "goes up" for one in parts(made))
    assert any(isinstance(one, html.Details) for one in parts(made))


def test_a_table_has_a_caption_and_headings_for_columns_and_rows() -> None:
    made = table(
        "what it holds", [Column("name"), Column("n", number=True)], [["a", "1"], ["b", "2"]], marked=[False, True]
    )
    every = list(parts(made))
    assert [one.scope for one in every if isinstance(one, html.Th)] == ["col", "col", "row", "row"]
    assert [one.children.children for one in every if isinstance(one, html.Caption)] == ["what it holds"]
    assert [one.className for one in every if isinstance(one, html.Tr) and hasattr(one, "className")] == ["", "marked"]


def test_a_choice_is_links_and_the_chosen_one_is_none() -> None:
    made = list(parts(choices("Window", [("12", "/?w=12", False), ("24", "/?w=24", True)])))
    assert [one.href for one in made if isinstance(one, html.Link)] == ["/?w=12"]


def test_problems_are_shown_only_where_there_are_some() -> None:
    assert problems(("", "")) is None
    assert len(list(parts(problems(("a", "", "b"))))) == 5


def grid(display: Any = None, *, typed: str = False, lines: Any = None) -> Any:
    typed_values = {"found_offset_v": "2 mil", "soft_before_1L": "0,03"}
    standard = [line(job("P-1", "2025-01-05T09:00", FOUND, LEFT, typed=typed_values, hours_run=1200.0), PUMP, 6)]
    view = build(story_of(PUMP, lines or standard), display or Display())
    return next(one for one in parts(jobs_grid("g", view, typed=typed)) if isinstance(one, dag.AgGrid))


def test_the_grid_shows_numbers_in_the_units_of_the_page() -> None:
    assert grid().rowData[0]["found_offset_v"] == 0.051
    assert grid(Display("mil")).rowData[0]["found_offset_h"] == -5.0
    assert grid().rowData[0]["hours"] == "1200"
    with_fraction = [line(job("P-1", "2025-01-05T09:00", FOUND, LEFT, hours_run=12.5), PUMP, 6)]
    assert grid(lines=with_fraction).rowData[0]["hours"] == "12.5"
    assert grid(Display("mil")).rowData[0]["found_angle_v"] == 0.25
    assert "d3.format((params.value ? '+' : '') + '.2f')(params.value)" in str(grid().columnDefs), "a zero has no sign"
    headers = str(grid(Display("mil")).columnDefs)
    assert "offset V [mil]" in headers
    assert "mm]" not in headers


def test_the_grid_shows_what_was_typed_on_demand() -> None:
    row = grid(typed=True).rowData[0]
    assert row["found_offset_v"] == "2 mil"
    assert row["found_angle_v"] == "–"
    assert row["soft_before"] == "1L 0,03"


def test_the_grid_shows_readings_and_reasons_as_they_were_typed() -> None:
    typed = {
        "found dial.1.top": "0 mm", "found dial.1.bottom": "7.5 mil", "temp_stationary_c": "31 °C", "temp_movable_c": "28,5 °C",
        "hours_run": "1200,5 h", "stated reason: soft foot": "plates were worn",
    }  # fmt: skip
    made = grid(typed=True, lines=[line(job("P-1", "2025-01-05T09:00", FOUND, LEFT, typed=typed), PUMP, 6)])
    row = made.rowData[0]
    assert (row["found_offset_v"], row["left_offset_v"]) == ("from readings", "–")
    assert (row["temperatures"], row["hours"]) == ("31 °C / 28,5 °C / –", "1200,5 h")
    assert row["readings"] == (
        "as found, dial 1, 12 o'clock, top: 0 mm; as found, dial 1, 6 o'clock, bottom: 7.5 mil; Reason stated (soft foot): plates were worn"
    )
    assert "'readings'" in str(made.columnDefs)
    assert "'readings'" not in str(grid().columnDefs)


def test_the_grid_says_what_became_of_a_job() -> None:
    first = line(job("P-1", "2025-01-05T09:00", FOUND, LEFT), PUMP, 6)
    lines = [
        replace(first, superseded_by=9),
        line(job("P-1", "2025-01-05T09:00", LEFT, LEFT), PUMP, 9, supersedes=6, why_amended="sides swapped"),
        replace(line(job("P-1", "2024-01-05T09:00", FOUND, LEFT), PUMP, 4), void=True),
    ]
    said = {row["entry"]: row["stands"] for row in grid(lines=lines).rowData}
    assert said == {"9": "amends entry 6: sides swapped", "6": "replaced by entry 9", "4": "void"}
    made = grid(lines=lines)
    days = [row["date_text"] for row in made.rowData]
    assert days == ["2025-01-05", "2025-01-05 replaced by entry 9", "2024-01-05 void"], (
        "said where it is always in sight"
    )

    def first(of: Any) -> list[str]:
        return [column["field"] for group in of.columnDefs for column in group["children"]][:5]

    assert first(made) == ["date", "found_ratio", "left_ratio", "reason", "stands"]
    assert first(grid(lines=lines[1:2])) == first(made)
    assert first(grid()) == ["date", "found_ratio", "left_ratio", "reason", "people"], "nothing became of it"


def test_the_day_of_recording_is_the_sites() -> None:
    late = [
        line(job("P-1", "2025-07-05T21:30", FOUND, LEFT), PUMP, 6)
    ]  # recorded three hours later, at half past midnight
    assert grid(lines=late).rowData[0]["recorded"] == "2025-07-06 desk"


def test_targets_have_columns_only_where_a_job_has_one() -> None:
    with_target = [line(job("P-1", "2025-01-05T09:00", FOUND, LEFT, target=Misalignment(0.1)), PUMP, 6)]
    assert "target_offset_v" in str(grid(lines=with_target).columnDefs)
    assert "target_offset_v" not in str(grid().columnDefs)


def test_every_column_of_the_grid_stands_in_a_group() -> None:
    assert all("children" in column for column in grid().columnDefs)
