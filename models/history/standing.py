"""Where each asset stands: what it was left at, how it moves, and whether that carries a forecast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.backtest import FAILED
from models.history.classes import Grouping
from models.history.columns import AssetColumns, BoolArray, FloatArray, IntArray, JobColumns
from models.history.conformal import LEVELS, Factors, depth_of
from models.history.drift import ClassFits, Rates
from models.history.late import Late
from models.history.limit_space import in_limit_units, limit_sizes
from models.history.material import Material
from models.history.steps import Steps

(CAN, RETIRED, NO_VISIT, REPLACED, NO_LEFT, NOT_JUDGED, NO_RUN, SMALL_CLASS, COARSE, CLASS_FAILED) = range(10)
"""Reason codes of :class:`Standing`."""

REASON_WORDS = (
    "",
    "retired",
    "no visit is in the book yet",
    "replaced since the last visit: nothing is known of what stands there now",
    "the last visit measured no as-left",
    "no limit judges this asset",
    "no completed interval since it was installed or replaced",
    "too few assets with several intervals to compare with: thirty are needed",
    "the limit is no wider than twice what one visit scatters",
    "the intervals of its class did not hold on the plant's own past",
)
"""What each reason code says to a person; empty where a forecast can be made."""


_STEPS = {
    "step": ("step", False),
    "step_rate": ("rate", False),
    "step_variance": ("step_variance", True),
    "step_both": ("both", True),
    "step_rate_variance": ("rate_variance", True),
}
"""Columns of a standing by those of its steps, and whether each is stretched as intervals are."""


@dataclass(frozen=True, slots=True)
class Standing(Late):
    """One row an asset: all that a forecast needs, in limit units and years of service.

    ``left`` (n, 4) is the deviation as left.  ``rate`` and ``rate_variance`` are
    the shrunk rate; ``walk`` and ``reading`` the variance in a year and the
    variance of one reading, both with the asset's moderated factor and the
    conformal factor in them.  ``df`` are the degrees of freedom, ``duty`` years
    of service in a calendar year.  ``longest_days`` is the longest interval that
    its class has seen.  ``step_chance`` is the chance that the same step comes
    after each visit; ``step``, ``step_rate`` with their variances and
    ``step_both``, their covariance, are what then moves it, in place of ``rate``,
    and ``step_factor`` by how much ``walk`` and ``reading`` are smaller or larger then
    (``models.history.steps``).  ``level_factor`` (n, levels) is the conformal factor of
    each level over that of 80 %, which is in the variances.  ``n`` counts runs.  ``reason`` is an index into
    :data:`REASON_WORDS`; 0 is a forecast.
    """

    left: FloatArray
    left_us: IntArray
    rate: FloatArray
    rate_variance: FloatArray
    walk: FloatArray
    reading: FloatArray
    df: FloatArray
    duty: FloatArray
    each_axis: BoolArray
    longest_days: FloatArray
    factor: FloatArray
    level_factor: FloatArray
    n: IntArray
    reason: IntArray
    step_chance: FloatArray
    step: FloatArray
    step_rate: FloatArray
    step_variance: FloatArray
    step_both: FloatArray
    step_rate_variance: FloatArray
    step_factor: FloatArray

    @property
    def can(self) -> BoolArray:
        """Tell which assets have a forecast."""
        return np.asarray(self.reason == CAN, dtype=np.bool_)


def standing_of(
    jobs: JobColumns,
    assets: AssetColumns,
    material: Material,
    *,
    rates: Rates,
    fits: ClassFits,
    grouping: Grouping,
    factors: Factors | None = None,
    class_verdict: IntArray | None = None,
    longest: FloatArray | None = None,
    steps: Steps | None = None,
) -> Standing:
    """Say where each asset stands.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    assets : AssetColumns
        The assets as they stand today. [unitless]
    material : Material
        Known runs in limit units. [unitless]
    rates : Rates
        Rates of each series. [limit/year]
    fits : ClassFits
        What the classes know. [unitless]
    grouping : Grouping
        Which fit each series uses. [unitless]
    factors : Factors or None
        Conformal factors of the back-test. [unitless]
    class_verdict : (fits,) int array or None
        Verdict of the back-test for each fit. [unitless]
    longest : (fits,) float array or None
        Longest interval that each class has seen, see :func:`longest_of`; worked out where not given. [d]
    steps : Steps or None
        How far the same step comes after each visit of each series; none where not given. [limit]

    Returns
    -------
    Standing
        One row an asset.
    """
    count = len(assets)
    seen = np.zeros(count, dtype=np.bool_)
    seen[jobs.asset] = True
    now = material.series_now
    has, some_series = now >= 0, len(material.series_asset) > 0
    series = np.where(has, now, 0)
    # What stands for nothing (no series, no limits) says the same whatever else is in the columns.
    fit = np.where(has, grouping.fit[series], grouping.fleet) if some_series else np.full(count, grouping.fleet)
    row = np.where(material.at_row >= 0, material.at_row, 0)
    scale = np.where(material.scale_row >= 0, material.scale_row, 0)
    if len(jobs):
        left = in_limit_units(jobs.left[row] - jobs.target[row], jobs.limits[scale], jobs.span_mm[scale])
        left_us = np.where(has, jobs.performed_us[row], 0)
        each_axis = jobs.each_axis[scale] & (material.scale_row >= 0)
        unmeasured = np.isnan(jobs.left[row]).any(axis=1) | ~has
    else:
        left, left_us = np.full((count, 4), np.nan), np.zeros(count, np.int64)
        each_axis, unmeasured = np.zeros(count, np.bool_), np.ones(count, np.bool_)
    left[(material.scale_row < 0) | ~has] = np.nan
    n = np.where(has, rates.n[series], 0) if some_series else np.zeros(count, np.int64)
    factor, df = np.ones(count), np.full(count, np.inf)
    if some_series:
        factor, df = np.where(has, rates.factor[series], factor), np.where(has, rates.df[series], df)
    stretch, level_factor = np.ones(count), np.ones((count, len(LEVELS)))
    if factors is not None:
        # One number for the whole distribution: what the 80 % intervals needed, which is where most risks are chosen.
        of_level = factors.factor[fit, depth_of(n)]
        middle = of_level[:, LEVELS.index(0.8)]
        stretch, level_factor = middle**2, of_level / middle[:, None]
    value, spread = np.full((count, 4), np.nan), np.full((count, 4), np.nan)
    if some_series:
        value[has], spread[has] = rates.shrunk[now[has]], rates.shrunk_se[now[has]]
    timed = np.isfinite(value)
    scaled = (factor * stretch)[:, None]
    # An error of reading is the instrument's: in limits it is as much larger as the machine's own limit is smaller.
    sizes = limit_sizes(jobs, material.scale_row)
    plain = 0.5 * fits.variance.readings[fit] * fits.variance.finer(fit, sizes, np.arange(count))
    reading = plain * scaled
    judged = ~np.isnan(left)
    coarse = (judged & (plain > 0.25)).any(
        axis=1
    )  # twice what a visit scatters by itself is more than the limit: errors of reading, and whatever else comes with a visit
    failed = np.zeros(count, np.bool_) if class_verdict is None else class_verdict[fit] == FAILED
    reason = np.select(
        [
            assets.retired,
            ~seen,
            ~has,
            unmeasured,
            ~judged.any(axis=1),
            n == 0,
            ~fits.usable[fit],
            coarse,
            failed,
        ],
        [RETIRED, NO_VISIT, REPLACED, NO_LEFT, NOT_JUDGED, NO_RUN, SMALL_CLASS, COARSE, CLASS_FAILED],
        CAN,
    )
    return Standing(
        left=left,
        left_us=left_us,
        rate=np.where(timed, value, fits.mean[fit]),
        rate_variance=np.where(timed, spread**2, fits.between[fit] + fits.mean_variance[fit]) * stretch[:, None],
        walk=fits.variance.walk[fit] * scaled,
        reading=reading,
        df=df,
        duty=material.duty,
        each_axis=each_axis,
        longest_days=(longest_of(material, grouping) if longest is None else longest)[fit],
        factor=factor * stretch,
        level_factor=level_factor,
        n=n.astype(np.int64),
        reason=reason.astype(np.int64),
        **_steps(steps, now, stretch[:, None], factor),
    )


def _steps(steps: Steps | None, now: IntArray, stretch: FloatArray, factor: FloatArray) -> dict[str, FloatArray]:
    """Give the columns of steps of the present series; 0 where no step is expected."""
    rows = np.flatnonzero(now >= 0)
    rows = rows[:0] if steps is None else rows[steps.chance[now[rows]] > 0.0]
    columns = {name: np.zeros((len(now), 4)) for name in _STEPS}
    chance, own = np.zeros(len(now)), np.ones(len(now))
    if steps is not None and len(rows):
        of = now[rows]
        chance[rows], own[rows] = steps.chance[of], steps.factor[of] / np.maximum(factor[rows], 1e-12)
        for name, (part, squared) in _STEPS.items():
            columns[name][rows] = getattr(steps, part)[of] * (stretch[rows] if squared else 1.0)
    return {"step_chance": chance, "step_factor": own, **columns}


def longest_of(material: Material, grouping: Grouping) -> FloatArray:
    """Give the longest interval that each class has seen.

    Parameters
    ----------
    material : Material
        Known runs. [unitless]
    grouping : Grouping
        Which fit each series uses. [unitless]

    Returns
    -------
    (fits,) float array
        Days; 0 without a run. [d]
    """
    days = (material.end_us - material.start_us) / 86_400e6
    inside = (grouping.rows_of(index, material.series) for index in range(len(grouping.label)))
    return np.array([float(np.max(days[rows], initial=0.0)) for rows in inside])
