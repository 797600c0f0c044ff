"""Pictures of shares: each as a point with its interval and the count beside it."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np
import plotly.graph_objects as go

from dashboard.theme import Palette, palette_of, template_of
from dashboard.views.month_view import ClassLine, MonthSeries
from dashboard.views.offenders_view import OffenderLine
from dashboard.views.shares import Share
from dashboard.words import say
from dashboard.writing import DASH, interval, month_short, percent
from models.history.columns import FloatArray


def class_figure(lines: Sequence[ClassLine], stage: str, scheme: str) -> go.Figure:
    """Draw the share over limit of each speed class: the month above, the twelve months before below it.

    Parameters
    ----------
    lines : sequence of ClassLine
        The speed classes, slowest first. [unitless]
    stage : str
        ``'found'`` or ``'left'``. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    figure = go.Figure(layout={"template": template_of(scheme)})
    colour = palette.found if stage == "found" else palette.left
    rows = np.arange(len(lines), dtype=np.float64)
    here: list[Share] = [getattr(line, stage) for line in lines]
    _column(
        figure, rows, [f"{one.count} / {one.n}" if one.known else DASH for one in here], say("figure.counts"), palette
    )
    for shift, suffix, shade, symbol, size in ((-0.16, "", colour, "circle" if stage == "found" else "square", 10),
                                               (0.18, "_before", palette.before, "line-ns", 9)):  # fmt: skip
        cells: list[Share] = [getattr(line, stage + suffix) for line in lines]
        known = np.array([one.known for one in cells], dtype=np.bool_)
        if not known.any():
            continue
        share, low, high = (
            np.array([getattr(one, name) for one in cells])[known] * 100.0 for name in ("share", "low", "high")
        )
        name = say("figure.before") if suffix else say("figure.month")
        figure.add_scatter(
            x=share, y=rows[known] + shift, mode="markers", name=name,
            marker={"color": shade, "size": size, "symbol": symbol, "line": {"color": shade, "width": 2 if suffix else 0}},
            error_x={"type": "data", "symmetric": False, "array": high - share, "arrayminus": share - low,
                     "color": shade, "thickness": 1.75 if not suffix else 1.25, "width": 4 if not suffix else 0},
            customdata=np.array([f"{one.count} / {one.n}" for one in cells], dtype=object)[known],
            hovertemplate=f"<b>{name}: %{{x:.0f}} %</b><br>%{{customdata}}<extra></extra>",
        )  # fmt: skip
    figure.update_yaxes(
        tickvals=rows,
        ticktext=[line.name for line in lines],
        range=[len(lines) - 0.4, -0.6],
        showgrid=False,
        tickfont={"color": palette.ink},
    )
    figure.update_xaxes(
        range=[-3, 132], showgrid=True, tickvals=[0, 25, 50, 75, 100], side="top", ticks="", showline=False
    )
    return figure


def month_figure(series: MonthSeries, scheme: str) -> go.Figure:
    """Draw the share found over limit month by month, with its interval, and the counts below.

    Parameters
    ----------
    series : MonthSeries
        One row a month, the chosen one last. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    figure = go.Figure(layout={"template": template_of(scheme)})
    known = series.found_n > 0
    months = series.months.astype("datetime64[D]")
    share, low, high = (values[known] * 100.0 for values in (series.found_share, series.found_low, series.found_high))
    last = np.zeros(len(months), dtype=np.bool_)
    last[-1:] = True
    for chosen, colour, symbol, size in ((~last, palette.before, "circle", 7), (last, palette.found, "circle", 11)):
        mask = chosen[known]
        if not mask.any():
            continue
        figure.add_scatter(
            x=months[known][mask], y=share[mask], mode="markers", name=say("word.found"),
            marker={"color": colour, "size": size, "symbol": symbol},
            error_y={"type": "data", "symmetric": False, "array": (high - share)[mask], "arrayminus": (share - low)[mask],
                     "color": colour, "thickness": 1.25, "width": 0},
            customdata=np.stack([series.found_count[known], series.found_n[known]], axis=1)[mask].astype(np.float64),
            hovertemplate="<b>%{x|%b %Y}: %{y:.0f} %</b><br>%{customdata[0]} / %{customdata[1]}<extra></extra>",
        )  # fmt: skip
    texts = [f"{count}<br>{n}" if n else "·<br>0" for count, n in zip(series.found_count, series.found_n, strict=True)]
    figure.add_scatter(
        x=months, y=np.full(len(months), -6.0), mode="text", text=np.array(texts, dtype=object), name=say("figure.counts"),
        textposition="bottom center", textfont={"size": 10, "color": palette.soft}, hoverinfo="skip",
    )  # fmt: skip
    figure.update_yaxes(range=[-27, 104], tickvals=[0, 25, 50, 75, 100])
    span = [str(months[0] - np.timedelta64(18, "D")), str(months[-1] + np.timedelta64(18, "D"))]
    figure.update_xaxes(
        range=span, side="top", type="date", tickformat="%b<br>%Y", dtick="M3", ticks="", showline=False
    )
    return figure


def month_text(series: MonthSeries) -> str:
    """Say in a sentence what the picture of the months shows, for those who do not see it."""
    known = np.flatnonzero(series.found_n > 0)
    if not len(known):
        return say("figure.months.none")
    shares = series.found_share[known]
    return say(
        "figure.months.says",
        n=len(known),
        low=percent(float(shares.min())),
        high=percent(float(shares.max())),
        month=month_short(series.months[-1].astype("datetime64[D]").astype(object)),
        last=percent(float(series.found_share[-1])),
    )


def offender_figure(lines: Sequence[OffenderLine], scheme: str) -> go.Figure:
    """Draw the share of looks that were returns, machine by machine, with the interval that the ranking goes by.

    Parameters
    ----------
    lines : sequence of OffenderLine
        Machines, the first of the ranking first. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    figure = go.Figure(layout={"template": template_of(scheme)})
    share, low, high = (
        np.array([getattr(line, name) for line in lines], dtype=np.float64) * 100.0 for name in ("share", "low", "high")
    )
    rows = np.arange(len(lines), dtype=np.float64)
    figure.add_scatter(
        x=share, y=rows, mode="markers", name=say("figure.share"),
        marker={"color": palette.found, "size": 9, "symbol": "circle"},
        error_x={"type": "data", "symmetric": False, "array": high - share, "arrayminus": share - low,
                 "color": palette.found, "thickness": 1.75, "width": 0},
        customdata=np.array([f"{line.returns} / {line.looks}, {interval(line.low, line.high)}" for line in lines], dtype=object),
        hovertemplate="<b>%{x:.0f} %</b><br>%{customdata}<extra></extra>",
    )  # fmt: skip
    figure.add_scatter(
        x=low, y=rows, mode="markers", name=say("figure.bound"), hoverinfo="skip",
        marker={"color": palette.ink, "size": 12, "symbol": "line-ns", "line": {"color": palette.ink, "width": 2.5}},
    )  # fmt: skip
    counts = [f"{line.returns} / {line.looks}" for line in lines]
    _column(figure, rows, counts, say("figure.returns"), palette)
    figure.update_yaxes(
        tickvals=rows,
        ticktext=[escape(line.tag) for line in lines],
        range=[len(lines) - 0.4, -0.6],
        showgrid=False,
        tickfont={"color": palette.ink},
    )
    figure.update_xaxes(
        range=[-3, 132], showgrid=True, tickvals=[0, 25, 50, 75, 100], side="top", ticks="", showline=False
    )
    return figure


def _column(figure: go.Figure, rows: FloatArray, texts: list[str], title: str, palette: Palette) -> None:
    """Write a column of counts to the right of the picture; one trace, because annotations are slow one by one."""
    figure.add_scatter(
        x=np.full(len(rows), 105.0), y=rows, mode="text", text=np.array(texts, dtype=object), name=title,
        textposition="middle right", textfont={"size": 12, "color": palette.ink}, hoverinfo="skip",
    )  # fmt: skip
    figure.add_annotation(
        x=107, y=1.0, yref="paper", yanchor="bottom", xanchor="left", text=title, showarrow=False,
        font={"size": 12, "color": palette.soft},
    )  # fmt: skip
