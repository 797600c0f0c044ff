"""Drift rates: what a class does, what each asset does, and how well both are known.

Rates are in limits per year of service.  Raw, shrunk and interval stand side by
side; the raw one is never thrown away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.classes import SMALLEST_CLASS, Grouping
from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.distributions import t_quantile
from models.history.late import Late
from models.history.limit_space import LimitSizes
from models.history.material import Material
from models.history.mixture import LEVELS, PARTS, fit_mixture, shrink_mixture, spread_of_levels
from models.history.moderation import moderate, variance_prior
from models.history.steps import Steps, Usual, share_of, steps_of
from models.history.sums import Sums, sums_of
from models.history.variance import VarianceModel, fit_variance

FEWEST_RESIDUALS = 30
"""Drifts of series with several runs that a variance needs."""

OK, NO_RUN, NO_TIME, NOT_JUDGED = range(4)
"""Reason codes of :class:`Rates`."""

REASON_WORDS = (
    "",
    "too few intervals: no completed run since the last replacement",
    "no time in service between the visits",
    "no limit judges this component",
)
"""What each reason code says to a person."""


@dataclass(frozen=True, slots=True)
class ClassFits:
    """What each fit knows: variance model, common rate (fits, 4), prior of the variance factor, correlation (fits, 4, 4).

    ``between`` is the variance of the true rates of nearly all machines; ``share``
    and ``extra`` (fits, parts, 4) are those of the mixture with the few that
    drift far away from the rest (``models.history.mixture``); ``levels`` (fits,
    levels, 4, 4) are the narrow parts that are possible.  ``steps`` (fits,) is the share of machines that take the same
    step after each visit (``models.history.steps``).
    A fit is ``usable`` with thirty series and thirty residuals behind it; one
    that is not has been filled with the fleet's figures and is usable when
    those are.  ``members`` counts the series behind the figures that stand here.
    """

    variance: VarianceModel
    mean: FloatArray
    mean_variance: FloatArray
    between: FloatArray
    share: FloatArray
    extra: FloatArray
    levels: FloatArray
    df0: FloatArray
    factor0: FloatArray
    correlation: FloatArray
    residual_df: FloatArray
    members: IntArray
    usable: BoolArray
    steps: FloatArray


@dataclass(frozen=True, slots=True)
class Rates(Late):
    """Rates of each series (series, 4) [limit/year]; columns as in limit units.

    ``low`` and ``high`` bound the true rate at ``confidence``, with what is not
    known of how much the class's rates differ.  ``kept`` is the
    weight of the raw rate in the shrunk one, from 0 to 1.  ``factor`` and
    ``df`` (series,) are the moderated variance factor of the asset and its
    degrees of freedom.  ``n`` counts runs; ``reason`` is an index into
    :data:`REASON_WORDS`.
    """

    n: IntArray
    raw: FloatArray
    raw_se: FloatArray
    shrunk: FloatArray
    shrunk_se: FloatArray
    low: FloatArray
    high: FloatArray
    kept: FloatArray
    factor: FloatArray
    df: FloatArray
    reason: IntArray
    confidence: float


def fit_classes(
    material: Material,
    grouping: Grouping,
    rows: BoolArray | None = None,
    reading: FloatArray | None = None,
    sizes: LimitSizes | None = None,
) -> ClassFits:
    """Fit to each class what its assets have in common.

    Parameters
    ----------
    material : Material
        Known runs in limit units. [unitless]
    grouping : Grouping
        Which fit each series uses. [unitless]
    rows : (n,) bool array or None
        Which runs to use; a back-test leaves out those of its future. [unitless]
    reading : (n, 4) float array or None
        Variance of the two readings of each drift, where repeat readings give it. [limit²]
    sizes : LimitSizes or None
        Size of each asset's limit; ``None`` for drifts that are not in limits. [mm, mm/m]

    Returns
    -------
    ClassFits
        One row a fit; the last is the fleet's.
    """
    chosen = np.ones(len(material), dtype=np.bool_) if rows is None else rows
    result = _Fitting(material, grouping, chosen, reading, sizes)
    wanted = np.unique(grouping.fit[material.series[chosen]])
    result.fit(wanted[wanted != grouping.fleet])
    usable = result.usable
    if not usable[wanted].all():
        # A class that is large by count may have hardly a second run: it borrows the fleet's figures.
        result.fit(np.array([grouping.fleet]))
        result.borrow(np.flatnonzero(~usable[:-1]))
    return result.done()


class _Fitting:
    """The figures of the fits while they are found."""

    def __init__(
        self,
        material: Material,
        grouping: Grouping,
        rows: BoolArray,
        reading: FloatArray | None,
        sizes: LimitSizes | None,
    ) -> None:
        self.material, self.grouping, self.rows, self.reading, self.sizes = material, grouping, rows, reading, sizes
        fits = len(grouping.label)
        self.variance = VarianceModel(
            np.zeros((fits, 4)),
            np.zeros((fits, 4)),
            np.zeros(fits, dtype=np.int64),
            np.full((fits, 2, 4), np.nan),
            np.zeros(fits, dtype=np.bool_),
        )
        self.mean, self.mean_variance, self.between = np.zeros((fits, 4)), np.zeros((fits, 4)), np.zeros((fits, 4))
        self.share, self.extra = np.zeros((fits, PARTS, 4)), np.zeros((fits, PARTS, 4))
        self.share[:, 0] = 1.0
        self.levels = np.zeros((fits, LEVELS, 4, 4))
        self.df0, self.factor0 = np.full(fits, np.inf), np.ones(fits)
        self.correlation = np.tile(np.eye(4), (fits, 1, 1))
        self.residual_df, self.members = np.zeros(fits), np.zeros(fits, dtype=np.int64)
        self.steps = np.zeros(fits)

    @property
    def usable(self) -> BoolArray:
        """Tell which fits have thirty series and thirty residuals."""
        enough = self.variance.residuals >= FEWEST_RESIDUALS
        return np.asarray((self.members >= SMALLEST_CLASS) & enough, dtype=np.bool_)

    def fit(self, wanted: IntArray) -> None:
        model = fit_variance(self.material, self.grouping, self.rows, self.reading, only=wanted, sizes=self.sizes)
        for part in VarianceModel.__slots__:
            getattr(self.variance, part)[wanted] = getattr(model, part)[wanted]
        for index in wanted.tolist():
            self._fit_one(index)

    def borrow(self, poor: IntArray) -> None:
        model = self.variance
        parts = (
            self.mean,
            self.mean_variance,
            self.between,
            self.share,
            self.extra,
            self.levels,
            self.df0,
            self.factor0,
            self.correlation,
            self.residual_df,
            self.steps,
        )
        for part in (*parts, self.members, *(getattr(model, name) for name in VarianceModel.__slots__)):
            part[poor] = part[-1]

    def done(self) -> ClassFits:
        return ClassFits(
            self.variance,
            self.mean,
            self.mean_variance,
            self.between,
            self.share,
            self.extra,
            self.levels,
            self.df0,
            self.factor0,
            self.correlation,
            self.residual_df,
            self.members,
            self.usable,
            self.steps,
        )

    def _fit_one(self, index: int) -> None:
        material, series = self.material, len(self.material.series_asset)
        inside = self.rows & self.grouping.rows_of(index, material.series)
        sums = sums_of(material, self.variance, np.full(series, index), inside, series, self.sizes)
        squares, df = sums.residual()
        some = df > 0.0
        prior = variance_prior(squares[some] / df[some], df[some])
        self.df0[index], self.factor0[index] = prior
        factor, total_df = moderate(squares, df, np.full(series, prior[0]), np.full(series, prior[1]))
        rate, variance = sums.rate()
        spread = np.where(np.isfinite(variance), np.maximum(variance * factor[:, None], 1e-300), np.inf)
        here = np.isfinite(variance).any(axis=1)
        found = fit_mixture(rate[here], spread[here], total_df[here])
        for part in ("mean", "mean_variance", "between", "share", "extra", "levels"):
            getattr(self, part)[index] = getattr(found, part)
        self.correlation[index], self.residual_df[index] = _correlation(
            material, self.variance, index, inside, rate, self.sizes
        )
        self.members[index] = np.count_nonzero(sums.n.max(axis=1, initial=0.0) > 0)
        if self.sizes is not None:  # a step is as large as a part of a limit: elsewhere none is looked for
            usual = Usual(
                found.mean,
                found.mean_variance,
                found.between,
                found.share,
                found.extra,
                np.array(prior[0]),
                np.array(prior[1]),
            )
            self.steps[index] = share_of(sums, usual, factor)


def _correlation(
    material: Material,
    model: VarianceModel,
    index: int,
    rows: BoolArray,
    rate: FloatArray,
    sizes: LimitSizes | None,
) -> tuple[FloatArray, float]:
    """Correlate the standardised residuals of the components; also count their degrees of freedom."""
    years, member = material.years[rows], material.series[rows]
    spread = np.sqrt(model.of(years, np.full(len(years), index), sizes, material.asset[rows]))
    residual = (material.drift[rows] - rate[member] * years[:, None]) / spread
    whole = ~np.isnan(residual).any(axis=1)
    residual, member = np.clip(residual[whole], -4.0, 4.0), member[whole]
    df = float(len(member) - len(np.unique(member)))
    square = residual.T @ residual
    scale = np.sqrt(np.diag(square))
    if df < 8.0 or (scale <= 0.0).any():
        return np.eye(4), df
    # A little of the identity keeps it invertible when two components move as one.
    return 0.98 * square / np.outer(scale, scale) + 0.02 * np.eye(4), df


def rates_of(sums: Sums, fits: ClassFits, fit: IntArray, confidence: float = 0.90, *, bounds: bool = True) -> Rates:
    """Give the rate of each series: raw, shrunk to its class, with its interval.

    Parameters
    ----------
    sums : Sums
        Weighted sums of each series. [unitless]
    fits : ClassFits
        What the classes have in common. [unitless]
    fit : (series,) int array
        Which fit each series uses. [unitless]
    confidence : float
        Confidence of the intervals. [unitless]
    bounds : bool
        False where nobody asks for the intervals: they are NaN then. [unitless]

    Returns
    -------
    Rates
        One row a series; NaN with a reason where there is none.
    """
    raw, variance = sums.rate()
    squares, df = sums.residual()
    factor, total_df = moderate(squares, df, fits.df0[fit], fits.factor0[fit])
    spread = np.where(np.isfinite(variance), variance * np.maximum(factor, 1e-12)[:, None], np.inf)
    mean, between = fits.mean[fit], fits.between[fit]
    share, extra = fits.share.transpose(1, 0, 2)[:, fit], fits.extra.transpose(1, 0, 2)[:, fit]
    value, posterior, kept = shrink_mixture(
        raw,
        spread,
        total_df,
        mean=mean,
        mean_variance=fits.mean_variance[fit],
        between=between,
        share=share,
        extra=extra,
    )
    known = sums.n > 0
    n = sums.n.max(axis=1, initial=0.0).astype(np.int64)
    se = np.sqrt(posterior)
    half = np.full_like(value, np.nan)
    if bounds:
        wide = spread_of_levels(
            value,
            raw,
            np.where(np.isfinite(spread), spread, 1.0),
            total_df,
            mean=mean,
            between=between,
            share=share,
            extra=extra,
            levels=fits.levels.transpose(1, 2, 0, 3)[:, :, fit],
        )
        half = t_quantile(0.5 + confidence / 2.0, np.maximum(total_df, 1.0))[:, None] * np.sqrt(wide)
    reason = np.select(
        [n == 0, ~known.any(axis=1), ~np.isfinite(variance).any(axis=1)], [NO_RUN, NOT_JUDGED, NO_TIME], OK
    )
    shown = known & np.isfinite(variance)
    return Rates(
        n=n,
        raw=np.where(shown, raw, np.nan),
        raw_se=np.where(shown, np.sqrt(np.where(shown, spread, 0.0)), np.nan),
        shrunk=np.where(shown, value, np.nan),
        shrunk_se=np.where(shown, se, np.nan),
        low=np.where(shown, value - half, np.nan),
        high=np.where(shown, value + half, np.nan),
        kept=np.where(shown, kept, np.nan),
        factor=factor,
        df=total_df,
        reason=reason.astype(np.int64),
        confidence=confidence,
    )


def steps_with(sums: Sums, fits: ClassFits, fit: IntArray, rates: Rates) -> Steps:
    """Give for each series the chance that the same step comes after each visit, and what follows if it does.

    Parameters
    ----------
    sums : Sums
        Weighted sums of each series. [unitless]
    fits : ClassFits
        What the classes have in common. [unitless]
    fit : (series,) int array
        Which fit each series uses. [unitless]
    rates : Rates
        The rates from the same sums. [limit/year]
    """
    usual = Usual(
        fits.mean[fit],
        fits.mean_variance[fit],
        fits.between[fit],
        fits.share.transpose(1, 0, 2)[:, fit],
        fits.extra.transpose(1, 0, 2)[:, fit],
        fits.df0[fit],
        fits.factor0[fit],
    )
    return steps_of(sums, usual, fits.steps[fit], rates.factor)
