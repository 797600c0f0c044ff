"""From dials to misalignment: rim and face, two rims (reverse indicator), two faces.

x runs along the stationary shaft towards the movable machine, 0 at the coupling
centre; y is movable minus stationary centreline.  A dial reads + when its
plunger is pushed in.

* Rim, bracket on the stationary shaft: the movable rim stands y too high, so
  the plunger is pushed in by y at the top; the vertical part of the sweep is +y.
  Bracket on the movable shaft: −y.  Top to bottom a dial shows twice that.
* Face, read on the front of a hub (the side towards the other hub): the gap at
  the bottom is wider than at the top by angularity × swept diameter, whichever
  shaft carries the bracket; the vertical part of the sweep is + half of that.
  The back of the hub reverses the sign.  A face reading is not halved.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from models.errors import InvalidValueError
from models.maths.clock import check_return
from models.maths.readings import Finding, SineFit, Sweep, fit_sine
from models.maths.sag import NO_SAG, Sag
from models.maths.uncertainty import InputUncertainty, propagate
from models.sentences.told import Told
from models.values.job import Misalignment

FloatArray = NDArray[np.float64]


class Carrier(StrEnum):
    """The shaft to which the bracket is clamped; the dial runs on the other one."""

    STATIONARY = "stationary shaft"
    MOVABLE = "movable shaft"


class HubSide(StrEnum):
    """The side of a hub on which a face dial runs."""

    FRONT = "front of the hub"
    BACK = "back of the hub"


@dataclass(frozen=True, slots=True)
class RimDial:
    """A dial on a rim: its sweep, the plane it runs in and which shaft carries it.

    ``plane_mm`` is the distance of the plunger from the coupling centre, +
    towards the movable machine.
    """

    sweep: Sweep
    plane_mm: float
    carried_by: Carrier
    sag: Sag = NO_SAG


@dataclass(frozen=True, slots=True)
class FaceDial:
    """A dial on a face: its sweep, the diameter it runs on and the side of the hub.

    ``diameter_mm`` is twice the distance of the plunger from the shaft's axis,
    not the diameter of the hub.  ``sag`` is how the bracket's hanging shows on
    this dial (as a roll-over on the face shows it), not its sag on a rim.
    """

    sweep: Sweep
    diameter_mm: float
    side: HubSide = HubSide.FRONT
    sag: Sag = NO_SAG


@dataclass(frozen=True, slots=True)
class Measured:
    """A misalignment as it comes from readings, with its covariance.

    ``covariance`` (4, 4) has the order of the four components; ``None`` where
    ``reason`` says why.  ``fits`` holds the sine of each sweep in the order in
    which the dials were given, ``findings`` what is wrong with them (sweep, finding).
    """

    misalignment: Misalignment
    covariance: FloatArray | None
    fits: tuple[SineFit, ...]
    findings: tuple[tuple[int, Finding], ...]
    reason: str = ""

    def standard_errors(self) -> tuple[float, float, float, float] | None:
        """Give the standard error of each component, ``None`` where there is no covariance."""
        if self.covariance is None:
            return None
        a, b, c, d = (float(x) for x in np.sqrt(np.maximum(np.diag(self.covariance), 0.0)))
        return (a, b, c, d)


def rim_and_face(rim: RimDial, face: FaceDial, inputs: InputUncertainty | None = None) -> Measured:
    """Give the misalignment from a dial on a rim and one on a face.

    Parameters
    ----------
    rim : RimDial
        Gives the offset in its plane. [mm]
    face : FaceDial
        Gives the angularity. [mm]
    inputs : InputUncertainty or None
        Uncertainty of readings and distances; ``None`` tells the noise from the residuals. [mm]

    Returns
    -------
    Measured
        Misalignment at the coupling centre.

    References
    ----------
    Formula for face and rim alignment calculation, fdocuments.us; McMillan, Rotating Machinery, pp. 134 and 153 of the
    digital copy (eqs. 8.3, 8.4).  The sign of the stationary bracket is derived.
    """
    given = inputs or InputUncertainty()
    diameter = _above_zero(face.diameter_mm, "told.dials.diameter")
    turn = 1.0 if face.side is HubSide.FRONT else -1.0
    sense = _sense(rim)

    def solve(z: FloatArray) -> FloatArray:
        # z: rim V, rim H, rim sag, face V, face H, face sag, plane, diameter
        angle = turn * 2000.0 * np.array([z[3] - z[5], z[4]]) / z[7]
        at_plane = sense * np.array([z[0] - z[2], z[1]])
        offset = at_plane - angle * z[6] / 1000.0
        return np.array([offset[0], angle[0], offset[1], angle[1]])

    return _measured(
        solve, [(rim.sweep, rim.sag), (face.sweep, face.sag)], [rim.plane_mm, diameter],
        [given.distance_mm, given.diameter_mm], given.reading_mm,
    )  # fmt: skip


def two_rims(first: RimDial, second: RimDial, inputs: InputUncertainty | None = None) -> Measured:
    """Give the misalignment from dials on rims in two planes.

    With one bracket on each shaft this is the reverse-indicator method.

    Parameters
    ----------
    first, second : RimDial
        Each gives the offset in its plane. [mm]
    inputs : InputUncertainty or None
        Uncertainty of readings and distances; ``None`` tells the noise from the residuals. [mm]

    Returns
    -------
    Measured
        Misalignment at the coupling centre.

    Raises
    ------
    InvalidValueError
        If both dials run in the same plane.

    References
    ----------
    McMillan, Rotating Machinery, p. 176 of the digital copy (eqs. 9.1, 9.2); Bloch & Geitner, Machinery Component
    Maintenance and Repair, p. 203.
    """
    given = inputs or InputUncertainty()
    if abs(second.plane_mm - first.plane_mm) < 1.0:
        raise InvalidValueError(Told("told.dials.one_plane"), remedy=Told("told.dials.one_plane.remedy"))
    senses = (_sense(first), _sense(second))

    def solve(z: FloatArray) -> FloatArray:
        # z: first V, H, sag, second V, H, sag, first plane, second plane
        one = senses[0] * np.array([z[0] - z[2], z[1]])
        two = senses[1] * np.array([z[3] - z[5], z[4]])
        slope = (two - one) / (z[7] - z[6])
        offset = one - slope * z[6]
        return np.array([offset[0], 1000.0 * slope[0], offset[1], 1000.0 * slope[1]])

    return _measured(
        solve, [(first.sweep, first.sag), (second.sweep, second.sag)], [first.plane_mm, second.plane_mm],
        [given.distance_mm, given.distance_mm], given.reading_mm,
    )  # fmt: skip


def two_faces(
    stationary_end: FaceDial, movable_end: FaceDial, span_mm: float, inputs: InputUncertainty | None = None
) -> Measured:
    """Give the misalignment from the gap at either end of a spacer.

    Parameters
    ----------
    stationary_end : FaceDial
        Between the stationary hub and the spacer. [mm]
    movable_end : FaceDial
        Between the spacer and the movable hub. [mm]
    span_mm : float
        Distance between the flex planes, the coupling centre midway. [mm]
    inputs : InputUncertainty or None
        Uncertainty of readings and distances; ``None`` tells the noise from the residuals. [mm]

    Returns
    -------
    Measured
        Misalignment at the coupling centre.

    Notes
    -----
    The gaps are the angles α and β at the two flex planes: angularity α + β,
    offset (α − β)·span/2.  With two dials on each face, 180° apart, axial float
    drops out: see :func:`cancel_float`.

    References
    ----------
    Bloch & Geitner, Machinery Component Maintenance and Repair, p. 212; the angles are derived (CV-26).
    """
    given = inputs or InputUncertainty()
    span = _above_zero(span_mm, "told.distance.span")
    ends = (stationary_end, movable_end)
    diameters = [_above_zero(end.diameter_mm, "told.dials.diameter") for end in ends]
    turns = [1.0 if end.side is HubSide.FRONT else -1.0 for end in ends]

    def solve(z: FloatArray) -> FloatArray:
        # z: stationary end V, H, sag, movable end V, H, sag, both diameters, span
        alpha = turns[0] * 2.0 * np.array([z[0] - z[2], z[1]]) / z[6]
        beta = turns[1] * 2.0 * np.array([z[3] - z[5], z[4]]) / z[7]
        offset, slope = (alpha - beta) * z[8] / 2.0, alpha + beta
        return np.array([offset[0], 1000.0 * slope[0], offset[1], 1000.0 * slope[1]])

    return _measured(
        solve, [(end.sweep, end.sag) for end in ends], [*diameters, span],
        [given.diameter_mm, given.diameter_mm, given.distance_mm], given.reading_mm,
    )  # fmt: skip


def cancel_float(first: Sweep, second: Sweep) -> Sweep:
    """Take axial float out of a face sweep by a second dial opposite to the first.

    Parameters
    ----------
    first : Sweep
        Readings of the first dial at its own positions. [mm]
    second : Sweep
        Readings of the dial 180° away, taken at the same moments, at *its* positions. [mm]

    Returns
    -------
    Sweep
        Half the difference of the two, at the positions of the first. [mm]

    Raises
    ------
    InvalidValueError
        If the second dial did not stand opposite at every reading.

    References
    ----------
    Bloch & Geitner, Machinery Component Maintenance and Repair, p. 212.
    """
    opposite = len(first.angles_deg) == len(second.angles_deg) and all(
        abs((b - a) % 360.0 - 180.0) < 1.0 for a, b in zip(first.angles_deg, second.angles_deg, strict=True)
    )
    if not opposite or first.seen_from is not second.seen_from:
        raise InvalidValueError(Told("told.dials.opposite"))
    halves = tuple((a - b) / 2.0 for a, b in zip(first.readings_mm, second.readings_mm, strict=True))
    return Sweep(first.angles_deg, halves, first.seen_from)


def expected_rim(
    misalignment: Misalignment, angles_deg: FloatArray, plane_mm: float, carried_by: Carrier, sag: Sag = NO_SAG
) -> FloatArray:
    """Give what a rim dial will show, zeroed at the first position.

    Parameters
    ----------
    misalignment : Misalignment
        Misalignment, or the target that the dials are to show. [mm, mm/m]
    angles_deg : (k,) float array
        Positions, clockwise from 12 o'clock as seen from the movable machine. [°]
    plane_mm : float
        Plane of the dial. [mm]
    carried_by : Carrier
        Shaft that carries the bracket. [unitless]
    sag : Sag
        Sag of the bracket. [mm]

    Returns
    -------
    (k,) float array
        Readings. [mm]
    """
    sense = 1.0 if carried_by is Carrier.STATIONARY else -1.0
    vertical = sense * (misalignment.offset_v + misalignment.angle_v * plane_mm / 1000.0)
    horizontal = sense * (misalignment.offset_h + misalignment.angle_h * plane_mm / 1000.0)
    return _sine(vertical + sag.true_mm, horizontal, angles_deg)


def expected_face(
    angle_v: float, angle_h: float, angles_deg: FloatArray, diameter_mm: float, side: HubSide = HubSide.FRONT
) -> FloatArray:
    """Give what a face dial will show, zeroed at the first position.

    Parameters
    ----------
    angle_v, angle_h : float
        Angularity, or the angle at one flex plane. [mm/m]
    angles_deg : (k,) float array
        Positions, clockwise from 12 o'clock as seen from the movable machine. [°]
    diameter_mm : float
        Swept diameter. [mm]
    side : HubSide
        Side of the hub that is read. [unitless]

    Returns
    -------
    (k,) float array
        Readings. [mm]
    """
    half = (1.0 if side is HubSide.FRONT else -1.0) * diameter_mm / 2000.0
    return _sine(half * angle_v, half * angle_h, angles_deg)


def _sine(vertical: float, horizontal: float, angles_deg: FloatArray) -> FloatArray:
    radians = np.deg2rad(np.asarray(angles_deg, dtype=np.float64))
    readings = vertical * np.cos(radians) + horizontal * np.sin(radians)
    return np.asarray(readings - readings[0], dtype=np.float64)


def _sense(rim: RimDial) -> float:
    return 1.0 if rim.carried_by is Carrier.STATIONARY else -1.0


def _above_zero(value: float, key: str) -> float:
    if not (math.isfinite(value) and value > 0):
        raise InvalidValueError(Told(key))
    return value


def _measured(
    solve: Callable[[FloatArray], FloatArray],
    sweeps: list[tuple[Sweep, Sag]],
    distances: list[float],
    distance_uncertainties: list[float],
    noise_mm: float | None,
) -> Measured:
    """Fit both sweeps, solve, and carry the uncertainties of parts, sags and distances through."""
    fits = tuple(fit_sine(sweep, noise_mm) for sweep, _ in sweeps)
    values, blocks = [], []
    for fit, (_, sag) in zip(fits, sweeps, strict=True):
        values += [fit.vertical_mm, fit.horizontal_mm, sag.true_mm]
        block = np.zeros((3, 3))
        block[:2, :2] = fit.unit_covariance * (fit.noise_mm or 0.0) ** 2
        block[2, 2] = sag.true_uncertainty_mm**2
        blocks.append(block)
    covariance = np.diag(np.square([0.0] * 6 + distance_uncertainties))
    covariance[:3, :3], covariance[3:6, 3:6] = blocks
    out, spread = propagate(solve, np.array([*values, *distances]), covariance)
    known = all(fit.noise_mm is not None for fit in fits)
    findings = [(place, finding) for place, fit in enumerate(fits) for finding in fit.findings]
    for place, (sweep, _) in enumerate(sweeps):
        if sweep.returned_mm is not None and not check_return(sweep.readings_mm[0], sweep.returned_mm).agrees:
            findings.append((place, Finding.NOT_CLOSED))
    return Measured(
        Misalignment(*(float(x) for x in out)),
        spread if known else None,
        fits,
        tuple(findings),
        "" if known else Told("told.dials.no_residual"),
    )
