"""The engine: everything that the history says, in one pass over the columns.

``study_of`` takes a :class:`~models.history.columns.History` and gives a
:class:`Study`; nothing else is needed to use it from a notebook::

    from models.history.engine import study_of

    study = study_of(history)
    study.recheck.days  # one number an asset
    study.now(study.rates.shrunk)  # rates of the present series, one row an asset

It reads no clock and keeps no state: the same columns give the same study.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.history.backtest import Backtest, backtest_of
from models.history.chances import Chances, begun_of, chances_of
from models.history.classes import SMALLEST_CLASS, Grouping, fit_of, group_series
from models.history.columns import FloatArray, History, IntArray
from models.history.direction import Directions, directions_of
from models.history.drift import ClassFits, Rates, fit_classes, rates_of, steps_with
from models.history.feet import FootRates, fit_feet, foot_rates
from models.history.fleet import Fleet
from models.history.forecast import Recheck, recheck_of
from models.history.limit_space import LimitSizes, in_limit_units, limit_sizes
from models.history.material import Material, material_of, service_of
from models.history.origins import Before
from models.history.patterns import Patterns, patterns_of, usual_scatter
from models.history.predictions import Predictions, only_calibration, predict_past
from models.history.recurrence import Recurrence, recurrence_of
from models.history.return_rates import ReturnRates, return_rates
from models.history.returns import ReturnCounts, present_looks, returns_of
from models.history.runs import DAYS_PER_YEAR, Runs, runs_of
from models.history.shape import Shapes, shapes_of
from models.history.standing import Standing, longest_of, standing_of
from models.history.sums import Sums, sums_of
from models.history.trend import Trends, trends_of


@dataclass(frozen=True, slots=True)
class Choices:
    """What a site may choose.

    ``confidence`` of the intervals of rates, ``false_rate`` accepted share of
    false verdicts in each list, ``risk`` accepted probability of being found
    over limit, ``site_months`` longest interval between checks, ``smallest``
    assets that a class needs.  ``reading_mm`` (4,) is the standard deviation of
    one reading from repeats, or ``None`` to take it from the drifts.
    """

    confidence: float = 0.90
    false_rate: float = 0.10
    risk: float = 0.10
    site_months: int = 36
    smallest: int = SMALLEST_CLASS
    reading_mm: tuple[float, float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Study:
    """Everything that the history says.

    Rows of ``rates``, ``directions``, ``shapes`` and ``feet`` are series (see
    ``material``); :meth:`now` turns them into rows of assets.  Rows of all other
    parts are assets, runs or classes as their own pages say.  ``ratio_trend`` is
    the trend of the as-found limit ratio [1/year], ``speed_trend`` that of the
    size of a drift against what the asset's own rate lets expect [1/year].
    ``planned_rates`` leaves out the looks that ended with a visit which was called
    for because something was noticed.  ``fleet`` are the estimates over all
    machines that the other parts rest on; in a study that followed a few new jobs
    (``models.history.follow``) they are those of the last whole study.  ``until`` is
    the number of the last entry in everything else.
    """

    runs: Runs
    material: Material
    grouping: Grouping
    fits: ClassFits
    sums: Sums
    rates: Rates
    directions: Directions
    shapes: Shapes
    feet: FootRates
    ratio_trend: Trends
    speed_trend: Trends
    predictions: Predictions
    backtest: Backtest
    standing: Standing
    recheck: Recheck
    return_counts: ReturnCounts
    return_rates: ReturnRates
    planned_rates: ReturnRates
    recurrence: Recurrence
    patterns: Patterns
    choices: Choices
    fleet: Fleet
    until: int

    @property
    def whole(self) -> bool:
        """Tell whether the estimates over all machines go as far as everything else."""
        return self.fleet.until == self.until

    def now(self, column: FloatArray) -> FloatArray:
        """Give a column of series for the present series of each asset; NaN where it has none.

        Parameters
        ----------
        column : (series, …) float array
            A column of ``rates``, ``directions``, ``shapes`` or ``feet.rates``. [any]
        """
        has = self.material.series_now >= 0
        result = np.full((len(has), *column.shape[1:]), np.nan)
        result[has] = column[self.material.series_now[has]]
        return result


def study_of(
    history: History,
    choices: Choices = Choices(),
    asset_class: IntArray | None = None,
    before: Study | None = None,
) -> Study:
    """Find everything that a history says.

    Parameters
    ----------
    history : History
        Columns of one site. [unitless]
    choices : Choices
        What the site has chosen. [unitless]
    asset_class : (assets,) int array or None
        Class of each asset, −1 unknown; the speed class if not given. [unitless]
    before : Study, optional
        A study of the same site up to an earlier entry: what rests on the very same numbers is taken from it.
        The result is the same, to the last bit. [unitless]

    Returns
    -------
    Study
        Frozen; parts without data carry reasons in words.
    """
    classes = history.assets.speed_class if asset_class is None else asset_class
    runs = runs_of(history.jobs, history.breaks)
    material = material_of(history.jobs, history.breaks, runs, history.assets)
    grouping = group_series(classes[material.series_asset], np.unique(material.series), choices.smallest)
    reading = _reading_variance(history, material, choices)
    earlier = None if before is None or before.choices != choices else before
    sizes = limit_sizes(history.jobs, material.scale_row)
    fits = fit_classes(material, grouping, reading=reading, sizes=sizes)
    begun = begun_of(history.jobs, runs, material)
    predictions = predict_past(
        material,
        grouping,
        reading,
        # Where estimates are older than the runs beside them, nothing says what they were made from.
        Before(earlier.material, earlier.grouping, earlier.predictions.fits) if earlier and earlier.whole else None,
        sizes,
        begun,
    )
    backtest = backtest_of(predictions, material, len(grouping.label))
    found = _Found(
        fits,
        fit_feet(material, runs, history.assets.feet_movable_mm, grouping),
        predictions,
        backtest,
        longest_of(material, grouping),
        chances_of(predictions, material, begun, len(grouping.label)),
    )
    again = None if earlier is None else (earlier.standing, earlier.recheck)
    return _studied(history, classes, choices, _Ground(runs, material, grouping), found, again)


def study_with(history: History, fleet: Fleet, choices: Choices = Choices()) -> Study:
    """Find everything that a history says, with the estimates from all machines given.

    Parameters
    ----------
    history : History
        Columns of one site, or of some of its machines. [unitless]
    fleet : Fleet
        What is estimated from all machines together. [unitless]
    choices : Choices
        What the site has chosen. [unitless]
    """
    runs = runs_of(history.jobs, history.breaks)
    material = material_of(history.jobs, history.breaks, runs, history.assets)
    classes = history.assets.speed_class
    grouping = fleet.grouping(fit_of(classes[material.series_asset], fleet.label[:-1]))
    found = _Found(fleet.fits, fleet.feet, fleet.predictions, fleet.backtest, fleet.longest, fleet.chances, fleet)
    return _studied(history, classes, choices, _Ground(runs, material, grouping), found, None)


@dataclass(frozen=True, slots=True)
class _Ground:
    """What every part rests on."""

    runs: Runs
    material: Material
    grouping: Grouping


@dataclass(frozen=True, slots=True)
class _Found:
    """Estimates over all machines; ``given`` where all of them are known beforehand, the rest is then found on the way."""

    fits: ClassFits
    feet: ClassFits
    predictions: Predictions
    backtest: Backtest
    longest: FloatArray
    chances: Chances
    given: Fleet | None = None


def _studied(
    history: History,
    classes: IntArray,
    choices: Choices,
    ground: _Ground,
    found: _Found,
    again: tuple[Standing, Recheck] | None,
) -> Study:
    """Work out what rests on a machine's own jobs and on the estimates over all machines."""
    jobs, assets = history.jobs, history.assets
    runs, material, grouping = ground.runs, ground.material, ground.grouping
    fits, given, count = found.fits, found.given, len(assets)
    every = np.ones(len(material), dtype=np.bool_)
    sizes = limit_sizes(jobs, material.scale_row)
    sums = sums_of(material, fits.variance, grouping.fit, every, len(material.series_asset), sizes)
    scatter = usual_scatter(sums) if given is None else given.scatter
    rates = rates_of(sums, fits, grouping.fit, choices.confidence)
    present = np.zeros(len(material.series_asset), dtype=np.bool_)
    present[material.series_now[material.series_now >= 0]] = True
    directions = directions_of(rates, fits, grouping.fit, present, choices.false_rate)
    shapes = shapes_of(material, rates, fits, grouping.fit, sizes)
    feet = foot_rates(material, runs, assets.feet_movable_mm, grouping, fits=found.feet)
    standing = standing_of(
        jobs,
        assets,
        material,
        rates=rates,
        fits=fits,
        grouping=grouping,
        factors=found.predictions.factors,
        class_verdict=found.backtest.verdict,
        longest=found.longest,
        steps=steps_with(sums, fits, grouping.fit, rates),
    )
    looks = present_looks(jobs, history.breaks, runs)
    counts = returns_of(jobs, runs, count, keep=looks)
    looked = np.flatnonzero(looks)
    _, years, _ = service_of(runs, looked, count)
    asset, returned, planned = runs.asset[looked], runs.returned[looked], ~runs.noticed[looked]
    rated = return_rates(
        asset, years, returned, classes, counts.worst_ratio, smallest=choices.smallest,
        priors=None if given is None else given.returns,
    )  # fmt: skip
    rated_planned = return_rates(
        asset[planned], years[planned], returned[planned], classes, counts.worst_ratio, smallest=choices.smallest,
        priors=None if given is None else given.planned,
    )  # fmt: skip
    patterns = patterns_of(
        jobs,
        runs,
        assets,
        material,
        sums=sums,
        fits=fits,
        fit=grouping.fit,
        directions=directions,
        shapes=shapes,
        feet=feet,
        rate=choices.false_rate,
        scatter=scatter,
    )
    fleet = given or Fleet(
        until=history.head,
        label=grouping.label,
        members=grouping.members,
        fits=fits,
        feet=found.feet,
        predictions=only_calibration(found.predictions),
        backtest=found.backtest,
        chances=found.chances,
        longest=found.longest,
        scatter=scatter,
        returns=rated.priors,
        planned=rated_planned.priors,
    )
    return Study(
        runs=runs,
        material=material,
        grouping=grouping,
        fits=fits,
        sums=sums,
        rates=rates,
        directions=directions,
        shapes=shapes,
        feet=feet,
        ratio_trend=_ratio_trend(history, runs, material),
        speed_trend=_speed_trend(material, rates, fits, grouping, sizes),
        predictions=found.predictions,
        backtest=found.backtest,
        standing=standing,
        recheck=recheck_of(standing, choices.risk, choices.site_months, again),
        return_counts=counts,
        return_rates=rated,
        planned_rates=rated_planned,
        recurrence=recurrence_of(asset, years, returned, count),
        patterns=patterns,
        choices=choices,
        fleet=fleet,
        until=history.head,
    )


def without_predictions(study: Study) -> Study:
    """Give a study without the predictions of the past one by one; the factors and the back-test, made of them, stay.

    Parameters
    ----------
    study : Study
        A study. [unitless]
    """
    return replace(study, predictions=only_calibration(study.predictions))


def _reading_variance(history: History, material: Material, choices: Choices) -> FloatArray | None:
    """Turn the standard deviation of a reading into the variance of two readings, in each run's limit units."""
    if choices.reading_mm is None or not len(material):
        return None
    scale = np.maximum(material.scale_row[material.asset], 0)
    sd = np.broadcast_to(np.array(choices.reading_mm), (len(material), 4))
    jobs = history.jobs
    # Variances add over the components that a place is made of: take each alone, and add the squares.
    total = np.zeros((len(material), 4))
    for component in range(4):
        alone = np.where(np.arange(4) == component, sd, 0.0)
        total += np.nan_to_num(in_limit_units(alone, jobs.limits[scale], jobs.span_mm[scale])) ** 2
    return 2.0 * total


def _ratio_trend(history: History, runs: Runs, material: Material) -> Trends:
    """Follow the as-found limit ratio of the present series of each asset."""
    last_break = np.full(len(history.assets), -1, dtype=np.int64)
    broken = np.flatnonzero(runs.broken)
    last_break[runs.asset[broken]] = broken
    rows = np.arange(len(runs))
    present = (rows > last_break[runs.asset]) & (material.series_now[runs.asset] >= 0) & ~np.isnan(runs.end_ratio)
    years = history.jobs.performed_us[runs.end_row[present]] / (86_400e6 * DAYS_PER_YEAR)
    return trends_of(runs.end_ratio[present], years, runs.asset[present], len(history.assets))


def _speed_trend(material: Material, rates: Rates, fits: ClassFits, grouping: Grouping, sizes: LimitSizes) -> Trends:
    """Follow how large each drift is against what is expected of a run of its length."""
    fit = grouping.fit[material.series]
    by_rate = (np.nan_to_num(rates.shrunk[material.series]) * material.years[:, None]) ** 2
    judged = ~np.isnan(material.drift)
    squared = np.where(judged, material.drift, 0.0) ** 2
    expected = np.where(judged, fits.variance.of(material.years, fit, sizes, material.asset) + by_rate, 0.0)
    size = np.sqrt(squared.sum(axis=1) / np.maximum(expected.sum(axis=1), 1e-300))
    present = (material.series == material.series_now[material.asset]) & judged.any(axis=1)
    years = material.end_us[present] / (86_400e6 * DAYS_PER_YEAR)
    return trends_of(size[present], years, material.asset[present], len(sizes.flex))
