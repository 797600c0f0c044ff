"""The forecast: the limit ratio that would be read, fanning out from what was left, and the probability of being over."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from dashboard.figures.runs import MARKER, draw_points, draw_runs, limit_line
from dashboard.figures.sheet import Picture, Sheet
from dashboard.views.asset_forecast_view import ForecastView
from dashboard.views.run_series import RunSeries
from dashboard.words import say
from dashboard.writing import day

SHOWN_BEFORE = 1.2
"""So much of the past is shown beside the forecast, as a share of its length."""

FEWEST_BEFORE = 3
"""Visits of the past that are shown at least, where there are so many."""


def fan_figure(view: ForecastView, series: RunSeries, who: Sequence[str], scheme: str) -> Picture:
    """Draw the last runs and the band of the limit ratio that would be read at a later check.

    Parameters
    ----------
    view : ForecastView
        The forecast; it must hold one. [unitless]
    series : RunSeries
        Limit ratio as found and as left. [unitless]
    who : sequence of str
        One text a visit, for the hover. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    sheet = Sheet(scheme)
    palette = sheet.palette
    assert view.times is not None and view.low is not None and view.high is not None and view.middle is not None  # noqa: S101, PT018 - the page asks first
    first, last = _range(view, series)
    sheet.scatter(
        x=np.concatenate([view.times, view.times[::-1]]), y=np.concatenate([view.high, view.low[::-1]]), mode="lines", fill="toself",
        fillcolor=_faint(palette.left), line={"width": 0}, hoverinfo="skip", name=say("asset.forecast.band"),
    )  # fmt: skip
    for edge in (view.low, view.high):
        sheet.scatter(x=view.times, y=edge, mode="lines", line={"color": palette.left, "width": 1}, hoverinfo="skip", name=say("asset.forecast.band"))  # fmt: skip
    sheet.scatter(
        x=view.times, y=view.middle, mode="lines", line={"color": palette.left, "width": 2, "dash": "dash"}, name=say("asset.forecast.middle"),
        customdata=np.stack([view.low, view.high], axis=1).round(2).tolist(),
        hovertemplate="<b>%{x|%d %b %Y}</b><br>" + say("asset.forecast.hover", middle="%{y:.2f}", low="%{customdata[0]:.2f}", high="%{customdata[1]:.2f}") + "<extra></extra>",
    )  # fmt: skip
    draw_runs(sheet, series, palette)
    draw_points(sheet, series, who, palette, MARKER, say("figure.ratio_hover", ratio="%{y:.2f}"))
    limit_line(sheet)
    shown = series.times >= np.datetime64(first, "s")
    every = np.concatenate([series.found[shown], series.left[shown], view.high, [1.1]])
    top = float(np.nanmax(every))
    _days(sheet, view)
    # The name of the limit stands on its line, at the same end: just above it there is no room for another one.
    end = float(view.middle[-1])
    near = -0.04 < (end - 1.0) / (top * 1.1) < 0.13
    sheet.word(
        say("asset.forecast.band"), palette.left, 12, x=str(view.times[-1]), y=1.0 if near else end, yshift=32 if near else 0,
        xanchor="right", yanchor="middle", bgcolor=palette.paper, opacity=0.9,
    )  # fmt: skip
    sheet.y(range=[0.0, top * 1.1], title={"text": say("figure.ratio_axis")}, nticks=6)
    sheet.x(range=[first.isoformat(), last.isoformat()], type="date", tickformat="%b<br>%Y", nticks=6)
    sheet.lay(margin={"l": 8, "r": 12, "t": 40, "b": 8})
    return sheet.picture


def chance_figure(view: ForecastView, scheme: str) -> Picture:
    """Draw the probability of being over limit after the last as-left, with the accepted risk and the day of the re-check.

    Parameters
    ----------
    view : ForecastView
        The forecast; it must hold one. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    sheet = Sheet(scheme)
    palette = sheet.palette
    assert view.times is not None and view.over is not None and view.recheck is not None and view.recheck_on is not None  # noqa: S101, PT018 - the page asks first
    percent = 100.0 * view.over
    sheet.scatter(
        x=view.times, y=percent, mode="lines", line={"color": palette.found, "width": 2.5}, name=say("asset.forecast.over"),
        hovertemplate="<b>%{x|%d %b %Y}</b><br>" + say("asset.forecast.over_hover", share="%{y:.0f}\u202f%") + "<extra></extra>",
    )  # fmt: skip
    risk = 100.0 * view.risk
    sheet.shape(
        type="line", xref="paper", x0=0.0, x1=1.0, y0=risk, y1=risk, line={"color": palette.ink, "width": 1.5, "dash": "dash"}
    )  # fmt: skip
    sheet.word(
        say("asset.forecast.risk_line", risk=f"{risk:.0f}"), x=1, xref="paper", y=risk, yanchor="bottom", xanchor="right",
        bgcolor=palette.paper, borderpad=1,
    )  # fmt: skip
    sheet.scatter(
        x=[view.recheck.isoformat()], y=[100.0 * view.over_then], mode="markers", name=say("asset.forecast.recheck"),
        marker={"symbol": "diamond", "size": 12, "color": palette.ink, "line": {"color": palette.sheet, "width": 1.5}},
        hovertemplate=f"<b>{say('asset.forecast.recheck')}</b><br>{day(view.recheck_on)}<br>%{{y:.0f}}\u202f%<extra></extra>",
    )  # fmt: skip
    _days(sheet, view)
    top = float(max(np.max(percent), risk * 1.6, 25.0))
    sheet.y(
        range=[0.0, min(top * 1.08, 104.0)],
        title={"text": say("asset.forecast.over_axis")},
        ticksuffix="\u202f%",
        nticks=6,
    )
    length = view.times[-1] - view.times[0]
    ends = [str(view.times[0] - length // 25), str(view.times[-1] + length // 40)]
    sheet.x(range=ends, type="date", tickformat="%b<br>%Y", nticks=6)
    sheet.lay(margin={"l": 8, "r": 12, "t": 40, "b": 8})
    return sheet.picture


def _days(sheet: Sheet, view: ForecastView) -> None:
    """Mark today and the day of the re-check by thin upright lines; their names stand on two lines above."""
    ink, soft = sheet.palette.ink, sheet.palette.soft
    lines: tuple[tuple[datetime | None, str, str, int], ...] = (
        (view.today, say("asset.forecast.today"), soft, 1),
        (view.recheck, say("asset.forecast.recheck"), ink, 17),
    )
    for at, name, colour, up in lines:
        if at is None:
            continue
        sheet.shape(type="line", x0=at.isoformat(), x1=at.isoformat(), yref="paper", y0=0.0, y1=1.0, name=name, line={"color": colour, "width": 1, "dash": "dot"})  # fmt: skip
        sheet.word(name, colour, 12, x=at.isoformat(), yref="paper", y=1.0, yanchor="bottom", yshift=up)


def _range(view: ForecastView, series: RunSeries) -> tuple[datetime, datetime]:
    assert view.times is not None and view.left_at is not None  # noqa: S101, PT018 - the page asks first
    last: datetime = view.times[-1].astype(datetime)
    length = last - view.left_at
    first = view.left_at - SHOWN_BEFORE * length
    if len(series.times):
        few: datetime = series.times[-min(FEWEST_BEFORE, len(series.times))].astype(datetime)
        first = max(min(first, few), series.times[0].astype(datetime))
    return first - timedelta(seconds=0.04 * length.total_seconds()), last + timedelta(
        seconds=0.03 * length.total_seconds()
    )


def _faint(colour: str) -> str:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"rgba({red},{green},{blue},0.16)"
