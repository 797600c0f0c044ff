"""Pictures of the monthly review, drawn for print from the same values as those of the page."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from dashboard.reports.drawing import FAINT, INK, PAPER, SOFT, Drawing, Point
from dashboard.views.month_chart_view import MonthSeries
from dashboard.views.month_view import ClassLine
from dashboard.views.shares import Share
from dashboard.words import say
from dashboard.writing import DASH, percent

WIDTH = 180.0
"""Width of a picture that goes across an A4 page. [mm]"""

_LEFT, _RIGHT = 12.0, 26.0

Axis = Callable[[float], float]


def control_chart(series: MonthSeries, width: float = WIDTH, height: float = 45.0) -> str:
    """Draw the share found over limit month by month against its control limits.

    Parameters
    ----------
    series : MonthSeries
        One row a month, the chosen one last. [unitless]
    width, height : float
        Size. [mm]

    Returns
    -------
    str
        SVG.
    """
    drawing = Drawing(width, height)
    right = _RIGHT if series.limited else 6.0
    top, bottom = 8.5, height - 9.5
    known = series.found_n > 0
    highest = _highest(series)
    step = (width - _LEFT - right) / max(len(series.months), 1)

    def x(row: float) -> float:
        return _LEFT + (row + 0.5) * step

    def y(share: float) -> float:
        return bottom - (bottom - top) * share / highest

    for tick in (share for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0) if share <= highest):
        drawing.line(((_LEFT, y(tick)), (width - right, y(tick))), width=0.15, colour=FAINT)
        drawing.word((_LEFT - 1.2, y(tick) + 0.9), percent(tick), 7, anchor="end", colour=SOFT)
    for row in range(len(series.months)):
        on = series.day(row)
        if on.month in {1, 4, 7, 10}:
            drawing.word((x(row), 3.0), say(f"month.short.{on.month}"), 7, anchor="middle", colour=SOFT)
            drawing.word((x(row), 6.2), str(on.year), 7, anchor="middle", colour=SOFT)
    if series.drawn:
        _limits(drawing, series, (x, y), step)
    for row, _ in series.since:
        _changed(drawing, series, row, x(row) - step / 2, (top, bottom))
    drawing.path([(x(row), y(float(series.found_share[row]))) for row in np.flatnonzero(known).tolist()], width=0.2, colour=SOFT)  # fmt: skip
    for row in np.flatnonzero(known).tolist():
        _month_sign(drawing, series, row, (x(row), y(float(series.found_share[row]))))
    for row in range(len(series.months)):
        n = int(series.found_n[row])
        drawing.word(
            (x(row), height - 4.6), str(int(series.found_count[row])) if n else "·", 6.5, anchor="middle", colour=INK
        )
        drawing.word((x(row), height - 1.4), str(n), 6.5, anchor="middle", colour=SOFT)
    drawing.word((_LEFT - 1.2, height - 4.6), say("report.chart.over"), 6.5, anchor="end", colour=INK)
    drawing.word((_LEFT - 1.2, height - 1.4), say("report.chart.of"), 6.5, anchor="end", colour=SOFT)
    return drawing.svg


def _highest(series: MonthSeries) -> float:
    known = series.found_n > 0
    if not known.any():
        return 1.0
    top = float(np.nanmax(np.concatenate([series.found_share[known], np.nan_to_num(series.upper[known])])))
    return min(max(math.ceil((top + 0.05) * 10.0) / 10.0, 0.4), 1.0)


def _limits(drawing: Drawing, series: MonthSeries, axes: tuple[Axis, Axis], step: float) -> None:
    x, y = axes
    rows = [row for row, _ in series.since]
    for begin, end in zip((0, *rows), (*rows, len(series.months)), strict=True):
        centre = float(series.centre[begin])
        if not math.isfinite(centre):
            continue
        drawing.line(((x(begin) - step / 2 if begin else _LEFT, y(centre)), (x(end - 1) + step / 2, y(centre))), width=0.3, colour=SOFT, dash="1.6 1.0")  # fmt: skip
        for bound in (series.upper, series.lower):
            points: list[Point] = []
            for row in (begin + np.flatnonzero(~np.isnan(bound[begin:end]))).tolist():
                level = y(float(bound[row]))
                points += [(x(row) - step / 2, level), (x(row) + step / 2, level)]
            drawing.path(points, width=0.3, colour=SOFT)
    if not series.limited:
        return
    row = int(np.flatnonzero(series.found_n > 0)[-1])
    named = [
        (float(series.upper[row]), "report.chart.upper"),
        (float(series.centre[row]), "report.chart.mean"),
        (float(series.lower[row]), "report.chart.lower"),
    ]
    at = -10.0
    for value, key in named:
        at = max(y(value) + 0.9, at + 3.2)
        drawing.word((x(len(series.months) - 1) + step / 2 + 1.4, at), say(key, share=percent(value)), 7, colour=SOFT)


def _changed(drawing: Drawing, series: MonthSeries, row: int, x: float, ends: tuple[float, float]) -> None:
    """Mark where another limit set begins to judge."""
    top, bottom = ends
    drawing.line(((x, top), (x, bottom)), width=0.35, colour=INK, dash="0.5 0.8")
    late = row > len(series.months) // 2
    drawing.word(
        (x - 0.8 if late else x + 0.8, top + 2.2), say("month.chart.mark"), 7, anchor="end" if late else "start"
    )


def _month_sign(drawing: Drawing, series: MonthSeries, row: int, at: Point) -> None:
    if series.above[row] or series.below[row]:
        drawing.diamond(at, 2.0, fill=INK)
    elif row == len(series.months) - 1:
        drawing.circle(at, 1.6, fill=INK)
    else:
        drawing.circle(at, 0.95, fill=PAPER, width=0.35)


def class_picture(lines: Sequence[ClassLine], stage: str, width: float = 88.0) -> str:
    """Draw the share over limit of each speed class: the month, and below it the twelve months before.

    Parameters
    ----------
    lines : sequence of ClassLine
        The speed classes, slowest first. [unitless]
    stage : str
        ``'found'`` or ``'left'``. [unitless]
    width : float
        Width. [mm]

    Returns
    -------
    str
        SVG.
    """
    row_height, top, first, last = 5.2, 5.0, 35.0, width - 12.0
    drawing = Drawing(width, top + row_height * len(lines) + 1.0)

    def x(share: float) -> float:
        return first + (last - first) * share

    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        drawing.line(((x(tick), top - 1.0), (x(tick), drawing.height)), width=0.15, colour=FAINT)
        drawing.word((x(tick), 3.0), percent(tick), 6.5, anchor="middle", colour=SOFT)
    for index, line in enumerate(lines):
        middle = top + row_height * (index + 0.5)
        here: Share = getattr(line, stage)
        before: Share = getattr(line, f"{stage}_before")
        drawing.word((0.0, middle + 0.9), line.name, 7)
        if before.known:
            drawing.line(((x(before.low), middle + 1.5), (x(before.high), middle + 1.5)), width=0.3, colour=SOFT)
            drawing.line(((x(before.share), middle + 0.5), (x(before.share), middle + 2.5)), width=0.5, colour=SOFT)
        if here.known:
            drawing.line(((x(here.low), middle - 1.0), (x(here.high), middle - 1.0)), width=0.4)
            sign = drawing.circle if stage == "found" else drawing.square
            sign((x(here.share), middle - 1.0), 1.2 if stage == "found" else 1.1, fill=INK)
        drawing.word((width, middle + 0.9), f"{here.count} / {here.n}" if here.known else DASH, 7, anchor="end")
    return drawing.svg
