"""Soft foot as a plan of the feet: how far each one rises when its bolt is loosened."""

from __future__ import annotations

from dashboard.figures.sheet import Picture, Sheet
from dashboard.theme import palette_of
from dashboard.words import say
from models.maths.soft_foot import SoftFoot
from models.units import Display, Quantity

MANY_ROWS = 2
"""Rows of feet beside which a phone has room for a word before the machine."""


def feet_figure(soft: SoftFoot, display: Display, scheme: str) -> Picture:
    """Draw the feet of the movable machine from above, the coupling at the left.

    Parameters
    ----------
    soft : SoftFoot
        Rises, which of them are high, and shims. [mm]
    display : Display
        Units of the numbers in the picture. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    sheet = Sheet(scheme)
    rows = len(soft.rises_mm) // 2
    sheet.shape(type="rect", x0=0.55, x1=rows + 0.45, y0=0.2, y1=0.8, line={"color": palette.strong, "width": 1.25}, fillcolor=palette.tint, layer="below")  # fmt: skip
    sheet.shape(type="line", x0=0.1, x1=0.55, y0=0.5, y1=0.5, line={"color": palette.ink, "width": 4})
    # Along the side of the machine where there are many rows: on a phone there is no room for a word across between coupling and machine.
    turned = {"textangle": -90, "yshift": 6} if rows > MANY_ROWS else {"yshift": 4}
    sheet.note(
        x=0.1, y=0.5, text=say("record.plan.coupling"), showarrow=False, xanchor="left", yanchor="bottom",
        font={"size": 12, "color": palette.soft}, **turned,
    )  # fmt: skip
    for place, high in enumerate(soft.high):
        x, y = place // 2 + 1, 1.0 if place % 2 else 0.0
        sheet.scatter(
            x=[x], y=[y], mode="markers", hoverinfo="skip", name=f"{place // 2 + 1}{'LR'[place % 2]}",
            marker={
                "symbol": "diamond" if high else "square",
                "size": 30 if high else 24,
                "color": palette.over if high else palette.sheet,
                "line": {"color": palette.found if high else palette.strong, "width": 3 if high else 1.5},
            },
        )  # fmt: skip
        sheet.note(
            x=x, y=y, text=foot_text(soft, place, display), showarrow=False, yanchor="bottom" if y else "top", yshift=18 if y else -18,
            font={"size": 12, "color": palette.ink}, align="center",
        )  # fmt: skip
    sheet.x(
        range=[0.0, rows + 0.6], tickvals=list(range(1, rows + 1)), ticktext=[say("record.plan.row", row=row) for row in range(1, rows + 1)],
    )  # fmt: skip
    sheet.y(
        range=[-0.75, 1.75],
        tickvals=[0.0, 1.0],
        ticktext=[say("record.plan.left"), say("record.plan.right")],
        showgrid=False,
    )
    return sheet.picture


def foot_text(soft: SoftFoot, place: int, display: Display) -> str:
    """Write what stands at a foot: its rise, whether that is high, and the shim that is asked for.

    Parameters
    ----------
    soft : SoftFoot
        Rises and shims. [mm]
    place : int
        Which foot. [unitless]
    display : Display
        Units. [unitless]
    """
    if soft.rises_mm[place] is None:
        return say("record.plan.blank")
    rise = display.text(soft.rises_mm[place], Quantity.OFFSET)
    if not soft.high[place]:
        return rise
    shim = soft.shims_mm[place]
    said = say("record.plan.high", rise=rise)
    return f"{said}<br>{say('record.plan.shim', shim=display.text(shim, Quantity.OFFSET))}" if shim else said
