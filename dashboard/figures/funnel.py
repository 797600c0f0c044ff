"""The funnel: share of looks that were returns against looks, with the limits that chance sets."""

from __future__ import annotations

import math
from html import escape

import numpy as np

from dashboard.figures.names import name_places
from dashboard.figures.sheet import Picture, Sheet
from dashboard.theme import palette_of
from dashboard.views.funnel_view import Funnel, Point
from dashboard.words import say
from dashboard.writing import count, counted, percent

LARGEST = 34.0
"""Diameter of the point with the most machines. [pixel]"""

ALONE, SEVERAL = 8.0, 16.0
"""Diameter of a point of one machine, and the least of one of several, whose number stands in it. [pixel]"""

LOWEST, HIGHEST = -8.0, 114.0
"""Ends of the upright axis, with room for the points at both ends. [% of looks]"""

NARROW, TALL = 315.0, 265.0
"""Width and height of the drawing on a small screen, where names have least room. [pixel]"""


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
        named, places = (
            _names(points, funnel.points, size, most, len(looks))
            if beyond
            else (_numbers(points), ["middle center"] * len(points))
        )
        sheet.scatter(
            x=[point.looks for point in points], y=[point.share * 100.0 for point in points],
            mode="markers+text", name=f"{name}: {say('offenders.column.machines')}", text=named,
            textposition=places,
            textfont={"size": 11, "color": palette.ink if beyond else palette.paper},
            marker={"color": colour, "size": size, "symbol": symbol, "line": {"color": palette.paper, "width": 1}},
            customdata=np.array(hover, dtype=object), hovertemplate="%{customdata}<extra></extra>", cliponaxis=False,
        )  # fmt: skip
    sheet.x(
        range=[0.4, len(looks) + 0.6], dtick=1 if len(looks) <= 12 else 5, title={"text": say("offenders.funnel.looks")}
    )
    sheet.y(range=[LOWEST, HIGHEST], tickvals=[0, 25, 50, 75, 100])
    return sheet.picture


def _diameter(machines: int, most: int) -> float:
    if machines == 1:
        return ALONE
    return SEVERAL + (LARGEST - SEVERAL) * math.sqrt((machines - 2) / max(most - 2, 1))


def _numbers(points: list[Point]) -> list[str]:
    return [count(point.machines) if point.machines > 1 else "" for point in points]


def _names(
    points: list[Point], every: tuple[Point, ...], size: list[float], most: int, looks: int
) -> tuple[list[str], list[str]]:
    """Name the points for which there is room on a small screen, those with most returns first; the table names all."""
    first = sorted(range(len(points)), key=lambda at: (-points[at].returns, at))
    others = [point for point in every if point not in points]
    shown = [points[at] for at in first] + others
    to_right, up = NARROW / (looks + 0.2), TALL / (HIGHEST - LOWEST)
    at = np.array([((p.looks - 0.4) * to_right, (p.share * 100.0 - LOWEST) * up) for p in shown])
    radii = np.array([size[one] for one in first] + [_diameter(p.machines, most) for p in others]) / 2.0
    texts = [_name(points[one]) for one in first]
    found = name_places(at, radii, texts, (0.0, 0.0, NARROW, TALL))
    named, places = [""] * len(points), ["middle right"] * len(points)
    for one, text, place in zip(first, texts, found, strict=True):
        if place:
            named[one], places[one] = f"<b>{escape(text)}</b>", place
    return named, places


def _name(point: Point) -> str:
    return point.tags[0] + (f" +{point.machines - 1}" if point.machines > 1 else "")
