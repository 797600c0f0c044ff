"""A sheet to draw on: the same words as Plotly's own figure, without its checks.

Plotly looks at every attribute of every trace, which takes most of the time of a
page with many small pictures.  The tests hand each picture to Plotly to be checked.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cache
from typing import Any

import numpy as np

from dashboard.theme import Palette, palette_of, template_of

Picture = dict[str, Any]
"""A picture as it goes to the browser: its traces and its layout."""


@cache
def _template(scheme: str) -> dict[str, Any]:
    written: dict[str, Any] = template_of(scheme).to_plotly_json()
    return written


class Sheet:
    """A picture while it is drawn."""

    def __init__(self, scheme: str) -> None:
        self.palette: Palette = palette_of(scheme)
        self._data: list[dict[str, Any]] = []
        self._shapes: list[dict[str, Any]] = []
        self._annotations: list[dict[str, Any]] = []
        self._layout: dict[str, Any] = {"template": _template(scheme), "xaxis": {}, "yaxis": {}}

    def scatter(self, **trace: Any) -> None:
        """Draw points or lines; arrays become lists, and what is not a number is left out."""
        self._data.append({"type": "scatter", **plain(trace)})

    def shape(self, **shape: Any) -> None:
        """Draw a line or an area that is no data."""
        self._shapes.append(shape)

    def word(self, text: str, colour: str = "", size: int = 12, **where: Any) -> None:
        """Write a word beside what it names; ``where`` is as in Plotly's annotations."""
        font = {"size": size, "color": colour or self.palette.ink}
        self._annotations.append({"text": text, "showarrow": False, "font": font, **where})

    def note(self, **annotation: Any) -> None:
        """Put an annotation down as Plotly has it."""
        self._annotations.append(annotation)

    def arrow(self, begin: tuple[Any, Any], end: tuple[Any, Any], colour: str, width: float = 2.0) -> None:
        """Draw an arrow between two points of the axes."""
        self._annotations.append(
            {
                "x": end[0], "y": end[1], "ax": begin[0], "ay": begin[1], "axref": "x", "ayref": "y", "xref": "x", "yref": "y",
                "text": "", "showarrow": True, "arrowhead": 2, "arrowsize": 1.0, "arrowwidth": width, "arrowcolor": colour,
            }
        )  # fmt: skip

    def x(self, **axis: Any) -> None:
        """Set the axis along the bottom."""
        self._layout["xaxis"].update(plain(axis))

    def y(self, **axis: Any) -> None:
        """Set the axis at the side."""
        self._layout["yaxis"].update(plain(axis))

    def lay(self, **layout: Any) -> None:
        """Set what belongs to the sheet as a whole."""
        self._layout.update(layout)

    @property
    def picture(self) -> Picture:
        """Give the picture as it goes to the browser."""
        return {
            "data": self._data,
            "layout": {**self._layout, "shapes": self._shapes, "annotations": self._annotations},
        }


def drawn(scheme: str, traces: Iterable[dict[str, Any]], layout: dict[str, Any]) -> Picture:
    """Put a picture together from traces and a layout that are there already.

    Parameters
    ----------
    scheme : str
        Colour scheme. [unitless]
    traces : iterable of dict
        Traces as Plotly has them, with arrays. [unitless]
    layout : dict
        Layout as Plotly has it. [unitless]
    """
    return {"data": [plain(trace) for trace in traces], "layout": {"template": _template(scheme), **plain(layout)}}


def plain(value: Any) -> Any:
    """Turn arrays into lists, also those inside: times as texts, NaN as nothing; leave anything else as it is.

    Parameters
    ----------
    value : any
        A property of a trace. [unitless]
    """
    if isinstance(value, dict):
        return {name: plain(one) for name, one in value.items()}
    if not isinstance(value, np.ndarray):
        return value
    if value.ndim > 1:
        return [plain(row) for row in value]
    if value.dtype.kind == "M":
        return value.astype("datetime64[s]").astype(str).tolist()
    if value.dtype.kind == "f":
        return [None if math.isnan(number) else number for number in value.tolist()]
    return value.tolist()
