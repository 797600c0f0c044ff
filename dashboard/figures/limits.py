"""Pictures of limits: against speed, and what another set would have called over."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

import numpy as np

from dashboard.figures.room import margin_for
from dashboard.figures.sheet import Picture, Sheet
from dashboard.theme import palette_of
from dashboard.views.limits_desk_view import TurnLine
from dashboard.words import say
from models.history.columns import SPEED_BOUNDS_RPM, FloatArray

ABOVE = {"xanchor": "left", "yanchor": "bottom", "xshift": 4, "yshift": 4}
BELOW = {"xanchor": "right", "yanchor": "top", "xshift": -4, "yshift": -4}
"""Where the name of a line stands beside it."""

TICKS_RPM = (750, 1500, 3000)
"""Speeds that are written at the axis: each twice the one before, so that they never touch. [rpm]"""


def curve_figure(
    speeds: FloatArray, now: FloatArray, trial: FloatArray | None, unit: str, decimals: int, scheme: str
) -> Picture:
    """Draw a limit against speed: the set in force, and a trial beside it.

    Parameters
    ----------
    speeds : (n,) float array
        Speeds. [rpm]
    now, trial : (n,) float arrays
        The limits; ``trial`` may be ``None``. [unit]
    unit : str
        Unit of the limits. [unitless]
    decimals : int
        Decimals that are worth showing. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    sheet = Sheet(scheme)
    lines = [(now, palette.left, "solid", say("limits.curve.in_force"), ABOVE)]
    if trial is not None:
        lines.append((trial, palette.found, "dash", say("limits.curve.trial"), BELOW))
    notes: list[dict[str, Any]] = []
    for limits, colour, dash, name, side in lines:
        sheet.scatter(
            x=speeds, y=limits, mode="lines", name=name, line={"color": colour, "width": 2.5, "dash": dash},
            hovertemplate=f"<b>{name}</b><br>%{{y:.{decimals}f}} {unit}, %{{x:.0f}} rpm<extra></extra>",
        )  # fmt: skip
        known = np.flatnonzero(np.isfinite(limits))
        if len(known):
            # The name stands at the line itself, away from the other's: no legend to look up.
            place = int(known[len(known) * 2 // 5])
            # Plotly takes the place on an axis of ratios as the logarithm.
            at = {"x": float(np.log10(speeds[place])), "y": float(limits[place]), "text": name, "showarrow": False}
            notes.append({**at, **side, "font": {"color": colour, "size": 12}})
    for note in notes:
        sheet.note(**note)
    bounds = [bound for bound in SPEED_BOUNDS_RPM if speeds[0] <= bound <= speeds[-1]]
    strokes = np.array([[bound, bound, np.nan] for bound in bounds]).ravel()
    top = float(np.nanmax(np.concatenate([limits for limits, *_ in lines]), initial=0.0)) * 1.12
    sheet.scatter(
        x=strokes, y=np.tile([0.0, top, np.nan], len(bounds)), mode="lines", hoverinfo="skip",
        line={"color": palette.rule, "width": 1}, zorder=-1,
    )  # fmt: skip
    sheet.x(type="log", tickvals=TICKS_RPM, tickangle=0, title={"text": say("limits.curve.axis")})
    sheet.y(range=[0.0, top])
    return sheet.picture


def turn_figure(lines: Sequence[TurnLine], stage: str, scheme: str) -> Picture:
    """Draw the share over limit of each speed class, in the book and under a trial.

    Parameters
    ----------
    lines : sequence of TurnLine
        The speed classes, the total last. [unitless]
    stage : str
        ``'found'`` or ``'left'``. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    sheet = Sheet(scheme)
    colour, symbol = (palette.found, "circle") if stage == "found" else (palette.left, "square")
    rows = np.arange(len(lines), dtype=np.float64)
    before, after, low, high = (
        np.array(column, dtype=np.float64) * 100.0
        for column in zip(
            *((one.before.share, one.after.share, one.after.low, one.after.high) for one in lines), strict=True
        )
    )
    path_x = np.stack([before, after, np.full(len(lines), np.nan)], axis=1).ravel()
    path_y = np.stack([rows, rows, np.full(len(lines), np.nan)], axis=1).ravel()
    sheet.scatter(x=path_x, y=path_y, mode="lines", hoverinfo="skip", line={"color": palette.strong, "width": 5})
    sheet.scatter(
        x=after, y=rows, mode="markers", name=say("whatif.picture.after"),
        marker={"color": colour, "size": 10, "symbol": symbol},
        error_x={"type": "data", "symmetric": False, "array": high - after, "arrayminus": after - low,
                 "color": colour, "thickness": 1.75, "width": 0},
        customdata=np.array([f"{one.after.count} / {one.after.n}" for one in lines], dtype=object),
        hovertemplate=f"<b>{say('whatif.picture.after')}: %{{x:.0f}} %</b><br>%{{customdata}}<extra></extra>",
    )  # fmt: skip
    sheet.scatter(
        x=before, y=rows, mode="markers", name=say("whatif.picture.before"),
        marker={"color": palette.ink, "size": 16, "symbol": "line-ns", "line": {"color": palette.ink, "width": 2.5}},
        customdata=np.array([f"{one.before.count} / {one.before.n}" for one in lines], dtype=object),
        hovertemplate=f"<b>{say('whatif.picture.before')}: %{{x:.0f}} %</b><br>%{{customdata}}<extra></extra>",
    )  # fmt: skip
    counts = [f"{one.after.count} / {one.after.n}" for one in lines]
    sheet.scatter(
        x=np.full(len(lines), 103.0), y=rows, mode="text", textposition="middle right", hoverinfo="skip", cliponaxis=False,
        text=np.array(counts, dtype=object), textfont={"size": 12, "color": palette.ink},
    )  # fmt: skip
    sheet.note(
        x=1.0, xref="paper", xshift=10, y=1.0, yref="paper", yanchor="bottom", xanchor="left", text=say("whatif.picture.counts"), showarrow=False,
        font={"size": 12, "color": palette.soft},
    )  # fmt: skip
    sheet.y(
        tickvals=rows,
        ticktext=[escape(line.name) for line in lines],
        range=[len(lines) - 0.4, -0.6],
        showgrid=False,
        tickfont={"color": palette.ink},
    )
    sheet.x(range=[-3, 103], showgrid=True, tickvals=[0, 25, 50, 75, 100], side="top", ticks="", showline=False)
    sheet.lay(margin={"l": 8, "r": margin_for([say("whatif.picture.counts"), *counts]), "t": 8, "b": 8})
    return sheet.picture
