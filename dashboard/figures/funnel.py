"""The funnel: share of looks that were returns against looks, with the limits that chance sets."""

from __future__ import annotations

import math
from html import escape

import numpy as np

from dashboard.figures.sheet import Picture, Sheet
from dashboard.theme import palette_of
from dashboard.views.funnel_view import Funnel, Point
from dashboard.words import say
from dashboard.writing import count, counted, percent

LARGEST = 34.0
"""Diameter of the point with the most machines. [pixel]"""

ALONE, SEVERAL = 8.0, 16.0
"""Diameter of a point of one machine, and the least of one of several, whose number stands in it. [pixel]"""


def funnel_figure(funnel: Funnel, scheme: str) -> Picture:
    """Draw machines as points, several with the same counts as one larger point, and the limits of chance.

    Parameters
    ----------
    funnel : Funnel
        Points and limits. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    sheet = Sheet(scheme)
    looks = np.arange(1, len(funnel.outer_high) + 1, dtype=np.float64)
    for low, high, dash, name in (
        (funnel.outer_low, funnel.outer_high, "solid", say("offenders.funnel.outer")),
        (funnel.inner_low, funnel.inner_high, "dot", say("offenders.funnel.inner")),
    ):
        for bound in (high, low):
            sheet.scatter(
                x=looks, y=bound * 100.0, mode="lines", name=name, hoverinfo="skip",
                line={"width": 1.25, "dash": dash, "color": palette.soft},
            )  # fmt: skip
    sheet.scatter(
        x=[0.4, len(looks) + 0.6], y=[funnel.share * 100.0] * 2, mode="lines", hoverinfo="skip",
        line={"width": 1.25, "dash": "dash", "color": palette.soft}, name=say("offenders.funnel.all"),
    )  # fmt: skip
    most = max(point.machines for point in funnel.points)
    for beyond, colour, symbol, name in (
        (False, palette.before, "circle", say("offenders.funnel.inside")),
        (True, palette.found, "diamond", say("offenders.funnel.beyond")),
    ):
        points = [point for point in funnel.points if bool(point.beyond) is beyond]
        if not points:
            continue
        size = [_diameter(point.machines, most) for point in points]
        hover = [
            f"<b>{point.returns} / {point.looks}: {percent(point.share)}</b><br>{counted(point.machines, 'machine')}: "
            f"{escape(', '.join(point.tags))}{' …' if point.machines > len(point.tags) else ''}"
            for point in points
        ]
        named = [
            f"<b>{escape(', '.join(point.tags))}</b>" if beyond else count(point.machines) if point.machines > 1 else ""
            for point in points
        ]
        sheet.scatter(
            x=[point.looks for point in points], y=[point.share * 100.0 for point in points],
            mode="markers+text", name=f"{name}: {say('offenders.column.machines')}", text=named,
            textposition=[_beside(p, at, len(looks)) if beyond else "middle center" for at, p in enumerate(points)],
            textfont={"size": 11, "color": palette.ink if beyond else palette.paper},
            marker={"color": colour, "size": size, "symbol": symbol, "line": {"color": palette.paper, "width": 1}},
            customdata=np.array(hover, dtype=object), hovertemplate="%{customdata}<extra></extra>", cliponaxis=False,
        )  # fmt: skip
    sheet.x(
        range=[0.4, len(looks) + 0.6], dtick=1 if len(looks) <= 12 else 5, title={"text": say("offenders.funnel.looks")}
    )
    sheet.y(range=[-8, 114], tickvals=[0, 25, 50, 75, 100])
    return sheet.picture


def _diameter(machines: int, most: int) -> float:
    if machines == 1:
        return ALONE
    return SEVERAL + (LARGEST - SEVERAL) * math.sqrt((machines - 2) / max(most - 2, 1))


def _beside(point: Point, place: int, most: int) -> str:
    """Say where a name stands beside its point: towards the middle, and by turns above and below, so that neighbours do not meet."""
    return f"{'top' if place % 2 else 'bottom'} {'left' if 2 * point.looks > most else 'right'}"
