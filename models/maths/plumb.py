"""Vertical shafts: the plumb worksheet with four wires, and the orbit of the runout.

Four wires hang around the shaft at north, south, east and west.  Half the
difference of opposite distances is how far the shaft is out of plumb, towards
the side with the smaller distance.  The same is read at each position of a
turn; the points lie on the orbit of the runout, around a centre that is itself
out of plumb.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from models.errors import InvalidValueError

CLOSURE_MM: Final = 0.0508
"""0.002 in: (N + S) − (E + W) must be smaller (US Bureau of Reclamation, FIST 2-1, p. 22)."""

RUNOUT_PER_L_OVER_D_MM: Final = 0.0508
PLUMB_PER_LENGTH: Final = 0.000025
"""Limits where the maker gives none: orbit diameter 0.002 in × L/D, centre 0.000025 × L.

US Bureau of Reclamation, Mechanical Overhaul Procedures (1991).
"""


@dataclass(frozen=True, slots=True)
class PlumbPoint:
    """Where the shaft stands at one position of the turn, + towards north and east."""

    north_mm: float
    east_mm: float
    closure_mm: float
    closes: bool


@dataclass(frozen=True, slots=True)
class Orbit:
    """The circle on which the points of a turn lie.

    ``scatter_mm`` is the largest distance of a point from the circle.
    """

    north_mm: float
    east_mm: float
    diameter_mm: float
    scatter_mm: float
    n: int

    @property
    def out_of_plumb_mm(self) -> float:
        """Distance of the centre of runout from plumb. [mm]."""
        return math.hypot(self.north_mm, self.east_mm)


def plumb_point(north: float, south: float, east: float, west: float, closure_mm: float = CLOSURE_MM) -> PlumbPoint:
    """Give where the shaft stands from its distances to four wires.

    Parameters
    ----------
    north, south, east, west : float
        Distance of the shaft to each wire. [mm]
    closure_mm : float
        (N + S) − (E + W) must be smaller than this. [mm]

    Returns
    -------
    PlumbPoint
        Half the differences, and the closure without its sign.

    References
    ----------
    US Bureau of Reclamation, FIST 2-1, p. 22 (Fig. 16).
    """
    closure = abs((north + south) - (east + west))
    return PlumbPoint((south - north) / 2.0, (west - east) / 2.0, closure, closure < closure_mm)


def orbit(points: Sequence[PlumbPoint]) -> Orbit:
    """Give the orbit of a turn.

    Parameters
    ----------
    points : sequence of PlumbPoint
        Three or more points at equal steps of one whole turn. [mm]

    Returns
    -------
    Orbit
        Centre: mean of the points; diameter: twice their mean distance from it.

    Raises
    ------
    InvalidValueError
        If there are fewer than three points.
    """
    if len(points) < 3:
        raise InvalidValueError(f"{len(points)} positions of the turn were read; at least 3 are needed.")
    north, east = np.array([p.north_mm for p in points]), np.array([p.east_mm for p in points])
    radii = np.hypot(north - north.mean(), east - east.mean())
    radius = float(radii.mean())
    scatter = float(np.abs(radii - radius).max())
    return Orbit(float(north.mean()), float(east.mean()), 2.0 * radius, scatter, len(points))


def runout_limit(length_mm: float, runner_diameter_mm: float) -> float:
    """Give the orbit diameter that is allowed where the maker gives none.

    Parameters
    ----------
    length_mm : float
        Thrust bearing to the plane of reading. [mm]
    runner_diameter_mm : float
        Diameter of the thrust runner. [mm]

    Returns
    -------
    float
        0.002 in × L/D. [mm]

    References
    ----------
    US Bureau of Reclamation, Mechanical Overhaul Procedures (1991).
    """
    if not runner_diameter_mm > 0:
        raise InvalidValueError("The diameter of the thrust runner must be above 0.")
    return RUNOUT_PER_L_OVER_D_MM * length_mm / runner_diameter_mm


def plumb_limit(length_mm: float) -> float:
    """Give how far the centre of runout may stand out of plumb where the maker gives no limit.

    Parameters
    ----------
    length_mm : float
        Thrust bearing to the plane of reading. [mm]

    Returns
    -------
    float
        0.000025 × L. [mm]

    References
    ----------
    US Bureau of Reclamation, Mechanical Overhaul Procedures (1991).
    """
    return PLUMB_PER_LENGTH * length_mm
