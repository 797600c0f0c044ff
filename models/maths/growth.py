"""Targets from thermal growth: cold misalignment wanted so that the machine is straight when hot.

A support grows by ΔL = α·L·ΔT, L from the underside of the foot to the shaft's
axis, ΔT the change of the mean temperature of casing and support (not of the
fluid).  Where the movable machine grows more than the stationary one it has to
stand lower while cold: the target is minus the difference of the growths.
A computed target is an estimate: check it hot.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from models.errors import InvalidValueError
from models.maths.geometry import line_through
from models.values.job import Misalignment

PER_K_OF_PER_F: Final = 1.8
"""1/°F is 1.8/°C."""


@dataclass(frozen=True, slots=True)
class Material:
    """A coefficient of thermal expansion with its source."""

    name: str
    alpha_per_k: float
    source: str

    def __post_init__(self) -> None:
        """Refuse what no structural material has."""
        if not 0 < self.alpha_per_k < 1e-4:
            raise InvalidValueError(f"{self.name}: a coefficient of expansion lies between 0 and 100 × 10⁻⁶ per °C.")


_CALLISTER: Final = "Callister, Fundamentals of Materials Science and Engineering, 3rd ed., Table B.6"

MATERIALS: Final[tuple[Material, ...]] = (
    Material("steel A36, 1020", 11.7e-6, _CALLISTER),
    Material("steel 1040", 11.3e-6, _CALLISTER),
    Material("grey cast iron G1800 to G4000", 11.4e-6, _CALLISTER),
    Material("ductile iron 60-40-18", 11.2e-6, _CALLISTER),
    Material("stainless steel 304", 17.2e-6, _CALLISTER),
    Material("stainless steel 316", 15.9e-6, _CALLISTER),
    Material("aluminium 6061", 23.6e-6, _CALLISTER),
    Material("cast aluminium 356.0", 21.5e-6, _CALLISTER),
    Material("bearing bronze C93200", 18.0e-6, _CALLISTER),
    Material(
        "grey cast iron, 0 to 100 °C",
        5.8e-6 * PER_K_OF_PER_F,
        "engineeringtoolbox.com/thermal-expansion-metals-d_859.html, 32 to 212 °F",
    ),
)
"""Mean coefficients near room temperature; cast iron differs by about 8 % between sources."""


@dataclass(frozen=True, slots=True)
class RowGrowth:
    """How far the shaft rises (and moves to the right) over one row of feet from cold to hot. [mm].

    ``right_mm`` is for what does not grow straight up; 0 where nothing is known.
    """

    x_mm: float
    up_mm: float
    right_mm: float = 0.0


def growth(alpha_per_k: float, length_mm: float, delta_k: float) -> float:
    """Give the growth of a support.

    Parameters
    ----------
    alpha_per_k : float
        Coefficient of expansion. [1/K]
    length_mm : float
        Underside of the foot to the shaft's axis. [mm]
    delta_k : float
        Change of the mean temperature of casing and support, hot − cold. [K]

    Returns
    -------
    float
        ΔL = α·L·ΔT. [mm]

    Raises
    ------
    InvalidValueError
        If the length is below 0 or something is no finite number.

    References
    ----------
    McMillan, Rotating Machinery, p. 146 of the digital copy (eq. 8.2).
    """
    if not all(math.isfinite(x) for x in (alpha_per_k, length_mm, delta_k)) or length_mm < 0:
        raise InvalidValueError("The height of a shaft over its feet is 0 or more, and all three are finite numbers.")
    return alpha_per_k * length_mm * delta_k


def target_from_growth(movable: Sequence[RowGrowth], stationary: Sequence[RowGrowth] = ()) -> Misalignment:
    """Give the cold target that the growth of both machines asks for.

    Parameters
    ----------
    movable, stationary : sequence of RowGrowth
        Growth at each row of feet; one row stands for a machine that grows evenly, none for one that does not
        grow. [mm]

    Returns
    -------
    Misalignment
        −(growth line of the movable − growth line of the stationary machine). [mm, mm/m]

    Notes
    -----
    With three or more rows the line is laid through them by least squares.  Derived; the sign is the one of
    McMillan, p. 181 of the digital copy (CV-16): what is wanted is entered as the position of the axis.
    """
    total = np.zeros(4)
    for sign, rows in ((-1.0, movable), (1.0, stationary)):
        for axis, values in ((0, [row.up_mm for row in rows]), (2, [row.right_mm for row in rows])):
            total[axis : axis + 2] += sign * np.array(_line([row.x_mm for row in rows], values))
    return Misalignment(*(float(value) + 0.0 for value in total))


def _line(x_mm: list[float], grown_mm: list[float]) -> tuple[float, float]:
    if not x_mm:
        return 0.0, 0.0
    if len(x_mm) == 1:
        return grown_mm[0], 0.0
    if max(x_mm) - min(x_mm) < 1.0:
        raise InvalidValueError("Rows of feet that grow differently must lie at different distances.")
    return line_through(np.array(x_mm), np.array(grown_mm))
