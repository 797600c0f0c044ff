"""Sums over the runs of each series: all that rates, steps and their scatter are worked out from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.late import Late
from models.history.limit_space import LimitSizes
from models.history.material import Material
from models.history.variance import VarianceModel


@dataclass(frozen=True, slots=True)
class Sums(Late):
    """Weighted sums over the runs of each series: n, Σ w t², Σ w t d, Σ w d², Σ w, Σ w t, Σ w d, each (series, 4)."""

    n: FloatArray
    tt: FloatArray
    td: FloatArray
    dd: FloatArray
    w: FloatArray
    t: FloatArray
    d: FloatArray

    def rate(self) -> tuple[FloatArray, FloatArray]:
        """Give the weighted rate and its variance; NaN and infinite without time in service."""
        timed = self.tt > 0.0
        safe = np.where(timed, self.tt, 1.0)
        return np.where(timed, self.td / safe, np.nan), np.where(timed, 1.0 / safe, np.inf)

    def residual(self) -> tuple[FloatArray, FloatArray]:
        """Give the squared standardised residuals of each series, all components together, and their degrees of freedom."""
        rate, _ = self.rate()
        squares = np.maximum(self.dd - np.where(np.isnan(rate), 0.0, rate) * self.td, 0.0)
        df = np.maximum(self.n - (self.tt > 0.0), 0.0)
        return squares.sum(axis=1), df.sum(axis=1)


def sums_of(
    material: Material,
    model: VarianceModel,
    fit: IntArray,
    rows: BoolArray,
    series: int,
    sizes: LimitSizes | None = None,
) -> Sums:
    """Add up the weighted runs of each series.

    Parameters
    ----------
    material : Material
        Known runs in limit units. [unitless]
    model : VarianceModel
        Gives the weights. [unitless]
    fit : (series,) int array
        Which fit each series uses. [unitless]
    rows : (n,) bool array
        Which runs to use. [unitless]
    series : int
        Number of series. [unitless]
    sizes : LimitSizes or None
        Size of each asset's limit; ``None`` for drifts that are not in limits. [mm, mm/m]
    """
    drift, years, member = material.drift[rows], material.years[rows], material.series[rows]
    judged = ~np.isnan(drift)
    weight = judged / model.of(years, fit[member], sizes, material.asset[rows] if model.pooled.any() else None)

    def add(part: FloatArray) -> FloatArray:
        columns = [np.bincount(member, part[:, c], series) for c in range(4)]
        return np.stack(columns, axis=1).astype(np.float64)

    return Sums(*(add(part) for part in parts_of(judged, weight, years[:, None], np.where(judged, drift, 0.0))))


def parts_of(judged: BoolArray, weight: FloatArray, time: FloatArray, value: FloatArray) -> tuple[FloatArray, ...]:
    """Give what each run adds to :class:`Sums`, in the order of its fields.

    Parameters
    ----------
    judged : (n, 4) bool array
        Which components are judged. [unitless]
    weight : (n, 4) float array
        Weight of each drift, 0 where not judged. [1/limit²]
    time : (n, 1) float array
        Time in service. [year]
    value : (n, 4) float array
        Drift, 0 where not judged. [limit]
    """
    pulled, timed = weight * value, weight * time
    return judged.astype(np.float64), timed * time, timed * value, pulled * value, weight, timed, pulled
