"""The look: colours, type and one Plotly template for each colour scheme.

The colours of data come from the palette of M. Okabe and K. Ito, "Color
Universal Design" (2008), published for free use; people with the common
forms of colour blindness can tell them apart.  They are darkened on
paper and left bright on black so that lines and letters keep a contrast of
at least 4.5 : 1.  Colour is never the only sign: a shape and a word stand beside it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cache
from typing import Any

import plotly.graph_objects as go

LIGHT = "light"
DARK = "dark"
SCHEMES = (LIGHT, DARK)

SANS = "-apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif"
SERIF = (
    "Charter, 'Bitstream Charter', 'Iowan Old Style', 'Palatino Linotype', Palatino, 'Liberation Serif', Georgia, serif"
)


@dataclass(frozen=True, slots=True)
class Palette:
    """The colours of one scheme, each named for what it means."""

    paper: str
    sheet: str
    ink: str
    soft: str
    rule: str
    strong: str
    link: str
    found: str
    left: str
    before: str
    tint: str
    over: str


PALETTES: dict[str, Palette] = {
    LIGHT: Palette(
        paper="#f7f5ef",
        sheet="#fffefb",
        ink="#1d2126",
        soft="#555b63",
        rule="#dcd7cb",
        strong="#8a8578",
        link="#00527f",
        found="#b34700",
        left="#0067a3",
        before="#6b7078",
        tint="#f0ece1",
        over="#f8e7d6",
    ),
    DARK: Palette(
        paper="#14171a",
        sheet="#1a1e22",
        ink="#e9e6de",
        soft="#abb0b7",
        rule="#343a41",
        strong="#747c86",
        link="#8ccdf5",
        found="#f0a030",
        left="#5cb8ee",
        before="#9aa1ab",
        tint="#23282d",
        over="#3b2c18",
    ),
}


def palette_of(scheme: str | None) -> Palette:
    """Give the colours of a scheme; light where the scheme is not known."""
    return PALETTES.get(scheme or LIGHT, PALETTES[LIGHT])


def css_variables() -> str:
    """Write the colours and the type as CSS variables, so that they stand in one place only."""
    light, dark = (
        "".join(f"--{name}:{colour};" for name, colour in asdict(PALETTES[scheme]).items()) for scheme in SCHEMES
    )
    return (
        f":root{{--sans:{SANS};--serif:{SERIF};{light}}}"
        f":root[data-mantine-color-scheme='dark']{{{dark}}}"
        # Until the script has run, the system's choice holds: no flash of white in a dark room.
        f"@media (prefers-color-scheme:dark){{:root:not([data-mantine-color-scheme]){{{dark}}}}}"
    )


@cache
def template_of(scheme: str) -> go.layout.Template:
    """Give the Plotly template of a scheme; it is passed to each figure, never set as a default.

    Parameters
    ----------
    scheme : str
        ``'light'`` or ``'dark'``. [unitless]
    """
    palette = palette_of(scheme)
    axis: dict[str, Any] = {
        "gridcolor": palette.rule,
        "gridwidth": 1,
        "linecolor": palette.strong,
        "linewidth": 1,
        "zeroline": False,
        "tickcolor": palette.strong,
        "ticks": "outside",
        "ticklen": 4,
        "tickfont": {"size": 12, "color": palette.soft},
        "title": {"font": {"size": 12, "color": palette.soft}, "standoff": 8},
        "automargin": True,
        "fixedrange": True,
    }
    layout = go.Layout(
        font={"family": SANS, "size": 12, "color": palette.ink},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        colorway=[palette.found, palette.left, palette.before],
        margin={"l": 8, "r": 12, "t": 8, "b": 8},
        xaxis={**axis, "showgrid": False},
        yaxis={**axis, "showline": False, "ticks": ""},
        showlegend=False,
        hovermode="closest",
        dragmode=False,
        hoverlabel={
            "bgcolor": palette.sheet,
            "bordercolor": palette.strong,
            "font": {"family": SANS, "size": 12, "color": palette.ink},
            "align": "left",
        },
    )
    return go.layout.Template(layout=layout)


MANTINE: dict[str, Any] = {
    "fontFamily": SANS,
    "headings": {"fontFamily": SERIF},
    "primaryColor": "blue",
    "defaultRadius": 2,
    "fontSizes": {"xs": "0.8125rem", "sm": "0.875rem", "md": "0.9375rem"},
}
"""The theme of the controls."""
