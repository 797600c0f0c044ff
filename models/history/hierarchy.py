"""Figures of some names drawn towards one another, with what is not known of how much the names differ.

With four names the spread between them is hardly known.  Taken for known, and most
of all where it comes out as 0, it gives intervals that claim what nobody knows.
Here each spread of a grid is tried, and counts by how well it fits what was seen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray, IntArray
from models.history.distributions import gamma_cdf, gamma_quantile, log_gamma, normal_cdf

NODES = 60
"""Spreads that are tried."""

MEANS = np.exp(np.linspace(np.log(1.0 / 50.0), np.log(50.0), 60))
"""Ratios that the common one may be, evenly in the logarithm. [unitless]"""

FAINT = 1e-7
"""A node that counts for less than this beside the best one is left out."""

HALVINGS = 32
"""Steps by which a quantile is closed in: to 3e-10 of the stretch in which it was looked for."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """One row a name: mean and 90 % interval of its figure after all were seen, in the unit of the figure."""

    mean: FloatArray
    low: FloatArray
    high: FloatArray


def _shares() -> tuple[FloatArray, FloatArray]:
    """Give what a name may give up of its own figure, and how much each counts: any share from 0 to 1 is as likely.

    The nodes lie close together near 0, where names differ much.
    """
    at = (np.arange(NODES) + 0.5) / NODES
    return at**3, 3.0 * at**2 / NODES


def draw_effects(estimate: FloatArray, variance: FloatArray) -> Drawn:
    """Draw estimates towards 0, where most of them are taken to lie.

    Parameters
    ----------
    estimate, variance : (k,) float arrays
        The estimates and the variances of their errors, above 0. [unit, unit²]

    Notes
    -----
    Normal about 0 with a variance that is the same for all. What a name with an error of the usual size gives up is as
    likely to be any share ('uniform shrinkage', C. L. Christiansen and C. N. Morris 1997, from memory). Given the spread,
    each posterior is a normal distribution; the grid mixes them. One name that is far from all others is drawn too far.
    """
    if not len(estimate):
        return Drawn(estimate, estimate, estimate)
    share, prior = _shares()
    usual = len(variance) / float(np.sum(1.0 / variance))
    total = variance + (usual * (1.0 - share) / share)[:, None]
    weight = _weights(np.log(prior) - 0.5 * np.sum(np.log(total) + estimate**2 / total, axis=1))
    keep = 1.0 - variance / total
    mean, sd = keep * estimate, np.sqrt(keep * variance)
    reach = 8.0 * np.sqrt(variance)

    def below(x: FloatArray) -> FloatArray:
        return np.asarray(weight @ normal_cdf((x - mean) / np.maximum(sd, 1e-300)), dtype=np.float64)

    ends = np.minimum(estimate, 0.0) - reach, np.maximum(estimate, 0.0) + reach
    return Drawn(weight @ mean, _quantile(below, 0.05, *ends), _quantile(below, 0.95, *ends))


def draw_ratios(observed: IntArray, expected: FloatArray) -> Drawn:
    """Draw ratios of what was observed to what was expected towards that of all names.

    Parameters
    ----------
    observed : (k,) int array
        Events of each name. [unitless]
    expected : (k,) float array
        Events that were to be expected, above 0. [unitless]

    Notes
    -----
    Poisson counts with ratios from a gamma distribution. Neither its spread nor its mean is known: a name with the usual
    number of expected events gives up any share as likely as any other, and the mean has Jeffreys' prior for a rate,
    within 1/50 and 50. Given both, each posterior is a gamma distribution; the grid mixes them.
    """
    if not len(observed):
        return Drawn(expected, expected, expected)
    x = observed.astype(np.float64)
    share, prior = _shares()
    usual = len(expected) / float(np.sum(1.0 / expected))
    years, means = (part.ravel() for part in np.meshgrid(usual * share / (1.0 - share), MEANS, indexing="ij"))
    shape = np.maximum(years * means, 1e-12)
    seen = (
        log_gamma(shape[:, None] + x)
        - log_gamma(shape)[:, None]
        + (shape * np.log(years))[:, None]
        - (shape[:, None] + x) * np.log(years[:, None] + expected)
    )
    weight = _weights(np.repeat(np.log(prior), len(MEANS)) + 0.5 * np.log(means) + np.sum(seen, axis=1))
    some = weight > FAINT * weight.max()
    weight, a, b = weight[some] / weight[some].sum(), shape[some][:, None] + x, years[some][:, None] + expected

    def below(at: FloatArray) -> FloatArray:
        return np.asarray(weight @ gamma_cdf(np.exp(at) * b, a), dtype=np.float64)

    ends = np.full(len(x), np.log(1e-9)), np.log(gamma_quantile(0.9999, x + 1.0) / expected + 100.0)
    low, high = (np.exp(_quantile(below, p, *ends)) for p in (0.05, 0.95))
    return Drawn(weight @ (a / b), low, high)


def _weights(log: FloatArray) -> FloatArray:
    weight = np.exp(log - np.max(log))
    return np.asarray(weight / weight.sum(), dtype=np.float64)


def _quantile(below: Callable[[FloatArray], FloatArray], p: float, low: FloatArray, high: FloatArray) -> FloatArray:
    """Close in on where a rising function passes ``p``."""
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        over = below(middle) >= p
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return (low + high) / 2.0
