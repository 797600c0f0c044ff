"""Back-test: how often the intervals held on the plant's own past, and whether the forecast was worth making."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.conformal import LEVELS
from models.history.distributions import binomial_upper_tail, normal_quantile, t_cdf, t_quantile, t_quantile_by_table
from models.history.intervals import wilson
from models.history.material import Material
from models.history.predictions import Predictions

HELD, FAILED, TOO_FEW = range(3)
"""Verdict codes of :class:`Backtest`."""

VERDICT_WORDS = (
    "the intervals held about as often as they say",
    "the 90 % intervals held clearly less often than 85 %: no forecast is shown",
    "too few forecasts can be tested yet",
)
"""What each verdict code says to a person."""

FEWEST = 50
"""Tested intervals that a verdict needs."""

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Quantiles that the pinball loss is averaged over."""

BINS = 10

NO_RUN = np.iinfo(np.int64).min
"""When the first run of a series without a run began."""

AT_ONCE = 100_000
"""So many predictions are scored at once."""

SCORED = ("mean", "variance", "error", "df", "class_mean", "class_variance", "zero_variance")
"""Columns of predictions that scores rest on."""


@dataclass(frozen=True, slots=True)
class Backtest:
    """One row a fit; the last is the fleet.

    ``coverage``, ``low`` and ``high`` are (fits, levels): share of intervals that
    held, with Wilson limits at an effective number that allows for several
    intervals of one asset.  ``intervals`` and ``assets`` count them.  ``pit`` is
    (fits, 10): the share of outcomes in each tenth of their forecast.  ``loss`` is
    the mean pinball loss [limit] of the forecast, ``loss_zero`` of 'no change',
    ``loss_class`` of 'what its class does'.  ``kupiec`` is the likelihood ratio of
    the 90 % intervals on one degree of freedom.  ``own_held`` of ``own_tested``
    (assets, 4) are the 80 % intervals of the present series of each asset by
    component, with the assets that were there when the estimates over all of them
    were made; ``own_from_us`` is when the first run of that series began, or
    :data:`NO_RUN`.
    """

    coverage: FloatArray
    low: FloatArray
    high: FloatArray
    intervals: IntArray
    assets: IntArray
    pit: FloatArray
    loss: FloatArray
    loss_zero: FloatArray
    loss_class: FloatArray
    kupiec: FloatArray
    verdict: IntArray
    own_held: IntArray
    own_tested: IntArray
    own_from_us: IntArray

    def own(self, asset: int, from_us: int | None) -> tuple[IntArray, IntArray]:
        """Give how many 80 % intervals of what stands there now held, and how many were tested, by component.

        Parameters
        ----------
        asset : int
            Index of the asset; nothing is known of one that is newer than these estimates. [unitless]
        from_us : int or None
            When the first run of its present series began, or ``None``: of one that began with another run than these
            estimates know, after a replacement, nothing is known either. [µs since 1970, UTC]
        """
        if asset >= len(self.own_held) or from_us != self.own_from_us[asset]:
            return np.zeros(4, np.int64), np.zeros(4, np.int64)
        return self.own_held[asset], self.own_tested[asset]


def worse_than(held: IntArray, tested: IntArray, share: float) -> FloatArray:
    """Give the chance of so few intervals that held or fewer, where each holds with a probability.

    Parameters
    ----------
    held, tested : (n,) int array
        How many held, of how many. [unitless]
    share : float
        Probability that one holds. [unitless]

    Notes
    -----
    The lower tail of the binomial law; 1 where all held, or nothing was tested.
    """
    tail = binomial_upper_tail(held.astype(np.float64) + 1.0, tested.astype(np.float64), share)
    return np.where(held < tested, 1.0 - tail, 1.0)


def backtest_of(predictions: Predictions, material: Material, fits: int) -> Backtest:
    """Score the predictions of the past.

    Parameters
    ----------
    predictions : Predictions
        Made with the data of their own day. [unitless]
    material : Material
        The runs that they are held against. [unitless]
    fits : int
        Number of fits; the last is the fleet's, which takes every prediction. [unitless]

    Returns
    -------
    Backtest
        Coverage, losses and a verdict for each class and the fleet.
    """
    shape = (fits, len(LEVELS))
    coverage, low, high = np.full(shape, np.nan), np.zeros(shape), np.ones(shape)
    intervals, clusters = np.zeros(fits, np.int64), np.zeros(fits, np.int64)
    pit, kupiec = np.full((fits, BINS), np.nan), np.full(fits, np.nan)
    losses = np.full((3, fits), np.nan)
    judged = ~np.isnan(predictions.error)
    held = np.abs(predictions.error)[:, :, None] <= predictions.half
    asset = material.asset[predictions.row]
    names, member = np.unique(asset, return_inverse=True)
    place, each = _scored(predictions)
    for index in range(fits):
        rows = np.ones(len(asset), np.bool_) if index == fits - 1 else predictions.fit == index
        inside = judged & rows[:, None]
        intervals[index], clusters[index] = np.count_nonzero(inside), len(np.unique(asset[inside.any(axis=1)]))
        if not intervals[index]:
            continue
        for level in range(len(LEVELS)):
            result = _clustered(held[:, :, level], inside, member, len(names))
            coverage[index, level], low[index, level], high[index, level] = result
        pit[index] = np.histogram(place[inside], BINS, (0.0, 1.0))[0] / intervals[index]
        losses[:, index] = [float(np.mean(kind[inside])) for kind in each]
        misses = int(np.count_nonzero(~held[:, :, -1] & inside))
        kupiec[index] = kupiec_ratio(misses, int(intervals[index]), 1.0 - LEVELS[-1])
    failed = high[:, -1] < 0.85
    verdict = np.select([intervals < FEWEST, failed], [TOO_FEW, FAILED], HELD).astype(np.int64)
    kept_80 = judged & held[:, :, LEVELS.index(0.8)]
    # What was replaced is another machine: of its intervals none speaks for the one that stands there now (decision 12).
    present = material.series[predictions.row] == material.series_now[asset]
    own_held, own_tested = (
        np.stack(
            [np.bincount(asset[part[:, c] & present], minlength=len(material.series_now)) for c in range(4)], axis=1
        )
        for part in (kept_80, judged)
    )
    return Backtest(
        coverage, low, high, intervals, clusters, pit, losses[0], losses[1], losses[2], kupiec, verdict, own_held, own_tested,
        _begins(material),
    )  # fmt: skip


def _begins(material: Material) -> IntArray:
    """Give when the first known run of the present series of each asset began."""
    begins = np.full(len(material.series_now), NO_RUN, dtype=np.int64)
    first = np.flatnonzero(np.diff(material.series, prepend=-1))
    first = first[material.series[first] == material.series_now[material.asset[first]]]
    begins[material.asset[first]] = material.start_us[first]
    return begins


def clustered_share(held: BoolArray, counted: BoolArray, cluster: IntArray) -> tuple[float, float, float]:
    """Give a share and its Wilson limits when several trials belong to one asset.

    Parameters
    ----------
    held, counted : (n, 4) bool arrays
        Which intervals held, and which count. [unitless]
    cluster : (n,) int array
        Asset of each row. [unitless]

    Returns
    -------
    share, low, high : float
        Share and its 95 % limits. [unitless]

    Notes
    -----
    The variance of the share is taken between assets (n of them, times n ⁄ (n − 1)); the number of independent trials
    that would give this variance goes into Wilson's formula, never more than the trials themselves.  What is known of
    a variance between few assets is little: the normal quantile gives way to Student's t on n − 1 degrees of freedom.
    Where all of them held, or none, and where there is one asset, each asset counts as one trial.
    """
    names, member = np.unique(cluster, return_inverse=True)
    return _clustered(held, counted, member, len(names))


def _clustered(held: BoolArray, counted: BoolArray, member: IntArray, clusters: int) -> tuple[float, float, float]:
    """Give the same where the clusters are numbered from 0 already."""
    n = np.bincount(member, counted.sum(axis=1), clusters)
    x = np.bincount(member, (held & counted).sum(axis=1), clusters)
    total = float(n.sum())
    share = float(x.sum()) / total
    variance, known = float(np.sum((x - share * n) ** 2)) / total**2, float(np.count_nonzero(n))
    effective = known
    if known > 1.0 and 0.0 < share < 1.0:
        effective = min(share * (1.0 - share) / max(variance, 1e-300) * (known - 1.0) / known, total)
        # Wilson's formula takes the quantile squared over the number: t in the place of z is a smaller number.
        effective *= (float(normal_quantile(0.975)) / float(t_quantile(0.975, known - 1.0))) ** 2
    low, high = wilson(np.array([share * effective]), np.array([effective]))
    return share, float(low[0]), float(high[0])


def kupiec_ratio(misses: int, trials: int, chance: float) -> float:
    """Give Kupiec's likelihood ratio for a number of misses; chi-square with 1 df if the chance is right.

    Parameters
    ----------
    misses, trials : int
        How many intervals did not hold, of how many. [unitless]
    chance : float
        Share that was promised not to hold. [unitless]

    References
    ----------
    P. Kupiec (1995), Journal of Derivatives 3:73; 5 of 250 at 1 % gives 1.9568 (computed for the project).
    """

    def log_likelihood(p: float) -> float:
        hit = (trials - misses) * float(np.log1p(-p)) if misses < trials else 0.0
        return hit + (misses * float(np.log(p)) if misses else 0.0)

    return max(2.0 * (log_likelihood(misses / trials) - log_likelihood(chance)), 0.0)


def _scored(predictions: Predictions) -> tuple[FloatArray, tuple[FloatArray, FloatArray, FloatArray]]:
    """Give the place of each outcome in its forecast, and the losses; worked out for some predictions at a time.

    On the way there are ten arrays as long as the predictions: of a large book these would be the most that a study takes.
    """
    place, losses = np.empty(predictions.error.shape), [np.empty(predictions.error.shape) for _ in range(3)]
    for begin in range(0, len(place), AT_ONCE):
        rows = slice(begin, begin + AT_ONCE)
        part = replace(predictions, **{name: getattr(predictions, name)[rows] for name in SCORED})
        place[rows] = t_cdf(part.error / np.sqrt(part.variance), np.maximum(part.df, 1.0)[:, None])
        for whole, some in zip(losses, _losses(part), strict=True):
            whole[rows] = some
    return place, (losses[0], losses[1], losses[2])


def _losses(predictions: Predictions) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give the pinball loss of each component by the forecast, by no change and by the class."""
    actual = predictions.mean + predictions.error
    quantiles = [t_quantile_by_table(quantile, np.maximum(predictions.df, 1.0))[:, None] for quantile in QUANTILES]

    def loss(mean: FloatArray, variance: FloatArray) -> FloatArray:
        total = np.zeros_like(mean)
        spread = np.sqrt(variance)
        for quantile, at in zip(QUANTILES, quantiles, strict=True):
            gap = actual - (mean + spread * at)
            total += np.maximum(quantile * gap, (quantile - 1.0) * gap)
        return total / len(QUANTILES)

    return (
        loss(predictions.mean, predictions.variance),
        loss(np.zeros_like(predictions.mean), predictions.zero_variance),
        loss(predictions.class_mean, predictions.class_variance),
    )
