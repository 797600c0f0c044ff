"""Priors fitted to a class: how shares and rates differ between its assets.

A share of one in one, read beside a class in which few assets come back, is
mostly luck.  The class's own spread says how much of it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.history.columns import FloatArray, IntArray
from models.history.distributions import beta_quantile, digamma, gamma_quantile, log_gamma, trigamma
from models.history.late import Late
from models.history.prior_nodes import share_nodes

ALIKE = 1e5
"""A prior worth more visits (or years) than this means that the assets do not differ measurably."""


@dataclass(frozen=True, slots=True)
class Prior:
    """Two parameters and how they were found.

    For a share: a beta distribution with ``a`` successes and ``b`` failures.
    For a rate: a gamma distribution of shape ``a`` after ``b`` years.  ``how`` is
    ``'likelihood'``, ``'moments'`` where the likelihood has no inner maximum, or
    ``'none'`` where nothing was given; ``n`` counts the assets.  ``nodes`` are
    priors that are about as likely, each as a, b and its weight: what is not
    known of the class (:mod:`models.history.prior_nodes`).
    """

    a: float
    b: float
    n: int
    how: str
    nodes: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Posterior(Late):
    """Shares [unitless] or rates [1/year] after the data: mean, lower 10 % bound, and 90 % interval."""

    mean: FloatArray
    bound: FloatArray
    low: FloatArray
    high: FloatArray


def beta_moments(count: IntArray, n: IntArray) -> Prior:
    """Fit a beta prior by the mean and variance of the raw shares.

    Parameters
    ----------
    count, n : (k,) int array
        How many of how many; n above 0. [unitless]

    References
    ----------
    R. E. Tarone (1982), Biometrics 38:215; a + b = m (1 − m) / v − 1.
    """
    share = count / n
    mean, variance = float(np.mean(share)), float(np.var(share, ddof=1)) if len(share) > 1 else 0.0
    inner = min(max(mean, 1e-6), 1.0 - 1e-6)
    size = inner * (1.0 - inner) / variance - 1.0 if variance > 0.0 else ALIKE
    size = min(max(size, 1e-3), ALIKE)
    return Prior(inner * size, (1.0 - inner) * size, len(share), "moments")


def fit_beta(count: IntArray, n: IntArray) -> Prior:
    """Fit a beta prior to shares by maximum likelihood; by moments where that has no inner maximum.

    Parameters
    ----------
    count, n : (k,) int array
        How many of how many, one an asset; assets with n = 0 say nothing. [unitless]

    Returns
    -------
    Prior
        The best, with nodes: priors that are about as likely.

    Notes
    -----
    Where nothing happened, or every time, the likelihood runs off without a maximum: half a case of the other kind in
    all visits stands in (Jeffreys' weight for a share), and the nodes say how little is known.
    Equal pairs are taken together, so that fifty thousand assets cost as much as a few hundred.
    """
    some = n > 0
    if not some.any():
        return Prior(1.0, 1.0, 0, "none")
    cells, weight = np.unique(np.stack([count[some], n[some]]), axis=1, return_counts=True)
    x, of = cells.astype(np.float64)
    nodes = share_nodes(x, of, weight.astype(np.float64))
    total, whole = float(weight @ x), float(weight @ of)
    if total in {0.0, whole}:
        return Prior(0.5 + total, 0.5 + whole - total, int(weight.sum()), "moments", nodes)
    start = replace(beta_moments(count[some], n[some]), nodes=nodes)

    def value(p: FloatArray) -> float:
        a, b = np.exp(p)
        part = log_gamma(x + a) + log_gamma(of - x + b) - log_gamma(of + a + b)
        return float(np.sum(weight * (part - log_gamma(a) - log_gamma(b) + log_gamma(a + b))))

    def slopes(p: FloatArray) -> tuple[FloatArray, FloatArray]:
        a, b = np.exp(p)
        both = digamma(a + b) - digamma(of + a + b)
        first = np.array(
            [
                np.sum(weight * (digamma(x + a) - digamma(a) + both)),
                np.sum(weight * (digamma(of - x + b) - digamma(b) + both)),
            ]
        )
        cross = np.sum(weight * (trigamma(a + b) - trigamma(of + a + b)))
        aa = np.sum(weight * (trigamma(x + a) - trigamma(a))) + cross
        bb = np.sum(weight * (trigamma(of - x + b) - trigamma(b))) + cross
        return _in_logs(np.array([a, b]), first, np.array([[aa, cross], [cross, bb]]))

    found = _climb(np.log([min(start.a, 50.0), min(start.b, 500.0)]), value, slopes)
    if found is None or found.sum() > ALIKE:
        return start
    return Prior(float(found[0]), float(found[1]), int(weight.sum()), "likelihood", nodes)


def fit_gamma(count: IntArray, years: FloatArray) -> Prior:
    """Fit a gamma prior to rates by maximum likelihood; by moments where that has no inner maximum.

    Parameters
    ----------
    count : (k,) int array
        Events of each asset. [unitless]
    years : (k,) float array
        Time over which they were counted; assets with 0 say nothing. [year]

    References
    ----------
    Gamma–Poisson marginal likelihood; checked with the pumps of Gaver and O'Muircheartaigh (1987).
    """
    some = years > 0.0
    if not some.any():
        return Prior(1.0, 1.0, 0, "none")
    x, t = count[some].astype(np.float64), years[some]
    total = float(x.sum())
    if total <= 0.0:
        # No event anywhere: half an event in all that time is the usual weak stand-in (Jeffreys' shape for a rate).
        return Prior(0.5, 0.5 + float(t.sum()), len(x), "moments")
    mean = total / float(t.sum())
    extra = float(np.sum((x - mean * t) ** 2 - x) / np.sum(t**2))
    shape = min(mean**2 / extra, 1e4) if extra > 0.0 else 1e4
    start = Prior(shape, shape / mean, len(x), "moments")

    # Few counts occur, however many assets there are: what is costly is worked out once for each of them.
    counts, often = np.unique(x, return_counts=True)

    def value(p: FloatArray) -> float:
        a, b = np.exp(p)
        return float(
            np.sum(often * (log_gamma(a + counts) - log_gamma(a))) + np.sum(a * np.log(b) - (a + x) * np.log(b + t))
        )

    def slopes(p: FloatArray) -> tuple[FloatArray, FloatArray]:
        a, b = np.exp(p)
        first = np.array(
            [
                np.sum(often * (digamma(a + counts) - digamma(a))) + np.sum(np.log(b) - np.log(b + t)),
                np.sum(a / b - (a + x) / (b + t)),
            ]
        )
        cross = np.sum(1.0 / b - 1.0 / (b + t))
        aa, bb = np.sum(often * (trigamma(a + counts) - trigamma(a))), np.sum(-a / b**2 + (a + x) / (b + t) ** 2)
        return _in_logs(np.array([a, b]), first, np.array([[aa, cross], [cross, bb]]))

    found = _climb(np.log([min(start.a, 5.0), min(start.a, 5.0) / mean]), value, slopes)
    if found is None or found[0] > ALIKE:
        return start
    return Prior(float(found[0]), float(found[1]), len(x), "likelihood")


def _in_logs(p: FloatArray, first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Turn slopes in the parameters into slopes in their logarithms."""
    return first * p, second * np.outer(p, p) + np.diag(first * p)


def _climb(
    start: FloatArray,
    value: Callable[[FloatArray], float],
    slopes: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
) -> FloatArray | None:
    """Climb to the maximum by Newton steps that are bent uphill and shortened; None where there is none inside."""
    here, height = np.asarray(start, dtype=np.float64), value(start)
    for _ in range(200):
        first, second = slopes(here)
        bend = np.linalg.eigvalsh(second)
        if bend[-1] > -1e-8:
            second = second - (bend[-1] + 1e-3 * (1.0 + abs(bend[0]))) * np.eye(2)
        step = -np.linalg.solve(second, first)
        step *= min(1.0, 2.0 / max(float(np.max(np.abs(step))), 1e-300))
        for _ in range(40):
            tried = value(here + step)
            if tried >= height - 1e-12 * abs(height):  # at the top, rounding must not stop the last steps
                break
            step = step / 2.0
        else:
            return np.exp(here)
        here, height = here + step, tried
        if float(np.max(np.abs(step))) < 1e-10:
            return np.exp(here)
        if here.max() > np.log(10.0 * ALIKE) or here.min() < np.log(1e-8):
            return None
    return np.exp(here)


def posterior_share(count: IntArray, n: IntArray, a: FloatArray, b: FloatArray) -> Posterior:
    """Give each asset's share after its own visits.

    Parameters
    ----------
    count, n : (k,) int array
        How many of how many; n may be 0: then it is the class's. [unitless]
    a, b : (k,) float array
        Prior of the class. [unitless]
    """
    top, rest = a + count, b + (n - count)
    return Posterior(top / (top + rest), *(beta_quantile(p, top, rest) for p in (0.10, 0.05, 0.95)))


def shares_after(count: IntArray, n: IntArray, priors: Sequence[Prior], fit: IntArray) -> Posterior:
    """Give each asset's share after its own visits, averaged over what is not known of its class.

    Parameters
    ----------
    count, n : (k,) int array
        How many of how many; n may be 0: then it is the class's. [unitless]
    priors : sequence of Prior
        One a class. [unitless]
    fit : (k,) int array
        Class of each asset. [unitless]

    Notes
    -----
    The average over the nodes has a mean and a variance of its own; the beta distribution with both gives the
    interval.
    """
    mean, square = np.full((2, len(fit)), np.nan)
    for index, prior in enumerate(priors):
        rows = np.flatnonzero(fit == index)
        if not len(rows):
            continue
        own, all_of = count[rows], n[rows]
        first, second = np.zeros((2, len(rows)))
        for a, b, share in prior.nodes or ((prior.a, prior.b, 1.0),):
            top, whole = a + own, a + b + all_of
            first += share * (top / whole)
            second += share * (top / whole * ((top + 1.0) / (whole + 1.0)))
        mean[rows], square[rows] = first, second
    size = (mean - square) / (square - mean**2)
    top, rest = size * mean, size * (1.0 - mean)
    return Posterior(mean, *(beta_quantile(p, top, rest) for p in (0.10, 0.05, 0.95)))


def posterior_rate(count: IntArray, years: FloatArray, a: FloatArray, b: FloatArray) -> Posterior:
    """Give each asset's rate after its own time.

    Parameters
    ----------
    count : (k,) int array
        Events. [unitless]
    years : (k,) float array
        Time over which they were counted. [year]
    a, b : (k,) float array
        Prior of the class. [unitless, year]
    """
    shape, time = a + count, b + years
    return Posterior(shape / time, *(gamma_quantile(p, shape) / time for p in (0.10, 0.05, 0.95)))
