"""Effects of persons and instruments over the whole fleet: whether what one measures is always a little off.

The drift of a run holds the reading error of the one who found it minus that of
the one who left it.  Over many assets these differences give each person or
instrument an effect of its own, with its own interval; beside it stands what is
left when all are drawn towards one another.  An effect is a question to the
method, never a verdict on a person.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.history.classes import Grouping
from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.distributions import gamma_quantile, normal_cdf, t_cdf, t_quantile
from models.history.drift import fit_classes
from models.history.hierarchy import draw_effects, draw_ratios
from models.history.material import Material, service_of
from models.history.multiplicity import adjusted
from models.history.name_fit import NameFit
from models.history.runs import Runs

FEWEST_JOBS = 10
"""Jobs of a person or an instrument that an effect needs."""


@dataclass(frozen=True, slots=True)
class Effects:
    """One row a person or instrument, (k, 4) in the job's components [mm, mm/m, mm, mm/m].

    ``raw`` is the effect against the median of all that can be compared, with ``se`` and its own interval
    ``low`` to ``high`` (90 %).  ``drawn``, with an interval of its own, is what is left
    when all are drawn towards the median as far as they are uncertain.  ``p`` tests the
    raw effect, ``q`` allows for all persons and components.  NaN with fewer than ten
    jobs, and where ``apart``: no run joins it with another that has as many, or what it
    reads cannot be told from how the machines move.  ``jobs`` counts the runs that tell
    something about it.
    """

    raw: FloatArray
    se: FloatArray
    low: FloatArray
    high: FloatArray
    drawn: FloatArray
    drawn_low: FloatArray
    drawn_high: FloatArray
    p: FloatArray
    q: FloatArray
    jobs: IntArray
    apart: BoolArray


@dataclass(frozen=True, slots=True)
class Holding:
    """One row a person: how often what they left came back over limit, against what was to be expected.

    ``expected`` allows for the assets and the times in service.  It rests on the rates of
    the assets, and these on the same looks: the person's own returns raise what is expected
    of the person, and ``ratio``, observed over expected, is drawn to 1, the more so the more
    of the looks at those assets are the person's (of work that comes back twice as often a
    mean of 1.4 with six people mixed, 1.2 where each has an area).  ``low`` to ``high`` is its
    exact Poisson interval (90 %) with ``expected`` taken for known: not one for the true
    ratio; what stands out does so in spite of it.  ``drawn`` is
    that drawn towards the ratio ``common`` of all, with its own interval; NaN with fewer than ten looks.
    """

    observed: IntArray
    expected: FloatArray
    ratio: FloatArray
    low: FloatArray
    high: FloatArray
    drawn: FloatArray
    drawn_low: FloatArray
    drawn_high: FloatArray
    common: float
    p: FloatArray
    q: FloatArray
    jobs: IntArray


def effects_of(runs: Runs, material: Material, grouping: Grouping, who: IntArray, count: int) -> Effects:
    """Estimate the effect of each person or instrument on what it reads.

    Parameters
    ----------
    runs : Runs
        The runs. [unitless]
    material : Material
        Known runs. [unitless]
    grouping : Grouping
        Which fit each series uses. [unitless]
    who : (jobs,) int array
        Person or instrument of each job, −1 unknown: ``jobs.person`` or ``jobs.instrument``. [unitless]
    count : int
        How many there are. [unitless]

    Returns
    -------
    Effects
        One row each.

    Notes
    -----
    Weighted least squares on drift = effect of the finder − effect of the leaver + rate × time, with the mean rate of each
    class as an unknown beside the effects (``models.history.name_fit``): who follow one another in time would else lose a
    part of their difference to the rate, and lend it to others. Only differences are known, so the median of those that
    can be compared is 0. Runs in which both are the same tell about the rate alone. Where one name is off, the median of
    few lies among the others on its side: the error allows for that.
    """
    raw_material = replace(material, drift=runs.drift[material.run])
    fits = fit_classes(raw_material, grouping)
    left, found = who[runs.start_row[material.run]], who[runs.end_row[material.run]]
    known = (left >= 0) & (found >= 0)
    left, found, years, series = left[known], found[known], material.years[known], material.series[known]
    fit, drift = grouping.fit[series], raw_material.drift[known]
    # The mean of a scaled inverse chi-square is more than its value: restless assets are in these sums too.
    df0 = np.minimum(np.maximum(fits.df0[fit], 3.0), 1e9)
    factor = fits.factor0[fit] * df0 / (df0 - 2.0)
    variance = np.maximum(fits.variance.of(years, fit) * factor[:, None], 1e-12)
    layout = NameFit(left, found, years, series, fit, count)
    jobs_of = np.bincount(layout.left, minlength=count) + np.bincount(layout.found, minlength=count)
    enough = jobs_of >= FEWEST_JOBS
    groups = _groups(layout.compared(), enough)
    told = np.concatenate([*groups, np.zeros(0, np.int64)])
    names = ("raw", "se", "low", "high", "drawn", "drawn_low", "drawn_high", "p")
    out = {name: np.full((count, 4), np.nan) for name in names}
    df = float(max(layout.free, 1))
    reach = float(t_quantile(0.95, df))
    for c in range(4) if len(told) else ():
        weighed = layout.weigh(variance[:, c], fits.between[layout.fits, c])
        every, covariance = weighed.solve(drift[:, c], fits.mean[layout.fits, c])
        effect = np.concatenate([every[group] - np.median(every[group]) for group in groups])
        se = np.concatenate([_errors(covariance[np.ix_(group, group)]) for group in groups])
        drawn = draw_effects(effect, np.maximum(se**2, 1e-18))
        p = 2.0 * t_cdf(-np.abs(effect) / np.maximum(se, 1e-12), df)
        columns = (effect, se, effect - reach * se, effect + reach * se, drawn.mean, drawn.low, drawn.high, p)
        for name, column in zip(names, columns, strict=True):
            out[name][told, c] = column
    q = adjusted(out["p"].ravel()).reshape(count, 4)
    apart = enough & np.isnan(out["raw"][:, 0])
    return Effects(q=q, jobs=jobs_of.astype(np.int64), apart=apart, **out)


def _groups(first: IntArray, enough: BoolArray) -> list[IntArray]:
    """Give the names that can be compared with one another, group by group, where two or more have enough jobs."""
    rows = np.flatnonzero(enough)
    groups = (rows[first[rows] == label] for label in np.unique(first[rows]))
    return [group for group in groups if len(group) > 1]


def _errors(covariance: FloatArray) -> FloatArray:
    """Give the errors of names that are compared with one another against the median of them."""
    centred = covariance - covariance.mean(axis=0)
    centred = centred - centred.mean(axis=1)[:, None]
    return np.sqrt(np.maximum(np.diag(centred), 0.0)) * _median_error(len(covariance))


def _median_error(names: int) -> float:
    """Give by how much the error of a name against the mean of all grows when it stands against their median.

    Of two the median is the mean. Of more, the error of a name by itself and that of the median of the others add up.
    """
    if names < 3:
        return 1.0
    return float(np.sqrt(names / (names - 1.0) * (1.0 + 0.5 * np.pi / (names - 1.0))))


def expected_returns(runs: Runs, looks: BoolArray, rate: FloatArray) -> tuple[IntArray, FloatArray]:
    """Give how probable a return was in each look, by the rate of its asset and the look's own time in service.

    Parameters
    ----------
    runs : Runs
        The runs. [unitless]
    looks : (runs,) bool array
        Which looks count: those that the rate rests on, see :func:`models.history.returns.present_looks`. [unitless]
    rate : (assets,) float array
        Returns in a year of service; NaN counts as 0. [1/year]

    Returns
    -------
    rows, expected : (n,) int and float arrays
        Which runs count, and the probability in each. [unitless]
    """
    looked = np.flatnonzero(looks)
    # A rate is one of running years: a machine that stands still has no calendar's worth of chances to come back.
    _, years, _ = service_of(runs, looked, len(rate))
    return looked, -np.expm1(-np.nan_to_num(rate)[runs.asset[looked]] * years)


def holding_of(start_who: IntArray, expected: FloatArray, returned: BoolArray, count: int) -> Holding:
    """Compare how often what each person left came back with what was to be expected.

    Parameters
    ----------
    start_who : (n,) int array
        Person of the job that each look began with; −1 unknown. [unitless]
    expected : (n,) float array
        Probability of a return in that look by its asset's rate and length. [unitless]
    returned : (n,) bool array
        Whether it came back. [unitless]
    count : int
        Number of persons. [unitless]

    References
    ----------
    F. Garwood (1936), Biometrika 28:437, for the interval of a Poisson count; p from the normal approximation of the
    sum of unequal trials.
    """
    known = start_who >= 0
    who, chance, back = start_who[known], expected[known], returned[known].astype(np.float64)
    observed = np.bincount(who, back, count)
    total, spread = (np.bincount(who, part, count).astype(np.float64) for part in (chance, chance * (1.0 - chance)))
    jobs_of = np.bincount(who, minlength=count)
    enough = (jobs_of >= FEWEST_JOBS) & (spread > 0.0)
    x, of = np.asarray(observed[enough], dtype=np.float64), total[enough]
    drawn = draw_ratios(x.astype(np.int64), of)
    lowest = np.where(x > 0.0, gamma_quantile(0.05, np.where(x > 0.0, x, 1.0)), 0.0)
    gap = np.maximum(np.abs(x - of) - 0.5, 0.0)
    p = np.minimum(2.0 * normal_cdf(-gap / np.sqrt(spread[enough])), 1.0)
    columns = (x / of, lowest / of, gamma_quantile(0.95, x + 1.0) / of, drawn.mean, drawn.low, drawn.high, p)
    ratio, low, high, mean, mean_low, mean_high, chances = (_spread_out(column, enough) for column in columns)
    return Holding(
        observed=observed.astype(np.int64),
        expected=total,
        ratio=ratio,
        low=low,
        high=high,
        drawn=mean,
        drawn_low=mean_low,
        drawn_high=mean_high,
        common=float(x.sum() / of.sum()) if enough.any() else float("nan"),
        p=chances,
        q=adjusted(chances),
        jobs=jobs_of.astype(np.int64),
    )


def _spread_out(column: FloatArray, rows: BoolArray) -> FloatArray:
    out = np.full(len(rows), np.nan)
    out[rows] = column
    return out
