"""Judgement: which limits a set gives for a machine, and the limit ratio of a deviation.

The limit ratio is the largest size of the deviation ÷ limit over all that the set
judges; *within* when it is at most 1, *over* when it is more.  Numbers are
compared unrounded.  Deviation = measured − target.

A short flexible coupling is judged by offset and angularity at its centre; a
spacer coupling by the angle at each of its two flex planes.  Soft foot has a
limit and a ratio of its own: it is no misalignment of the shafts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.values.kinds import Coupling
from models.values.limits import Combine, Judged, LimitRow, LimitSet, LimitsGiven

FloatArray = NDArray[np.float64]

ORDER = (Judged.OFFSET, Judged.ANGULARITY, Judged.FLEX_ANGLE, Judged.SOFT_FOOT)
"""Order of the columns of a limits array."""


def row_limit(row: LimitRow, speed_rpm: float) -> float:
    """Give the limit of one row at a speed that the row covers.

    Parameters
    ----------
    row : LimitRow
        The row. [unitless]
    speed_rpm : float
        Running speed, the highest where it varies. [rpm]

    Returns
    -------
    float
        The limit. [mm or mm/m]
    """
    if row.value is not None:
        return row.value
    assert row.per_rpm is not None  # noqa: S101 - LimitRow refuses rows with neither
    return row.per_rpm / max(speed_rpm, row.floor_rpm)


def limits_for(limit_set: LimitSet, coupling: Coupling, speed_rpm: float | None) -> LimitsGiven:
    """Give the limits that a set holds for one machine.

    A row for the coupling itself comes before a row for any coupling; among
    several that fit, the first.  A row that depends on speed, or covers only
    some speeds, gives nothing for a machine of unknown speed.  A spacer
    coupling that has a flex-angle limit is not judged at its centre as well.

    Parameters
    ----------
    limit_set : LimitSet
        One version of a set. [unitless]
    coupling : Coupling
        Kind of the coupling. [unitless]
    speed_rpm : float or None
        Running speed, the highest where it varies. [rpm]

    Returns
    -------
    LimitsGiven
        Limits in mm and mm/m; ``None`` where the set says nothing.
    """
    given: dict[Judged, float] = {}
    each = False
    for judged in ORDER:
        row = _row_for(limit_set, judged, coupling, speed_rpm)
        if row is not None:
            given[judged] = row_limit(row, speed_rpm or 0.0)
            each = each or (row.combine is Combine.EACH and judged is not Judged.SOFT_FOOT)
    if coupling is Coupling.SPACER and Judged.FLEX_ANGLE in given:
        given.pop(Judged.OFFSET, None)
        given.pop(Judged.ANGULARITY, None)
    return LimitsGiven(
        given.get(Judged.OFFSET),
        given.get(Judged.ANGULARITY),
        given.get(Judged.FLEX_ANGLE),
        given.get(Judged.SOFT_FOOT),
        each,
    )


def _row_for(limit_set: LimitSet, judged: Judged, coupling: Coupling, speed_rpm: float | None) -> LimitRow | None:
    def covers(row: LimitRow) -> bool:
        if row.judged is not judged or row.coupling not in (None, coupling):
            return False
        if row.judged is Judged.FLEX_ANGLE and coupling is not Coupling.SPACER:
            return False
        open_ended = row.above_rpm <= 0 and row.upto_rpm is None
        if speed_rpm is None:
            return open_ended and row.value is not None
        return speed_rpm > row.above_rpm and (row.upto_rpm is None or speed_rpm <= row.upto_rpm)

    fitting = [row for row in limit_set.rows if covers(row)]
    return min(fitting, key=lambda row: row.coupling is None, default=None)  # min keeps the first of equals


def flex_angles(deviation: FloatArray, span_mm: FloatArray) -> FloatArray:
    """Give the angles at the two flex planes of a spacer coupling.

    With y(x) = offset + angularity·x and the planes at x = ±span/2, the spacer
    runs from the stationary centreline at −span/2 to the movable one at
    +span/2: α = y(+span/2) / span at the stationary end, β = −y(−span/2) / span
    at the movable end, and α + β is the angularity.

    Parameters
    ----------
    deviation : (n, 4) float array
        Offset V, angularity V, offset H, angularity H. [mm, mm/m, mm, mm/m]
    span_mm : (n,) float array
        Distance between the flex planes. [mm]

    Returns
    -------
    (n, 4) float array
        α V, β V, α H, β H. [mm/m]

    References
    ----------
    Derived; checked against CV-26 of the project's trade reference (tests/test_models_maths_limits.py).
    """
    half = deviation[:, 1::2] / 2.0
    slope = deviation[:, 0::2] / span_mm[:, None] * 1000.0
    alpha, beta = slope + half, half - slope
    return np.stack([alpha[:, 0], beta[:, 0], alpha[:, 1], beta[:, 1]], axis=1)


def limit_ratio(
    deviation: FloatArray, limits: FloatArray, each_axis: NDArray[np.bool_], span_mm: FloatArray
) -> FloatArray:
    """Give the limit ratio of each deviation.

    Parameters
    ----------
    deviation : (n, 4) float array
        Measured − target: offset V, angularity V, offset H, angularity H; NaN unknown. [mm, mm/m, mm, mm/m]
    limits : (n, 4) float array
        Limit of offset, angularity, flex angle, soft foot; NaN where not judged. [mm, mm/m, mm/m, mm]
    each_axis : (n,) bool array
        True where vertical and horizontal are judged each by itself, not as a resultant. [unitless]
    span_mm : (n,) float array
        Span between flex planes; NaN for a short coupling. [mm]

    Returns
    -------
    (n,) float array
        Limit ratio; NaN where nothing was measured or nothing is judged. [unitless]
    """
    offset = _size(deviation[:, 0], deviation[:, 2], each_axis) / limits[:, 0]
    angle = _size(deviation[:, 1], deviation[:, 3], each_axis) / limits[:, 1]
    # The larger of what is known, NaN where nothing is; column by column, which is far quicker than row by row.
    largest = np.fmax(offset, angle)
    rows = np.flatnonzero(~np.isnan(limits[:, 2]) & ~np.isnan(span_mm))
    if len(rows):
        angles, axes, flex = flex_angles(deviation[rows], span_mm[rows]), each_axis[rows], limits[rows, 2]
        near, far = (_size(angles[:, k], angles[:, k + 2], axes) / flex for k in (0, 1))
        largest[rows] = np.fmax(largest[rows], np.fmax(near, far))
    return np.asarray(largest, dtype=np.float64)


def _size(vertical: FloatArray, horizontal: FloatArray, each_axis: NDArray[np.bool_]) -> FloatArray:
    return np.where(each_axis, np.maximum(np.abs(vertical), np.abs(horizontal)), np.hypot(vertical, horizontal))
