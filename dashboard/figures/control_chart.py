"""The control chart of the months: share found over limit with its limits, and the counts below."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.figures.room import margin_for
from dashboard.figures.sheet import Picture, drawn
from dashboard.theme import Palette, palette_of
from dashboard.views.month_chart_view import MonthSeries
from dashboard.words import say
from dashboard.writing import percent
from models.history.columns import FloatArray


def control_figure(series: MonthSeries, scheme: str) -> Picture:
    """Draw the share found over limit month by month against its control limits.

    Parameters
    ----------
    series : MonthSeries
        One row a month, the chosen one last. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    months = series.months.astype("datetime64[D]")
    known = series.found_n > 0
    share = series.found_share * 100.0
    highest = 100.0
    if known.any():
        top = np.nanmax(np.concatenate([share[known], np.nan_to_num(series.upper[known] * 100.0)]))
        highest = float(np.clip(np.ceil((top + 8.0) / 10.0) * 10.0, 40.0, 104.0))
    low = -0.26 * highest
    traces: list[dict[str, Any]] = []
    if series.drawn:
        steps = {"width": 1.25, "shape": "hvh", "color": palette.soft}
        mean = {"width": 1.25, "dash": "dash", "color": palette.soft}
        for part in _parts(series):
            traces += [
                _line(months[part], bound[part] * 100.0, say("month.chart.limits"), steps)
                for bound in (series.upper, series.lower)
            ]
            traces.append(_line(months[part], series.centre[part] * 100.0, say("month.chart.mean"), mean))
    traces.append(_line(months[known], share[known], say("word.found"), {"width": 1, "color": palette.before}))
    traces += _points(series, months, palette)
    texts = [f"{count}<br>{n}" if n else "·<br>0" for count, n in zip(series.found_count, series.found_n, strict=True)]
    traces.append(
        {
            "type": "scatter", "x": months, "y": np.full(len(months), 0.18 * low), "mode": "text",
            "text": np.array(texts, dtype=object), "name": say("figure.counts"), "textposition": "bottom center",
            "textfont": {"size": 9, "color": palette.soft}, "hoverinfo": "skip",
        }
    )  # fmt: skip
    names = _names(series) if series.limited else []
    span = [str(months[0] - np.timedelta64(18, "D")), str(months[-1] + np.timedelta64(18, "D"))]
    layout = {
        "yaxis": {"range": [low, highest], "tickvals": [t for t in (0, 20, 40, 60, 80, 100) if t < highest]},
        "xaxis": {
            "range": span, "side": "top", "type": "date", "tickformat": "%b<br>%Y", "dtick": "M3", "ticks": "",
            "showline": False,
        },
        "margin": {"l": 8, "r": margin_for((text for _, text in names), least=52.0 if names else 12.0), "t": 8, "b": 8},
        "annotations": [
            {"xref": "paper", "x": 1.0, "xanchor": "left", "xshift": 6, "y": y, "yanchor": "middle", "text": text,
             "showarrow": False, "align": "left", "font": {"size": 11, "color": palette.soft}}
            for y, text in names
        ] + [_mark(series, row, palette) for row, _ in series.since],
        "shapes": [
            {"type": "line", "xref": "x", "yref": "y", "x0": _before(series, row), "x1": _before(series, row), "y0": 0, "y1": highest,
             "line": {"width": 1.5, "dash": "dot", "color": palette.ink}}
            for row, _ in series.since
        ],
    }  # fmt: skip
    return drawn(scheme, traces, layout)


def _parts(series: MonthSeries) -> list[slice]:
    """Give the stretches of months that were judged alike and have control limits."""
    ends = [row for row, _ in series.since]
    parts = [slice(a, b) for a, b in zip((0, *ends), (*ends, len(series.months)), strict=True)]
    return [part for part in parts if np.isfinite(series.centre[part]).any()]


def _before(series: MonthSeries, row: int) -> str:
    """Give the day between a month and the one before, where the points of both are on the first."""
    return str(series.months[row].astype("datetime64[D]") - np.timedelta64(15, "D"))


def _mark(series: MonthSeries, row: int, palette: Palette) -> dict[str, Any]:
    late = row > len(series.months) // 2
    return {
        "x": _before(series, row), "xanchor": "right" if late else "left", "xshift": -4 if late else 4, "yref": "paper", "y": 1.0,
        "yanchor": "top", "text": say("month.chart.mark"), "showarrow": False, "font": {"size": 11, "color": palette.ink},
    }  # fmt: skip


def _line(x: NDArray[np.datetime64], y: FloatArray, name: str, line: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "scatter", "x": x, "y": y, "mode": "lines", "name": name, "line": line, "connectgaps": True, "hoverinfo": "skip",
    }  # fmt: skip


def _points(series: MonthSeries, months: NDArray[np.datetime64], palette: Palette) -> list[dict[str, Any]]:
    """Give the months as points: inside the limits, beyond them, and the one that is shown."""
    known, beyond = series.found_n > 0, series.above | series.below
    last = np.zeros(len(months), dtype=np.bool_)
    last[-1:] = True
    bounds = (np.nan_to_num(bound * 100.0) for bound in (series.lower, series.upper))
    hover = np.stack([series.found_count, series.found_n, *bounds], axis=1)
    limits = f"<br>{say('month.chart.hover_limits', low='%{customdata[2]:.0f}', high='%{customdata[3]:.0f}')}"
    kinds = (
        (known & ~last & ~beyond, palette.before, "circle", 7, say("month.chart.within")),
        (known & beyond, palette.found, "diamond", 13, say("month.chart.beyond")),
        (known & last & ~beyond, palette.found, "circle", 11, say("figure.month")),
    )
    return [
        {
            "type": "scatter", "x": months[mask], "y": series.found_share[mask] * 100.0, "mode": "markers", "name": name,
            "marker": {"color": colour, "size": size, "symbol": symbol}, "customdata": hover[mask],
            "hovertemplate": "<b>%{x|%b %Y}: %{y:.0f} %</b><br>%{customdata[0]} / %{customdata[1]}"
            f"{limits if series.drawn else ''}<extra></extra>",
        }
        for mask, colour, symbol, size, name in kinds
        if mask.any()
    ]  # fmt: skip


def _names(series: MonthSeries) -> list[tuple[float, str]]:
    """Give the names that stand at the right end of the lines: no legend is needed."""
    row = int(np.flatnonzero(series.found_n > 0)[-1])
    values = (
        (series.upper[row], "month.chart.upper"),
        (series.centre[row], "month.chart.mean_of"),
        (series.lower[row], "month.chart.lower"),
    )
    return [(float(value) * 100.0, say(key, share=percent(float(value)))) for value, key in values]
