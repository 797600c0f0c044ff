"""Patterns: which of the usual causes the history of an asset speaks for, by stated rules.

Each cause has one test against 'nothing of the kind' and one condition on what
the drifts look like.  A cause is suggested when both hold and the test survives
the control of false alarms over the fleet.  A suggestion is not a diagnosis:
each comes with what would settle it.  The signatures are those of the project's
reference on the trade, section 6.6, and are inference, not a standard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import AssetColumns, BoolArray, FloatArray, IntArray, JobColumns
from models.history.direction import ONE_WAY, Directions
from models.history.distributions import binomial_upper_tail, f_sf, t_cdf
from models.history.drift import ClassFits
from models.history.feet import FAR_V, NEAR_V, FootRates
from models.history.late import Late
from models.history.limit_space import limit_sizes
from models.history.material import Material
from models.history.moderation import variance_prior
from models.history.multiplicity import adjusted_in, order_of
from models.history.runs import Runs
from models.history.shape import Shapes
from models.history.sums import Sums
from models.maths.judged import AT_LIMIT

SETTLING, PIPE_STRAIN, THERMAL_TARGET, SOFT_FOOT, LOOSE_BOLTS = range(5)
"""The causes, as columns of :class:`Patterns`; persons and instruments have a table of their own (``effects``)."""

CAUSE_WORDS = ("a settling base", "pipe strain", "a wrong thermal target", "soft foot", "loose bolts or missing dowels")

SETTLE_WORDS = (
    "level the base and look at the grout; read again after a few months without moving anything",
    "watch the shaft with dials while the flanges are loosened: 0.05 mm of movement is much",
    "measure hot, directly after a stop, and compare with the target",
    "loosen one bolt at a time with a dial on the foot, and shim what rises",
    "check torque and dowels, mark the feet, and look again after a few starts",
)
"""What observation would settle each cause; limits on movement: reference on the trade, sections 1.2 and 6.2."""

DECISIVE = 1.0
"""log₁₀ of the likelihood ratio of two shapes from which one is preferred: ten to one. The wrong shape reaches a
ratio of k with probability 1/k at most, so at most one asset in ten is put under the wrong cause."""

SOFT_FOOT_MM = 0.05
"""By how much feet may differ where a job carries no limit of its own (starter set, design section 2). [mm]"""

FEWEST_SOFT_LOOKS = 3

STANDS_OUT = 0.007
"""p of a scatter that is left out when the usual spread of scatter is fitted; of 150 usual assets one is lost by it."""

FEWEST_WARM_RUNS = 4
"""Runs with a known change of temperature that a slope needs."""

FEWEST_SCATTER_DF = 4.0
"""Degrees of freedom from which on the scatter of an asset is tested."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """How the variance factors of the fleet's usual machines differ: a scaled inverse chi-square of ``df0`` and ``factor0``."""

    df0: float
    factor0: float


@dataclass(frozen=True, slots=True)
class Patterns(Late):
    """One row an asset, one column a cause.

    ``p`` tests the cause's own signature against none of it; ``q`` allows for all
    assets.  ``fits`` tells whether the drifts look as the cause would have them.
    ``suggested`` is both, with q at most ``rate``.  ``weight`` is log₁₀ of a
    likelihood ratio for the cause's shape where there is one, else NaN.
    ``soft_over`` of ``soft_looks`` jobs found soft foot.  ``warm_slope`` is the
    movement of the first vertical place for each degree that the movable machine
    is warmer [limit/K].  ``order`` is that of the p-values of each cause.
    """

    p: FloatArray
    q: FloatArray
    fits: BoolArray
    suggested: BoolArray
    weight: FloatArray
    soft_over: IntArray
    soft_looks: IntArray
    warm_slope: FloatArray
    warm_runs: IntArray
    order: IntArray
    rate: float


def patterns_of(
    jobs: JobColumns,
    runs: Runs,
    assets: AssetColumns,
    material: Material,
    *,
    sums: Sums,
    fits: ClassFits,
    fit: IntArray,
    directions: Directions,
    shapes: Shapes,
    feet: FootRates,
    rate: float = 0.10,
    scatter: Scatter | None = None,
) -> Patterns:
    """Weigh each cause for each asset.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    runs : Runs
        Their runs. [unitless]
    assets : AssetColumns
        The assets as they stand today. [unitless]
    material : Material
        Known runs in limit units. [unitless]
    sums : Sums
        Weighted sums of each series. [unitless]
    fits : ClassFits
        What the classes know. [unitless]
    fit : (series,) int array
        Which fit each series uses. [unitless]
    directions : Directions
        Whether each series drifts one way. [unitless]
    shapes : Shapes
        Whether it steps or moves in time. [unitless]
    feet : FootRates
        Which foot moves. [mm/year]
    rate : float
        Accepted share of false suggestions, for each cause. [unitless]
    scatter : Scatter or None
        Usual spread of scatter in the fleet; worked out where not given. [unitless]

    Returns
    -------
    Patterns
        One row an asset.

    Notes
    -----
    Settling: a vertical direction, a row of feet that sinks, and drifts in proportion to time at least ten times as
    likely as a constant step. Pipe strain and thermal target: a constant step at least ten times as likely;
    mostly horizontal is pipe strain, mostly vertical is the target, or a movement that follows the temperature. Soft
    foot: more jobs over the limit than the fleet's share explains. Loose bolts: more scatter than the class's spread
    of scatter explains, and no direction.
    """
    count = len(assets)
    has = material.series_now >= 0
    now = np.where(has, material.series_now, 0)
    some = len(material.series_asset) > 0

    def of_asset(column: FloatArray) -> FloatArray:
        return np.where(has, column[now], np.nan) if some else np.full(count, np.nan)

    p, shaped = np.full((count, 5), np.nan), np.zeros((count, 5), dtype=np.bool_)
    weight = np.full((count, 5), np.nan)
    ratio, vertical = of_asset(shapes.log_ratio), of_asset(shapes.vertical_share)
    sinking = of_asset((np.fmin(_sure(feet, NEAR_V), _sure(feet, FAR_V)) < 0.0).astype(np.float64)) == 1.0
    p[:, SETTLING], weight[:, SETTLING] = of_asset(directions.vertical_p), -ratio
    shaped[:, SETTLING] = sinking & (ratio <= -DECISIVE)
    p[:, PIPE_STRAIN], weight[:, PIPE_STRAIN] = of_asset(shapes.step_horizontal_p), ratio
    shaped[:, PIPE_STRAIN] = (ratio >= DECISIVE) & (vertical < 0.6)
    warm_p, slope, warm_runs = _warmth(jobs, runs, material, fits, fit)
    step_p = of_asset(shapes.step_vertical_p)
    warm = warm_p < np.nan_to_num(step_p, nan=1.0)
    p[:, THERMAL_TARGET] = np.minimum(2.0 * np.fmin(step_p, warm_p), 1.0)  # the better of two tests, paid for twice
    weight[:, THERMAL_TARGET] = ratio
    shaped[:, THERMAL_TARGET] = warm | ((ratio >= DECISIVE) & (vertical >= 0.6))
    over, looks = _soft_foot(jobs, count)
    p[:, SOFT_FOOT] = soft_p(over, looks)
    shaped[:, SOFT_FOOT] = over >= 2
    p[:, LOOSE_BOLTS] = of_asset(_scatter_p(sums, usual_scatter(sums) if scatter is None else scatter))
    shaped[:, LOOSE_BOLTS] = not_one_way(directions.verdict, material.series_now)
    order = np.stack([order_of(p[:, cause]) for cause in range(p.shape[1])], axis=1)
    q = adjusted_causes(p, order)
    return Patterns(p, q, shaped, shaped & (q <= rate), weight, over, looks, slope, warm_runs, order, rate)


def adjusted_causes(p: FloatArray, order: IntArray) -> FloatArray:
    """Adjust the p-values of each cause over all assets.

    Parameters
    ----------
    p : (assets, 5) float array
        p-values. [unitless]
    order : (assets, 5) int array
        The order of those of each cause. [unitless]
    """
    return np.stack([adjusted_in(p[:, cause], order[:, cause]) for cause in range(p.shape[1])], axis=1)


def not_one_way(verdict: IntArray, series_now: IntArray) -> BoolArray:
    """Tell which assets do not drift one way: loose bolts let a machine wander.

    Parameters
    ----------
    verdict : (series,) int array
        Verdict of each series. [unitless]
    series_now : (assets,) int array
        Present series of each asset, −1 none. [unitless]
    """
    result = np.ones(len(series_now), dtype=np.bool_)
    has = series_now >= 0
    result[has] = verdict[series_now[has]] != ONE_WAY
    return result


def _sure(feet: FootRates, column: int) -> FloatArray:
    """Give the raw rate of a row of feet where it is twice its error away from 0, else 0."""
    raw, se = feet.rates.raw[:, column], feet.rates.raw_se[:, column]
    return np.where(np.abs(np.nan_to_num(raw)) > 2.0 * np.nan_to_num(se, nan=np.inf), np.nan_to_num(raw), 0.0)


def usual_scatter(sums: Sums) -> Scatter:
    """Fit how much scatter differs between the machines of the fleet, with those left out, twice, that stand out.

    Those would widen it and hide themselves.

    Parameters
    ----------
    sums : Sums
        Weighted sums of each series. [unitless]
    """
    squares, df = sums.residual()
    rows = np.flatnonzero(df >= FEWEST_SCATTER_DF)
    factor, usual = squares[rows] / df[rows], np.ones(len(rows), dtype=np.bool_)
    prior = variance_prior(factor, df[rows])
    for _ in range(2):
        usual = f_sf(factor / prior[1], df[rows], prior[0]) > STANDS_OUT
        prior = variance_prior(factor[usual], df[rows[usual]])
    return Scatter(*prior)


def _scatter_p(sums: Sums, scatter: Scatter) -> FloatArray:
    """Test whether an asset scatters more than the spread of scatter in the fleet allows.

    The squares are those about each class's own variance, so that the assets of all classes can be held side by side.
    """
    squares, df = sums.residual()
    rows, p = np.flatnonzero(df >= FEWEST_SCATTER_DF), np.full(len(df), np.nan)
    p[rows] = f_sf(squares[rows] / df[rows] / scatter.factor0, df[rows], scatter.df0)
    return p


def _soft_foot(jobs: JobColumns, assets: int) -> tuple[IntArray, IntArray]:
    """Count the jobs of each asset that found soft foot, and those that looked for it."""
    limit = np.where(jobs.limits[:, 3] > 0.0, jobs.limits[:, 3], SOFT_FOOT_MM)
    seen = ~np.isnan(jobs.soft_before)
    high = jobs.soft_before > limit * (1.0 + AT_LIMIT)  # NaN is never above
    over = np.bincount(jobs.asset[high], minlength=assets).astype(np.int64)
    return over, np.bincount(jobs.asset[seen], minlength=assets).astype(np.int64)


def rest_of(over: IntArray, looks: IntArray) -> FloatArray:
    """Give for each asset the share of soft foot among all the others, with one case in ten as the least that is usual.

    Parameters
    ----------
    over, looks : (assets,) int array
        Jobs that found soft foot, and jobs that looked for it. [unitless]
    """
    return np.asarray(np.maximum((over.sum() - over) / np.maximum(looks.sum() - looks, 1), 0.10), dtype=np.float64)


def soft_p(over: IntArray, looks: IntArray, rest: FloatArray | None = None) -> FloatArray:
    """Test whether an asset shows soft foot in more of its jobs than the rest of the fleet.

    Parameters
    ----------
    over, looks : (assets,) int array
        Jobs that found soft foot, and jobs that looked for it. [unitless]
    rest : (assets,) float array, optional
        Share among the others; worked out from these assets where not given. [unitless]
    """
    usual = rest_of(over, looks) if rest is None else rest
    tail = binomial_upper_tail(over.astype(np.float64), looks.astype(np.float64), usual)
    return np.where(looks >= FEWEST_SOFT_LOOKS, tail, np.nan)


def _warmth(
    jobs: JobColumns, runs: Runs, material: Material, fits: ClassFits, fit: IntArray
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Test whether the first vertical place follows the temperature of the movable machine, per asset."""
    assets = len(material.series_now)
    warmer = jobs.temp_movable_c - jobs.temp_stationary_c
    warmer = np.where(np.isnan(warmer), jobs.temp_movable_c - jobs.temp_ambient_c, warmer)
    change = warmer[runs.end_row[material.run]] - warmer[runs.start_row[material.run]]
    present = material.series == material.series_now[material.asset]
    use = present & ~np.isnan(change) & ~np.isnan(material.drift[:, 0])
    asset, x, y = material.asset[use], change[use], material.drift[use, 0]
    sizes = limit_sizes(jobs, material.scale_row)
    w = 1.0 / fits.variance.of(material.years[use], fit[material.series[use]], sizes, asset)[:, 0]
    n = np.bincount(asset, minlength=assets)
    total = np.maximum(np.bincount(asset, w, assets), 1e-300)
    x = x - (np.bincount(asset, w * x, assets) / total)[asset]
    y = y - (np.bincount(asset, w * y, assets) / total)[asset]
    xx, xy, yy = (np.bincount(asset, w * part, assets) for part in (x * x, x * y, y * y))
    enough = (n >= FEWEST_WARM_RUNS) & (xx > 1e-9)
    slope = np.where(enough, xy / np.where(enough, xx, 1.0), np.nan)
    residual = np.maximum(yy - np.where(enough, slope * xy, 0.0), 1e-300)
    df = np.maximum(n - 2.0, 1.0)
    t = np.where(enough, slope * np.sqrt(np.where(enough, xx, 1.0) * df / residual), 0.0)
    return np.where(enough, 2.0 * t_cdf(-np.abs(t), df), np.nan), slope, n.astype(np.int64)
