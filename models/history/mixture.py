"""Rates of a class as a mixture: most machines hardly differ, a few drift far away from the rest.

One normal distribution for all cannot say this.  Where one machine of sixty
drifts, its variance comes out near 0, and the one that drifts is taken for one
that stands still.  So the true figures are a mixture: nearly all of them lie
about the common mean with one small variance, a small share of them far more
widely.  How large that share is, is learnt from the figures themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray
from models.history.shrinkage import dersimonian_laird

WIDTHS = (3.0, 9.0, 27.0)
"""Standard deviations of the wide parts, in those of an ordinary estimate. The narrowest leaves nine tenths of an
estimate to itself; between two neighbours the likelihood of a figure falls by a third at most."""

SEEN = 1.0
"""Drifters that are taken as seen before any figure, shared among the wide parts."""

AMONG = 30.0
"""Machines that these were seen among: one drifter among sixty is told, and among sixty that stand still none is made up (simulation)."""

CAREFUL_DF = 0.6
"""Part of the degrees of freedom of an estimate's variance that is counted on, as in ``direction``."""

ROUNDS, STEPS = 12, 4
"""Rounds over mean and variance at most, and steps of the shares in each."""

SETTLED = 0.01
"""Rounds end when no mean and variance moves by more than this part of what is not known of it, and no share by a
tenth of this."""

PARTS = 1 + len(WIDTHS)

FEWEST = 3
"""Estimates from which more than one part is fitted."""

LEVELS, REACH = 16, 4.0
"""Standard deviations of the narrow part that are held possible, up to so many standard errors of its variance above what was fitted."""


@dataclass(frozen=True, slots=True)
class Mixture:
    """What sets of figures have in common, one set a column.

    ``mean`` with variance ``mean_variance`` and ``between`` (c,) are those of the
    narrow part [unit, unit², unit²].  ``share`` (parts, c) is the share of each
    part, ``extra`` (parts, c) how much more than the narrow part's its variance
    is, 0 for the narrow part itself, which comes first [unit²].  ``levels``
    (levels, 4, c) are narrow parts that are possible: variance, mean, variance of
    the mean, and how likely it is [unit², unit, unit², unitless].
    """

    mean: FloatArray
    mean_variance: FloatArray
    between: FloatArray
    share: FloatArray
    extra: FloatArray
    levels: FloatArray


def fit_mixture(estimate: FloatArray, variance: FloatArray, df: FloatArray) -> Mixture:
    """Fit narrow part and shares to some estimates.

    Parameters
    ----------
    estimate, variance : (n, c) float arrays
        The estimates and their variances, above 0; infinite where there is none. [unit, unit²]
    df : (n,) float array
        Degrees of freedom of the variances; infinite where they are known. [unitless]

    Returns
    -------
    Mixture
        With all estimates in the narrow part it is the result of :func:`models.history.shrinkage.dersimonian_laird`.

    Notes
    -----
    The shares are the largest a posteriori under a Dirichlet prior of :data:`SEEN` among :data:`AMONG`, by
    expectation and maximisation: for given mean and variances their likelihood has one maximum only.  Mean and
    variance of the narrow part are DerSimonian and Laird's with each estimate weighted by its chance of belonging
    to it: the expectation of both sides stays the same.  The widths are a fixed grid, no single one is fitted, for
    one drifter cannot tell how far others go.

    References
    ----------
    A. Dempster, N. Laird, D. Rubin (1977), Journal of the Royal Statistical Society B 39:1; a grid of normal
    distributions with learnt shares: M. Stephens (2017), Biostatistics 18:275 (memory: not verified against a copy).
    Closed form against numerical integration in tests/test_models_history_mixture.py.
    """
    known = np.isfinite(variance)
    own, value = np.where(known, variance, 1.0), np.where(known, estimate, 0.0)
    columns = [(value[rows, c], own[rows, c]) for c, rows in enumerate(known.T)]
    start = [dersimonian_laird(*column) for column in columns]
    mean = np.array([one.mean for one in start])
    mean_variance = np.array([one.mean_variance for one in start])
    between = np.array([one.between for one in start])
    count = np.count_nonzero(known, axis=0)
    prior = np.array([AMONG - SEEN, *(SEEN / len(WIDTHS) for _ in WIDTHS)])[:, None]
    share, extra = np.repeat(prior / AMONG, len(count), axis=1), np.zeros((PARTS, len(count)))
    enough = count >= FEWEST
    share[:, ~enough] = np.eye(PARTS)[:, :1]
    if not enough.any():
        return Mixture(mean, mean_variance, between, share, extra, _one_level(mean, mean_variance, between))
    ordinary = np.array([float(np.median(one)) if len(one) else 0.0 for _, one in columns])
    for _ in range(ROUNDS):
        extra = np.square([0.0, *WIDTHS])[:, None] * np.where(enough, ordinary + between, 0.0)
        chance = _likelihood(value - mean, own, df[:, None], (between + extra)[:, None])
        before = share
        for _ in range(STEPS):
            one_in = known / np.einsum("kc,knc->nc", share, chance)
            step = (share * np.einsum("nc,knc->kc", one_in, chance) + prior) / (count + AMONG)
            share = np.where(enough, step, share)
        narrow = share[0] * chance[0] * known / np.einsum("kc,knc->nc", share, chance)
        last, at = (mean, between), np.sqrt(mean_variance)
        mean, mean_variance, between = _narrow(value, own, narrow, (mean, mean_variance, between))
        still = (np.abs(mean - last[0]) <= SETTLED * at) & (np.abs(between - last[1]) <= SETTLED * ordinary)
        if (still | ~enough).all() and np.abs(share - before).max() < 0.1 * SETTLED:
            break
    levels = _levels(value, own, narrow, between, ordinary)
    levels = np.where(enough, levels, _one_level(mean, mean_variance, between))
    return Mixture(mean, mean_variance, between, share, extra, levels)


def shrink_mixture(
    estimate: FloatArray,
    variance: FloatArray,
    df: FloatArray,
    *,
    mean: FloatArray,
    mean_variance: FloatArray,
    between: FloatArray,
    share: FloatArray,
    extra: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Draw estimates towards a common mean: those near it much, those far from it hardly.

    Parameters
    ----------
    estimate, variance : (n, c) float arrays
        The estimates; an infinite variance gives the common mean. [unit, unit²]
    df : (n,) float array
        Degrees of freedom of the variances. [unitless]
    mean, mean_variance, between : (n, c) float arrays
        Narrow part of the mixture of each. [unit, unit², unit²]
    share, extra : (parts, n, c) float arrays
        Shares and additional variances of the parts. [unitless, unit²]

    Returns
    -------
    value, variance, kept : (n, c) float arrays
        Posterior mean and variance (with that of the common mean), and the weight of the estimate itself in the mean,
        from 0 to 1. [unit, unit², unitless]

    Notes
    -----
    Within a part it is the mean of two normal distributions; the parts are mixed by the chance that each has given
    the estimate, so the variance also holds what is not known of the part.
    """
    known = np.isfinite(variance)
    own = np.where(known, variance, 1.0)
    gap = np.where(known, estimate - mean, 0.0)
    spread = between + extra
    chance = _likelihood(gap, own, df[:, None], spread)
    chance *= share
    chance /= chance.sum(axis=0)
    keep = spread / np.maximum(spread + own, 1e-300)
    kept = np.where(known, (chance * keep).sum(axis=0), 0.0)
    # Part by part: arrays for all parts at once would leave the cache.
    posterior = np.zeros_like(gap)
    for part, weight in zip(keep, chance, strict=True):
        posterior += weight * (part * own + (1.0 - part) ** 2 * mean_variance + ((part - kept) * gap) ** 2)
    return mean + kept * gap, np.where(known, posterior, between + mean_variance), kept


def spread_of_levels(
    value: FloatArray,
    estimate: FloatArray,
    variance: FloatArray,
    df: FloatArray,
    *,
    mean: FloatArray,
    between: FloatArray,
    share: FloatArray,
    extra: FloatArray,
    levels: FloatArray,
) -> FloatArray:
    """Give the variance about a value that was drawn to the common mean, with what is not known of the narrow part.

    Parameters
    ----------
    value : (n, c) float array
        What is looked at, as :func:`shrink_mixture` gives it. [unit]
    estimate, variance : (n, c) float arrays
        The estimates and their variances, not infinite. [unit, unit²]
    df : (n,) float array
        Degrees of freedom of the variances. [unitless]
    mean, between : (n, c) float arrays
        Narrow part of the mixture of each, as fitted. [unit, unit²]
    share, extra : (parts, n, c) float arrays
        Shares and additional variances of the parts. [unitless, unit²]
    levels : (levels, 4, n, c) float array
        Narrow parts that are possible, as in :class:`Mixture`. [unit², unit, unit², unitless]

    Returns
    -------
    (n, c) float array
        Mean square distance of the true figure from the value. [unit²]

    Notes
    -----
    Among thirty machines the variance between them comes out as 0 in every fourth class although they differ; taken
    for known it leaves intervals that hold half as often as they say.  So the distance is averaged over the variances
    that are possible.  The wide parts stay as they are: what is not known of the narrow one is little beside their width.
    """
    chance = _likelihood(estimate - mean, variance, df[:, None], between + extra)
    chance *= share
    chance /= chance.sum(axis=0)
    found = np.zeros_like(value)

    def distance(spread: FloatArray, centre: FloatArray, centre_variance: FloatArray) -> FloatArray:
        keep = spread / np.maximum(spread + variance, 1e-300)
        away = centre + keep * (estimate - centre) - value
        return np.asarray(keep * variance + (1.0 - keep) ** 2 * centre_variance + away**2)

    for spread, centre, centre_variance, likely in levels:
        found += chance[0] * likely * distance(spread, centre, centre_variance)
    fitted = (levels[:, 2] * levels[:, 3]).sum(axis=0)
    for part, weight in zip(extra[1:], chance[1:], strict=True):
        found += weight * distance(between + part, mean, fitted)
    return found


def _likelihood(gap: FloatArray, variance: FloatArray, df: FloatArray, spread: FloatArray) -> FloatArray:
    """Give the likelihood of each estimate by each part, over that of the part that explains it best: (parts, n, c).

    ``spread`` are the variances of the parts.  An estimate about its true figure is Student's t, for its variance is
    itself estimated; of a sum with what is exactly known more degrees of freedom hold (Welch and Satterthwaite).
    """
    total = variance + spread
    freedom = total / variance
    freedom *= freedom
    freedom *= np.maximum(CAREFUL_DF * df, 1.0)
    np.minimum(freedom, 1e9, out=freedom)
    # The constant of Student's t is near exp(−1 / 4 df) that of the normal distribution.
    log = np.log1p(gap**2 / (total * freedom))
    log *= freedom + 1.0
    log += np.log(total)
    log += 0.5 / freedom
    log -= log.min(axis=0)
    log *= -0.5
    return np.asarray(np.exp(log, out=log), dtype=np.float64)


def _narrow(
    value: FloatArray, variance: FloatArray, narrow: FloatArray, before: tuple[FloatArray, FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Fit mean and variance of the narrow part, each estimate weighted by its chance of belonging to it."""
    weight = narrow / variance
    total = np.sum(weight, axis=0)
    some = total > 0.0
    safe = np.where(some, total, 1.0)
    q = np.sum(weight * (value - np.sum(weight * value, axis=0) / safe) ** 2, axis=0)
    scale = total - np.sum(weight**2, axis=0) / safe
    free = np.sum(narrow, axis=0) - np.sum(weight * narrow, axis=0) / safe
    between = np.where(scale > 0.0, np.maximum(q - free, 0.0) / np.where(scale > 0.0, scale, 1.0), 0.0)
    weight = narrow / (variance + between)
    total = np.where(some, np.sum(weight, axis=0), 1.0)
    found = (np.sum(weight * value, axis=0) / total, 1.0 / total, between)
    return tuple(np.where(some, new, old) for new, old in zip(found, before, strict=True))  # type: ignore[return-value]


def _one_level(mean: FloatArray, mean_variance: FloatArray, between: FloatArray) -> FloatArray:
    """Give levels that all say what was fitted: of one or two estimates nothing else can be said."""
    one = np.stack([between, mean, mean_variance, np.full(len(mean), 1.0 / LEVELS)])
    return np.repeat(one[None], LEVELS, axis=0)


def _levels(
    value: FloatArray, variance: FloatArray, narrow: FloatArray, between: FloatArray, ordinary: FloatArray
) -> FloatArray:
    """Give narrow parts that are possible, and how likely each is, all variances being alike beforehand.

    The likelihood is the restricted one of normal figures about a common mean, each estimate weighted by its chance
    of belonging to the narrow part.  The prior that is even in the variance gives intervals that hold as often as they
    say (C. Morris, R. Tang (2011), Statistical Science 26:271; memory: not verified against a copy); one that is even
    in the standard deviation leaves them short here (simulation).  Levels are even in the standard deviation.
    """
    count = np.maximum(narrow.sum(axis=0), 1.0)
    top = np.sqrt(between + REACH * np.sqrt(2.0 / count) * (ordinary + between))
    bottom = np.sqrt(np.maximum(between - REACH * np.sqrt(2.0 / count) * (ordinary + between), 0.0))
    levels, log = np.empty((LEVELS, 4, len(between))), np.empty((LEVELS, len(between)))
    for place, part in enumerate((np.arange(LEVELS) + 0.5) / LEVELS):
        spread = (bottom + part * (top - bottom)) ** 2
        total = variance + spread
        weight = narrow / total
        whole = np.maximum(weight.sum(axis=0), 1e-300)
        mean = (weight * value).sum(axis=0) / whole
        log[place] = -0.5 * (narrow * np.log(total) + weight * (value - mean) ** 2).sum(axis=0) - 0.5 * np.log(whole)
        levels[place, :3] = spread, mean, 1.0 / whole
    chance = np.exp(log - log.max(axis=0)) * np.sqrt(levels[:, 0])
    levels[:, 3] = chance / chance.sum(axis=0)
    return levels
