"""The variance of a drift: what the machine does by chance, and what two readings add.

A drift over a time t varies by σ_w² t + 2 σ_m²: random movement grows with time,
and both the as-left and the as-found were read with an error.  The two unknowns
are fitted once for a class, because no single asset has runs enough.

Machines of a class have about one limit, so that an error in limits is the same
for all of them.  Where the whole fleet is one class, limits differ fivefold; an
error of reading is then the same in millimetres, and in limits as much larger as
the limit is smaller.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.classes import Grouping
from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.limit_space import LimitSizes
from models.history.material import Material

FINEST = 1e-8
"""Least variance of a drift: a reading is taken as no finer than a ten-thousandth of a limit. [limit²]"""

CAP = 16.0
"""Squared residuals count up to this many times their variance, so that one typing error cannot rule a class."""

CAP_KEEPS = 0.99988
"""Share of a normal variance that is left under :data:`CAP`: 1 − 2(4 φ(4) + Q(4)) + 32 Q(4)."""

LIKELIER = 6.0
"""The error of reading of all speeds together is taken as one in millimetres, an instrument's, unless one in limits explains
the runs e³ times as well or better: then what a visit scatters is not the instrument's. (a choice of this project)"""

ROUNDS = 15
"""Rounds of reweighting at most; they end when neither figure moves by a thousandth of the variance."""


@dataclass(frozen=True, slots=True)
class VarianceModel:
    """σ_w² [limit²/year] and 2 σ_m² [limit²] for each fit and component, (fits, 4).

    ``residuals`` counts the drifts behind each; 0 means that no asset had two
    runs, and the figures are those of the drifts about zero.  Where ``pooled``
    (fits,), ``readings`` holds for a limit as large as ``reference`` (fits, 2, 4)
    [mm, mm/m], at the coupling centre and at flex planes; see :meth:`finer`.
    """

    walk: FloatArray
    readings: FloatArray
    residuals: IntArray
    reference: FloatArray
    pooled: BoolArray

    def finer(self, fit: IntArray, sizes: LimitSizes | None, asset: IntArray) -> FloatArray:
        """Give by what the variance of readings is multiplied for some assets: 1 where their class has a fit of its own.

        Parameters
        ----------
        fit : (n,) int array
            Which fit to use. [unitless]
        sizes : LimitSizes or None
            Size of each asset's limit; ``None`` for figures that are not in limits. [mm, mm/m]
        asset : (n,) int array
            Assets. [unitless]

        Returns
        -------
        (n, 4) float array
            (Reference ÷ limit)². [unitless]
        """
        pooled = self.pooled[fit]
        if sizes is None or not pooled.any():
            return np.ones((1, 4))
        return np.where(
            pooled[:, None], _finer(self.reference[fit, sizes.flex[asset].astype(np.int64)], sizes.size[asset]), 1.0
        )

    def of(
        self, years: FloatArray, fit: IntArray, sizes: LimitSizes | None = None, asset: IntArray | None = None
    ) -> FloatArray:
        """Give the variance of drifts over some years.

        Parameters
        ----------
        years : (n,) float array
            Time in service. [year]
        fit : (n,) int array
            Which fit to use. [unitless]
        sizes : LimitSizes or None
            Size of each asset's limit; ``None`` for drifts that are not in limits. [mm, mm/m]
        asset : (n,) int array or None
            Assets, where sizes are given. [unitless]

        Returns
        -------
        (n, 4) float array
            Variance. [limit²]
        """
        readings = self.readings[fit]
        if sizes is not None and asset is not None and self.pooled.any():
            readings = readings * self.finer(fit, sizes, asset)
        return np.maximum(self.walk[fit] * years[:, None] + readings, FINEST)


def reference_of(sizes: LimitSizes, asset: IntArray) -> FloatArray:
    """Give the geometric mean of the limits of some runs, at the coupling centre and at flex planes.

    Parameters
    ----------
    sizes : LimitSizes
        Size of each asset's limit. [mm, mm/m]
    asset : (n,) int array
        Asset of each run. [unitless]

    Returns
    -------
    (2, 4) float array
        Sizes; NaN where no run is judged there. [mm, mm/m]
    """
    size, flex = np.log(sizes.size[asset]), sizes.flex[asset]
    result = np.full((2, 4), np.nan)
    for place, rows in enumerate((~flex, flex)):
        judged = ~np.isnan(size[rows])
        count = np.count_nonzero(judged, axis=0)
        total = np.where(judged, size[rows], 0.0).sum(axis=0)
        result[place] = np.where(count > 0, np.exp(total / np.maximum(count, 1)), np.nan)
    return result


def _finer(reference: FloatArray, size: FloatArray) -> FloatArray:
    ratio = reference / size
    return np.where(np.isnan(ratio), 1.0, ratio**2)


def fit_variance(
    material: Material,
    grouping: Grouping,
    rows: BoolArray,
    reading: FloatArray | None = None,
    *,
    only: IntArray | None = None,
    sizes: LimitSizes | None = None,
) -> VarianceModel:
    """Fit the variance model of each class by non-negative regression of squared residuals on time.

    Parameters
    ----------
    material : Material
        Known runs in limit units. [unitless]
    grouping : Grouping
        Which fit each series uses. [unitless]
    rows : (n,) bool array
        Which runs to use; a back-test leaves out those of its future. [unitless]
    reading : (n, 4) float array or None
        Variance 2 σ_m² of each drift, where repeat readings give it; then only σ_w is fitted. [limit²]
    only : int array or None
        The fits that are wanted; the others stay 0. [unitless]
    sizes : LimitSizes or None
        Size of each asset's limit: the fleet's error of reading is then one in millimetres, unless one in limits explains the
        runs much better (:data:`LIKELIER`). [mm, mm/m]

    Returns
    -------
    VarianceModel
        One pair for each fit and component.

    Notes
    -----
    A residual from the asset's own weighted rate has variance v (1 − h) with its
    leverage h, so r² / (1 − h) is regressed with weight (1 − h) / v²; v is taken
    from the last round.  Squares above :data:`CAP` variances are cut.

    References
    ----------
    Model: statistics of the project, section 3(a).  Weighting by the variance of a squared normal residual, 2 v².
    """
    fits = len(grouping.label)
    walk, readings = np.zeros((fits, 4)), np.zeros((fits, 4))
    residuals = np.zeros(fits, dtype=np.int64)
    reference, pooled = np.full((fits, 2, 4), np.nan), np.zeros(fits, dtype=np.bool_)
    for index in range(fits) if only is None else only.tolist():
        chosen = np.flatnonzero(rows & grouping.rows_of(index, material.series))
        given = None if reading is None else reading[chosen]
        found = _fit_four(material, chosen, given, None)
        if sizes is not None and index == grouping.fleet:
            asset = material.asset[chosen]
            reference[index] = reference_of(sizes, asset)
            finer = _finer(reference[index, sizes.flex[asset].astype(np.int64)], sizes.size[asset])
            in_mm = _fit_four(material, chosen, given, finer)
            if given is not None or in_mm.unlikely <= found.unlikely + LIKELIER:
                found, pooled[index] = in_mm, True
        walk[index], readings[index], residuals[index] = found.walk, found.readings, found.residuals
    return VarianceModel(walk, readings, residuals, reference, pooled)


@dataclass(frozen=True, slots=True)
class _Four:
    """The figures of four components; ``unlikely`` is −2 times the logarithm of the likelihood of all residuals."""

    walk: FloatArray
    readings: FloatArray
    residuals: int
    unlikely: float


def _fit_four(material: Material, rows: IntArray, given: FloatArray | None, finer: FloatArray | None) -> _Four:
    found = []
    for component in range(4):
        known = ~np.isnan(material.drift[rows, component]) & (material.years[rows] > 0.0)
        use = rows[known]
        parts = (None if part is None else part[known, component] for part in (given, finer))
        found.append(_fit_one(material.drift[use, component], material.years[use], material.series[use], *parts))
    walk, readings, count, unlikely = zip(*found, strict=True)
    return _Four(np.array(walk), np.array(readings), max(count), sum(unlikely))


def _fit_one(
    drift: FloatArray, years: FloatArray, series: IntArray, given: FloatArray | None, finer: FloatArray | None
) -> tuple[float, float, int, float]:
    """Give both figures, the residuals behind them, and −2 times the logarithm of their likelihood."""
    if not len(drift):
        return 0.0, FINEST, 0, 0.0
    _, member = np.unique(series, return_inverse=True)
    start = max(float(np.median(drift**2)) / 0.455, FINEST)  # .455 is the median of a chi-square with 1 df
    typical = float(np.median(years))
    walk, readings = 0.5 * start / typical, 0.5 * start
    several = np.bincount(member)[member] > 1
    if not several.any():
        squares, free = drift**2, np.ones(len(drift))
        member = np.arange(len(drift))
    for _ in range(ROUNDS):
        read = readings if finer is None else readings * finer
        variance = np.maximum(walk * years + (read if given is None else given), FINEST)
        if several.any():
            weight = 1.0 / variance
            pull = np.bincount(member, weight * years**2)
            rate = np.bincount(member, weight * years * drift) / pull
            free = np.maximum(1.0 - weight * years**2 / pull[member], 0.0)
            squares = (drift - rate[member] * years) ** 2 / np.maximum(free, 1e-12)
            free = np.where(several, free, 0.0)
        capped = np.minimum(squares, CAP * variance) / CAP_KEEPS
        before = walk * typical + readings
        last, (walk, readings) = (walk, readings), _regress(capped, years, free / variance**2, given, finer)
        moved = abs(walk - last[0]) * typical + abs(readings - last[1])
        if moved < 1e-3 * max(before, FINEST):
            break
    variance = (
        np.maximum(walk * years + readings * (1.0 if finer is None else finer), FINEST) if given is None else variance
    )
    unlikely = float(np.sum(free * (np.log(variance) + np.minimum(squares / variance, CAP))))
    return walk, readings, int(np.count_nonzero(free > 1e-6)), unlikely


def _regress(
    squares: FloatArray, years: FloatArray, weight: FloatArray, given: FloatArray | None, finer: FloatArray | None
) -> tuple[float, float]:
    """Fit squares = walk · years + readings · finer with neither below zero."""
    if given is not None:
        walk = float(np.sum(weight * years * (squares - given)) / np.sum(weight * years**2))
        return max(walk, 0.0), float(np.mean(given if finer is None else given / finer))
    read = weight if finer is None else weight * finer
    s = float(np.sum(weight if finer is None else read * finer))
    x, xx = float(np.sum(read * years)), float(np.sum(weight * years**2))
    y, xy = float(np.sum(read * squares)), float(np.sum(weight * years * squares))
    if s <= 0.0:
        return 0.0, FINEST
    determinant = s * xx - x * x
    if determinant > 1e-12 * s * xx:
        walk, readings = (s * xy - x * y) / determinant, (xx * y - x * xy) / determinant
        if walk >= 0.0 and readings >= 0.0:
            return walk, readings
        # One of the two is at its edge: the better of the two edges is the constrained optimum.
        only_walk, only_readings = max(xy / xx, 0.0), max(y / s, 0.0)
        gain_walk, gain_readings = xy * only_walk, y * only_readings
        return (only_walk, 0.0) if gain_walk > gain_readings else (0.0, only_readings)
    return 0.0, max(y / s, 0.0)
