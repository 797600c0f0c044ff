"""Mean cumulative function: how many returns an asset of a class has had, on average, by an age."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray, IntArray
from models.history.distributions import normal_quantile

FEWEST_AT_RISK = 5
"""Units that must still be watched for a point to be shown."""


@dataclass(frozen=True, slots=True)
class MeanCumulative:
    """One row an age.

    ``mean`` events a unit by then; ``se`` between units (robust), ``low`` and
    ``high`` its limits on the logarithm; ``at_risk`` units still watched.
    ``independent_variance`` is the variance if events were independent, kept for
    comparison with older tables.
    """

    age: FloatArray
    mean: FloatArray
    se: FloatArray
    low: FloatArray
    high: FloatArray
    independent_variance: FloatArray
    at_risk: IntArray
    units: int
    confidence: float


def mean_cumulative(
    event: FloatArray,
    unit: IntArray,
    end: FloatArray,
    *,
    points: int = 60,
    confidence: float = 0.95,
    fewest_at_risk: int = FEWEST_AT_RISK,
) -> MeanCumulative:
    """Give the mean cumulative function of a class.

    Parameters
    ----------
    event : (n,) float array
        Age of the unit at each event. [time]
    unit : (n,) int array
        Unit of each event. [unitless]
    end : (units,) float array
        Age to which each unit was watched. [time]
    points : int
        At most so many ages; all ages with an event when there are no more. [unitless]
    confidence : float
        Confidence of the limits. [unitless]
    fewest_at_risk : int
        The curve ends where fewer are watched. [unitless]

    Returns
    -------
    MeanCumulative
        Empty when no unit had an event.

    Notes
    -----
    A unit whose watch ends on the day of an event is still at risk on it. The robust variance is the sum over units
    of the square of Σ (own events − class's events) ÷ units at risk.

    References
    ----------
    W. Nelson (1995), Technometrics 37:147; valve seats in the R package reda.
    """
    ages = np.unique(event)
    sorted_end = np.sort(end)
    at_risk = len(end) - np.searchsorted(sorted_end, ages, side="left")
    ages, at_risk = ages[at_risk >= fewest_at_risk], at_risk[at_risk >= fewest_at_risk]
    place = np.searchsorted(ages, event)
    shown = (place < len(ages)) & (np.append(ages, np.nan)[np.minimum(place, len(ages))] == event)
    place, unit = place[shown], unit[shown]
    happened = np.bincount(place, minlength=len(ages)).astype(np.float64)
    step = happened / at_risk
    mean = np.cumsum(step)
    drawn = (
        np.unique(np.linspace(0, len(ages) - 1, min(points, len(ages))).round().astype(np.int64))
        if len(ages)
        else np.zeros(0, np.int64)
    )
    squared = np.cumsum(step / at_risk)  # what one watched unit loses by an age because the class had events
    se = np.array([_robust(place, unit, at_risk, squared, ages, end, upto) for upto in drawn.tolist()])
    z = float(normal_quantile(0.5 + confidence / 2.0))
    centre = mean[drawn]
    stretch = np.exp(z * se / np.where(centre > 0.0, centre, 1.0)) if len(drawn) else np.zeros(0)
    return MeanCumulative(
        age=ages[drawn],
        mean=centre,
        se=se,
        low=centre / stretch,
        high=centre * stretch,
        independent_variance=np.cumsum(step / at_risk * (1.0 - 1.0 / at_risk))[drawn],
        at_risk=at_risk[drawn].astype(np.int64),
        units=len(end),
        confidence=confidence,
    )


def _robust(
    place: IntArray,
    unit: IntArray,
    at_risk: IntArray,
    squared: FloatArray,
    ages: FloatArray,
    end: FloatArray,
    upto: int,
) -> float:
    """Give the robust standard error at one age."""
    inside = place <= upto
    own = np.bincount(unit[inside], 1.0 / at_risk[place[inside]], len(end))
    # A unit is at risk at every age up to its end: it has lost what the class lost by the last of these ages.
    last = np.minimum(np.searchsorted(ages, end, side="right") - 1, upto)
    lost = np.where(last >= 0, squared[np.maximum(last, 0)], 0.0)
    return float(np.sqrt(np.sum((own - lost) ** 2)))
