"""Feet: which row of feet of the movable machine moves, how fast, and how sure that is.

The movable shaft is a straight line, so its drift at a row of feet at distance x
is the drift of the offset plus x times the drift of the angularity.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.history.classes import Grouping
from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.direction import FEWEST_RUNS, NO_DIRECTION, Directions
from models.history.distributions import t_quantile
from models.history.drift import ClassFits, Rates, fit_classes, rates_of
from models.history.late import Late
from models.history.material import Material
from models.history.runs import Runs
from models.history.steps import LIKELY
from models.history.sums import sums_of

NEAR_V, FAR_V, NEAR_H, FAR_H = range(4)
"""Columns of everything here: the nearest and the farthest row of feet, vertical and horizontal."""

NEITHER, NEAR, FAR, BOTH, UNKNOWN_FEET = range(5)
"""Codes of which row moves."""

MOVES_WORDS = (
    "neither row of feet moves more than its interval",
    "the row of feet next to the coupling moves",
    "the row of feet away from the coupling moves",
    "both rows of feet move",
    "unknown: the distances of the feet or the runs are missing",
)
"""What each code says to a person."""


@dataclass(frozen=True, slots=True)
class FootRates(Late):
    """Rates of the feet of each series [mm/year], columns as :data:`NEAR_V` and so on.

    ``vertical`` is an index into :data:`MOVES_WORDS`: of which row the interval
    of the rate leaves out 0.  Whether that is told as a movement: :func:`rates_told`.
    """

    rates: Rates
    vertical: IntArray


def rates_told(feet: FootRates, directions: Directions, series: int, step_chance: float) -> bool:
    """Tell whether rows of feet may be said to move at all: one rule for pages, tables and evidence.

    Three runs, no step that is likelier to explain them, and no verdict that the machine has no steady rate one way: of
    some hundred rows each with an interval of its own some leave out 0 by chance.

    Parameters
    ----------
    feet : FootRates
        Rates of the feet. [mm/year]
    directions : Directions
        Whether each series drifts one way. [unitless]
    series : int
        Index of the series; −1 none. [unitless]
    step_chance : float
        Chance that the same step comes after each visit. [unitless]
    """
    if series < 0 or feet.rates.n[series] < FEWEST_RUNS:
        return False
    return step_chance < LIKELY and bool(directions.verdict[series] != NO_DIRECTION)


def at_feet(components: FloatArray, feet_mm: FloatArray) -> FloatArray:
    """Give a misalignment or a drift at the rows of feet.

    Parameters
    ----------
    components : (n, 4) float array
        Offset V, angularity V, offset H, angularity H. [mm, mm/m, mm, mm/m]
    feet_mm : (n, 2) float array
        Distance of the nearest and of the farthest row from the coupling centre; NaN unknown. [mm]

    Returns
    -------
    (n, 4) float array
        Nearest V, farthest V, nearest H, farthest H; + is up, or to the right. [mm]

    Notes
    -----
    y(x) = offset + angularity · x / 1000 (design of the project, section 2).
    """
    vertical = components[:, 0:1] + components[:, 1:2] * feet_mm / 1000.0
    horizontal = components[:, 2:3] + components[:, 3:4] * feet_mm / 1000.0
    return np.concatenate([vertical, horizontal], axis=1)


def fit_feet(material: Material, runs: Runs, feet_mm: FloatArray, grouping: Grouping) -> ClassFits:
    """Fit to each class what the feet of its machines have in common.

    Parameters
    ----------
    material : Material
        Known runs. [unitless]
    runs : Runs
        The runs behind it: their drift is in millimetres. [unitless]
    feet_mm : (assets, 2) float array
        Distances of the feet. [mm]
    grouping : Grouping
        Which fit each series uses. [unitless]
    """
    return fit_classes(_in_millimetres(material, runs, feet_mm), grouping)


def _in_millimetres(material: Material, runs: Runs, feet_mm: FloatArray) -> Material:
    result: Material = replace(material, drift=at_feet(runs.drift[material.run], feet_mm[material.asset]))
    return result


def foot_rates(
    material: Material,
    runs: Runs,
    feet_mm: FloatArray,
    grouping: Grouping,
    confidence: float = 0.95,
    fits: ClassFits | None = None,
) -> FootRates:
    """Give the rate of each row of feet, with its interval.

    Parameters
    ----------
    material : Material
        Known runs; their order gives that of the result. [unitless]
    runs : Runs
        The runs behind it: their drift is in millimetres. [unitless]
    feet_mm : (assets, 2) float array
        Distances of the feet. [mm]
    grouping : Grouping
        Which fit each series uses. [unitless]
    confidence : float
        Confidence of the intervals of the raw rates. [unitless]
    fits : ClassFits or None
        What the classes have in common, as :func:`fit_feet` gives it; worked out where not given. [unitless]

    Returns
    -------
    FootRates
        One row a series; the verdict goes by the raw rate, so that no foot moves because its class does.
    """
    millimetres = _in_millimetres(material, runs, feet_mm)
    every = np.ones(len(material), dtype=np.bool_)
    fits = fit_classes(millimetres, grouping) if fits is None else fits
    sums = sums_of(millimetres, fits.variance, grouping.fit, every, len(material.series_asset))
    rates = rates_of(sums, fits, grouping.fit, confidence)
    sure = _leaves_out_zero(rates, confidence)
    return FootRates(
        rates,
        _which(sure[:, NEAR_V], sure[:, FAR_V], rates),
    )


def _leaves_out_zero(rates: Rates, confidence: float) -> BoolArray:
    half = t_quantile(0.5 + confidence / 2.0, np.maximum(rates.df, 1.0))[:, None] * rates.raw_se
    return np.asarray(np.abs(rates.raw) > half, dtype=np.bool_)


def _which(near: BoolArray, far: BoolArray, rates: Rates) -> IntArray:
    unknown = np.isnan(rates.raw[:, NEAR_V]) | np.isnan(rates.raw[:, FAR_V])
    return np.select([unknown, near & far, near, far], [UNKNOWN_FEET, BOTH, NEAR, FAR], NEITHER).astype(np.int64)
