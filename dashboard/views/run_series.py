"""A quantity of one machine over time, as one line per run.

A run leads from what a visit left to what the next visit found; between the two
readings of one visit there is no line, because somebody moved the machine.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan
from typing import Any

import numpy as np

from models.history.columns import BoolArray, FloatArray

Times = np.ndarray[tuple[int], np.dtype[Any]]


@dataclass(frozen=True, slots=True)
class RunSeries:
    """One quantity: a point a reading, a solid line a run, a dotted line where one end of a run is not known.

    ``times`` is (n,), the site's clock.  ``found`` and ``left`` are (n,), NaN where
    not measured.  The lines are (k,), three numbers a line: begin, end, NaN.
    """

    times: Times
    found: FloatArray
    left: FloatArray
    solid_times: Times
    solid: FloatArray
    dotted_times: Times
    dotted: FloatArray

    @property
    def empty(self) -> bool:
        """Tell whether nothing was measured at all."""
        return bool(np.isnan(self.found).all() and np.isnan(self.left).all())


def run_series(times: Times, found: FloatArray, left: FloatArray, joined: BoolArray) -> RunSeries:
    """Lay a quantity out as runs.

    Parameters
    ----------
    times : (n,) datetime64 array
        When each visit was, in order. [site's clock]
    found, left : (n,) float arrays
        What each visit found and left; NaN where not measured. [unit of the picture]
    joined : (n − 1,) bool array
        True where nothing was replaced between a visit and the next. [unitless]

    Returns
    -------
    RunSeries
        Points and lines.

    Notes
    -----
    A run with both ends measured is solid.  Where the end was not measured the line is
    dotted to the next thing that was; where the beginning was not measured it is dotted
    from what that visit found.  Neither is a measured drift.
    """
    solid: list[tuple[int, float, int, float]] = []
    dotted: list[tuple[int, float, int, float]] = []
    # Plain numbers: a machine has some dozen visits, and numpy takes longer to hand one out than to look at it.
    before, after = left.tolist(), found.tolist()
    for start in np.flatnonzero(joined).tolist():
        begin, end = before[start], after[start + 1]
        if not isnan(begin) and not isnan(end):
            solid.append((start, begin, start + 1, end))
            continue
        first = after[start] if isnan(begin) else begin
        last = before[start + 1] if isnan(end) else end
        if not isnan(first) and not isnan(last):
            dotted.append((start, first, start + 1, last))
    return RunSeries(times, found, left, *_lines(times, solid), *_lines(times, dotted))


def _lines(times: Times, pieces: list[tuple[int, float, int, float]]) -> tuple[Times, FloatArray]:
    rows = np.array([[start, end, end] for start, _, end, _ in pieces], dtype=np.int64).reshape(-1)
    values = np.array([[begin, last, np.nan] for _, begin, _, last in pieces], dtype=np.float64).reshape(-1)
    return times[rows], values
