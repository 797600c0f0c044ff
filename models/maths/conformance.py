"""Conformance: how probable it is that the true deviation is within limit, and what a decision rule makes of it.

The true deviation is taken as normal around the one that was measured, with its
covariance (JCGM 106).  A machine is within when all that its limits judge is
within at the same time.  Under a guarded rule (ISO 14253-1) a verdict is given
only where the probability is high or low enough; between the guards it is
*undecided*.  Both documents are cited from memory: no copy was read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.errors import InvalidValueError
from models.maths.box import LEAST_ERROR
from models.maths.joint import joint_probability
from models.maths.resultant import resultant_probability, square_probability
from models.sentences.told import Told
from models.values.decision import DEFAULT_CONFIDENCE, Rule, Verdict
from models.values.job import Misalignment
from models.values.kinds import Coupling
from models.values.limits import Judged, LimitsGiven

FloatArray = NDArray[np.float64]

WELL_ENOUGH: Final = 1e-3
"""A probability with a larger error of its computation is not given: it is shown in tenths of a per cent."""

_CENTRE: Final = np.eye(4)[[0, 2, 1, 3]]
"""From the four components to the pairs (offset V, H) and (angularity V, H)."""


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that is judged: its limit, how large it was measured, and the probability that it is within."""

    judged: Judged
    place: str
    limit: float
    size: float
    probability: float


@dataclass(frozen=True, slots=True)
class Conformance:
    """The probability that everything judged is within limit at the same time.

    ``error`` is that of the computation.  ``probability`` is ``None`` where
    ``reason`` says why, also where its error is too large.  ``parts`` are what is judged, each by itself.
    """

    probability: float | None
    error: float
    parts: tuple[Part, ...]
    each_axis: bool
    reason: str = ""


def conformance(
    deviation: Misalignment,
    covariance: FloatArray | None,
    limits: LimitsGiven,
    coupling: Coupling = Coupling.SHORT,
    span_mm: float | None = None,
) -> Conformance:
    """Give the probability that the true deviation is within all limits.

    Parameters
    ----------
    deviation : Misalignment
        Measured − target. [mm, mm/m]
    covariance : (4, 4) float array or None
        Its covariance, in the order offset V, angularity V, offset H, angularity H. [mm, mm/m]
    limits : LimitsGiven
        Limits in force; soft foot is not judged here. [mm, mm/m]
    coupling : Coupling
        Kind of the coupling. [unitless]
    span_mm : float or None
        Distance between the flex planes of a spacer coupling. [mm]

    Returns
    -------
    Conformance
        Probability for all, and for each.

    Raises
    ------
    InvalidValueError
        If the covariance is none (not symmetric, or a negative variance), or limits of the centre and of
        the flex planes are to be judged together.

    Notes
    -----
    Vertical and horizontal, offset and angularity are treated with the covariance that they have: as a
    resultant over a circle, or each axis over a square; both pairs together by :mod:`models.maths.joint`.

    References
    ----------
    JCGM 106:2012 [from memory, no copy read].
    """
    pairs = _pairs(limits, coupling, span_mm)
    if not pairs:
        return Conformance(None, 0.0, (), limits.each_axis, Told("told.unsure.no_limits"))
    if covariance is None:
        return Conformance(None, 0.0, (), limits.each_axis, Told("told.unsure.uncertainty"))
    turn = np.concatenate([matrix for _, _, _, matrix in pairs])
    mean, cov = turn @ np.array(deviation.as_tuple()), turn @ _checked(covariance) @ turn.T
    single = square_probability if limits.each_axis else resultant_probability
    parts = []
    for place, (judged, name, limit, _) in enumerate(pairs):
        at = slice(2 * place, 2 * place + 2)
        probability = float(single(mean[None, at], cov[None, at, at], np.array([limit]))[0])
        vertical, horizontal = np.abs(mean[at])
        size = max(vertical, horizontal) if limits.each_axis else math.hypot(vertical, horizontal)
        parts.append(Part(judged, name, limit, float(size), probability))
    if len(parts) == 1:
        return Conformance(parts[0].probability, LEAST_ERROR, tuple(parts), limits.each_axis)
    both = joint_probability(mean, cov, (parts[0].limit, parts[1].limit), each_axis=limits.each_axis)
    # Whatever goes together how, all is no likelier than its unlikeliest part, and no less likely than this sum: between them
    # it lies, so it is known that well at least, however hard the two are to compute together.
    alone = [part.probability for part in parts]
    low, high = max(sum(alone) - 1.0, 0.0), min(alone)
    value = min(max(both.value, low), high)
    error = max(LEAST_ERROR, min(max(both.error, abs(value - both.value)), max(value - low, high - value)))
    if error > WELL_ENOUGH:
        return Conformance(None, error, tuple(parts), limits.each_axis, Told("told.unsure.computed"))
    return Conformance(value, error, tuple(parts), limits.each_axis)


def decide(
    probability: float | None,
    ratio: float,
    rule: Rule = Rule.SIMPLE,
    confidence: float = DEFAULT_CONFIDENCE,
    error: float = 0.0,
) -> Verdict:
    """Give the verdict of a decision rule.

    Parameters
    ----------
    probability : float or None
        Conformance probability; ``None`` where no uncertainty is known. [unitless]
    ratio : float
        Limit ratio of the same deviation. [unitless]
    rule : Rule
        The site's rule. [unitless]
    confidence : float
        Probability that a guarded rule asks for, above one half. [unitless]
    error : float
        How far the probability may be off by its computation. [unitless]

    Returns
    -------
    Verdict
        Simple acceptance: within when the ratio is at most 1.  Guarded: within from the confidence upwards,
        over from one minus the confidence downwards where the ratio is above 1, else undecided; also undecided
        where nothing is known, or where the error of the probability leaves open on which side it lies.

    Raises
    ------
    InvalidValueError
        If the confidence is not above one half and below 1.
    """
    if not 0.5 < confidence < 1:
        raise InvalidValueError("The confidence of a decision rule lies between 50 % and 100 %.")
    if rule is Rule.SIMPLE:
        return Verdict.WITHIN if ratio <= 1 else Verdict.OVER
    if probability is None:
        return Verdict.UNDECIDED
    if probability - error >= confidence:
        return Verdict.WITHIN
    # An uncertainty far larger than the limit makes even a reading of 0 improbable to be within; that proves nothing.
    return Verdict.OVER if probability + error <= 1.0 - confidence and ratio > 1 else Verdict.UNDECIDED


def acceptance_radius(limit: float, uncertainty: float, confidence: float = DEFAULT_CONFIDENCE) -> float | None:
    """Give the largest resultant that a guarded rule still calls within.

    Parameters
    ----------
    limit : float
        Limit of the resultant. [as used]
    uncertainty : float
        Standard uncertainty of vertical and of horizontal, equal and independent. [as used]
    confidence : float
        Probability that the rule asks for. [unitless]

    Returns
    -------
    float or None
        Radius, smaller than the one-sided limit − k·u; ``None`` where even a reading of 0 is not sure enough. [as used]

    Raises
    ------
    InvalidValueError
        If limit or uncertainty is not above 0.
    """
    if not (limit > 0 and uncertainty > 0):
        raise InvalidValueError("Limit and uncertainty must be above 0.")
    covariance = np.eye(2)[None] * uncertainty**2

    def inside(radius: float) -> float:
        return float(resultant_probability(np.array([[radius, 0.0]]), covariance, np.array([limit]))[0])

    if inside(0.0) < confidence:
        return None
    low, high = 0.0, limit
    while high - low > 1e-12 * limit:
        middle = (low + high) / 2.0
        low, high = (middle, high) if inside(middle) >= confidence else (low, middle)
    return low


def _pairs(
    limits: LimitsGiven, coupling: Coupling, span_mm: float | None
) -> Sequence[tuple[Judged, str, float, FloatArray]]:
    """Give what is judged, its place, its limit, and the matrix from the four components to its V and H."""
    pairs: list[tuple[Judged, str, float, FloatArray]] = []
    if limits.offset_mm is not None:
        pairs.append((Judged.OFFSET, "coupling centre", limits.offset_mm, _CENTRE[:2]))
    if limits.angle_mm_m is not None:
        pairs.append((Judged.ANGULARITY, "coupling centre", limits.angle_mm_m, _CENTRE[2:]))
    if limits.flex_mm_m is None or coupling is not Coupling.SPACER:
        return pairs
    if pairs:
        raise InvalidValueError("A spacer coupling is judged at its flex planes or at its centre, not at both.")
    if span_mm is None or not span_mm > 0:
        raise InvalidValueError("A spacer coupling needs the span between its flex planes.")
    slope = 1000.0 / span_mm * _CENTRE[:2]
    half = _CENTRE[2:] / 2.0
    return [
        (Judged.FLEX_ANGLE, "stationary end", limits.flex_mm_m, slope + half),
        (Judged.FLEX_ANGLE, "movable end", limits.flex_mm_m, half - slope),
    ]


def _checked(covariance: FloatArray) -> FloatArray:
    given = np.asarray(covariance, dtype=np.float64)
    ok = given.shape == (4, 4) and bool(np.isfinite(given).all()) and bool(np.allclose(given, given.T))
    if not ok or np.linalg.eigvalsh(given)[0] < -1e-9 * max(float(np.trace(given)), 1e-300):
        raise InvalidValueError("A covariance of four components is a symmetric matrix without negative variances.")
    return given
