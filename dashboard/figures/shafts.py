"""The two shafts from the side and from above: to scale along, exaggerated across by a stated factor.

Both axes of the picture have one scale, and what lies across was multiplied by
the factor before it was drawn: so the factor holds on every screen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from dashboard.figures.room import LINE, NARROW, PER_LETTER, levels, margin_for, width_of, wrapped
from dashboard.figures.sheet import Picture, Sheet
from dashboard.theme import Palette, palette_of
from dashboard.words import say
from models.units import Display, Quantity

Line = tuple[float, float]
"""Offset at the coupling centre and angularity of a shaft line. [mm, mm/m]."""

Point = tuple[float, float]

_SHARE = 0.13
"""The largest distance across is drawn as at most this share of the length along."""

_BODY, _LEG, _FOOT = 0.075, 0.045, 0.03
"""Half height of a machine, length of its legs and half width of a foot, as shares of the length."""

_LARGEST = 5000.0
_NO_FEET_MM = 500.0


@dataclass(frozen=True, slots=True)
class FootMove:
    """What a row of feet needs: where it stands, how far it goes (+ up, + right), and that in words."""

    x_mm: float
    move_mm: float
    text: str
    of_movable: bool = True


@dataclass(frozen=True, slots=True)
class Shafts:
    """One view of both shafts; ``vertical`` is the side view, else it is the view from above.

    ``measured`` and ``target`` are lines of the movable shaft against the stationary one.
    """

    vertical: bool
    measured: Line
    target: Line
    feet_movable_mm: tuple[float, ...]
    feet_stationary_mm: tuple[float, ...]
    span_mm: float | None
    moves: tuple[FootMove, ...]

    @property
    def ends(self) -> tuple[float, float]:
        """Give where the drawn shafts begin and end. [mm]."""
        reach = max([*self.feet_movable_mm, *(-x for x in self.feet_stationary_mm), 2.0 * (self.span_mm or 0.0)], default=0.0)  # fmt: skip
        reach = reach or _NO_FEET_MM
        first = min(self.feet_stationary_mm, default=-0.6 * reach)
        last = max(self.feet_movable_mm, default=reach)
        room = 0.08 * (last - first)
        return first - room, last + room

    @property
    def factor(self) -> float:
        """Give by how much everything across is exaggerated: 1, 2 or 5 times a power of ten."""
        first, last = self.ends
        across = [at(line, x) for line in (self.measured, self.target) for x in (0.0, last)]
        across += [move.move_mm for move in self.moves]
        return nice_factor(max(abs(y) for y in across), last - first)


def at(line: Line, x_mm: float) -> float:
    """Give where a shaft line lies at a plane. [mm]."""
    return line[0] + line[1] * x_mm / 1000.0


def nice_factor(across_mm: float, along_mm: float) -> float:
    """Give the largest 1, 2 or 5 times a power of ten under which a distance across stays in the picture.

    Parameters
    ----------
    across_mm : float
        Largest distance across. [mm]
    along_mm : float
        Length of the picture. [mm]

    Returns
    -------
    float
        The factor, at least 1. [unitless]
    """
    if not across_mm > 0:
        return _LARGEST
    most = min(_SHARE * along_mm / across_mm, _LARGEST)
    if most <= 1:
        return 1.0
    power = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most)


def shafts_figure(shafts: Shafts, stage: str, display: Display, scheme: str) -> Picture:
    """Draw both shafts in one view.

    Parameters
    ----------
    shafts : Shafts
        The lines, the feet and what they need. [mm, mm/m]
    stage : str
        ``'found'`` or ``'left'``: the colour of the movable shaft. [unitless]
    display : Display
        Units of the numbers in the picture. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    palette = palette_of(scheme)
    sheet = Sheet(scheme)
    drawing = _Drawing(sheet, shafts, palette, palette.found if stage == "found" else palette.left, display)
    drawing.machines()
    drawing.lines()
    drawing.moves()
    drawing.axes()
    return sheet.picture


def more_height(shafts: Shafts, display: Display) -> int:
    """Give the height that the words and numbers of a picture need beyond that of two rows of feet: without it they lie over the axis. [pixel]."""
    drawing = _Drawing(Sheet("light"), shafts, palette_of("light"), "", display)
    words = drawing.tall * max(0, max((level for _, level in drawing.needs), default=0) - 1)
    return round(words + LINE * max(text.count("<br>") for text in drawing.numbers))


class _Drawing:
    def __init__(self, sheet: Sheet, shafts: Shafts, palette: Palette, colour: str, display: Display) -> None:
        self.sheet, self.shafts, self.palette, self.colour, self.display = sheet, shafts, palette, colour, display
        self.first, self.last = shafts.ends
        self.length = self.last - self.first
        self.factor = shafts.factor
        self.body, self.leg, self.foot = (share * self.length for share in (_BODY, _LEG, _FOOT))
        self.half_span = (shafts.span_mm or 0.0) / 2.0
        self.pixel = self.length / NARROW
        shown = sorted(shafts.moves, key=lambda move: move.x_mm)
        lines = levels([move.x_mm / self.pixel for move in shown], [width_of(move.text) for move in shown])
        self.needs = tuple(zip(shown, lines, strict=True))
        self.planes = sorted({*shafts.feet_stationary_mm, 0.0, *shafts.feet_movable_mm})
        self.numbers = self._numbers()
        self.tall = LINE * max((1 + move.text.count("<br>") for move in shown), default=1)

    def _numbers(self) -> list[str]:
        """Give the numbers along the axis, those that would run into their neighbour on a line below."""
        texts = [self.display.text(x, Quantity.DISTANCE, with_unit=False) for x in self.planes]
        lines = levels([x / self.pixel for x in self.planes], [width_of(text) + PER_LETTER for text in texts])
        return ["<br>" * level + text for text, level in zip(texts, lines, strict=True)]

    def y(self, line: Line, x_mm: float) -> float:
        return self.factor * at(line, x_mm)

    def _draw(self, points: list[Point], name: str, *, closed: bool = False, **line: object) -> None:
        if closed:
            points = [*points, points[0]]
        self.sheet.scatter(
            x=[x for x, _ in points], y=[y for _, y in points], mode="lines", name=name, hoverinfo="skip",
            line={"color": self.palette.strong, "width": 1.25, **line},
fill="toself" if closed else "none", fillcolor=self.palette.tint,
        )  # fmt: skip

    def machines(self) -> None:
        s = self.shafts
        ground = -(self.body + self.leg)
        if s.vertical:
            self._draw([(self.first, ground), (self.last, ground)], "base", color=self.palette.strong, width=1.5)
        for feet, line, name in ((s.feet_stationary_mm, (0.0, 0.0), "stationary machine"), (s.feet_movable_mm, s.measured, "movable machine")):  # fmt: skip
            if not feet:
                continue
            room = 0.05 * self.length
            ends = min(feet) - room, max(feet) + room
            corners = [(ends[0], self.body), (ends[1], self.body), (ends[1], -self.body), (ends[0], -self.body)]
            self._draw([(x, self.y(line, x) + y) for x, y in corners], name, closed=True)
            for x in feet:
                self._foot(x, line, name)

    def _foot(self, x: float, line: Line, name: str) -> None:
        y = self.y(line, x)
        sides = (-1.0,) if self.shafts.vertical else (-1.0, 1.0)
        for side in sides:
            sole = y + side * (self.body + self.leg)
            self._draw([(x, y + side * self.body), (x, sole)], name, color=self.palette.ink, width=1.5)
            self._draw([(x - self.foot, sole), (x + self.foot, sole)], name, color=self.palette.ink, width=3)

    def lines(self) -> None:
        s, half = self.shafts, self.half_span
        self._draw([(self.first, 0.0), (-half, 0.0)], "stationary shaft", color=self.palette.ink, width=3)
        target = [(half, self.y(s.target, half)), (self.last, self.y(s.target, self.last))]
        self._draw(target, say("figure.target"), color=self.palette.ink, width=1.75, dash="dash")
        measured = [(half, self.y(s.measured, half)), (self.last, self.y(s.measured, self.last))]
        self._draw(measured, "movable shaft", color=self.colour, width=4)
        joint = [(-half, 0.0), measured[0]]
        self._draw(joint, "coupling", color=self.palette.soft, width=2)
        self.sheet.scatter(
            x=[x for x, _ in joint], y=[y for _, y in joint], mode="markers", name="flex planes", hoverinfo="skip",
            marker={"symbol": "line-ns", "size": 16, "line": {"color": self.palette.ink, "width": 2.5}},
        )  # fmt: skip
        above = measured[1][1] >= target[1][1]
        self._word(
            self.last, target[1][1], say("figure.target"), self.palette.ink, "top" if above else "bottom", "left"
        )
        self._word(self.first, 0.0, say("record.picture.stationary"), self.palette.ink, "bottom", "left")
        self._word(self.last, measured[1][1], say("record.picture.movable"), self.colour, "bottom" if above else "top", "left")  # fmt: skip

    def _word(self, x: float, y: float, text: str, colour: str, yanchor: str, xanchor: str) -> None:
        self.sheet.note(
            x=x, y=y, text=text, showarrow=False, xanchor=xanchor, yanchor=yanchor, yshift=3 if yanchor == "bottom" else -3,
            font={"size": 12, "color": colour}, bgcolor=self.palette.paper, opacity=0.92,
        )  # fmt: skip

    def sole_and_goal(self, move: FootMove) -> Point:
        """Give how high the sole of a foot is drawn, and where it is to go."""
        line = self.shafts.measured if move.of_movable else (0.0, 0.0)
        sole = self.y(line, move.x_mm) - self.body - self.leg
        return sole, sole + self.factor * move.move_mm

    def moves(self) -> None:
        # All words stand on common lines, below the lowest point of an arrow.
        lowest = min((min(self.sole_and_goal(move)) for move, _ in self.needs), default=0.0)
        for move, level in self.needs:
            sole, goal = self.sole_and_goal(move)
            if abs(goal - sole) > 0.004 * self.length:
                self.sheet.note(
                    x=move.x_mm, y=goal, ax=move.x_mm, ay=sole, axref="x", ayref="y", text="", showarrow=True,
                    arrowhead=2, arrowsize=1.1, arrowwidth=2, arrowcolor=self.palette.ink,
                )  # fmt: skip
            self.sheet.note(
                x=move.x_mm, y=lowest, text=move.text, showarrow=False, yanchor="top", yshift=-5 - self.tall * level,
                font={"size": 12, "color": self.palette.ink}, align="center", bgcolor=self.palette.paper, opacity=0.92,
            )  # fmt: skip

    def axes(self) -> None:
        s = self.shafts
        self.sheet.x(
            range=[self.first, self.last + 0.01 * self.length], constrain="domain", tickvals=self.planes, tickangle=0,
            ticktext=self.numbers,
            title={"text": wrapped(say("record.picture.along", unit=self.display.unit(Quantity.DISTANCE)))},
        )  # fmt: skip
        across = [self.y(line, x) for line in (s.measured, s.target) for x in (self.half_span, self.last)]
        high, low = max([*across, 0.0]), min([*across, 0.0])
        ends = self.body + self.leg
        most = max(across, key=abs)
        values = [0.0] if not any(across) else [0.0, most / self.factor]
        if 0.0 < abs(most) < 1.2 * LINE * self.pixel:
            values = values[1:]  # two numbers so close would lie over one another
        # Below the lowest sole, or the words at the point of an arrow, the axis begins.
        words = (
            (self.tall * (1 + max((level for _, level in self.needs), default=-1)) + 9.0) * self.pixel
            if self.needs
            else 0.0
        )
        lowest = min((min(self.sole_and_goal(move)) for move, _ in self.needs), default=0.0)
        bottom = min(low - ends - 0.03 * self.length, lowest - words)
        self.sheet.y(
            range=[bottom, high + ends + 0.02 * self.length],
            scaleanchor="x", scaleratio=1, constrain="domain", showgrid=False,
            tickvals=[value * self.factor for value in values],
            ticktext=[self.display.text(value, Quantity.OFFSET, signed=True, with_unit=False) for value in values],
        )  # fmt: skip
        names = (say("figure.target"), say("record.picture.movable"))
        self.sheet.lay(margin={"l": 8, "r": margin_for(names), "t": 8, "b": 8})
