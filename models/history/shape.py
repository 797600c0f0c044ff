"""Shape of a drift: whether it grows with time, or is the same step after every visit.

A base that settles moves further in a longer run.  A pipe that pulls, or a
target that is wrong, puts the machine back by the same amount however long the
run was.  Two plain models with one number a component are held against each
other; the likelihood ratio says how much better one explains the drifts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray, IntArray
from models.history.direction import CAREFUL_DF
from models.history.distributions import f_sf
from models.history.drift import ClassFits, Rates
from models.history.late import Late
from models.history.limit_space import LimitSizes
from models.history.material import Material
from models.history.moderation import moderate

FEWEST_RUNS = 3


@dataclass(frozen=True, slots=True)
class Shapes(Late):
    """One row a series.

    ``step`` (n, 4) is the mean drift of a run whatever its length [limit].  ``step_p`` tests it against none, over all components;
    ``step_vertical_p`` and ``step_horizontal_p`` over those alone.
    ``log_ratio`` is log₁₀ of the likelihood of 'the same step each time' over 'in
    proportion to time': above 0 speaks for the step.  ``vertical_share`` is the
    share of the squared step that is vertical.  NaN with fewer than three runs.
    """

    step: FloatArray
    step_p: FloatArray
    step_vertical_p: FloatArray
    step_horizontal_p: FloatArray
    log_ratio: FloatArray
    vertical_share: FloatArray
    n: IntArray


def shapes_of(
    material: Material, rates: Rates, fits: ClassFits, fit: IntArray, sizes: LimitSizes | None = None
) -> Shapes:
    """Hold the two shapes against each other for each series.

    Parameters
    ----------
    material : Material
        Known runs in limit units. [unitless]
    rates : Rates
        Rates of each series. [limit/year]
    fits : ClassFits
        Variance model of the classes. [unitless]
    fit : (series,) int array
        Which fit each series uses. [unitless]
    sizes : LimitSizes or None
        Size of each asset's limit; ``None`` where drifts are not in limits. [mm, mm/m]

    Returns
    -------
    Shapes
        One row a series.

    Notes
    -----
    Both models have the same number of parameters and the same variances, so the log-likelihood ratio is half the
    difference of their squared standardised means; it is divided by the larger of the class's and the asset's own
    variance factor, so that a restless asset does not look decided.
    """
    series = len(material.series_asset)
    judged = ~np.isnan(material.drift)
    weight = judged / fits.variance.of(material.years, fit[material.series], sizes, material.asset)
    value = np.where(judged, material.drift, 0.0)

    def add(part: FloatArray) -> FloatArray:
        return np.stack([np.bincount(material.series, part[:, c], series) for c in range(4)], axis=1).astype(np.float64)

    total, pull, squares = add(weight), add(weight * value), add(weight * value**2)
    count = add(judged.astype(np.float64))
    known = total > 0.0
    safe = np.where(known, total, 1.0)
    mean = np.where(known, pull / safe, np.nan)
    residual = np.where(known, np.maximum(squares - pull**2 / safe, 0.0), 0.0).sum(axis=1)
    df = np.maximum(count - 1.0, 0.0).sum(axis=1)
    factor, total_df = moderate(residual, df, fits.df0[fit], fits.factor0[fit])
    enough = count.max(axis=1, initial=0.0) >= FEWEST_RUNS
    z = mean * np.sqrt(safe)
    with np.errstate(invalid="ignore"):
        by_step = np.nansum(z**2, axis=1)
    plain_se = rates.raw_se / np.sqrt(np.maximum(rates.factor, 1e-12))[:, None]
    by_time = np.nansum((rates.raw / np.where(plain_se > 0.0, plain_se, np.nan)) ** 2, axis=1)
    scale = np.maximum(np.maximum(factor, rates.factor), 1e-12)

    def p_of(columns: list[int]) -> FloatArray:
        judged_here = known[:, columns].sum(axis=1)
        f = np.nansum(z[:, columns] ** 2, axis=1) / np.maximum(judged_here, 1) / np.maximum(factor, 1e-12)
        bottom = np.minimum(np.maximum(CAREFUL_DF * total_df, 1.0), np.maximum(fits.residual_df[fit] - 3.0, 1.0))
        return np.where(enough & (judged_here > 0), f_sf(f, np.maximum(judged_here, 1), bottom), np.nan)

    size = np.nansum(mean**2, axis=1)
    vertical = np.nansum(mean[:, :2] ** 2, axis=1)
    return Shapes(
        step=np.where(enough[:, None], mean, np.nan),
        step_p=p_of([0, 1, 2, 3]),
        step_vertical_p=p_of([0, 1]),
        step_horizontal_p=p_of([2, 3]),
        log_ratio=np.where(enough, 0.5 * (by_step - by_time) / scale / np.log(10.0), np.nan),
        vertical_share=np.where(enough & (size > 0.0), vertical / np.where(size > 0.0, size, 1.0), np.nan),
        n=count.max(axis=1, initial=0.0).astype(np.int64),
    )
