"""Pictures of what instruments and people read against the others: one row a name, in alphabetical order."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from dashboard.figures.sheet import Picture, Sheet
from dashboard.theme import palette_of
from dashboard.views.effects_view import EffectLine
from dashboard.words import say


def effect_figure(lines: Sequence[EffectLine], component: int, decimals: int, unit: str, scheme: str) -> Picture:
    """Draw one component: an interval and a mark for each name, about the median of all that can be compared.

    Parameters
    ----------
    lines : sequence of EffectLine
        Names with enough runs, in alphabetical order. [unit of the page]
    component : int
        Which of the four. [unitless]
    decimals : int
        Decimals that are worth showing. [unitless]
    unit : str
        Unit of the component. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    sheet = Sheet(scheme)
    rows = np.arange(len(lines), dtype=np.float64)
    value, low, high = (
        np.array([getattr(line.cells[component], part) for line in lines], dtype=np.float64)
        for part in ("value", "low", "high")
    )
    differs = np.array([line.cells[component].differs for line in lines], dtype=np.bool_)
    reach = max(float(np.max(np.abs(np.concatenate([low, high])), initial=0.0)) * 1.08, 10.0**-decimals)
    ends = (f"%{{customdata[{end}]:+.{decimals}f}}" for end in (0, 1))
    between = say("write.interval", low=next(ends), high=next(ends))
    for chosen, colour, symbol in ((~differs, palette.before, "circle-open"), (differs, palette.found, "diamond")):
        if not chosen.any():
            continue
        sheet.scatter(
            x=value[chosen], y=rows[chosen], mode="markers",
            marker={"color": colour, "size": 10, "symbol": symbol, "line": {"color": colour, "width": 2}},
            error_x={"type": "data", "symmetric": False, "array": (high - value)[chosen], "arrayminus": (value - low)[chosen],
                     "color": colour, "thickness": 2, "width": 0},
            customdata=np.stack([low[chosen], high[chosen]], axis=1),
            text=[escape(line.name) for line, on in zip(lines, chosen.tolist(), strict=True) if on],
            hovertemplate=f"<b>%{{text}}: %{{x:+.{decimals}f}} {unit}</b><br>{between} {unit}<extra></extra>",
        )  # fmt: skip
    sheet.scatter(
        x=[0.0, 0.0], y=[-0.5, len(lines) - 0.5], mode="lines", hoverinfo="skip",
        line={"color": palette.strong, "width": 1}, zorder=-1,
    )  # fmt: skip
    sheet.y(
        tickvals=rows,
        ticktext=[escape(line.name) for line in lines],
        range=[len(lines) - 0.5, -0.5],
        showgrid=True,
        tickfont={"color": palette.ink},
    )
    sheet.x(range=[-reach, reach], side="top", nticks=4, ticks="", showline=False, showgrid=False)
    return sheet.picture
