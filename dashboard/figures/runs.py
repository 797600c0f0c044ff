"""A quantity over time with one line per run: from what a visit left up to what the next one found."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.theme import Palette, palette_of, template_of
from dashboard.views.asset_view import Mark, Panel
from dashboard.views.run_series import RunSeries, Times
from dashboard.words import say
from models.history.columns import FloatArray

MARKER = 9
SMALL_MARKER = 7


def ratio_figure(series: RunSeries, who: Sequence[str], marks: Sequence[Mark], scheme: str) -> go.Figure:
    """Draw the limit ratio of one machine over time, with the limit at 1 and the replacements.

    Parameters
    ----------
    series : RunSeries
        Limit ratio as found and as left. [unitless]
    who : sequence of str
        One text a visit, for the hover. [unitless]
    marks : sequence of Mark
        Replacements. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    figure = go.Figure(layout={"template": template_of(scheme)})
    _lines(figure, series, palette)
    _points(figure, series, who, palette, MARKER, "%{y:.2f}")
    top = float(np.nanmax(np.concatenate([series.found, series.left, [1.0]])))
    figure.add_hline(y=1.0, line={"color": palette.ink, "width": 1.5, "dash": "dash"})
    figure.add_annotation(
        x=1, xref="paper", y=1.0, yanchor="bottom", xanchor="right", text=say("figure.limit_one"), showarrow=False,
        font={"size": 12, "color": palette.ink}, bgcolor=palette.paper, borderpad=1,
    )  # fmt: skip
    _names(figure, series, palette)
    _marks(figure, marks, palette, named=True)
    figure.update_yaxes(range=[0.0, max(top * 1.14, 1.25)], title={"text": say("figure.ratio_axis")}, nticks=6)
    figure.update_xaxes(range=_span(series.times, marks, room=0.17), type="date")
    figure.update_layout(margin={"t": 26, "r": 16})
    return figure


def panel_figure(panel: Panel, who: Sequence[str], marks: Sequence[Mark], scheme: str) -> go.Figure:
    """Draw one small picture: a quantity over time with its target and the limits around it.

    Parameters
    ----------
    panel : Panel
        What to draw, in the unit that is shown. [unit of the panel]
    who : sequence of str
        One text a visit, for the hover. [unitless]
    marks : sequence of Mark
        Replacements. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    series = panel.series
    figure = go.Figure(layout={"template": template_of(scheme)})
    span = _span(series.times, marks, room=0.26)
    _steps(figure, series.times, panel.target, span, palette, say("figure.target"), "dot")
    _steps(figure, series.times, panel.high, span, palette, say("figure.limit"), "dash")
    _steps(figure, series.times, panel.low, span, palette, "", "dash")
    _lines(figure, series, palette)
    _points(figure, series, who, palette, SMALL_MARKER, f"%{{y:+.{panel.decimals}f}} {panel.unit}")
    _marks(figure, marks, palette, named=False)
    figure.update_yaxes(nticks=5, tickformat=f"+.{panel.decimals}f" if _signed(panel) else f".{panel.decimals}f")
    figure.update_xaxes(range=span, nticks=5, type="date")
    figure.update_layout(margin={"t": 10})
    return figure


def _signed(panel: Panel) -> bool:
    return not np.isnan(panel.target).all()


def _lines(figure: go.Figure, series: RunSeries, palette: Palette) -> None:
    for times, values, dash, name in (
        (series.solid_times, series.solid, "solid", "runs"),
        (series.dotted_times, series.dotted, "dot", "unknown"),
    ):
        if len(values):
            figure.add_scatter(
                x=times, y=values, mode="lines", name=name, hoverinfo="skip", connectgaps=False,
                line={"color": palette.strong, "width": 1.75, "dash": dash},
            )  # fmt: skip


def _points(
    figure: go.Figure, series: RunSeries, who: Sequence[str], palette: Palette, size: int, written: str
) -> None:
    # Plotly reads some HTML in texts: what people typed must not become part of it.
    texts = np.array([escape(text) for text in who], dtype=object)
    for values, colour, symbol, name in (
        (series.found, palette.found, "circle", say("word.found")),
        (series.left, palette.left, "square", say("word.left")),
    ):
        known = ~np.isnan(values)
        if known.any():
            figure.add_scatter(
                x=series.times[known], y=values[known], mode="markers", name=name, text=texts[known],
                marker={"color": colour, "size": size, "symbol": symbol, "line": {"color": palette.sheet, "width": 1}},
                hovertemplate=f"<b>{name} {written}</b><br>%{{x|%d %b %Y}}<br>%{{text}}<extra></extra>",
            )  # fmt: skip


def _names(figure: go.Figure, series: RunSeries, palette: Palette) -> None:
    """Write the names beside the last readings, in place of a legend."""
    for values, colour, name in (
        (series.found, palette.found, say("word.found")),
        (series.left, palette.left, say("word.left")),
    ):
        known = np.flatnonzero(~np.isnan(values))
        if len(known):
            last = known[-1]
            figure.add_annotation(
                x=series.times[last].astype(str), y=float(values[last]), text=name, showarrow=False, xanchor="left", xshift=9,
                font={"size": 12, "color": colour},
            )  # fmt: skip


def _steps(
    figure: go.Figure, times: Times, values: FloatArray, span: list[str], palette: Palette, name: str, dash: str
) -> None:
    known = ~np.isnan(values)
    if not known.any():
        return
    x = np.concatenate([times[known], [np.datetime64(span[1], "s")]])
    y = np.concatenate([values[known], values[known][-1:]])
    figure.add_scatter(
        x=x, y=y, mode="lines", name=name or say("figure.limit"), hoverinfo="skip",
        line={"color": palette.soft, "width": 1, "dash": dash, "shape": "hv"},
    )  # fmt: skip
    if name:
        figure.add_annotation(
            x=span[1],
            y=float(y[-1]),
            text=name,
            showarrow=False,
            xanchor="right",
            yanchor="bottom",
            font={"size": 11, "color": palette.soft},
        )


def _marks(figure: go.Figure, marks: Sequence[Mark], palette: Palette, *, named: bool) -> None:
    for mark in marks:
        at: Any = mark.at.isoformat()  # the types know numbers only, an axis of dates takes texts
        figure.add_shape(
            type="line", x0=at, x1=at, yref="paper", y0=0.0, y1=1.0, name=mark.name,
            line={"color": palette.ink, "width": 1.25, "dash": "longdashdot"},
        )  # fmt: skip
        if named:
            figure.add_annotation(
                x=mark.at.isoformat(), yref="paper", y=1.0, yanchor="bottom", text=mark.name, showarrow=False,
                font={"size": 12, "color": palette.ink}, hovertext=escape(mark.reason or mark.name),
            )  # fmt: skip


def _span(times: Times, marks: Sequence[Mark], room: float) -> list[str]:
    """Give one time axis for all pictures of a machine, with room for the names at its end."""
    every = np.concatenate(
        [times.astype("datetime64[s]"), np.array([mark.at for mark in marks], dtype="datetime64[s]")]
    )
    if not len(every):
        return ["2000-01-01", "2000-12-31"]
    first, last = every.min(), every.max()
    length = max((last - first).astype(np.int64), 200 * 86_400)
    return [str(first - np.timedelta64(int(length * 0.06), "s")), str(last + np.timedelta64(int(length * room), "s"))]
