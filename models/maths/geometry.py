"""Shaft lines: where the movable centreline lies at any plane, and what a machine's own motion does to it.

y(x) = offset + angularity·x, x from the coupling centre towards the movable
machine.  A foot of the movable machine at x stands y(x) too high: its
correction is −y(x), + is shim in and − is shim out, + is a move to the right.
Where the stationary machine is moved instead, its centreline has to come to the
movable one: its foot at x (below 0) is corrected by +y(x), in the same signs.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.maths.limits import flex_angles
from models.values.job import FeetValues, Misalignment

FloatArray = NDArray[np.float64]


NOISE = 1e-12
"""In mm and mm/m: a thousandth of a millionth of what any dial shows."""


def deviation(measured: Misalignment, target: Misalignment) -> Misalignment:
    """Give measured − target, component by component: what is judged and what is corrected.

    Parameters
    ----------
    measured, target : Misalignment
        What was measured, and what is wanted while the machines are cold. [mm, mm/m]

    Returns
    -------
    Misalignment
        The deviation. [mm, mm/m]
    """
    pairs = zip(measured.as_tuple(), target.as_tuple(), strict=True)
    return Misalignment(*(a - b for a, b in pairs))


def without_noise(measured: Misalignment) -> Misalignment:
    """Give what was worked out of readings with zeros where they cancel, and not what the arithmetic leaves of them. [mm, mm/m]."""
    return Misalignment(*(0.0 if abs(value) < NOISE else value for value in measured.as_tuple()))


def line_at(components: FloatArray, x_mm: FloatArray) -> FloatArray:
    """Give the position of the movable centreline at planes along the shaft.

    Parameters
    ----------
    components : (n, 4) float array
        Offset V, angularity V, offset H, angularity H. [mm, mm/m, mm, mm/m]
    x_mm : (p,) float array
        Planes, from the coupling centre, + towards the movable machine. [mm]

    Returns
    -------
    (n, p, 2) float array
        y, vertical and horizontal. [mm]
    """
    arm = np.asarray(x_mm, dtype=np.float64)[None, :, None] / 1000.0
    return np.asarray(components[:, None, 0::2] + components[:, None, 1::2] * arm, dtype=np.float64)


def at_plane(misalignment: Misalignment, x_mm: float) -> Misalignment:
    """Give the same shaft line with its offset taken at another plane.

    Parameters
    ----------
    misalignment : Misalignment
        Offset at 0 and angularity. [mm, mm/m]
    x_mm : float
        Plane that becomes the new 0. [mm]

    Returns
    -------
    Misalignment
        Offset at that plane; the angularity is the same. [mm, mm/m]
    """
    m, arm = misalignment, x_mm / 1000.0
    return Misalignment(m.offset_v + m.angle_v * arm, m.angle_v, m.offset_h + m.angle_h * arm, m.angle_h)


def spacer_angles(misalignment: Misalignment, span_mm: float) -> tuple[float, float, float, float]:
    """Give the angles at the two flex planes of a spacer coupling.

    Parameters
    ----------
    misalignment : Misalignment
        At the coupling centre, midway between the flex planes. [mm, mm/m]
    span_mm : float
        Distance between the flex planes. [mm]

    Returns
    -------
    tuple of four float
        α V, β V, α H, β H: α at the stationary, β at the movable end. [mm/m]
    """
    a, b, c, d = (float(x) for x in flex_angles(np.array([misalignment.as_tuple()]), np.array([span_mm]))[0])
    return (a, b, c, d)


def from_spacer_angles(angles: tuple[float, float, float, float], span_mm: float) -> Misalignment:
    """Give the misalignment that has these angles at the flex planes; undoes :func:`spacer_angles`.

    Parameters
    ----------
    angles : tuple of four float
        α V, β V, α H, β H. [mm/m]
    span_mm : float
        Distance between the flex planes. [mm]

    Returns
    -------
    Misalignment
        At the coupling centre: angularity α + β, offset (α − β)·span/2. [mm, mm/m]
    """
    a, b, c, d = angles
    half = span_mm / 2000.0
    return Misalignment((a - b) * half, a + b, (c - d) * half, c + d)


def line_through(x_mm: FloatArray, y_mm: FloatArray) -> tuple[float, float]:
    """Lay a straight line through positions at two or more planes, by least squares.

    Parameters
    ----------
    x_mm : (p,) float array
        Planes, two of them different. [mm]
    y_mm : (p,) float array
        Position at each. [mm]

    Returns
    -------
    tuple of two float
        Position at the coupling centre and slope. [mm, mm/m]
    """
    x, y = np.asarray(x_mm, dtype=np.float64), np.asarray(y_mm, dtype=np.float64)
    slope = float((x - x.mean()) @ (y - y.mean()) / ((x - x.mean()) @ (x - x.mean())))
    return float(y.mean() - slope * x.mean()), 1000.0 * slope


def after_moves(
    found: Misalignment,
    *,
    movable: tuple[FloatArray, FloatArray, FloatArray] | None = None,
    stationary: tuple[FloatArray, FloatArray, FloatArray] | None = None,
) -> Misalignment:
    """Give the misalignment after one or both machines were moved.

    Parameters
    ----------
    found : Misalignment
        Before. [mm, mm/m]
    movable, stationary : tuple of three (r,) float arrays, or None
        Planes of a machine's rows of feet, the shim put in (+) or taken out (−) at each row, and its move to the right
        (+); ``None`` where the machine stayed. [mm]

    Returns
    -------
    Misalignment
        After: what the movable machine moved is added, what the stationary one moved is taken off. [mm, mm/m]
    """
    total = np.array(found.as_tuple())
    for sign, moved in ((1.0, movable), (-1.0, stationary)):
        if moved is not None:
            x, vertical, horizontal = moved
            total += sign * np.array([*line_through(x, vertical), *line_through(x, horizontal)])
    return Misalignment(*(float(value) for value in total))


def per_foot(rows_mm: FloatArray) -> FeetValues:
    """Give one value a foot from one a row: left and right foot of a row get the same.

    Parameters
    ----------
    rows_mm : (r,) float array
        Value of each row, from the coupling. [mm]

    Returns
    -------
    FeetValues
        Row by row, left before right. [mm]
    """
    return FeetValues(tuple(float(value) + 0.0 for value in rows_mm for _ in "LR"))
