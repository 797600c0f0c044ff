"""Predictions of past drifts, each made with nothing but what was in the book on that day.

The origin rolls from year to year.  At each, the classes are fitted to the runs
that had ended; every run that began in the following year is then predicted from
those fits and from the earlier runs of its own series.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from models.history.classes import SMALLEST_CLASS, Grouping
from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.conformal import LEVELS, Factors, conformal_factors, depth_of
from models.history.distributions import t_quantile_by_table
from models.history.drift import ClassFits, fit_classes, rates_of, steps_with
from models.history.found_over import Begun, over_when_found
from models.history.limit_space import LimitSizes
from models.history.material import Material
from models.history.moderation import effective_df
from models.history.origins import Before, OriginFit, known_fit
from models.history.steps import Moments, Steps, mixed
from models.history.sums import Sums, parts_of

MOST_ORIGINS = 10
"""Origins at most: a longer history has one every second or third year."""

RECENT = 6
"""Origins whose scores make the conformal factors: older ones were predicted from a book that knew less."""

RUNS_AT_ONCE = 200_000
"""So many runs are added up at once, give or take a series."""

US_PER_DAY = 86_400_000_000


@dataclass(frozen=True, slots=True)
class Predictions:
    """One row a predicted run, in order of origin, then asset and time.

    ``row`` is the row of the material.  ``mean``, ``variance`` and ``error``
    (actual − mean) are (n, 4) [limit].  ``df`` are the degrees of freedom,
    ``depth`` the depth of the history, ``fit`` the fit used.  ``half`` is
    (n, 4, levels): half-widths of the intervals with the conformal factor of
    their own day.  ``class_mean`` and ``class_variance`` are what the class
    alone would have said; ``zero_variance`` is the spread about no change.
    ``over`` (n,) is the chance that the end would be read over limit; NaN where it was not worked out.
    ``fits`` are those of each origin, kept for the next study.
    """

    row: IntArray
    mean: FloatArray
    variance: FloatArray
    error: FloatArray
    df: FloatArray
    depth: IntArray
    fit: IntArray
    half: FloatArray
    class_mean: FloatArray
    class_variance: FloatArray
    zero_variance: FloatArray
    over: FloatArray
    factors: Factors
    fits: tuple[OriginFit, ...] = ()

    def __len__(self) -> int:
        """Give the number of predictions."""
        return int(self.row.shape[0])


@dataclass(frozen=True, slots=True)
class _Batch:
    row: IntArray
    mean: FloatArray
    variance: FloatArray
    df: FloatArray
    depth: IntArray
    fit: IntArray
    half: FloatArray
    score: FloatArray
    class_mean: FloatArray
    class_variance: FloatArray
    zero_variance: FloatArray
    over: FloatArray


def next_drift(
    fits: ClassFits,
    fit: IntArray,
    *,
    rate: FloatArray,
    rate_variance: FloatArray,
    factor: FloatArray,
    years: FloatArray,
    sizes: LimitSizes | None = None,
    asset: IntArray | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give mean and variance of the drift that will be read after some years.

    Parameters
    ----------
    fits : ClassFits
        What the classes know. [unitless]
    fit : (n,) int array
        Which fit each uses. [unitless]
    rate, rate_variance : (n, 4) float array
        Shrunk rate and its variance. [limit/year, limit²/year²]
    factor : (n,) float array
        Moderated variance factor. [unitless]
    years : (n,) float array
        Time in service. [year]
    sizes, asset : LimitSizes and (n,) int array, or None
        Size of each asset's limit, and the assets. [mm, mm/m; unitless]

    Returns
    -------
    mean, variance, chance : (n, 4) float arrays
        Of as-found − as-left; both readings' errors are in the variance. ``chance`` is the part of the variance
        that the asset's factor scales. [limit, limit², limit²]
    """
    chance = fits.variance.of(years, fit, sizes, asset) * factor[:, None]
    return rate * years[:, None], chance + rate_variance * years[:, None] ** 2, chance


def predict_past(
    material: Material,
    grouping: Grouping,
    reading: FloatArray | None = None,
    before: Before | None = None,
    sizes: LimitSizes | None = None,
    begun: Begun | None = None,
) -> Predictions:
    """Predict every run of the past that had an earlier run of its series.

    Parameters
    ----------
    material : Material
        Known runs in limit units. [unitless]
    grouping : Grouping
        Which fit each series uses. [unitless]
    reading : (n, 4) float array or None
        Variance of the two readings of each drift, where repeat readings give it. [limit²]
    before : Before, optional
        An earlier study: an origin whose past is the same to the last bit is not fitted again. [unitless]
    sizes : LimitSizes or None
        Size of each asset's limit; ``None`` where drifts are not in limits. [mm, mm/m]
    begun : Begun or None
        Where each run began; without it no chance of being over limit is worked out. [limit]

    Returns
    -------
    Predictions
        Empty while fewer than thirty series had a run that ended before some origin.
    """
    batches: list[_Batch] = []
    found: list[OriginFit] = []
    origins = _origins(material)
    factors = conformal_factors(
        np.zeros((0, 4, len(LEVELS))), np.zeros(0, np.int64), np.zeros(0, np.int64), len(grouping.label)
    )
    for begin, end in pairwise(origins.tolist()):
        past = material.end_us <= begin
        if len(np.unique(material.series[past])) < SMALLEST_CLASS:
            continue
        fits = known_fit(before, material, grouping, past, begin, sizes) if reading is None else None
        if fits is None:
            fits = fit_classes(material, grouping, past, reading, sizes)
        found.append(OriginFit(begin, fits))
        if not fits.usable.any():
            continue
        factors = _factors_until(batches, material, grouping, begin)
        batch = _predict_year(
            material, grouping, fits, (material.start_us >= begin) & (material.start_us < end), factors, sizes, begun
        )
        if len(batch.row):
            batches.append(batch)
        if len(batches) > RECENT:
            # Nobody asks for these scores again.
            batches[-RECENT - 1] = replace(batches[-RECENT - 1], score=batch.score[:0])
        del batch
    if batches:
        factors = _factors_until(batches, material, grouping, None)
    return replace(_joined(batches, material, factors), fits=tuple(found))


def only_calibration(made: Predictions) -> Predictions:
    """Give what was learnt from the predictions of the past, without them one by one.

    Parameters
    ----------
    made : Predictions
        Predictions. [unitless]
    """
    none = {name: getattr(made, name)[:0] for name in Predictions.__slots__ if name not in {"factors", "fits"}}
    return replace(made, **none)


def _origins(material: Material) -> IntArray:
    """Give the first instants of the years (UTC) between the first end and the last start, and one after all."""
    if not len(material):
        return np.zeros(0, dtype=np.int64)
    days = np.array([material.end_us.min(), material.start_us.max()]) // US_PER_DAY
    first, last = days.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64)
    step = -(-max(last - first, 1) // MOST_ORIGINS)
    # Counted from the year 0, so that a new year adds an origin and moves none.
    years = np.unique(
        np.append(np.arange(first + 1, last + 1)[(np.arange(first + 1, last + 1) + 1970) % step == 0], last + 1)
    )
    starts: IntArray = years.astype("datetime64[Y]").astype("datetime64[D]").astype(np.int64) * US_PER_DAY
    return starts


def _exclusive(part: FloatArray, series: IntArray) -> FloatArray:
    """Add up what came before each row within its series.

    One step for each place in a series, for all series at once: a running sum over all rows would carry the rounding
    of one asset into the next.
    """
    total = np.zeros_like(part)
    begins = np.flatnonzero(np.diff(series, prepend=-1))
    lengths = np.diff(np.append(begins, len(series)))
    for place in range(1, int(lengths.max(initial=0))):
        rows = begins[lengths > place] + place
        total[rows] = total[rows - 1] + part[rows - 1]
    return total


def _predict_year(
    material: Material,
    grouping: Grouping,
    fits: ClassFits,
    rows: BoolArray,
    factors: Factors,
    sizes: LimitSizes | None,
    begun: Begun | None,
) -> _Batch:
    chosen, here, judged = _known_before(material, grouping, fits, rows, sizes)
    asset = material.asset[chosen]
    own = grouping.fit[material.series[chosen]]
    rates = rates_of(here, fits, own, bounds=False)
    timed = np.isfinite(rates.shrunk)
    rate = np.where(timed, rates.shrunk, fits.mean[own])
    rate_variance = np.where(timed, rates.shrunk_se**2, fits.between[own] + fits.mean_variance[own])
    mean, variance, chance = next_drift(
        fits,
        own,
        rate=rate,
        rate_variance=rate_variance,
        factor=rates.factor,
        years=material.years[chosen],
        sizes=sizes,
        asset=asset,
    )
    steps = steps_with(here, fits, own, rates)
    stepping = np.flatnonzero(steps.chance > 0.0)
    stepped = _stepped(steps, fits, own, material.years[chosen], stepping, sizes, asset)
    depth = depth_of(here.n.max(axis=1, initial=0.0).astype(np.int64))
    over = np.full(len(chosen), np.nan)
    if begun is not None:
        start = Begun(np.where(judged, begun.left[chosen], np.nan), begun.each_axis[chosen])
        stretch = factors.factor[own, depth, LEVELS.index(0.8)] ** 2
        over = over_when_found(start, (mean, variance, chance), stepped, steps.chance, rates.df, stretch)
    if len(stepping):
        both = mixed((mean[stepping], variance[stepping], chance[stepping]), stepped, steps.chance[stepping])
        mean[stepping], variance[stepping], chance[stepping] = both
    df = effective_df(rates.df, chance, np.where(judged, variance, np.nan))
    quantile = np.stack([t_quantile_by_table(0.5 + level / 2.0, df) for level in LEVELS], axis=1)
    plain = np.sqrt(variance)[:, :, None] * quantile[:, None, :]
    of_class = fits.variance.of(material.years[chosen], own, sizes, asset) * fits.factor0[own][:, None]
    squared = material.years[chosen][:, None] ** 2
    return _Batch(
        row=chosen,
        mean=mean,
        variance=variance,
        df=df,
        depth=depth,
        fit=own,
        half=plain * factors.factor[own, depth][:, None, :],
        score=np.abs(material.drift[chosen] - mean)[:, :, None] / plain,
        class_mean=fits.mean[own] * material.years[chosen][:, None],
        class_variance=of_class + squared * fits.between[own],
        zero_variance=of_class + squared * (fits.between[own] + fits.mean[own] ** 2),
        over=over,
    )


def _stepped(
    steps: Steps,
    fits: ClassFits,
    fit: IntArray,
    years: FloatArray,
    rows: IntArray,
    sizes: LimitSizes | None,
    asset: IntArray,
) -> Moments:
    """Give the moments of the drift of some rows if a step comes with it."""
    time = years[rows][:, None]
    chance = fits.variance.of(years[rows], fit[rows], sizes, asset[rows]) * steps.factor[rows][:, None]
    known = steps.step_variance[rows] + 2.0 * time * steps.both[rows] + time**2 * steps.rate_variance[rows]
    return steps.step[rows] + steps.rate[rows] * time, chance + np.maximum(known, 0.0), chance


def _known_before(
    material: Material, grouping: Grouping, fits: ClassFits, rows: BoolArray, sizes: LimitSizes | None = None
) -> tuple[IntArray, Sums, BoolArray]:
    """Find which of some runs can be predicted, and add up the earlier runs of the series of each.

    Series by series: what is added up is as long as a block of them, not as the book, and of series without one
    of these runs nothing is added up.

    Returns
    -------
    chosen, sums, judged : (k,) int array, Sums and (k, 4) bool array
        Rows that have an earlier run, the sums over those, and which components are judged. [unitless]
    """
    chosen, found, known = [np.zeros(0, np.int64)], [np.zeros((0, 28))], [np.zeros((0, 4), np.bool_)]
    begins = np.flatnonzero(np.diff(material.series, prepend=-1))
    lengths = np.diff(np.append(begins, len(material)))
    wanted = np.flatnonzero(np.logical_or.reduceat(rows, begins)) if len(begins) else begins
    for block in np.array_split(wanted, -(-int(lengths[wanted].sum()) // RUNS_AT_ONCE) or 1):
        # Rows of these series, in their order.
        at = np.repeat(begins[block] - np.append(0, np.cumsum(lengths[block])[:-1]), lengths[block])
        at += np.arange(len(at))
        series, years = material.series[at], material.years[at]
        judged, fit = ~np.isnan(material.drift[at]), grouping.fit[series]
        weight = judged / fits.variance.of(years, fit, sizes, material.asset[at])
        parts = parts_of(judged, weight, years[:, None], np.where(judged, material.drift[at], 0.0))
        sums = _exclusive(np.concatenate(parts, axis=1), series)
        able = rows[at] & (sums[:, :4].max(axis=1, initial=0.0) > 0) & judged.any(axis=1) & fits.usable[fit]
        chosen.append(at[able])
        found.append(sums[able])
        known.append(judged[able])
    whole = np.concatenate(found)
    # Each with memory of its own: what is computed from columns of a wide array would be read with a stride.
    sums_of_all = Sums(*(np.ascontiguousarray(part) for part in np.split(whole, 7, axis=1)))
    return np.concatenate(chosen), sums_of_all, np.concatenate(known)


def _factors_until(batches: list[_Batch], material: Material, grouping: Grouping, until: int | None) -> Factors:
    """Give the factors from the predictions whose outcome was known at a time."""
    score, depth, fit = [np.zeros((0, 4, len(LEVELS)))], [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    for batch in batches[-RECENT:]:
        seen = slice(None) if until is None else material.end_us[batch.row] <= until
        score.append(batch.score[seen])
        depth.append(batch.depth[seen])
        fit.append(batch.fit[seen])
    return conformal_factors(np.concatenate(score), np.concatenate(depth), np.concatenate(fit), len(grouping.label))


def _joined(batches: list[_Batch], material: Material, factors: Factors) -> Predictions:
    """Put the batches together; the list is empty afterwards."""
    shapes = {
        "mean": (4,),
        "variance": (4,),
        "half": (4, len(LEVELS)),
        "class_mean": (4,),
        "class_variance": (4,),
        "zero_variance": (4,),
    }

    parts = {name: [getattr(batch, name) for batch in batches] for name in _Batch.__slots__ if name != "score"}
    # What is put together is let go before the next: all batches beside the whole would be twice as much.
    batches.clear()

    def whole(name: str) -> FloatArray:
        return np.concatenate([np.zeros((0, *shapes.get(name, ()))), *parts.pop(name)])

    def numbers(name: str) -> IntArray:
        return np.concatenate([np.zeros(0, np.int64), *parts.pop(name)]).astype(np.int64)

    row, mean = numbers("row"), whole("mean")
    return Predictions(
        row=row,
        mean=mean,
        variance=whole("variance"),
        error=material.drift[row] - mean,
        df=whole("df"),
        depth=numbers("depth"),
        fit=numbers("fit"),
        half=whole("half"),
        class_mean=whole("class_mean"),
        class_variance=whole("class_variance"),
        zero_variance=whole("zero_variance"),
        over=whole("over"),
        factors=factors,
    )
