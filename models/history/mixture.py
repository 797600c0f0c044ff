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


@dataclass(frozen=True, slots=True)
class Mixture:
    """What sets of figures have in common, one set a column.

    ``mean`` with variance ``mean_variance`` and ``between`` (c,) are those of the
    narrow part [unit, unit², unit²].  ``share`` (parts, c) is the share of each
    part, ``extra`` (parts, c) how much more than the narrow part's its variance
    is, 0 for the narrow part itself, which comes first [unit²].
    """

    mean: FloatArray
    mean_variance: FloatArray
    between: FloatArray
    share: FloatArray
    extra: FloatArray


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
        return Mixture(mean, mean_variance, between, share, extra)
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
    return Mixture(mean, mean_variance, between, share, extra)


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
