"""Pictures of shares: each as a point with its interval and the count beside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from dashboard.figures.room import margin_for
from dashboard.figures.sheet import Picture, drawn
from dashboard.theme import Palette, palette_of
from dashboard.views.month_view import ClassLine
from dashboard.views.shares import Share
from dashboard.words import say
from dashboard.writing import DASH
from models.history.columns import FloatArray


def class_figure(lines: Sequence[ClassLine], stage: str, scheme: str) -> Picture:
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
    colour = palette.found if stage == "found" else palette.left
    rows = np.arange(len(lines), dtype=np.float64)
    here: list[Share] = [getattr(line, stage) for line in lines]
    traces = [_counts(rows, here, palette)]
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
        traces.append(
            {
                "type": "scatter", "x": share, "y": rows[known] + shift, "mode": "markers", "name": name,
                "marker": {"color": shade, "size": size, "symbol": symbol, "line": {"color": shade, "width": 2 if suffix else 0}},
                "error_x": {"type": "data", "symmetric": False, "array": high - share, "arrayminus": share - low,
                            "color": shade, "thickness": 1.25 if suffix else 1.75, "width": 0 if suffix else 4},
                "customdata": np.array([f"{one.count} / {one.n}" for one in cells], dtype=object)[known],
                "hovertemplate": f"<b>{name}: %{{x:.0f}} %</b><br>%{{customdata}}<extra></extra>",
            }
        )  # fmt: skip
    layout = {
        "yaxis": {
            "tickvals": rows, "ticktext": [line.name for line in lines], "range": [len(lines) - 0.4, -0.6],
            "showgrid": False, "tickfont": {"color": palette.ink},
        },
        "xaxis": {
            "range": [-3, 103], "showgrid": True, "tickvals": [0, 25, 50, 75, 100], "side": "top", "ticks": "", "showline": False,
        },
        "margin": {"l": 8, "r": margin_for([say("figure.counts"), *_texts(here)]), "t": 8, "b": 8},
        "annotations": [
            {"x": 1.0, "xref": "paper", "xshift": 10, "y": 1.0, "yref": "paper", "yanchor": "bottom", "xanchor": "left",
             "text": say("figure.counts"), "showarrow": False, "font": {"size": 12, "color": palette.soft}}
        ],
    }  # fmt: skip
    return drawn(scheme, traces, layout)


def _texts(shares: list[Share]) -> list[str]:
    return [f"{one.count} / {one.n}" if one.known else DASH for one in shares]


def _counts(rows: FloatArray, shares: list[Share], palette: Palette) -> dict[str, Any]:
    """Give the column of counts to the right of the picture; one trace, because annotations are slow one by one."""
    return {
        "type": "scatter", "x": np.full(len(rows), 103.0), "y": rows, "cliponaxis": False, "mode": "text", "text": np.array(_texts(shares), dtype=object),
        "name": say("figure.counts"), "textposition": "middle right", "textfont": {"size": 12, "color": palette.ink},
        "hoverinfo": "skip",
    }  # fmt: skip
