"""The only place that puts a Plotly figure on a page.

Plotly's own bar offers to upload a chart to an outside site; with this
configuration the bar and the offer are gone.  Each chart carries a text for
those who do not see it, and the numbers behind it as a table.
"""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go
from dash import dcc

from dashboard.components import elements as html
from dashboard.components.aria import aria
from dashboard.figures.sheet import Picture
from dashboard.words import remembered, say

CONFIG: Any = {
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "displaylogo": False,
    "displayModeBar": False,
    "showTips": False,
    "scrollZoom": False,
    "doubleClick": False,
    "responsive": True,
}

_LOCALE = "own"


@remembered(8)
def config() -> Any:
    """Give the configuration, with the months of an axis in the language of the page."""
    months = [say(f"month.long.{number}") for number in range(1, 13)]
    short = [say(f"month.short.{number}") for number in range(1, 13)]
    own = {"dictionary": {}, "format": {"months": months, "shortMonths": short}}
    return {**CONFIG, "locale": _LOCALE, "locales": {_LOCALE: own}}


def chart(
    figure: go.Figure | Picture,
    *,
    title: str,
    says: str,
    height: int,
    note: str = "",
    table: html.Div | None = None,
    small: bool = False,
    tall: bool = False,
) -> html.Figure:
    """Put a figure on a page, with its title above it as text and its numbers below it as a table.

    Parameters
    ----------
    figure : plotly.graph_objects.Figure or Picture
        The picture. [unitless]
    title : str
        Title, with the unit. [unitless]
    says : str
        What the picture shows, in a sentence, for those who do not see it. [unitless]
    height : int
        Height on the screen. [pixel]
    note : str
        How to read it; written under the title. [unitless]
    table : Div, optional
        The numbers behind the picture, shown on demand. [unitless]
    small : bool
        True for one of several small charts in a row. [unitless]
    tall : bool
        True where it needs its whole height on a phone, too. [unitless]
    """
    head: list[Any] = [html.Figcaption(title, className="chart-title")]
    if note:
        head.append(html.P(note, className="chart-note"))
    picture = html.Div(
        dcc.Graph(figure=figure, config=config(), responsive=True, style={"height": f"{height}px"}),
        role="img",
        **aria(label=says),
    )
    tail = (
        [] if table is None else [html.Details([html.Summary(say("chart.as_table")), table], className="chart-table")]
    )
    return html.Figure([*head, picture, *tail], className=f"chart{' small' * small}{' tall' * tall}")
