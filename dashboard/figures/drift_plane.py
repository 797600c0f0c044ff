"""The drift in the plane across the shaft, and the rate of each row of feet."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from dashboard.figures.room import anchor_at, wrapped
from dashboard.figures.sheet import Picture, Sheet
from dashboard.views.asset_drift_view import FootRow, Move, Plane
from dashboard.words import say
from dashboard.writing import day

FARTHEST = 3.0
"""The axes go at most so many times as far as limit and runs need."""


def plane_figure(plane: Plane, moves: Sequence[Move], scheme: str) -> Picture:
    """Draw each run as an arrow from as-left to as-found, the limit around the target, and the mean drift in a year, or in a run.

    Parameters
    ----------
    plane : Plane
        What to draw. [unit of the plane]
    moves : sequence of Move
        The runs, for the hover. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    sheet = Sheet(scheme)
    palette = sheet.palette
    _limit(sheet, plane)
    newest = len(moves) - 1
    for place, (begin, end) in enumerate(zip(plane.left.tolist(), plane.found.tolist(), strict=True)):
        # The newest run stands out; the older ones are thinner.
        sheet.arrow(tuple(begin), tuple(end), palette.found if place == newest else palette.strong, 2.0 if place == newest else 1.25)  # fmt: skip
    hover = [
        f"{day(one.left_on)} → {day(one.found_on)}<br>{escape(one.who)}" if one.who else f"{day(one.left_on)} → {day(one.found_on)}"
        for one in moves
    ]  # fmt: skip
    number = f"%{{y:+.{plane.decimals}f}} / %{{x:+.{plane.decimals}f}} {plane.unit}"
    for points, colour, symbol, name in (
        (plane.left, palette.left, "square", say("word.left")),
        (plane.found, palette.found, "circle", say("word.found")),
    ):
        sheet.scatter(
            x=points[:, 0], y=points[:, 1], mode="markers", name=name, text=hover,
            marker={"symbol": symbol, "size": 7, "color": colour, "line": {"color": palette.sheet, "width": 1}},
            hovertemplate=f"<b>{name} {say('asset.plane.hover', number=number)}</b><br>%{{text}}<extra></extra>",
        )  # fmt: skip
    if len(plane.outline):
        sheet.scatter(
            x=plane.outline[:, 0], y=plane.outline[:, 1], mode="lines", name=say("asset.plane.region"), hoverinfo="skip",
            line={"color": palette.ink, "width": 1.5, "dash": "dot"},
        )  # fmt: skip
    reach = _reach(plane)
    if plane.mean is not None:
        _mean(sheet, plane, plane.mean, reach)
    sheet.x(
        range=[-reach, reach], title={"text": say("asset.plane.x", unit=plane.unit)}, tickformat=f"+.{plane.decimals}f", nticks=5,
        showgrid=True, constrain="domain",
    )  # fmt: skip
    sheet.y(
        range=[-reach, reach], title={"text": say("asset.plane.y", unit=plane.unit)}, tickformat=f"+.{plane.decimals}f", nticks=6,
        scaleanchor="x", scaleratio=1, constrain="domain",
    )  # fmt: skip
    sheet.lay(margin={"l": 8, "r": 12, "t": 10, "b": 8})
    return sheet.picture


def feet_rate_figure(rows: Sequence[FootRow], unit: str, decimals: int, scheme: str) -> Picture:
    """Draw the rate of each row of feet with its interval, beside the line of no movement.

    Parameters
    ----------
    rows : sequence of FootRow
        Rates. [unit a year]
    unit : str
        Their unit. [unitless]
    decimals : int
        Decimals of that unit. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    sheet = Sheet(scheme)
    palette = sheet.palette
    names = [say(f"asset.foot.{one.axis}", row=one.row) for one in rows]
    places = list(range(len(rows), 0, -1))
    sheet.shape(type="line", x0=0.0, x1=0.0, yref="paper", y0=0.0, y1=1.0, line={"color": palette.ink, "width": 1.5, "dash": "dash"})  # fmt: skip
    for sure, colour, symbol in ((True, palette.found, "circle"), (False, palette.before, "circle-open")):
        chosen = [place for place, one in enumerate(rows) if one.sure == sure]
        if not chosen:
            continue
        sheet.scatter(
            x=[rows[i].rate for i in chosen], y=[places[i] for i in chosen], mode="markers", name=say(f"asset.feet.{'sure' if sure else 'unsure'}"),
            marker={"symbol": symbol, "size": 10, "color": colour, "line": {"color": colour, "width": 2}},
            error_x={
                "type": "data", "symmetric": False, "array": [rows[i].high - rows[i].rate for i in chosen],
                "arrayminus": [rows[i].rate - rows[i].low for i in chosen], "color": colour, "thickness": 2, "width": 5,
            },
            text=[names[i] for i in chosen],
            hovertemplate=f"<b>%{{text}}</b><br>%{{x:+.{decimals}f}} {unit}<extra></extra>",
        )  # fmt: skip
    ends = [0.0, *(one.low for one in rows), *(one.high for one in rows)]
    room = 0.08 * (max(ends) - min(ends) or 1.0)
    share = (room - min(ends)) / (max(ends) - min(ends) + 2.0 * room)
    sheet.word(say("asset.feet.no_move"), x=0.0, yref="paper", y=1.0, yanchor="bottom", xanchor=anchor_at(share))
    sheet.y(range=[0.4, len(rows) + 0.6], tickvals=places, ticktext=names, showgrid=False)
    sheet.x(
        range=[min(ends) - room, max(ends) + room], title={"text": wrapped(say("asset.feet.axis", unit=unit), 36)}, showgrid=True, nticks=6,
        tickformat=f"+.{decimals}f",
    )  # fmt: skip
    sheet.lay(margin={"l": 8, "r": 12, "t": 26, "b": 8})
    return sheet.picture


def beyond(plane: Plane) -> bool:
    """Tell whether the mean drift or its region goes beyond the picture.

    Parameters
    ----------
    plane : Plane
        What is drawn. [unit of the plane]
    """
    return _wide(plane) > _reach(plane)


def _mean(sheet: Sheet, plane: Plane, mean: tuple[float, float], reach: float) -> None:
    """Draw the mean drift, as far as the picture goes: one beyond it ends at its edge, and says so."""
    ink, paper = sheet.palette.ink, sheet.palette.paper
    edge = 0.93 * reach
    far = max(abs(mean[0]), abs(mean[1]))
    shown = min(1.0, edge / far) if far > 0.0 else 1.0
    tip = (mean[0] * shown, mean[1] * shown)
    text = say("asset.plane.mean.step" if plane.by_step else "asset.plane.mean")
    sheet.arrow((0.0, 0.0), tip, ink, 3.5)
    below = tip[1] <= 0.0
    ends = [tip[1], *plane.outline[:, 1].tolist()]
    at = max(min(ends), -edge) if below else min(max(ends), edge)
    # At the edge a word stands inside.
    inside = abs(at) >= edge
    sheet.word(
        say("asset.plane.mean.beyond", mean=text) if shown < 1.0 else text, x=tip[0], y=at, xanchor=anchor_at(0.5 + 0.5 * tip[0] / reach),
        yanchor="top" if below != inside else "bottom", bgcolor=paper, opacity=0.9,
    )  # fmt: skip


def _limit(sheet: Sheet, plane: Plane) -> None:
    ink = sheet.palette.ink
    sheet.scatter(
        x=[0.0], y=[0.0], mode="markers", name=say("figure.target"), hoverinfo="skip",
        marker={"symbol": "cross-thin", "size": 13, "line": {"color": ink, "width": 2}},
    )  # fmt: skip
    if not np.isfinite(plane.limit):
        return
    around = {"x0": -plane.limit, "x1": plane.limit, "y0": -plane.limit, "y1": plane.limit}
    sheet.shape(type="rect" if plane.square else "circle", **around, line={"color": ink, "width": 1.5, "dash": "dash"})
    sheet.word(say("figure.limit"), x=0.0, y=plane.limit, yanchor="bottom", bgcolor=sheet.palette.paper, opacity=0.9)


def _wide(plane: Plane) -> float:
    """Give how far the mean drift and its region go."""
    return float(np.abs(np.append(plane.outline.ravel(), plane.mean or 0.0)).max())


def _reach(plane: Plane) -> float:
    """Give how far the axes go: limit and runs fill a third of them at least, whatever the mean in a year and its region are."""
    ends = [plane.left, plane.found, np.array([plane.limit])]
    runs = max(float(np.abs(points[np.isfinite(points)]).max(initial=0.0)) for points in ends)
    wide = _wide(plane)
    return 1.12 * (min(max(runs, wide), FARTHEST * runs) if runs > 0.0 else wide) or 1.0
