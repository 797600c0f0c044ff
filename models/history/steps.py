"""Steps: how far a forecast lets the same step come after each visit, whatever the time, beside a movement that grows with time.

A pipe that pulls, or a target that is wrong, puts a machine back by the same
amount in a week as in a year.  A forecast by rate alone tells such a machine
that it is safe for months.  So two models of one machine are held against each
other, and the forecast is a mixture of both by the chance of each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.late import Late
from models.history.moderation import effective_df, moderate
from models.history.outside import outside_limit
from models.history.sums import Sums

STEP_SD = 0.5
"""Standard deviation of the steps that are held possible beforehand, in each component. [limit]"""

SEEN, AMONG = 1.0, 30.0
"""Machines with a step that are taken as seen beforehand, and among how many: as for drifters in ``mixture``."""

FEWEST_RUNS = 3
"""Runs from which a step is told from a movement that grows with time, as in ``shape``."""

LIKELY = 0.5
"""From this chance on a step is named as what explains the runs."""

LEAST = 0.005
"""A smaller chance of a step is none: it would change no probability by more than this."""

ROUNDS = 25
"""Rounds in which the share of machines with a step settles to a thousandth (test)."""


Moments = tuple[FloatArray, FloatArray, FloatArray]
"""Mean, variance, and the part of the variance that a factor of few degrees of freedom scales, each (n, 4)."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What a series has beforehand from its class: rates, (…, 4) and (parts, …, 4), and scatter, (…); of one class or a row a series."""

    mean: FloatArray
    mean_variance: FloatArray
    between: FloatArray
    share: FloatArray
    extra: FloatArray
    df0: FloatArray
    factor0: FloatArray


@dataclass(frozen=True, slots=True)
class Steps(Late):
    """One row a series.

    ``chance`` that the same step comes after each visit; 0 with few runs.  If it
    does: ``step`` [limit] and ``rate`` [limit/year] beside it, (n, 4), with their
    variances and ``both``, their covariance, and ``factor``, the moderated factor
    of the variance of the runs about them.  The degrees of freedom are those of the rate alone.
    """

    chance: FloatArray
    step: FloatArray
    rate: FloatArray
    step_variance: FloatArray
    both: FloatArray
    rate_variance: FloatArray
    factor: FloatArray


def steps_of(sums: Sums, usual: Usual, share: FloatArray, factor: FloatArray) -> Steps:
    """Hold the step against the rate alone for each series.

    Parameters
    ----------
    sums : Sums
        Weighted sums over the runs of each series. [unitless]
    usual : Usual
        What the class lets expect. [unitless]
    share : (n,) float array
        Share of machines of the class with a step, see :func:`share_of`; 0 where none is looked for. [unitless]
    factor : (n,) float array
        Moderated variance factor with the rate alone. [unitless]
    """
    rows = np.flatnonzero(enough(sums) & (share > 0.0))
    usual = Usual(
        mean=usual.mean[rows],
        mean_variance=usual.mean_variance[rows],
        between=usual.between[rows],
        share=usual.share[:, rows],
        extra=usual.extra[:, rows],
        df0=usual.df0[rows],
        factor0=usual.factor0[rows],
    )
    log, found = _held_against(_some(sums, rows), usual, factor[rows])
    chance = _chance(log, share[rows])
    columns = (np.where(chance < LEAST, 0.0, chance), *found)
    return Steps(*(_spread(column, rows, len(factor)) for column in columns))


def share_of(sums: Sums, usual: Usual, factor: FloatArray) -> float:
    """Give the share of the machines of one class that take the same step after each visit.

    Parameters
    ----------
    sums : Sums
        Weighted sums over the runs of each series. [unitless]
    usual : Usual
        What the class lets expect. [unitless]
    factor : (n,) float array
        Moderated variance factor with the rate alone. [unitless]

    Notes
    -----
    Expectation and maximisation, with :data:`SEEN` of :data:`AMONG` beforehand: a class without a step keeps one of its number and thirty.
    """
    rows = np.flatnonzero(enough(sums))
    log, share = _held_against(_some(sums, rows), usual, factor[rows])[0], SEEN / AMONG
    for _ in range(ROUNDS):
        share = (float(_chance(log, np.full(len(log), share)).sum()) + SEEN) / (len(log) + AMONG)
    return share


def mixed(plain: Moments, stepped: Moments, step_chance: FloatArray) -> Moments:
    """Give the moments of a mixture.

    Parameters
    ----------
    plain, stepped : tuple of (n, 4) float arrays
        Without and with a step. [limit, limit², limit²]
    step_chance : (n,) float array
        Chance of the step. [unitless]
    """
    with_it = step_chance[:, None]
    without = 1.0 - with_it
    mean, variance, part = (without * a + with_it * b for a, b in zip(plain, stepped, strict=True))
    return mean, variance + with_it * without * (stepped[0] - plain[0]) ** 2, part


def over_of(
    plain: Moments, stepped: Moments, step_chance: FloatArray, each_axis: BoolArray, df: FloatArray
) -> FloatArray:
    """Give the probability of being over limit.

    Parameters
    ----------
    plain : tuple of (n, 4) float arrays
        Without a step. [limit, limit², limit²]
    stepped : tuple of (k, 4) float arrays
        With one, for the rows whose chance of it is above 0. [limit, limit², limit²]
    step_chance : (n,) float array
        Chance of the step. [unitless]
    each_axis : (n,) bool array
        True where vertical and horizontal are judged each by itself. [unitless]
    df : (n,) float array
        Degrees of freedom of the factor. [unitless]

    Notes
    -----
    The mean of the two probabilities, not that of a bell with the moments of both: a mixture of two places has two humps.
    """
    mean, variance, part = plain
    over = outside_limit(mean, variance, each_axis, effective_df(df, part, variance))
    rows = np.flatnonzero(step_chance > 0.0)
    if len(rows):
        mean, variance, part = stepped
        other = outside_limit(mean, variance, each_axis[rows], effective_df(df[rows], part, variance))
        over[rows] += step_chance[rows] * (other - over[rows])
    return over


def enough(sums: Sums) -> BoolArray:
    """Tell which series have runs enough to tell a step."""
    return np.asarray(sums.n.max(axis=1, initial=0.0) >= FEWEST_RUNS, dtype=np.bool_)


def _some(sums: Sums, rows: IntArray) -> Sums:
    return Sums(*(getattr(sums, name)[rows] for name in Sums.__slots__))


def _spread(column: FloatArray, rows: IntArray, count: int) -> FloatArray:
    """Put values into their rows, 0 elsewhere."""
    result = np.zeros((count, *column.shape[1:]))
    result[rows] = column
    return result


def _chance(log: FloatArray, share: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore"):
        odds = np.clip(log + np.log(share) - np.log1p(-share), -700.0, 700.0)
    return np.asarray(np.where(share > 0.0, 1.0 / (1.0 + np.exp(-odds)), 0.0), dtype=np.float64)


def _held_against(sums: Sums, usual: Usual, factor: FloatArray) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    """Give the natural logarithm of the likelihood of a step over that of none, and what follows if there is one.

    Both models have the class's rates beforehand: without a step all parts of the mixture, so that a fast machine is not
    taken for one with a step; with one the narrow part, beside a step that is normal about 0.  Rate and step are
    integrated over.  As in ``shape`` the larger variance factor of the two holds for both while they are compared.
    """
    between, mean = usual.between, usual.mean
    d = sums.d - mean * sums.t
    td = sums.td - mean * sums.tt
    dd = np.maximum(sums.dd - 2.0 * mean * sums.td + mean**2 * sums.tt, 0.0)
    safe = np.where(sums.w > 0.0, sums.w, 1.0)
    # About a free step, and a rate that its class holds.
    time = np.maximum(sums.tt - sums.t**2 / safe, 0.0)
    left = dd - d**2 / safe - (td - sums.t * d / safe) ** 2 * between / (1.0 + between * time)
    df = np.maximum(sums.n - 1.0, 0.0).sum(axis=1)
    own, _ = moderate(np.maximum(left, 0.0).sum(axis=1), df, usual.df0, usual.factor0)
    over = 1.0 / np.maximum(np.maximum(own, factor), 1e-12)[:, None]
    a, b, c, u, v = (part * over for part in (sums.w, sums.t, sums.tt, d, td))
    without = np.zeros_like(a)
    for part, extra in zip(usual.share, usual.extra, strict=True):
        spread = between + extra
        scale = 1.0 + spread * c
        without += (
            part
            * np.exp(np.minimum(0.5 * v**2 * (spread / scale - between / (1.0 + between * c)), 600.0))
            / np.sqrt(scale)
        )
    with np.errstate(divide="ignore"):
        plain = np.log(without) + 0.5 * v**2 * between / (1.0 + between * c)
    step_variance, both, rate_variance, whole = _together(a, b, c, between)
    log = 0.5 * (step_variance * u**2 + 2.0 * both * u * v + rate_variance * v**2) - 0.5 * np.log(whole) - plain
    # If there is a step, the scatter is that about it: the factor of the rate alone holds the step itself.
    over = 1.0 / np.maximum(own, 1e-12)[:, None]
    step_variance, both, rate_variance, _ = _together(sums.w * over, sums.t * over, sums.tt * over, between)
    u, v = d * over, td * over
    found = (
        step_variance * u + both * v,
        mean + both * u + rate_variance * v,
        step_variance,
        both,
        rate_variance + usual.mean_variance,
        own,
    )
    return log.sum(axis=1), found


def _together(
    w: FloatArray, t: FloatArray, tt: FloatArray, between: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Give variance of the step, covariance and variance of the rate after the runs, and the determinant behind them."""
    slab = STEP_SD**2
    whole = (1.0 + slab * w) * (1.0 + between * tt) - slab * between * t**2
    return slab * (1.0 + between * tt) / whole, -slab * between * t / whole, between * (1.0 + slab * w) / whole, whole
