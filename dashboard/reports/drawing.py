"""Drawing for print: SVG in millimetres, in black and greys, with signs that differ by shape."""

from __future__ import annotations

from collections.abc import Iterable
from xml.sax.saxutils import escape, quoteattr

from dashboard.reports.glyphs import printable

FAMILY = "Inter"
INK, SOFT, FAINT, PAPER = "#000000", "#595959", "#bdbdbd", "#ffffff"
"""Four greys that stay apart on a copying machine."""

MM_PER_POINT = 25.4 / 72.0
_LETTER_WIDTH = 0.6
"""Mean width of a letter in units of its size: for leaving room, not for setting (a choice of this project)."""

Point = tuple[float, float]


def text_width(text: str, points: float) -> float:
    """Give about how wide a text is.

    Parameters
    ----------
    text : str
        The text. [unitless]
    points : float
        Size of its letters. [pt]

    Returns
    -------
    float
        Width. [mm]
    """
    return len(text) * points * MM_PER_POINT * _LETTER_WIDTH


class Drawing:
    """One picture; x to the right and y down, in mm from its upper left corner."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self._parts: list[str] = []

    def line(self, ends: tuple[Point, Point], *, width: float = 0.2, colour: str = INK, dash: str = "") -> None:
        """Draw a straight line."""
        (x0, y0), (x1, y1) = ends
        self._add("line", x1=x0, y1=y0, x2=x1, y2=y1, stroke=colour, stroke_width=width, stroke_dasharray=dash)

    def path(self, points: Iterable[Point], *, width: float = 0.2, colour: str = INK, dash: str = "") -> None:
        """Draw a line through points; fewer than two draw nothing."""
        told = " ".join(f"{x:.3f},{y:.3f}" for x, y in points)
        if " " in told:
            self._add("polyline", points=told, fill="none", stroke=colour, stroke_width=width, stroke_dasharray=dash, stroke_linejoin="round")  # fmt: skip

    def box(self, corner: Point, size: Point, *, width: float = 0.2, colour: str = INK, fill: str = "none") -> None:
        """Draw a rectangle by its upper left corner and its size."""
        self._add("rect", x=corner[0], y=corner[1], width=size[0], height=size[1], stroke=colour, stroke_width=width, fill=fill)  # fmt: skip

    def circle(self, at: Point, radius: float, *, width: float = 0.2, colour: str = INK, fill: str = "none") -> None:
        """Draw a circle."""
        self._add("circle", cx=at[0], cy=at[1], r=radius, stroke=colour, stroke_width=width, fill=fill)

    def square(self, at: Point, half: float, *, width: float = 0.2, colour: str = INK, fill: str = "none") -> None:
        """Draw a square around a point."""
        self.box((at[0] - half, at[1] - half), (2 * half, 2 * half), width=width, colour=colour, fill=fill)

    def diamond(self, at: Point, half: float, *, width: float = 0.2, colour: str = INK, fill: str = "none") -> None:
        """Draw a square that stands on its corner."""
        x, y = at
        told = " ".join(f"{a:.3f},{b:.3f}" for a, b in ((x, y - half), (x + half, y), (x, y + half), (x - half, y)))
        self._add("polygon", points=told, stroke=colour, stroke_width=width, fill=fill)

    def word(
        self, at: Point, text: str, points: float = 7.0, *, anchor: str = "start", bold: bool = False, colour: str = INK, turned: bool = False
    ) -> None:  # fmt: skip
        """Write a text with its base line at a point; ``anchor`` is start, middle or end; turned reads upwards."""
        turn = f"rotate(-90 {at[0]:.3f} {at[1]:.3f})" if turned else ""
        self._add(
            "text", inside=printable(text), x=at[0], y=at[1], font_family=FAMILY, font_size=round(points * MM_PER_POINT, 3),
            font_weight="700" if bold else "", text_anchor=anchor, fill=colour, transform=turn,
        )  # fmt: skip

    def _add(self, name: str, *, inside: str = "", **attributes: object) -> None:
        told = "".join(
            f" {key.replace('_', '-')}={quoteattr(_plain(value))}" for key, value in attributes.items() if value != ""
        )
        self._parts.append(f"<{name}{told}>{escape(inside)}</{name}>" if inside else f"<{name}{told}/>")

    @property
    def svg(self) -> str:
        """Give the picture as the text of an SVG file."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width:g}mm" height="{self.height:g}mm" '
            f'viewBox="0 0 {self.width:g} {self.height:g}">'
        )
        return head + "".join(self._parts) + "</svg>"


def _plain(value: object) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
