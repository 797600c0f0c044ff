"""Pictures of a machine's history, drawn for print from the same series as those of its page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dashboard.reports.drawing import FAINT, INK, PAPER, SOFT, Drawing, Point, text_width
from dashboard.views.asset_panels import Panel
from dashboard.views.asset_view import Mark
from dashboard.views.run_series import RunSeries, Times
from dashboard.words import say
from models.history.columns import FloatArray

_DAY = 86_400.0


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a picture's axes lie, and the days and values that they reach."""

    left: float
    right: float
    top: float
    bottom: float
    first: float
    last: float
    low: float
    high: float

    def x(self, day: float) -> float:
        return self.left + (self.right - self.left) * (day - self.first) / (self.last - self.first)

    def y(self, value: float) -> float:
        return self.bottom - (self.bottom - self.top) * (value - self.low) / (self.high - self.low)


def ratio_picture(
    series: RunSeries, marks: Sequence[Mark], amended: Sequence[Mark], width: float = 180.0, height: float = 66.0
) -> str:
    """Draw the limit ratio of one machine over time, with the limit at 1, the replacements and the amendments.

    Parameters
    ----------
    series : RunSeries
        Limit ratio as found and as left. [unitless]
    marks : sequence of Mark
        Replacements. [unitless]
    amended : sequence of Mark
        Visits whose job was amended later. [unitless]
    width, height : float
        Size. [mm]

    Returns
    -------
    str
        SVG.
    """
    drawing = Drawing(width, height)
    top = float(np.nanmax(np.concatenate([series.found, series.left, [1.0]])))
    first, last = _span(series.times, marks)
    frame = _Frame(9.0, width - 14.0, 5.0, height - 6.0, first, last, 0.0, max(top * 1.06, 1.25))
    _values(drawing, frame, lambda value, places: f"{value:.{places}f}", 6, 1 if frame.high <= 4 else 0)
    _years(drawing, frame)
    drawing.line(((frame.left, frame.y(1.0)), (frame.right, frame.y(1.0))), width=0.45, dash="2.2 1.2")
    drawing.word((frame.right + 1.0, frame.y(1.0) + 0.9), say("report.asset.limit_one"), 7)
    _breaks(drawing, frame, marks, named=True)
    _runs(drawing, frame, series)
    _signs(drawing, frame, series, 1.25)
    for one in amended:
        drawing.diamond(
            (frame.x(_days(np.array([one.at], dtype="datetime64[s]"))[0]), frame.bottom), 1.5, fill=PAPER, width=0.35
        )
    return drawing.svg


def panel_picture(panel: Panel, marks: Sequence[Mark], width: float = 88.0, height: float = 42.0) -> str:
    """Draw one small picture: a quantity over time with its target and the limits around it.

    Parameters
    ----------
    panel : Panel
        What to draw, in the unit that is shown. [unit of the panel]
    marks : sequence of Mark
        Replacements. [unitless]
    width, height : float
        Size. [mm]

    Returns
    -------
    str
        SVG.
    """
    drawing, series = Drawing(width, height), panel.series
    first, last = _span(series.times, marks)
    every = np.concatenate([series.found, series.left, panel.low, panel.high, panel.target])
    every = every[np.isfinite(every)]
    low, high = (float(every.min()), float(every.max())) if len(every) else (-1.0, 1.0)
    room = max((high - low) * 0.08, 10.0**-panel.decimals)
    frame = _Frame(13.0, width - 2.0, 3.0, height - 5.5, first, last, low - room, high + room)

    def written(value: float, places: int) -> str:
        return f"{value:+.{places}f}".replace("-", "−") if round(value, places) else "0"

    _values(drawing, frame, written, 5, panel.decimals)
    _years(drawing, frame)
    _steps(drawing, frame, series.times, panel.target, "0.4 0.9")
    _steps(drawing, frame, series.times, panel.high, "1.8 1.0")
    _steps(drawing, frame, series.times, panel.low, "1.8 1.0")
    _breaks(drawing, frame, marks, named=False)
    _runs(drawing, frame, series)
    _signs(drawing, frame, series, 0.95)
    return drawing.svg


def _days(times: Times) -> list[float]:
    days: list[float] = (times.astype("datetime64[s]").astype(np.int64) / _DAY).tolist()
    return days


def _span(times: Times, marks: Sequence[Mark]) -> tuple[float, float]:
    days = [*_days(times), *_days(np.array([mark.at for mark in marks], dtype="datetime64[s]"))]
    if not days:
        return 0.0, 365.0
    first, last = min(days), max(days)
    room = max(last - first, 200.0) * 0.03
    return first - room, last + room


def _nice_ticks(low: float, high: float, most: int) -> tuple[list[float], int]:
    """Give the values of the grid lines, and how many decimals it takes to write them as they are."""
    raw = (high - low) / most
    power = int(np.floor(np.log10(raw)))
    times = next(times for times in (1.0, 2.0, 2.5, 5.0, 10.0) if times * 10.0**power >= raw)
    step = times * 10.0**power
    first = int(np.ceil(low / step))
    places = -power + (times == 2.5) - (times == 10.0)
    return [n * step for n in range(first, int(np.floor(high / step)) + 1)], max(places, 0)


def _values(drawing: Drawing, frame: _Frame, written: Callable[[float, int], str], most: int, least: int) -> None:
    """Draw the grid lines with their values, with at least so many decimals and with more where the step asks for it."""
    ticks, places = _nice_ticks(frame.low, frame.high, most)
    for tick in ticks:
        drawing.line(((frame.left, frame.y(tick)), (frame.right, frame.y(tick))), width=0.15, colour=FAINT)
        word = written(tick, max(places, least))
        drawing.word((frame.left - 1.2, frame.y(tick) + 0.9), word, 6.5, anchor="end", colour=SOFT)


def _years(drawing: Drawing, frame: _Frame) -> None:
    begin = int(np.datetime64(int(frame.first), "D").astype("datetime64[Y]").astype(int)) + 1970
    end = int(np.datetime64(int(frame.last), "D").astype("datetime64[Y]").astype(int)) + 1970
    every = max(1, -(-(end - begin + 1) * 9 // int(frame.right - frame.left)))
    ticks = [
        (float(np.datetime64(f"{year}-01-01", "D").astype(int)), str(year)) for year in range(begin, end + 1, every)
    ]
    if not any(frame.first <= at <= frame.last for at, _ in ticks):
        # Less than a year that holds no New Year: the days of its ends.
        ticks = [(at, str(np.datetime64(round(at), "D"))) for at in (frame.first + 1, frame.last - 1)]
    for at, name in ticks:
        if frame.first <= at <= frame.last:
            drawing.line(((frame.x(at), frame.bottom), (frame.x(at), frame.bottom + 1.0)), width=0.2, colour=SOFT)
            half = text_width(name, 6.5) / 2
            place = min(max(frame.x(at), frame.left + half), frame.right - half)
            drawing.word((place, frame.bottom + 4.0), name, 6.5, anchor="middle", colour=SOFT)
    drawing.line(((frame.left, frame.bottom), (frame.right, frame.bottom)), width=0.25, colour=SOFT)


def _breaks(drawing: Drawing, frame: _Frame, marks: Sequence[Mark], *, named: bool) -> None:
    reached = -1.0
    for mark in sorted(marks, key=lambda one: one.at):
        x = frame.x(_days(np.array([mark.at], dtype="datetime64[s]"))[0])
        drawing.line(((x, frame.top), (x, frame.bottom)), width=0.35, dash="2.4 0.8 0.5 0.8")
        if named:
            half = text_width(mark.name, 6.5) / 2
            place = min(max(x, frame.left + half), frame.right - half)
            if place - half > reached:
                drawing.word((place, frame.top - 1.4), mark.name, 6.5, anchor="middle")
                reached = place + half


def _runs(drawing: Drawing, frame: _Frame, series: RunSeries) -> None:
    for times, values, dash in (
        (series.solid_times, series.solid, ""),
        (series.dotted_times, series.dotted, "0.5 0.9"),
    ):
        days = _days(times)
        for row in range(0, len(values), 3):
            ends: tuple[Point, Point] = (
                (frame.x(days[row]), frame.y(float(values[row]))),
                (frame.x(days[row + 1]), frame.y(float(values[row + 1]))),
            )
            drawing.line(ends, width=0.3, colour=SOFT, dash=dash)


def _signs(drawing: Drawing, frame: _Frame, series: RunSeries, size: float) -> None:
    days = _days(series.times)
    for row, day in enumerate(days):
        if not np.isnan(series.found[row]):
            drawing.circle((frame.x(day), frame.y(float(series.found[row]))), size, fill=PAPER, width=0.4)
        if not np.isnan(series.left[row]):
            drawing.square((frame.x(day), frame.y(float(series.left[row]))), size * 0.85, fill=INK, width=0.1)


def _steps(drawing: Drawing, frame: _Frame, times: Times, values: FloatArray, dash: str) -> None:
    days = _days(times)
    points: list[Point] = []
    for row in np.flatnonzero(np.isfinite(values)).tolist():
        level = frame.y(float(values[row]))
        if points:
            points.append((frame.x(days[row]), points[-1][1]))
        points.append((frame.x(days[row]), level))
    if points:
        points.append((frame.right, points[-1][1]))
    drawing.path(points, width=0.25, colour=SOFT, dash=dash)
