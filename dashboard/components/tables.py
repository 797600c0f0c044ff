"""Tables: plain ones that print, and the grid for long ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import dash_ag_grid as dag

from dashboard.components import elements as html
from dashboard.components.aria import aria

GRID_ROWS = 25
"""A grid of more rows scrolls in itself; one of fewer is as high as its rows, which prints better."""


THEME = (
    "themeQuartz.withParams({backgroundColor: 'var(--sheet)', foregroundColor: 'var(--ink)', textColor: 'var(--ink)', "
    "headerBackgroundColor: 'var(--tint)', headerTextColor: 'var(--ink)', borderColor: 'var(--rule)', accentColor: 'var(--found)', "
    "chromeBackgroundColor: 'var(--tint)', oddRowBackgroundColor: 'var(--sheet)', rowHoverColor: 'var(--tint)', "
    "iconColor: 'var(--ink)', menuBackgroundColor: 'var(--sheet)', menuTextColor: 'var(--ink)', fontFamily: 'var(--sans)', "
    "headerFontFamily: 'var(--sans)', cellFontFamily: 'var(--sans)', fontSize: 13, spacing: 5, cellHorizontalPadding: 9, "
    "borderRadius: 2, wrapperBorderRadius: 2, headerFontWeight: 600, browserColorScheme: 'inherit'})"
)
"""The grid in the colours of the page: they are CSS variables, so light and dark need no second theme."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a plain table; numbers stand to the right, and on a phone a text stands ``below`` the numbers of its row."""

    title: str
    number: bool = False
    narrow: bool = False
    below: bool = False


def table(
    caption: str, columns: Sequence[Column], rows: Sequence[Sequence[Any]], *, marked: Sequence[bool] = ()
) -> html.Div:
    """Put a plain table, whose first cell in each row is that row's heading.

    Parameters
    ----------
    caption : str
        What the table holds; also its name for those who do not see it. [unitless]
    columns : sequence of Column
        Headings. [unitless]
    rows : sequence of sequences
        Cells, as texts or components. [unitless]
    marked : sequence of bool
        Rows that are set off; empty for none. [unitless]
    """
    names = [_names(column) for column in columns]
    head = html.Thead(
        html.Tr(
            [html.Th(column.title, scope="col", className=name) for column, name in zip(columns, names, strict=True)]
        )
    )
    body = html.Tbody(
        [
            html.Tr(_cells(row, names), className="marked" if marked and marked[place] else "")
            for place, row in enumerate(rows)
        ]
    )
    return html.Div(
        html.Table([html.Caption(html.Span(caption)), head, body]),
        className="table folding" if any(column.below for column in columns) else "table",
        role="region",
        tabIndex=0,
        **aria(label=caption),
    )


def _names(column: Column) -> str:
    return " ".join(name for name in ("number", "narrow", "below") if getattr(column, name))


def _cells(row: Sequence[Any], names: Sequence[str]) -> list[html.Element]:
    """Put a row; it may be shorter than the heading, never longer."""
    return [
        html.Td(value, className=name) if place else html.Th(value, scope="row", className=name)
        for place, (value, name) in enumerate(zip(row, names[: len(row)], strict=True))
    ]


def grid(name: str, columns: list[dict[str, Any]], rows: list[dict[str, Any]], label: str) -> html.Div:
    """Put a grid that sorts, filters and scrolls with the keyboard.

    Parameters
    ----------
    name : str
        Id of the grid. [unitless]
    columns : list of dict
        Column definitions of AG Grid. [unitless]
    rows : list of dict
        One dict a row. [unitless]
    label : str
        Its name for those who do not see it. [unitless]
    """
    short = len(rows) <= GRID_ROWS
    return html.Div(
        dag.AgGrid(
            id=name,
            className="jobs",
            columnDefs=columns,
            rowData=rows,
            defaultColDef={
                "sortable": True,
                "resizable": True,
                "suppressMovable": True,
                "wrapHeaderText": True,
                "autoHeaderHeight": True,
            },
            columnSize=None,
            dashGridOptions={
                "theme": {"function": THEME},
                "domLayout": "autoHeight" if short else "normal",
                "rowHeight": 30,
                "headerHeight": 34,
                "suppressColumnVirtualisation": True,
                "enableCellTextSelection": True,
                "ensureDomOrder": True,
                "animateRows": False,
                "suppressDragLeaveHidesColumns": True,
            },
            style={"width": "100%", "height": None if short else "640px"},
        ),
        className="grid",
        role="region",
        **aria(label=label),
    )
