"""Uncertainty: from the noise of a reading, the sag and the distances to offset, angularity and feet.

First-order propagation as in the Guide to the expression of uncertainty in
measurement (JCGM 100): the covariance of what comes out is J·C·Jᵀ with J the
derivatives of what comes out by what goes in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.errors import InvalidValueError
from models.maths.normal import student_quantile
from models.sentences.told import Told

FloatArray = NDArray[np.float64]

MANY_DF: Final = 1000.0
"""Above this the first term of the expansion of a Student quantile in 1/df is exact to six digits."""

_STEP: Final = float(np.cbrt(np.finfo(np.float64).eps))


@dataclass(frozen=True, slots=True)
class InputUncertainty:
    """Standard uncertainties of what a person reads and measures, all in mm.

    ``reading_mm`` is that of one reading (``None``: tell it from the residuals
    of each sweep), ``distance_mm`` that of each distance along the shaft,
    ``diameter_mm`` that of a swept diameter.  A sag carries its own.
    """

    reading_mm: float | None = None
    distance_mm: float = 0.0
    diameter_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse negative uncertainties, and readings without any noise."""
        if self.reading_mm is not None and not 0 < self.reading_mm < math.inf:
            raise InvalidValueError(Told("told.reading.sd_unknown"))
        if not all(0 <= x < math.inf for x in (self.distance_mm, self.diameter_mm)):
            raise InvalidValueError(Told("told.reading.uncertainty"))


@dataclass(frozen=True, slots=True)
class Repeats:
    """Mean of repeated measurements with the covariance of one of them.

    ``covariance`` (4, 4) is that of a single measurement; that of the mean is n
    times smaller.  ``reason`` says why there is none.
    """

    mean: tuple[float, ...]
    covariance: FloatArray | None
    n: int
    df: int
    reason: str = ""


def reading_noise(repeat_sd_mm: float, resolution_mm: float) -> float:
    """Combine the repeatability of a reading with the step of its scale.

    Parameters
    ----------
    repeat_sd_mm : float
        Standard deviation of repeated readings. [mm]
    resolution_mm : float
        Smallest step that is read. [mm]

    Returns
    -------
    float
        √(sd² + step²/12): within a step every value is as likely as another. [mm]

    References
    ----------
    JCGM 100:2008, 4.3.7 and F.2.2.1 [numbers of the clauses from memory].
    """
    return math.hypot(repeat_sd_mm, resolution_mm / math.sqrt(12.0))


def propagate(
    function: Callable[[FloatArray], FloatArray], values: FloatArray, covariance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Carry a covariance through a function, to first order.

    Parameters
    ----------
    function : callable
        Takes (k,) and gives (m,). [as used]
    values : (k,) float array
        What goes in. [as used]
    covariance : (k, k) float array
        Its covariance; a value without any is held fixed. [as used]

    Returns
    -------
    tuple of (m,) and (m, m) float arrays
        What comes out, and its covariance. [as used]

    References
    ----------
    JCGM 100:2008, eq. (13) and 5.2; derivatives by central differences.
    """
    out = function(values)
    jacobian = np.zeros((out.size, values.size))
    for place, spread in enumerate(np.sqrt(np.diag(covariance))):
        if spread > 0:
            step = np.zeros(values.size)
            step[place] = _STEP * max(abs(float(values[place])), float(spread))
            high, low = values + step, values - step
            jacobian[:, place] = (function(high) - function(low)) / (high[place] - low[place])
    spread_out = jacobian @ covariance @ jacobian.T
    return out, (spread_out + spread_out.T) / 2.0


def pooled_sd(groups: Sequence[Sequence[float]]) -> tuple[float | None, int]:
    """Pool the standard deviation of repeats that were taken on different jobs.

    Parameters
    ----------
    groups : sequence of sequences of float
        Repeats of one quantity, one sequence a job; their means may differ. [as used]

    Returns
    -------
    tuple of float or None, and int
        Pooled standard deviation and its degrees of freedom; ``None`` where nothing was repeated. [as used]

    Notes
    -----
    Variances are pooled, each weighted by its degrees of freedom; averaging standard deviations would be too small.
    """
    squares, df = 0.0, 0
    for group in groups:
        if len(group) > 1:
            values = np.asarray(group, dtype=np.float64)
            squares += float(((values - values.mean()) ** 2).sum())
            df += values.size - 1
    return (math.sqrt(squares / df), df) if df else (None, 0)


def from_repeats(measured: FloatArray) -> Repeats:
    """Give the mean and the covariance of repeated measurements of one misalignment.

    Parameters
    ----------
    measured : (k, 4) float array
        Offset V, angularity V, offset H, angularity H of each repeat. [mm, mm/m, mm, mm/m]

    Returns
    -------
    Repeats
        Mean, and covariance of a single measurement with k − 1 degrees of freedom.

    Raises
    ------
    InvalidValueError
        If there is no measurement.
    """
    values = np.asarray(measured, dtype=np.float64)
    n = int(values.shape[0])
    if n == 0:
        raise InvalidValueError("There is no measurement.")
    mean = tuple(float(x) for x in values.mean(axis=0))
    if n == 1:
        return Repeats(mean, None, n, 0, "It was measured once; a standard deviation needs at least two measurements.")
    centred = values - values.mean(axis=0)
    return Repeats(mean, centred.T @ centred / (n - 1), n, n - 1)


def feet_uncertainty(
    misalignment: FloatArray, covariance: FloatArray, feet_mm: FloatArray, distance_mm: float = 0.0
) -> FloatArray:
    """Give the standard uncertainty of the position of the centreline at each foot.

    Parameters
    ----------
    misalignment : (4,) float array
        Offset V, angularity V, offset H, angularity H. [mm, mm/m, mm, mm/m]
    covariance : (4, 4) float array
        Its covariance. [mm, mm/m]
    feet_mm : (f,) float array
        Distance of each row of feet from the coupling centre. [mm]
    distance_mm : float
        Standard uncertainty of each of these distances. [mm]

    Returns
    -------
    (f, 2) float array
        Standard uncertainty, vertical and horizontal. [mm]

    Notes
    -----
    y = offset + angularity·x/1000, so the variance is that of the offset, plus (x/1000)² times that of the angularity,
    plus 2·x/1000 times their covariance, plus (angularity/1000)² times the variance of the distance.
    """
    arm = np.asarray(feet_mm, dtype=np.float64) / 1000.0
    result = np.empty((arm.size, 2))
    for axis, (offset, angle) in enumerate(((0, 1), (2, 3))):
        variance = (
            covariance[offset, offset] + 2.0 * arm * covariance[offset, angle] + arm**2 * covariance[angle, angle]
        )
        result[:, axis] = np.sqrt(np.maximum(variance + (misalignment[angle] * distance_mm / 1000.0) ** 2, 0.0))
    return result


def effective_df(contributions: Sequence[float], dfs: Sequence[float]) -> float:
    """Give the effective degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    contributions : sequence of float
        Standard uncertainty that each input contributes. [as used]
    dfs : sequence of float
        Degrees of freedom of each; infinite where it is known for certain. [unitless]

    Returns
    -------
    float
        Welch-Satterthwaite effective degrees of freedom; not rounded. [unitless]

    References
    ----------
    JCGM 100:2008, eq. (G.2b).
    """
    total = sum(u**2 for u in contributions)
    terms = sum(u**4 / df for u, df in zip(contributions, dfs, strict=True))
    return total**2 / terms if terms else math.inf


def coverage_factor(probability: float, df: float = math.inf) -> float:
    """Give the factor that turns a standard uncertainty into an interval on both sides.

    Parameters
    ----------
    probability : float
        Share of cases in which the interval shall hold the true value. [unitless]
    df : float
        Degrees of freedom of the standard uncertainty; a broken number is rounded down. [unitless]

    Returns
    -------
    float
        Factor k. [unitless]

    Raises
    ------
    InvalidValueError
        If the probability is not between 0 and 1, or there is no degree of freedom.

    References
    ----------
    JCGM 100:2008, G.6.4.
    """
    if not 0 < probability < 1 or not df >= 1:
        raise InvalidValueError("A coverage factor needs a probability between 0 and 1 and a degree of freedom.")
    upper = (1.0 + probability) / 2.0
    if df > MANY_DF:
        normal = NormalDist().inv_cdf(upper)
        return normal + (normal**3 + normal) / (4.0 * df)
    return student_quantile(upper, int(df))
