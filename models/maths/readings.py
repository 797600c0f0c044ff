"""Readings around the shaft: a sine through three or more of them, and how far it can be trusted.

A reading r at the angle θ from 12 o'clock follows r = a + b·cos θ + c·sin θ:
b is the vertical and c the horizontal part of what is read.  At known angles
that is linear, so three readings are enough and more give a residual.  A short
sweep leaves the parts poorly known; the standard error says by how much.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.errors import InvalidValueError
from models.maths.normal import student_tail
from models.sentences.told import SENTENCES, Told

FloatArray = NDArray[np.float64]

REFUSED_BELOW_DEG: Final = 60.0
POOR_BELOW_DEG: Final = 120.0
FAIR_BELOW_DEG: Final = 180.0
"""Sweeps below these arcs are refused, called too small to trust, and called short (this project's own bounds)."""

MIN_APART_DEG: Final = 1.0
"""Positions nearer than this are the same position, read again (a bound of sense, no source)."""

OUTLIER_RISK: Final = 0.05
OUTLIER_MIN_READINGS: Final = 6
INFLATION_WORTH_A_WORD: Final = 4.0
POOR_FIT: Final = 3.0


class SeenFrom(StrEnum):
    """From where the clock is seen: which side is 3 o'clock."""

    MOVABLE = "movable machine"
    STATIONARY = "stationary machine"


class Finding(StrEnum):
    """What can be wrong with a sweep, each as a plain sentence."""

    SHORT_ARC = SENTENCES["told.finding.short_arc"]
    SMALL_ARC = SENTENCES["told.finding.small_arc"]
    POORLY_SPREAD = SENTENCES["told.finding.poorly_spread"]
    OUTLIER = SENTENCES["told.finding.outlier"]
    POOR_FIT = SENTENCES["told.finding.poor_fit"]
    FEW_FOR_NOISE = SENTENCES["told.finding.few_for_noise"]
    NOT_CLOSED = SENTENCES["told.finding.not_closed"]

    @property
    def told(self) -> Told:
        """Give it with its key."""
        return Told(f"told.finding.{self.name.lower()}")


@dataclass(frozen=True, slots=True)
class Sweep:
    """Readings of one dial or sensor at known angles.

    ``angles_deg`` run clockwise from 12 o'clock for someone who stands at
    ``seen_from`` and looks towards the other machine.  A reading is + when the
    plunger is pushed in.  ``returned_mm`` is the reading back at the first
    position after the turn, if it was noted; it is no part of the fit.
    """

    angles_deg: tuple[float, ...]
    readings_mm: tuple[float, ...]
    seen_from: SeenFrom = SeenFrom.MOVABLE
    returned_mm: float | None = None

    def __post_init__(self) -> None:
        """Refuse readings without angles, and what is not a finite number."""
        if len(self.angles_deg) != len(self.readings_mm):
            raise InvalidValueError(Told("told.reading.angle"))
        if not all(math.isfinite(x) for x in (*self.angles_deg, *self.readings_mm, self.returned_mm or 0.0)):
            raise InvalidValueError(Told("told.reading.finite"))


@dataclass(frozen=True, slots=True)
class SineFit:
    """A sine through the readings of a sweep.

    ``vertical_mm`` and ``horizontal_mm`` are half the difference of opposite
    readings, + where the plunger is pushed in at the top and at the right hand
    of someone at the movable machine.  ``unit_covariance`` (2, 2) is theirs for
    readings of standard deviation 1.  ``noise_mm`` is the standard deviation of
    one reading: as it was given, else from the residuals, else ``None``.
    ``inflation`` compares the worst direction with as many readings spread over
    a full turn.  ``outlier`` is the place of a reading that does not fit.
    """

    mean_mm: float
    vertical_mm: float
    horizontal_mm: float
    unit_covariance: FloatArray
    residuals_mm: tuple[float, ...]
    n: int
    df: int
    arc_deg: float
    inflation: float
    residual_sd_mm: float | None
    noise_mm: float | None
    noise_was_given: bool
    outlier: int | None
    findings: tuple[Finding, ...]

    @property
    def residual_rms_mm(self) -> float:
        """Root mean square of the residuals. [mm]."""
        return math.sqrt(sum(x * x for x in self.residuals_mm) / self.n)

    @property
    def vertical_se_mm(self) -> float | None:
        """Standard error of the vertical part, ``None`` where the noise is not known. [mm]."""
        return None if self.noise_mm is None else self.noise_mm * math.sqrt(self.unit_covariance[0, 0])

    @property
    def horizontal_se_mm(self) -> float | None:
        """Standard error of the horizontal part, ``None`` where the noise is not known. [mm]."""
        return None if self.noise_mm is None else self.noise_mm * math.sqrt(self.unit_covariance[1, 1])


def clock_sweep(top: float, right: float, bottom: float, left: float, seen_from: SeenFrom = SeenFrom.MOVABLE) -> Sweep:
    """Make a sweep of the four clock readings.

    Parameters
    ----------
    top, right, bottom, left : float
        Readings at 12, 3, 6 and 9 o'clock. [mm]
    seen_from : SeenFrom
        From where 3 o'clock is the right hand. [unitless]

    Returns
    -------
    Sweep
        Four readings at 0, 90, 180 and 270°.
    """
    return Sweep((0.0, 90.0, 180.0, 270.0), (top, right, bottom, left), seen_from)


def sweep_arc(angles_deg: tuple[float, ...]) -> float:
    """Give the smallest arc that holds all positions of a sweep.

    Parameters
    ----------
    angles_deg : tuple of float
        Positions; a full turn more or less is the same position. [°]

    Returns
    -------
    float
        360° less the largest gap; the four clock positions cover 270°. [°]
    """
    ordered = np.sort(np.mod(np.asarray(angles_deg, dtype=np.float64), 360.0))
    if ordered.size == 0:
        return 0.0
    gaps = np.diff(np.append(ordered, ordered[0] + 360.0))
    return float(360.0 - gaps.max())


def fit_sine(sweep: Sweep, noise_mm: float | None = None) -> SineFit:
    """Lay a sine through the readings of a sweep by linear least squares.

    Parameters
    ----------
    sweep : Sweep
        Three or more readings over 60° or more. [mm]
    noise_mm : float or None
        Standard deviation of one reading, where it is known from repeats or from the instrument. [mm]

    Returns
    -------
    SineFit
        Both parts with what is needed for their standard errors, and findings.

    Raises
    ------
    InvalidValueError
        If there are fewer than three positions, or the arc is below 60°.

    Notes
    -----
    The design matrix [1, cos θ, sin θ] is solved by QR; the covariance for unit
    noise is (RᵀR)⁻¹ and the noise from the residuals is √(RSS / (n − 3)).  The
    four clock readings leave one residual, which is the check T + B = L + R; a
    standard deviation from it alone is nearly worthless, so a known one is
    preferred.  From six readings on, the one that fits worst is tested by its
    studentised residual at a risk of 5 % for the whole sweep; it is named, never left out.
    """
    angles = np.mod(np.asarray(sweep.angles_deg, dtype=np.float64), 360.0)
    readings = np.asarray(sweep.readings_mm, dtype=np.float64)
    arc = _accepted_arc(sweep, angles)
    if noise_mm is not None and not (math.isfinite(noise_mm) and noise_mm > 0):
        raise InvalidValueError(Told("told.reading.sd"))
    radians = np.deg2rad(angles)
    design = np.stack([np.ones_like(radians), np.cos(radians), np.sin(radians)], axis=1)
    q, r = np.linalg.qr(design)
    inverse = np.linalg.inv(r)
    mean, vertical, horizontal = (float(x) for x in inverse @ (q.T @ readings))
    residuals = readings - design @ np.array([mean, vertical, horizontal])
    df = readings.size - 3
    own = math.sqrt(float(residuals @ residuals) / df) if df else None
    unit = (inverse @ inverse.T)[1:, 1:]
    if sweep.seen_from is SeenFrom.STATIONARY:
        # Someone at the other end sees left and right exchanged: the clock runs the other way.
        horizontal = -horizontal
        unit = unit * np.array([[1.0, -1.0], [-1.0, 1.0]])
    inflation = math.sqrt(float(np.linalg.eigvalsh(unit)[-1]) * readings.size / 2.0)
    outlier = _outlier(residuals, (q * q).sum(axis=1), float(np.abs(readings).max(initial=0.0)))
    findings = _findings(arc, inflation, outlier, own=own, given=noise_mm, df=df)
    return SineFit(
        mean_mm=mean,
        vertical_mm=vertical,
        horizontal_mm=horizontal,
        unit_covariance=unit,
        residuals_mm=tuple(float(x) for x in residuals),
        n=int(readings.size),
        df=df,
        arc_deg=arc,
        inflation=inflation,
        residual_sd_mm=own,
        noise_mm=noise_mm if noise_mm is not None else own,
        noise_was_given=noise_mm is not None,
        outlier=outlier,
        findings=findings,
    )


def _accepted_arc(sweep: Sweep, angles: FloatArray) -> float:
    ordered = np.sort(angles)
    apart = np.diff(np.append(ordered, ordered[:1] + 360.0))
    positions = int((apart >= MIN_APART_DEG).sum())
    if positions < 3:
        raise InvalidValueError(
            Told("told.reading.positions", n=positions), remedy=Told("told.reading.positions.remedy")
        )
    arc = sweep_arc(sweep.angles_deg)
    if arc < REFUSED_BELOW_DEG:
        raise InvalidValueError(
            Told("told.reading.arc", arc=arc, least=REFUSED_BELOW_DEG), remedy=Told("told.reading.arc.remedy")
        )
    return arc


def _findings(
    arc: float, inflation: float, outlier: int | None, *, own: float | None, given: float | None, df: int
) -> tuple[Finding, ...]:
    found = []
    if arc < POOR_BELOW_DEG:
        found.append(Finding.SMALL_ARC)
    elif arc < FAIR_BELOW_DEG:
        found.append(Finding.SHORT_ARC)
    if arc >= POOR_BELOW_DEG and inflation > INFLATION_WORTH_A_WORD:
        found.append(Finding.POORLY_SPREAD)
    if outlier is not None:
        found.append(Finding.OUTLIER)
    if own is not None and given is not None and own > POOR_FIT * given:
        found.append(Finding.POOR_FIT)
    if given is None and df < 3:
        found.append(Finding.FEW_FOR_NOISE)
    return tuple(found)


def _outlier(residuals: FloatArray, leverage: FloatArray, scale: float) -> int | None:
    df = residuals.size - 3
    rss = float(residuals @ residuals)
    if residuals.size < OUTLIER_MIN_READINGS or math.sqrt(rss) <= 1e-12 * scale:
        return None
    squared = residuals**2 / (1.0 - leverage)
    worst = int(np.argmax(squared))
    without = max(rss - float(squared[worst]), 0.0) / (df - 1)
    t = math.sqrt(float(squared[worst]) / without) if without > 0 else math.inf
    return worst if 2.0 * residuals.size * student_tail(t, df - 1) < OUTLIER_RISK else None
