"""Judgement: the limit ratio of deviations, for many at once.

The limit ratio is the largest size of the deviation ÷ limit over all that the set
judges; *within* when it is at most 1, *over* when it is more.  Numbers are
compared unrounded, but what is at the limit in decimals has a ratio of exactly 1
(:data:`models.maths.judged.AT_LIMIT`).  Deviation = measured − target.

A short flexible coupling is judged by offset and angularity at its centre; a
spacer coupling by the angle at each of its two flex planes.  Soft foot has a
limit and a ratio of its own: it is no misalignment of the shafts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.maths.judged import AT_LIMIT

FloatArray = NDArray[np.float64]


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
    largest[np.abs(largest - 1.0) <= AT_LIMIT] = 1.0
    return np.asarray(largest, dtype=np.float64)


def _size(vertical: FloatArray, horizontal: FloatArray, each_axis: NDArray[np.bool_]) -> FloatArray:
    return np.where(each_axis, np.maximum(np.abs(vertical), np.abs(horizontal)), np.hypot(vertical, horizontal))
